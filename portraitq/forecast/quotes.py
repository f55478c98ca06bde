"""What the booth says: for each open ticket, and for one ordered now, when it will be ready.

The one way in for the desk, the API, the wall and the replay; they all get the same answer.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime
from types import MappingProxyType

import numpy as np

from portraitq.core.booth import Booth
from portraitq.core.life import Ticket
from portraitq.forecast.pace import Pace
from portraitq.forecast.promise import LEVELS, chance_kept, promise, quantiles
from portraitq.forecast.schedule import NEVER_S, Outlook, Scenarios

LOW, HIGH = 0.2, 0.8  # of the window that is read out: "about 15:20 to 15:35"


@dataclass(frozen=True)
class Quote:
    """When one portrait will be ready.

    ready_at_quantiles  level -> instant, for each of LEVELS
    promise_at          what would be promised now: the booth's confidence, rounded up
    window              the 20 % and the 80 % level
    chance_kept         of the ticket's present promise; None where nothing was promised, or it was ready once
    artist              who most likely draws it; None where nobody of the booth does
    ahead               portraits that are begun before it, those on easels counted
    """

    ready_at_quantiles: Mapping[float, datetime]
    promise_at: datetime
    median_at: datetime
    window: tuple[datetime, datetime]
    chance_kept: float | None
    artist: str | None
    ahead: int

    def chance_by(self, at: datetime) -> float:
        """The chance that it is ready by `at`, read off between the quantiles; 0 before the first, 1 after the last."""
        ready_at = [when.timestamp() for when in self.ready_at_quantiles.values()]
        return float(np.interp(at.timestamp(), ready_at, list(self.ready_at_quantiles), left=0.0, right=1.0))


@dataclass(frozen=True)
class Forecast:
    """All quotes at one instant: of the tickets waiting, held or on an easel, and of each style if ordered now."""

    as_of: datetime
    seq: int
    tickets: Mapping[str, Quote]
    order_now: Mapping[str, Quote]


def forecast(booth: Booth, pace: Pace, now: datetime) -> Forecast:
    """Quotes for every open ticket and, for one sitter and asked of nobody, for every style; none without a set-up."""
    if booth.set_up is None:
        return Forecast(now, booth.seq, MappingProxyType({}), MappingProxyType({}))
    scenarios = Scenarios(booth, pace, now)
    tickets = {id: _quote(scenarios, outlook, booth.tickets[id]) for id, outlook in scenarios.outlooks.items()}
    order_now = {
        style.id: _quote(scenarios, scenarios.asked(style, 1, None, ASKED))
        for style in booth.set_up.styles
        if any(style.id in artist.styles for artist in booth.set_up.artists)
    }
    return Forecast(now, booth.seq, MappingProxyType(tickets), MappingProxyType(order_now))


ASKED = "ordered now"  # the name of the draws for a portrait that nobody has ordered yet


def quote_order(booth: Booth, pace: Pace, now: datetime, *, style: str, sitters: int, artist: str | None) -> Quote:
    """The quote of a portrait as though it were ordered now; KeyError when the booth has no such style."""
    found = booth.set_up.style(style) if booth.set_up else None
    if found is None:
        raise KeyError(style)
    scenarios = Scenarios(booth, pace, now)
    return _quote(scenarios, scenarios.asked(found, sitters, artist, ASKED))


def quotes_of_tickets(booth: Booth, pace: Pace, now: datetime, tickets: Iterable[str]) -> Mapping[str, Quote]:
    """The quotes of some tickets alone: of those among them that are waiting, held or on an easel."""
    wanted = list(tickets)
    if booth.set_up is None or not wanted:
        return MappingProxyType({})
    scenarios = Scenarios(booth, pace, now)
    found = {
        id: _quote(scenarios, scenarios.outlooks[id], booth.tickets[id]) for id in wanted if id in scenarios.outlooks
    }
    return MappingProxyType(found)


def _quote(scenarios: Scenarios, outlook: Outlook, ticket: Ticket | None = None) -> Quote:
    booth, now = scenarios.booth, scenarios.now
    assert booth.set_up is not None
    settings = booth.set_up.booth
    ready_s = np.sort(np.minimum(outlook.ready_s, NEVER_S))
    at = quantiles(ready_s, now)
    told = ticket.promise if ticket is not None and ticket.finished_at is None else None
    return Quote(
        ready_at_quantiles=MappingProxyType(dict(at)),
        promise_at=promise(ready_s, settings.confidence, settings.round_to_s, now, booth.zone),
        median_at=at[0.5],
        window=(at[LOW], at[HIGH]),
        chance_kept=chance_kept(ready_s, told.ready_by, now) if told else None,
        artist=outlook.artist,
        ahead=outlook.ahead,
    )


__all__ = ["LEVELS", "Forecast", "Quote", "forecast", "quote_order", "quotes_of_tickets"]

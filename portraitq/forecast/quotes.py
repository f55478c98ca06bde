"""What the booth says: for each open ticket, and for one ordered now, when it will be ready.

The one way in for the desk, the API, the wall and the replay; they all get the same answer.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta
from types import MappingProxyType

import numpy as np

from portraitq.core.booth import Booth
from portraitq.core.events import Style
from portraitq.core.life import Ticket
from portraitq.forecast.calibration import Calibration
from portraitq.forecast.last_orders import Portrait, last_order, today_until
from portraitq.forecast.pace import Pace
from portraitq.forecast.promise import LEVELS, Ordered, at_levels, chance_kept, promise
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
    """All quotes at one instant: of the tickets waiting, held or on an easel, and of each style if ordered now.

    last_orders  style -> until when one ordered for one sitter can be promised for today; None where it cannot any more
    today_until  by when it must be promised for that; None, and no last orders, while the booth is closed
    """

    as_of: datetime
    seq: int
    tickets: Mapping[str, Quote]
    order_now: Mapping[str, Quote]
    last_orders: Mapping[str, datetime | None] = field(default_factory=lambda: MappingProxyType({}))
    today_until: datetime | None = None


def forecast(booth: Booth, pace: Pace, now: datetime) -> Forecast:
    """Quotes for every open ticket and, for one sitter and asked of nobody, for every style; none without a set-up."""
    if booth.set_up is None:
        return Forecast(now, booth.seq, MappingProxyType({}), MappingProxyType({}))
    scenarios = Scenarios(booth, pace, now)
    order_now = {style.id: scenarios.asked(style, 1, None, ASKED) for style in _drawn_here(booth)}
    quotes = _quotes(scenarios, [*scenarios.outlooks.items(), *((None, asked) for asked in order_now.values())])
    of_styles = dict(zip(order_now, quotes[len(scenarios.outlooks) :], strict=True))
    last_orders = {
        style.id: _last_order(scenarios, Portrait(style), order_now[style.id], of_styles[style.id])
        for style in (_drawn_here(booth) if booth.day else ())
    }
    return Forecast(
        now,
        booth.seq,
        MappingProxyType(dict(zip(scenarios.outlooks, quotes, strict=False))),
        MappingProxyType(of_styles),
        MappingProxyType(last_orders),
        today_until(booth, pace),
    )


def _drawn_here(booth: Booth) -> list[Style]:
    assert booth.set_up is not None
    drawn = {style for artist in booth.set_up.artists for style in artist.styles}
    return [style for style in booth.set_up.styles if style.id in drawn]


ASKED = "ordered now"  # the name of the draws for a portrait that nobody has ordered yet


def _last_order(scenarios: Scenarios, asked: Portrait, ordered_now: Outlook, quote: Quote) -> datetime | None:
    return last_order(scenarios, asked, ordered_now, quote.promise_at, ASKED) if quote.artist is not None else None


@dataclass(frozen=True)
class Offer:
    """What somebody who asks for a style can have: its quote, and where that is not for today what would be.

    last_order  until when it can be promised for today; None where it cannot any more
    fewer       with fewer sitters: the most of them, and until when
    of_anybody  with whoever is free first in place of the artist asked for: until when
    """

    quote: Quote
    last_order: datetime | None = None
    fewer: tuple[int, datetime] | None = None
    of_anybody: datetime | None = None


def offers(booth: Booth, pace: Pace, now: datetime, *, sitters: int, artist: str | None) -> Mapping[str, Offer]:
    """What is offered of each style to somebody who asks now; an artist who does not draw it binds nobody."""
    if booth.set_up is None:
        return MappingProxyType({})
    scenarios = Scenarios(booth, pace, now)
    return MappingProxyType(
        {style.id: _offer(scenarios, Portrait(style, sitters, artist)) for style in booth.set_up.styles}
    )


def _offer(scenarios: Scenarios, asked: Portrait) -> Offer:
    quote, last = _asked(scenarios, asked)
    day = scenarios.booth.day
    if last is not None or quote.artist is None or day is None or scenarios.now >= day.closes_at:
        return Offer(quote, last)
    fewer = None
    low, high = 0, asked.sitters  # so many fit at least, and so many do not
    while high - low > 1:
        sitters = (low + high) // 2
        fits = _asked(scenarios, replace(asked, sitters=sitters))[1]
        low, high = (sitters, high) if fits else (low, sitters)
        fewer = (sitters, fits) if fits else fewer
    of_anybody = _asked(scenarios, replace(asked, artist=None))[1] if asked.artist is not None else None
    return Offer(quote, None, fewer, of_anybody)


def _asked(scenarios: Scenarios, asked: Portrait) -> tuple[Quote, datetime | None]:
    """Its quote, and until when it can be promised for today."""
    outlook = scenarios.asked(asked.style, asked.sitters, asked.artist, ASKED)
    [quote] = _quotes(scenarios, [(None, outlook)])
    return quote, _last_order(scenarios, asked, outlook, quote)


def quote_order(booth: Booth, pace: Pace, now: datetime, *, style: str, sitters: int, artist: str | None) -> Quote:
    """The quote of a portrait as though it were ordered now; KeyError when the booth has no such style."""
    found = booth.set_up.style(style) if booth.set_up else None
    if found is None:
        raise KeyError(style)
    scenarios = Scenarios(booth, pace, now)
    return _quotes(scenarios, [(None, scenarios.asked(found, sitters, artist, ASKED))])[0]


def quotes_of_tickets(booth: Booth, pace: Pace, now: datetime, tickets: Iterable[str]) -> Mapping[str, Quote]:
    """The quotes of some tickets alone: of those among them that are waiting, held or on an easel."""
    wanted = list(tickets)
    if booth.set_up is None or not wanted:
        return MappingProxyType({})
    return quotes_out_of(Scenarios(booth, pace, now), wanted)


def quotes_out_of(scenarios: Scenarios, tickets: Iterable[str]) -> Mapping[str, Quote]:
    """The quotes of some tickets out of scenarios that are drawn already."""
    found = [(id, scenarios.outlooks[id]) for id in tickets if id in scenarios.outlooks]
    return MappingProxyType(dict(zip((id for id, _ in found), _quotes(scenarios, found), strict=True)))


def _quotes(scenarios: Scenarios, outlooks: Sequence[tuple[str | None, Outlook]]) -> list[Quote]:
    """The quote of each outlook; the ticket's id beside it is None for what nobody has ordered yet."""
    if not outlooks:
        return []
    ready_s = np.array([outlook.ready_s for _, outlook in outlooks], dtype=np.float32)
    np.minimum(ready_s, NEVER_S, out=ready_s)
    ready_s.sort(axis=1)
    open_tickets = [scenarios.booth.tickets[id] if id else None for id, _ in outlooks]
    corrections = [_correction(scenarios, ticket) for ticket in open_tickets]
    levels_s = at_levels(ready_s, np.array([correction.levels for correction in corrections])).tolist()
    return [
        _quote(scenarios, outlook, ticket, correction, ready_s[row], levels_s[row])
        for row, ((_, outlook), ticket, correction) in enumerate(zip(outlooks, open_tickets, corrections, strict=True))
    ]


def _correction(scenarios: Scenarios, ticket: Ticket | None) -> Calibration:
    """What past quotes correct: those of orders just taken, so it goes for what nobody has begun yet."""
    return UNCORRECTED if ticket is not None and ticket.was_begun else scenarios.pace.calibration


UNCORRECTED = Calibration()


def _quote(
    scenarios: Scenarios,
    outlook: Outlook,
    ticket: Ticket | None,
    correction: Calibration,
    ready_s: Ordered,
    levels_s: Sequence[float],
) -> Quote:
    """One quote out of its scenarios in order and their corrected quantiles at `LEVELS`."""
    booth, now = scenarios.booth, scenarios.now
    assert booth.set_up is not None
    settings = booth.set_up.booth
    at = {level: now + timedelta(seconds=at_s) for level, at_s in zip(LEVELS, levels_s, strict=True)}
    told = ticket.promise if ticket is not None and ticket.finished_at is None else None
    confidence = correction.level(settings.confidence)
    return Quote(
        ready_at_quantiles=MappingProxyType(at),
        promise_at=promise(ready_s, confidence, settings.round_to_s, now, booth.zone),
        median_at=at[0.5],
        window=(at[LOW], at[HIGH]),
        chance_kept=correction.chance(chance_kept(ready_s, told.ready_by, now)) if told else None,
        artist=outlook.artist,
        ahead=outlook.ahead,
    )


__all__ = [
    "LEVELS",
    "Forecast",
    "Offer",
    "Quote",
    "forecast",
    "offers",
    "quote_order",
    "quotes_of_tickets",
    "quotes_out_of",
]

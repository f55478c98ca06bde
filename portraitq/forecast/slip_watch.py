"""Which promises slip: those that will probably be broken, each with a new time that can be stood by.

A mark is set early, when a promise has lost half of the chance with which the booth gives one, and is taken away only
when most of that chance is back, so that a quote that wavers makes no mark come and go. The time shown with it stays
until it is itself no longer likely, or much too late. Nothing of this is written down: after a restart the watch begins
anew from the present quotes, and two servers of one store, each with its own past, may differ while a promise is
between the two bounds.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import datetime
from types import MappingProxyType

from portraitq.core.booth import Booth
from portraitq.core.events import BoothSettings
from portraitq.core.life import HELD, Ticket
from portraitq.forecast.quotes import Forecast, Quote

MARKED_UNDER = 0.5  # of the booth's confidence: half of what was promised is gone
CLEARED_OVER = 0.8  # of the booth's confidence
LEAST_STEP_S = 300.0  # a booth that rounds to the minute need not show another time each minute
EARLIER_STEPS = 3  # a new time that much too late is told earlier; less is the customer's gain


@dataclass(frozen=True, slots=True)
class Slip:
    """A promise that will probably be broken.

    ready_by      what was promised
    marked_at     since when the mark stands
    new_ready_by  the time to be told instead, by the booth's own rule for promises
    chance_kept   of the promise, 0–1, as of the forecast that was looked at last
    """

    ready_by: datetime
    marked_at: datetime
    new_ready_by: datetime
    chance_kept: float


Slips = Mapping[str, Slip]
NO_SLIPS: Slips = MappingProxyType({})


def watch(before: Slips, booth: Booth, forecast: Forecast) -> Slips:
    """The slipping promises by ticket, given those that were marked `before` and a newer forecast of `booth`.

    A ticket that is held has no mark: until it is released its time is nobody's to say, and its quote is one "as though
    released now". One that nobody of the booth draws has none either, because there is no new time to tell. A promise
    that is told anew is judged as a new one.
    """
    if booth.set_up is None:
        return NO_SLIPS
    slips = {}
    for id, quote in forecast.tickets.items():
        slip = _slip(before.get(id), booth.tickets[id], quote, booth.set_up.booth, forecast.as_of)
        if slip is not None:
            slips[id] = slip
    return MappingProxyType(slips)


def _slip(before: Slip | None, ticket: Ticket, quote: Quote, booth: BoothSettings, now: datetime) -> Slip | None:
    promise, chance = ticket.promise, quote.chance_kept
    if promise is None or chance is None or ticket.place == HELD or quote.artist is None:
        return None
    if quote.promise_at <= promise.ready_by:  # it would be promised again, and as surely
        return None
    if before is None or before.ready_by != promise.ready_by:
        is_marked = chance < MARKED_UNDER * booth.confidence
        return Slip(promise.ready_by, now, quote.promise_at, chance) if is_marked else None
    if chance > CLEARED_OVER * booth.confidence:
        return None
    return replace(before, new_ready_by=_new_time(before.new_ready_by, quote, booth), chance_kept=chance)


def _new_time(shown: datetime, quote: Quote, booth: BoothSettings) -> datetime:
    """`shown` while it is still nearly right, else the present promise."""
    step_s = max(booth.round_to_s, LEAST_STEP_S)
    later_s = (quote.promise_at - shown).total_seconds()
    is_unlikely = quote.chance_by(shown) < CLEARED_OVER * booth.confidence
    if later_s > step_s or is_unlikely or later_s < -EARLIER_STEPS * step_s:
        return quote.promise_at
    return shown

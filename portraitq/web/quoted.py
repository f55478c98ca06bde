"""A quote in words: from when to when, which promise, and how a promise that was made stands by now.

Whether a promise slips says `forecast.slip_watch`, for all screens alike; here it is only put into words.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import TYPE_CHECKING, TypeGuard
from zoneinfo import ZoneInfo

from portraitq.core.events import print_instant
from portraitq.core.life import HELD, OVER, READY, Ticket
from portraitq.web.said import clock_time, minutes, window

if TYPE_CHECKING:
    from portraitq.desk import Standing
    from portraitq.forecast.quotes import Quote
    from portraitq.forecast.slip_watch import Slip

TOLD_STEP_S = 300
CLOCK_IS_WRONG = "the clock is wrong"
NOBODY = "nobody here draws this today"

HOLDS, AT_RISK, LATE, KEPT, UNTOLD = "holds", "at-risk", "late", "kept", "untold"  # late: the time told has passed
MARKS = {HOLDS: "✓", AT_RISK: "!", LATE: "✕", KEPT: "✓", UNTOLD: ""}


@dataclass(frozen=True)
class QuoteSaid:
    """A quote as it is read out; `ready_by` is its promise in the journal's form, to be sent back with the order.

    While the clock is wrong it names no clock times: `ready` is how long it takes, and nothing is promised.
    """

    ready: str
    promise: str
    ready_by: str


@dataclass(frozen=True)
class Holding:
    """How a promise stands: which time was told, what is to be thought of it, and a mark beside the words."""

    promise: str
    said: str
    state: str
    mark: str = ""

    @property
    def is_in_danger(self) -> bool:
        """Whether somebody should do something about it."""
        return self.state in (AT_RISK, LATE)


def names_a_time(quote: Quote | None) -> TypeGuard[Quote]:
    """Whether `quote` has a time that can be told. Where nobody of the booth draws it, it stands a year ahead."""
    return quote is not None and quote.artist is not None


def quote_said(quote: Quote, zone: ZoneInfo, now: datetime) -> QuoteSaid:
    """`quote` as it is read out at the counter."""
    return QuoteSaid(
        ready=f"about {window_of(quote, zone, now)}",
        promise=clock_time(quote.promise_at, zone, now),
        ready_by=print_instant(quote.promise_at),
    )


def quote_without_a_clock(quote: Quote, now: datetime) -> QuoteSaid:
    """`quote` as it is read out while the clock is wrong: how long it takes from now, and no promise."""
    low, high = (max((at - now).total_seconds(), 0.0) for at in quote.window)
    first, last = (minutes(math.ceil(s / TOLD_STEP_S) * TOLD_STEP_S) for s in (low, high))
    return QuoteSaid(ready=f"in {first}" if first == last else f"in {first} to {last}", promise="", ready_by="")


def time_to_tell(standing: Standing, ticket: Ticket) -> datetime | None:
    """What would be told of `ticket` now: the time that its mark shows everywhere, or without one the present promise.

    None where nothing is to be expected of it any more, nobody of the booth draws it, or the clock is wrong.
    """
    if not standing.tells_time:
        return None
    if slip := standing.slips.get(ticket.id):
        return slip.new_ready_by
    quote = standing.forecast.tickets.get(ticket.id)
    return quote.promise_at if names_a_time(quote) and ticket.finished_at is None else None


def window_of(quote: Quote, zone: ZoneInfo, now: datetime) -> str:
    """From when to when it will probably be ready, `15:20–15:35`."""
    low, high = quote.window
    return window(max(now, low), max(now, high), zone, now)


def about(quote: Quote, zone: ZoneInfo, now: datetime) -> str:
    """The one time in the middle, `15:50`, to the next five minutes."""
    return clock_time(_up(max(now, quote.median_at)), zone, now)


def _up(at: datetime) -> datetime:
    over_s = at.timestamp() % TOLD_STEP_S
    return at if not over_s else at + timedelta(seconds=TOLD_STEP_S - over_s)


def holding(standing: Standing, ticket: Ticket) -> Holding | None:
    """How the promise of `ticket` stands; None where there is none to be kept any more."""
    quote, promise = standing.forecast.tickets.get(ticket.id), ticket.promise
    now, zone = standing.as_of, standing.booth.zone
    if ticket.place in OVER:
        return None
    if ticket.finished_at is not None:
        return _kept(ticket, now, zone)
    if quote is not None and not names_a_time(quote):
        return _nobody(ticket, now, zone)
    if not standing.tells_time:
        told = clock_time(promise.ready_by, zone, now) if promise else ""
        return Holding(told, CLOCK_IS_WRONG if promise else f"no time told, {CLOCK_IS_WRONG}", UNTOLD)
    if promise is None:
        expected = about(quote, zone, now) if quote is not None else ""
        return Holding("", f"no time told, about {expected}" if expected else "no time told", UNTOLD)
    told = clock_time(promise.ready_by, zone, now)
    if quote is None:
        return Holding(told, "nobody can say yet", AT_RISK, MARKS[AT_RISK])
    if ticket.place == HELD:
        return Holding(told, "no time while it is held", UNTOLD)
    if slip := standing.slips.get(ticket.id):
        return _slipping(slip, now, zone)
    return Holding(told, "holds so far", HOLDS, MARKS[HOLDS])


def _slipping(slip: Slip, now: datetime, zone: ZoneInfo) -> Holding:
    state, word = (LATE, "late") if slip.ready_by <= now else (AT_RISK, "likely late")
    new = clock_time(slip.new_ready_by, zone, now)
    return Holding(clock_time(slip.ready_by, zone, now), f"{word}: now about {new}", state, MARKS[state])


def _nobody(ticket: Ticket, now: datetime, zone: ZoneInfo) -> Holding:
    promise = ticket.promise
    if promise is None:
        return Holding("", f"no time told, {NOBODY}", AT_RISK, MARKS[AT_RISK])
    state = LATE if promise.ready_by <= now else AT_RISK
    return Holding(clock_time(promise.ready_by, zone, now), NOBODY, state, MARKS[state])


def _kept(ticket: Ticket, now: datetime, zone: ZoneInfo) -> Holding | None:
    if ticket.place != READY or ticket.promise is None or ticket.finished_at is None:
        return None
    ready = clock_time(ticket.finished_at, zone, now)
    if ticket.finished_at <= ticket.promise.ready_by:
        return Holding("", f"since {ready}", KEPT)
    return Holding("", f"since {ready}, promised for {clock_time(ticket.promise.ready_by, zone, now)}", KEPT)

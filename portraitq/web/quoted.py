"""A quote in words: from when to when, which promise, and how a promise that was made stands by now.

What is sure enough to say so is settled here; how sure it is says the forecast.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import TYPE_CHECKING, TypeGuard
from zoneinfo import ZoneInfo

from portraitq.core.events import SetUp, print_instant
from portraitq.core.life import OVER, READY, Ticket
from portraitq.web.said import clock_time, window

if TYPE_CHECKING:
    from portraitq.forecast.quotes import Quote

WILL_HOLD = 0.70  # above this chance nobody need worry; a promise is made at 85 % or so
WILL_FAIL = 0.25  # under this one the customer is better told a new time now
TOLD_STEP_S = 300
NOBODY = "nobody here draws this today"

HOLDS, AT_RISK, LATE, KEPT, UNTOLD = "holds", "at-risk", "late", "kept", "untold"
MARKS = {HOLDS: "✓", AT_RISK: "!", LATE: "✕", KEPT: "✓", UNTOLD: ""}


@dataclass(frozen=True)
class QuoteSaid:
    """A quote as it is read out; `ready_by` is its promise in the journal's form, to be sent back with the order."""

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


def holding(ticket: Ticket, quote: Quote | None, set_up: SetUp, now: datetime, zone: ZoneInfo) -> Holding | None:
    """How the promise of `ticket` stands at `now`; None where there is none to be kept any more."""
    promise = ticket.promise
    if ticket.place in OVER:
        return None
    if ticket.finished_at is not None:
        return _kept(ticket, now, zone)
    if quote is not None and not names_a_time(quote):
        return _nobody(ticket, now, zone)
    expected = about(quote, zone, now) if quote is not None else ""
    if promise is None:
        return Holding("", f"no time told, about {expected}" if expected else "no time told", UNTOLD)
    told = clock_time(promise.ready_by, zone, now)
    if quote is None:
        return Holding(told, "nobody can say yet", AT_RISK, MARKS[AT_RISK])
    sure = clock_time(max(quote.promise_at, promise.ready_by), zone, now)
    chance = quote.chance_kept if quote.chance_kept is not None else 1.0
    if promise.ready_by <= now or chance < WILL_FAIL:
        return Holding(told, f"late: {sure} would hold", LATE, MARKS[LATE])
    if chance < WILL_HOLD:
        return Holding(told, f"at risk: {sure} would hold", AT_RISK, MARKS[AT_RISK])
    return Holding(told, "will hold", HOLDS, MARKS[HOLDS])


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

"""A line of the journal in words, as somebody would tell it in the evening: no names of customers, no ids."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime
from typing import Any

from portraitq.core.booth import Booth
from portraitq.core.events import (
    SYSTEM,
    ArtistIn,
    ArtistOut,
    Cancelled,
    Collected,
    DayClosed,
    DayOpened,
    Erased,
    Event,
    Finished,
    Held,
    Moved,
    OfTicket,
    Ordered,
    Paid,
    Paused,
    Promised,
    PutBack,
    Released,
    Resumed,
    SetUp,
    StageDone,
    StageUndone,
    Started,
    TouchedUp,
    WalkedAway,
)
from portraitq.core.life import Ticket
from portraitq.web.queue import HOLD_WHY, PAUSE_WHY
from portraitq.web.said import clock_time, day_beside, money

CANCEL_WHY = {
    "customer": "the customer does not want it",
    "booth": "we cannot draw it",
    "no_show": "nobody came for it",
}
PAID_HOW = {"cash": "in cash", "card": "by card", "other": "another way"}


def event_said(event: Event, booth: Booth, then: SetUp | None = None) -> str:
    """What happened, in one clause; `booth` stands at that line or later, so that it knows every ticket.

    then  the set-up at that time, for whom and what the present one no longer knows
    """
    day = next((one.day for one in reversed(booth.days) if one.opened_at <= event.at), "")
    teller = _Teller(booth, then, event.at, day)
    if event.by == SYSTEM and isinstance(event.data, Paused | Resumed):
        what = "left out of" if isinstance(event.data, Paused) else "counted again for"
        return f"The computer's clock was set on: time {what} {teller.number(event.data.ticket)}"
    return _WORDS[event.kind](teller, event.data)


class _Teller:
    """Names things as the booth calls them on `day`, the day of trading at the instant `at`."""

    def __init__(self, booth: Booth, then: SetUp | None, at: datetime, day: str) -> None:
        self.booth, self.at, self.day = booth, at, day
        self.set_ups = [one for one in (booth.set_up, then) if one is not None]

    def clock(self, at: datetime) -> str:
        return clock_time(at, self.booth.zone, self.at)

    def ticket(self, data: OfTicket) -> Ticket:
        return self.booth.tickets[data.ticket]

    def number(self, id: str) -> str:
        ticket = self.booth.tickets[id]
        beside = day_beside(ticket.day, self.day) if self.day else ""
        return f"number {ticket.number}" + (f" of {beside}" if beside else "")

    def artist(self, id: str) -> str:
        return next((found.name for one in self.set_ups if (found := one.artist(id))), id)

    def style(self, id: str | None) -> str:
        return next((found.name for one in self.set_ups if id and (found := one.style(id))), id or "a portrait")

    def stage(self, data: StageDone | StageUndone) -> str:
        return next((one.name for one in self.ticket(data).style.stages if one.id == data.stage), data.stage)

    def money(self, cents: int) -> str:
        return money(cents, self.set_ups[0].booth.currency)  # the journal's first line is one

    def set_up(self, _: SetUp) -> str:
        return "Set-up changed"

    def day_opened(self, data: DayOpened) -> str:
        return f"The day opened, closing at {self.clock(data.closes_at)}"

    def day_closed(self, _: DayClosed) -> str:
        return "The day closed"

    def artist_in(self, data: ArtistIn) -> str:
        return f"{self.artist(data.artist)} came in"

    def artist_out(self, data: ArtistOut) -> str:
        return f"{self.artist(data.artist)} went"

    def ordered(self, data: Ordered) -> str:
        sitters = "" if data.sitters == 1 else f", {data.sitters} sitters"
        asked = f", asked of {self.artist(data.artist)}" if data.artist else ""
        return f"{self.begin(data)} ordered: {self.ticket(data).style.name}{sitters}{asked}"

    def begin(self, data: OfTicket) -> str:
        said = self.number(data.ticket)
        return said[0].upper() + said[1:]

    def promised(self, data: Promised) -> str:
        return f"{self.begin(data)} promised for {self.clock(data.ready_by)}"

    def walked_away(self, data: WalkedAway) -> str:
        told = f", heard {self.clock(data.ready_by)}" if data.ready_by else ""
        return f"Somebody asked for {self.style(data.style)}{told} and left"

    def started(self, data: Started) -> str:
        return f"{self.begin(data)} begun by {self.artist(data.artist)}"

    def stage_done(self, data: StageDone) -> str:
        return f"{self.begin(data)}: {self.stage(data)} done"

    def stage_undone(self, data: StageUndone) -> str:
        return f"{self.begin(data)}: {self.stage(data)} taken back"

    def paused(self, data: Paused) -> str:
        why = "" if data.why == "other" else f": {PAUSE_WHY[data.why]}"
        return f"{self.begin(data)} paused{why}"

    def resumed(self, data: Resumed) -> str:
        return f"{self.begin(data)} resumed"

    def put_back(self, data: PutBack) -> str:
        return f"{self.begin(data)} put back into the queue"

    def held(self, data: Held) -> str:
        why = "" if data.why == "other" else f": {HOLD_WHY[data.why]}"
        return f"{self.begin(data)} held{why}"

    def released(self, data: Released) -> str:
        return f"{self.begin(data)} held no longer"

    def moved(self, data: Moved) -> str:
        return f"{self.begin(data)} moved " + (f"before {self.number(data.before)}" if data.before else "to the end")

    def finished(self, data: Finished) -> str:
        return f"{self.begin(data)} ready" + (f", rack {data.rack}" if data.rack else "")

    def collected(self, data: Collected) -> str:
        return f"{self.begin(data)} handed over"

    def touched_up(self, data: TouchedUp) -> str:
        return f"{self.begin(data)} to {self.artist(data.artist)} for a touch-up"

    def cancelled(self, data: Cancelled) -> str:
        return f"{self.begin(data)} cancelled: {CANCEL_WHY[data.why]}"

    def paid(self, data: Paid) -> str:
        verb = "paid" if data.amount > 0 else "given back"
        return f"{self.begin(data)}: {self.money(abs(data.amount))} {verb} {PAID_HOW[data.how]}"

    def erased(self, data: Erased) -> str:
        return f"{self.begin(data)}: its personal data erased"


_WORDS: dict[str, Callable[[_Teller, Any], str]] = {
    SetUp.kind: _Teller.set_up,
    DayOpened.kind: _Teller.day_opened,
    DayClosed.kind: _Teller.day_closed,
    ArtistIn.kind: _Teller.artist_in,
    ArtistOut.kind: _Teller.artist_out,
    Ordered.kind: _Teller.ordered,
    Promised.kind: _Teller.promised,
    WalkedAway.kind: _Teller.walked_away,
    Started.kind: _Teller.started,
    StageDone.kind: _Teller.stage_done,
    StageUndone.kind: _Teller.stage_undone,
    Paused.kind: _Teller.paused,
    Resumed.kind: _Teller.resumed,
    PutBack.kind: _Teller.put_back,
    Held.kind: _Teller.held,
    Released.kind: _Teller.released,
    Moved.kind: _Teller.moved,
    Finished.kind: _Teller.finished,
    Collected.kind: _Teller.collected,
    TouchedUp.kind: _Teller.touched_up,
    Cancelled.kind: _Teller.cancelled,
    Paid.kind: _Teller.paid,
    Erased.kind: _Teller.erased,
}

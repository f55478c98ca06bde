"""How long did each stage take? Measured stage times out of a ticket's history, and how far each can be trusted.

The clock of a sketch runs while it is on the easel and not paused; a stage's time is what that clock counted between
two taps. What a measured time says about the artist's pace is the forecast's to judge.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime

from portraitq.core.booth import Booth, TradingDay
from portraitq.core.events import SYSTEM, Event, OfTicket, Paused, StageDone, Started, TouchedUp
from portraitq.core.life import ON_EASEL, PAUSED, TOUCH_UP_REST, Ticket

CATCH_UP_S = 3.0  # taps closer than this catch up what was forgotten: no hand draws a stage in that time
RAN_OVERNIGHT = "the clock ran on over the night"
LONGEST_STAGE_S = 6 * 3600.0  # longer than any sitting: the clock ran on through the night


@dataclass(frozen=True, slots=True)
class StageTime:
    """What was measured of one stage, or of several whose taps came in one burst and of which only the sum is known.

    `total_s` is for all sitters together. A time that is not `trusted` says in `why_not` what is wrong with it.
    `at_least_s` is what the clock showed at the last sign of life: of a clock that ran on, no more than that is known.
    `over_break` says that a planned break of the artist lies in it and the clock was not stopped: it may have run on.
    """

    ticket: str
    artist: str
    style: str
    stages: tuple[str, ...]
    sitters: int
    total_s: float
    ended_at: datetime
    trusted: bool = True
    why_not: str | None = None
    at_least_s: float = 0.0
    over_break: bool = False


@dataclass(frozen=True, slots=True)
class Pause:
    """One pause of a sketch: why, from when, and how long; `ended_at` is None while it lasts.

    `is_of_the_clock` says that nobody paused: the system's clock was set on, and that was taken out of the time.
    """

    why: str
    began_at: datetime
    ended_at: datetime | None
    is_of_the_clock: bool = False


@dataclass(frozen=True, slots=True)
class Turnaround:
    """From when `artist` was free to when they began `ticket`.

    `waited` says that the ticket was waiting all that time; where it is false the customer came later, `lag_s` is
    counted from when they did, and it is no turnaround but the time an idle artist takes to begin.
    """

    artist: str
    ticket: str
    lag_s: float
    began_at: datetime
    waited: bool


Span = tuple[datetime, datetime]


@dataclass(slots=True)
class _Mark:
    """A tap: its stage, what the clock showed and when, and in which spans it ran since the tap before."""

    stage: str
    at_s: float
    at: datetime
    artist: str
    began_at: datetime
    hands: int
    spans: list[Span]


@dataclass(slots=True)
class _Clock:
    """The clock of one sketch, read event by event; `ran_s` counts only while it is drawn."""

    ran_s: float = 0.0
    since: datetime | None = None
    last_at: datetime | None = None
    artist: str = ""
    marks: list[_Mark] = field(default_factory=list)
    began_at: datetime | None = None
    hands: set[str] = field(default_factory=set)
    spans: list[Span] = field(default_factory=list)
    pauses: list[Pause] = field(default_factory=list)
    is_touch_up: bool = False
    touch_up_from_s: float = 0.0
    touched_up_s: float = 0.0

    def read(self, event: Event) -> None:
        at = event.happened_at
        if self.last_at is not None and at < self.last_at:
            at = self.last_at  # a tap that claims to be older than the one before it is as old as that one
        self.last_at = at
        data = event.data
        match data:
            case Started(artist=artist):
                self._put_on(artist, at)
            case TouchedUp(artist=artist):
                self._put_on(artist, at)
                self.is_touch_up, self.touch_up_from_s = True, self.ran_s
            case StageDone(stage=stage):
                self._stop(at, runs_on=True)
                began_at = self.began_at or at
                self.marks.append(_Mark(stage, self.ran_s, at, self.artist, began_at, len(self.hands), self.spans))
                self.began_at, self.hands, self.spans = at, {self.artist}, []
            case Paused(why=why):
                self._stop(at)
                self.pauses.append(Pause(why, at, None, event.by == SYSTEM))
            case _ if event.kind == "stage_undone" and self.marks:
                undone = self.marks.pop()
                self.began_at = undone.began_at
                self.hands.add(undone.artist)
                self.spans = undone.spans + self.spans
            case _ if event.kind == "resumed":
                self._end_pause(at)
                self.since = at
            case _ if event.kind in ("put_back", "finished", "cancelled"):
                self._end_pause(at)
                self._stop(at)

    def _put_on(self, artist: str, at: datetime) -> None:
        self.artist, self.since = artist, at
        if self.began_at is None:
            self.began_at = at
        self.hands.add(artist)

    def _stop(self, at: datetime, runs_on: bool = False) -> None:
        if self.since is not None:
            span_s = (at - self.since).total_seconds()
            self.ran_s += span_s
            self.touched_up_s += span_s if self.is_touch_up else 0.0
            self.spans.append((self.since, at))
            self.since = at if runs_on else None

    def _end_pause(self, at: datetime) -> None:
        if self.pauses and self.pauses[-1].ended_at is None:
            self.pauses[-1] = replace(self.pauses[-1], ended_at=at)


def _clock(ticket: Ticket) -> _Clock:
    clock = _Clock()
    for event in ticket.history:
        if isinstance(event.data, OfTicket) and event.kind not in ("promised", "paid", "erased"):
            clock.read(event)
    return clock


def stage_times(ticket: Ticket, days: Sequence[TradingDay] = ()) -> tuple[StageTime, ...]:
    """The measured stages of `ticket`, in order; a burst of taps gives one entry with the stages it covers.

    A stage in hand, or one that a cancellation ended, is not measured. `days` are the booth's days of trading: a
    clock that ran through a closing into the next day is not trusted.
    """
    return tuple(_measured(ticket, days))


def _measured(ticket: Ticket, days: Sequence[TradingDay]) -> Iterator[StageTime]:
    clock = _clock(ticket)
    bursts: list[list[_Mark]] = []
    before_s = 0.0
    for mark in clock.marks:
        if bursts and mark.at_s - before_s < CATCH_UP_S:
            bursts[-1].append(mark)
        else:
            bursts.append([mark])
        before_s = mark.at_s
    before_s = 0.0
    for burst in bursts:
        last = burst[-1]
        total_s = last.at_s - before_s
        before_s = last.at_s
        reason = _why_not(burst, total_s, days)
        alive_s, over_break = _alive(burst, days)
        yield StageTime(
            ticket=ticket.id,
            artist=last.artist,
            style=ticket.style.id,
            stages=tuple(mark.stage for mark in burst),
            sitters=ticket.sitters,
            total_s=total_s,
            ended_at=last.at,
            trusted=reason is None,
            why_not=reason,
            at_least_s=min(alive_s, total_s) if reason in (None, RAN_OVERNIGHT) else 0.0,
            over_break=over_break,
        )


def _alive(burst: list[_Mark], days: Sequence[TradingDay]) -> tuple[float, bool]:
    """What the clock showed at the last sign of life before it may have run on; whether a planned break lies in it.

    That is where a planned break of the artist or a closing time lies in the time clocked, for a stage in hand is drawn
    until then; otherwise whatever was clocked outside the longest span between two taps.
    """
    clocked_s = longest_s = 0.0
    for since, until in (span for mark in burst for span in mark.spans):
        if gaps := list(_gaps(burst[-1].artist, since, until, days)):
            begins_at, is_break = min(gaps)
            return clocked_s + (begins_at - since).total_seconds(), is_break
        clocked_s += (until - since).total_seconds()
        longest_s = max(longest_s, (until - since).total_seconds())
    return clocked_s - longest_s, False


def _gaps(artist: str, since: datetime, until: datetime, days: Sequence[TradingDay]) -> Iterator[tuple[datetime, bool]]:
    """Where nobody was expected to draw in a span of time: from when, and whether for a planned break."""
    first = max(day_index(days, since) - 1, 0)
    for step, day in enumerate(days[first : day_index(days, until)], start=first):
        for planned in day.breaks:
            if planned.artist == artist and since <= planned.begins_at and planned.ends_at <= until:
                yield planned.begins_at, True
        if step + 1 < len(days) and days[step + 1].opened_at <= until:
            yield max(since, min(day.closes_at, day.closed_at or day.closes_at)), False


def _why_not(burst: list[_Mark], total_s: float, days: Sequence[TradingDay]) -> str | None:
    if total_s < CATCH_UP_S:
        return "tapped together with the start, so nobody knows how long it took"
    if any(mark.hands > 1 for mark in burst):
        return "begun by one artist and ended by another"
    if total_s > LONGEST_STAGE_S or _ran_through_a_night(burst[0].began_at, burst[-1].at, days):
        return RAN_OVERNIGHT
    return None


def _ran_through_a_night(began_at: datetime, ended_at: datetime, days: Sequence[TradingDay]) -> bool:
    return day_index(days, began_at) != day_index(days, ended_at)


def day_index(days: Sequence[TradingDay], at: datetime) -> int:
    """Which day of trading `at` belongs to, counted from 1; 0 before the first."""
    return bisect_right(days, at, key=lambda day: day.opened_at)


def pauses(ticket: Ticket) -> tuple[Pause, ...]:
    """Every pause of `ticket`, in order; the last one has no end while it lasts."""
    return tuple(_clock(ticket).pauses)


def drawn_s(ticket: Ticket) -> float:
    """Seconds that `ticket` was drawn, up to its last event; pauses and touch-ups out."""
    clock = _clock(ticket)
    return clock.ran_s - clock.touched_up_s


def running(ticket: Ticket, now: datetime, days: Sequence[TradingDay] = ()) -> float | None:
    """Seconds that the stage in hand (or the touch-up) has been drawn at `now`, pauses out; None off the easel.

    A stage done and taken back goes on as if the tap had not been said. A ticket that was put back and begun again
    goes on where its stage was left.
    """
    return drawing_s(ticket, now, days) if ticket.place in ON_EASEL else None


def drawing_s(ticket: Ticket, now: datetime, days: Sequence[TradingDay] = ()) -> float:
    """Seconds that the first stage not yet done, or the touch-up, has been drawn at `now`, wherever the ticket is.

    `days` are the booth's days of trading: while it is closed nobody draws, though the clock was left running.
    """
    clock = _clock(ticket)
    done_s = clock.marks[-1].at_s if clock.marks else 0.0
    begun_s = clock.touch_up_from_s if clock.is_touch_up else done_s
    goes_on_s = 0.0
    if clock.since is not None:
        goes_on_s = (now - clock.since).total_seconds() - _closed_s(days, clock.since, now)
    return max(clock.ran_s + goes_on_s - begun_s, 0.0)


def _closed_s(days: Sequence[TradingDay], since: datetime, until: datetime) -> float:
    """Seconds between `since` and `until` in which the booth was closed after a day of trading."""
    closed_s, opens_at = 0.0, until
    for day in reversed(days):
        if opens_at <= since:
            break
        if day.closed_at is not None:
            closed_s += max((min(opens_at, until) - max(day.closed_at, since)).total_seconds(), 0.0)
        opens_at = day.opened_at
    return closed_s


def pause_in_hand(ticket: Ticket) -> Pause | None:
    """The pause that `ticket` is in, or None."""
    if ticket.place not in (PAUSED, TOUCH_UP_REST):
        return None
    return _clock(ticket).pauses[-1]


@dataclass(frozen=True, slots=True)
class Stay:
    """One stay of a ticket on an easel: who, from when, until when (None while it lasts), and since when it waited.

    `seq` is the journal's line with which it began.
    """

    ticket: str
    artist: str
    waiting_since: datetime
    began_at: datetime
    ended_at: datetime | None
    seq: int


def stays(ticket: Ticket) -> tuple[Stay, ...]:
    """Every stay of `ticket` on an easel, touch-ups as well, in order."""
    found: list[Stay] = []
    waiting_since = ticket.ordered_at
    for event in ticket.history:
        at = event.happened_at
        match event.data:
            case Started(artist=artist):
                found.append(Stay(ticket.id, artist, min(waiting_since, at), at, None, event.seq))
            case TouchedUp(artist=artist):
                found.append(Stay(ticket.id, artist, at, at, None, event.seq))
            case _ if event.kind in ("put_back", "finished", "cancelled"):
                waiting_since = at
                if found and found[-1].ended_at is None:
                    open_stay = found[-1]
                    found[-1] = replace(open_stay, ended_at=max(at, open_stay.began_at))
            case _ if event.kind in ("released", "moved"):
                waiting_since = at
    return tuple(found)


def turnaround(stay: Stay, free_at: datetime | None, booth: Booth) -> Turnaround | None:
    """What lay between `free_at`, when the artist of `stay` became free, and its beginning.

    None for an easel's first of the day, for a touch-up, and where a night or a break of the artist, planned or not,
    came between.
    """
    days = booth.days
    if free_at is None or stay.waiting_since == stay.began_at or stay.began_at < free_at:
        return None
    if booth.was_away(stay.artist, free_at, stay.began_at, stay.seq):
        return None
    index = day_index(days, stay.began_at)
    if not index or days[index - 1].opened_at > free_at:
        return None
    for planned in days[index - 1].breaks:
        if planned.artist == stay.artist and planned.begins_at < stay.began_at and planned.ends_at > free_at:
            return None
    waited = stay.waiting_since <= free_at
    lag_s = (stay.began_at - max(free_at, stay.waiting_since)).total_seconds()
    return Turnaround(stay.artist, stay.ticket, lag_s, stay.began_at, waited)


def turnarounds(booth: Booth) -> tuple[Turnaround, ...]:
    """Every measured turnaround of the booth, in the order in which the portraits were begun."""
    free_at: dict[str, datetime] = {}
    found: list[Turnaround] = []
    for stay in sorted((stay for ticket in booth.tickets.values() for stay in stays(ticket)), key=lambda s: s.began_at):
        measured = turnaround(stay, free_at.get(stay.artist), booth)
        if measured is not None:
            found.append(measured)
        if stay.ended_at is not None:
            free_at[stay.artist] = stay.ended_at
    return tuple(found)

"""A day once more, ready to print: the whole day under the slider, and one minute of it.

Pure: out of a past day as it was read (`forecast.past`) and the booth as it stands today, which knows what then
happened. What the wall showed is not told here but rendered by the wall's own view of the same Standing.
"""

from __future__ import annotations

import re
from bisect import bisect_left, bisect_right
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

from markupsafe import Markup

from portraitq.core.booth import Booth
from portraitq.core.errors import Malformed
from portraitq.core.events import DayClosed, Erased, Event, Ordered, Promised, SetUp
from portraitq.core.life import CANCELLED, HELD, Ticket
from portraitq.daybook.days import Day
from portraitq.daybook.promises import LATE, UNFINISHED, Word, word_of
from portraitq.daybook.queue_line import queue_line
from portraitq.desk import Standing
from portraitq.forecast.past import PastDay
from portraitq.forecast.quotes import Quote, forecast
from portraitq.forecast.slip_watch import NO_SLIPS, watch
from portraitq.web.event_said import event_said
from portraitq.web.queue import Now, now_of, oval_of, place_said
from portraitq.web.quoted import holding, names_a_time, window_of
from portraitq.web.said import clock_time, day_said, minutes

MINUTE = timedelta(minutes=1)
A_DAY_MIN = 24 * 60
AFTER_CLOSING = timedelta(minutes=60)  # what is handed over and put away after closing belongs to the day's picture
AROUND = timedelta(minutes=5)
MOST_AROUND = 12  # lines on either side; a minute of many taps is told by those next to it
MOST_HOURS = 6  # written under the graph: so many clock times stand side by side on a phone
CLOCK = re.compile(r"([01]?\d|2[0-3]):([0-5]\d)")


def standing_at(slug: str, past: PastDay, at: datetime) -> Standing:
    """The booth, its pace and its quotes as the desk had them at `at`; marks as of a watch that begins then."""
    known = past.known(at)
    quotes = forecast(known.booth, known.pace, at)
    return Standing(slug, known.booth, quotes, known.pace, at, watch(NO_SLIPS, known.booth, quotes))


@dataclass(frozen=True)
class Minutes:
    """The minutes of a day that can be looked at, counted from the first whole one after it was opened."""

    first_at: datetime
    last: int
    zone: ZoneInfo

    def at(self, minute: int) -> datetime:
        """The instant at which that minute begins."""
        return self.first_at + minute * MINUTE

    def knowing(self, at: datetime) -> int:
        """The first minute at which what was written down at `at` is known; an end where that lies outside."""
        return min(max(-((self.first_at - at) // MINUTE), 0), self.last)

    def holds(self, at: datetime) -> bool:
        """Whether `at` is one of these minutes, or between two of them."""
        return self.first_at <= at <= self.at(self.last)

    def clock(self, minute: int) -> str:
        """What the booth's clocks showed."""
        return clock_time(self.at(minute), self.zone)

    def of_clock(self, text: str) -> int:
        """The minute at which the booth's clocks showed `text` first; the nearer end where they never did."""
        found = CLOCK.fullmatch(text.strip())
        if not found:
            raise Malformed(f"at: a time of day such as 14:05 was expected, not {text[:20]!r}.", "at")
        first, hour, minute = self.first_at.astimezone(self.zone), int(found[1]), int(found[2])
        days = (self.at(self.last).astimezone(self.zone).date() - first.date()).days
        for later in range(days + 1):
            local = datetime.combine(first.date() + timedelta(days=later), datetime.min.time(), self.zone)
            for fold in (0, 1):  # an hour that the end of summer time brings twice
                at = local.replace(hour=hour, minute=minute, fold=fold).astimezone(UTC)
                if self.holds(at):
                    return (at - self.first_at) // MINUTE
        last = self.at(self.last).astimezone(self.zone)
        too_early_min = (first.hour * 60 + first.minute - hour * 60 - minute) % A_DAY_MIN
        too_late_min = (hour * 60 + minute - last.hour * 60 - last.minute) % A_DAY_MIN
        return 0 if too_early_min <= too_late_min else self.last

    def asked(self, minute: int) -> str:
        """How an address asks for that minute: by its clock time, or by its count where the clock shows it twice."""
        clock = self.clock(minute)
        return f"at={clock}" if self.of_clock(clock) == minute else f"minute={minute}"


def minutes_of(past: PastDay, day: Day, zone: ZoneInfo, now: datetime) -> Minutes:
    """From the opening until what followed the closing is put away; until now while the day is open."""
    first_at = _whole_minute_after(past.lines[0].at)
    closed_at = next((line.at for line in reversed(past.lines) if isinstance(line.data, DayClosed)), None)
    if day.closed_at is None or closed_at is None:
        ends_at = min(now, max(day.sessions[-1].closes_at, past.lines[-1].at) + AFTER_CLOSING)
        last = (ends_at - first_at) // MINUTE
    else:
        told = [line.at for line in past.lines if not isinstance(line.data, Erased)]
        ends_at = max([closed_at, *(at for at in told if at <= closed_at + AFTER_CLOSING)])
        last = (_whole_minute_after(ends_at) - first_at) // MINUTE
    return Minutes(first_at, max(last, 0), zone)


def _whole_minute_after(at: datetime) -> datetime:
    floor = at.replace(second=0, microsecond=0)
    return floor if floor == at else floor + MINUTE


@dataclass(frozen=True)
class Broken:
    """A promise that was not kept: the minute at which its time had come, and what became of it."""

    minute: int
    clock: str
    address: str
    said: str


@dataclass(frozen=True)
class DayView:
    """The whole day: what stands around the slider. `event_minutes` are those at which something new is known."""

    slug: str
    day: str
    day_said: str
    minutes: Minutes
    zone: str
    first_at: str
    opened: int
    closed: int
    is_open: bool
    longest: int
    graph: Markup
    graph_said: str
    broken: tuple[Broken, ...]
    event_minutes: tuple[int, ...]


def day_view(slug: str, past: PastDay, day: Day, present: Booth, now: datetime) -> DayView:
    """`day` with all that is known of it by `now`; `present` is the booth as it stands."""
    own = minutes_of(past, day, present.zone, now)
    waiting = _waiting(past, own)
    longest = waiting.index(max(waiting))
    broken = tuple(_broken(past, own, present, now, day))
    closed = own.knowing(_closed_at(past)) if day.closed_at else own.last
    peak = f"at most {waiting[longest]} at {own.clock(longest)}" if waiting[longest] else "nobody ever"
    crosses = f"{len(broken)} {'promise' if len(broken) == 1 else 'promises'} not kept" if broken else ""
    said = f"How many waited, minute by minute: {peak}." + (f" Crosses: {crosses}." if broken else "")
    return DayView(
        slug=slug,
        day=day.day,
        day_said=day_said(day.day),
        minutes=own,
        zone=str(present.zone),
        first_at=own.first_at.isoformat(),
        opened=own.knowing(past.lines[0].at),
        closed=closed,
        is_open=day.closed_at is None,
        longest=longest,
        graph=Markup(queue_line(waiting, [one.minute for one in broken], _hours(own), said)),
        graph_said=said,
        broken=broken,
        event_minutes=tuple(sorted({own.knowing(line.at) for line in _told(past.lines) if _is_within(line, own)})),
    )


def _closed_at(past: PastDay) -> datetime:
    return next(line.at for line in reversed(past.lines) if isinstance(line.data, DayClosed))


def _is_within(line: Event, own: Minutes) -> bool:
    return line.at <= own.at(own.last)


def _told(lines: Iterable[Event]) -> list[Event]:
    """What is worth telling: that personal data went is no part of the day."""
    return [line for line in lines if not isinstance(line.data, Erased)]


def _waiting(past: PastDay, own: Minutes) -> list[int]:
    """How many waited at each minute."""
    steps = past.waiting()
    ats = [at for at, _ in steps]
    return [steps[max(bisect_right(ats, own.at(minute)) - 1, 0)][1] for minute in range(own.last + 1)]


def _hours(own: Minutes) -> list[tuple[int, str]]:
    """The whole hours that are written under the graph, by minute."""
    whole = [minute for minute in range(own.last + 1) if own.clock(minute).endswith(":00")]
    step = -(-len(whole) // MOST_HOURS) or 1
    return [(minute, own.clock(minute)) for minute in whole[::step]]


def _broken(past: PastDay, own: Minutes, present: Booth, now: datetime, day: Day) -> Iterable[Broken]:
    ordered = [line.data.ticket for line in past.lines if isinstance(line.data, Ordered)]
    tickets = [present.tickets[id] for id in dict.fromkeys([*past.before.booth.open_ids, *ordered])]
    words = [(ticket, word) for ticket in tickets if (word := word_of(ticket, now)) is not None]
    at = Now(now, present.zone, day.day)
    for ticket, word in sorted(words, key=lambda one: one[1].first_by):
        if word.outcome in (LATE, UNFINISHED) and own.holds(word.first_by):
            minute = own.knowing(word.first_by)
            said = f"{_called(ticket, at)}: {_then(ticket, word, own.zone, word.first_by)[0]}"
            yield Broken(minute, own.clock(minute), own.asked(minute), said)


def _called(ticket: Ticket, at: Now) -> str:
    beside = at.beside(ticket)
    return f"number {ticket.number}" + (f" of {beside}" if beside else "")


@dataclass(frozen=True)
class Jump:
    """A way to another minute: `short` is seen, `said` is read out; `address` is empty where there is none."""

    id: str
    short: str
    said: str
    minute: int
    address: str


@dataclass(frozen=True)
class OpenTicket:
    """One ticket that was still to be drawn: what was told, what was quoted then, and what happened."""

    number: int
    from_day: str
    oval: str
    stages_done: int
    stages: int
    what: str
    where: str
    told: str
    told_first: str
    quote: str
    chance: str
    mark: str
    state: str
    then: str
    then_mark: str
    then_state: str


@dataclass(frozen=True)
class Around:
    """One line of the journal: when it was written down, what it says, and when it was tapped if that was earlier."""

    clock: str
    said: str
    tapped: str


@dataclass(frozen=True)
class MinuteView:
    """One minute. `said` is what the slider says of itself."""

    minute: int
    clock: str
    said: str
    address: str
    headline: str
    jumps: tuple[Jump, ...]
    rows: tuple[OpenTicket, ...]
    before: tuple[Around, ...]
    after: tuple[Around, ...]


def minute_view(
    whole: DayView, past: PastDay, standing: Standing, present: Booth, minute: int, now: datetime
) -> MinuteView:
    """What was known at that minute, with what `present` knows of how it ended by `now`."""
    booth, own = standing.booth, whole.minutes
    drawing = [t for id in booth.easels.values() if (t := booth.tickets[id]).finished_at is None]
    open_tickets = [*sorted(drawing, key=lambda one: one.artist or ""), *booth.waiting()]
    rows = tuple(_row(standing, ticket, present, now) for ticket in open_tickets)
    clock = own.clock(minute)
    before, after = _around(past, booth.set_up, present, own, minute)
    return MinuteView(
        minute=minute,
        clock=clock,
        said=f"{clock}, {len(booth.queue)} waiting",
        address=f"?day={whole.day}&{own.asked(minute)}",
        headline=_headline(len(booth.queue), len(booth.easels), rows),
        jumps=tuple(_jumps(whole, minute)),
        rows=rows,
        before=before,
        after=after,
    )


def _headline(waiting: int, on_easels: int, rows: Sequence[OpenTicket]) -> str:
    said = [f"{waiting} waiting", f"{on_easels} on the {'easel' if on_easels == 1 else 'easels'}"]
    in_danger = sum(row.state in ("at-risk", "late") for row in rows)
    late = sum(row.then_state == "late" for row in rows)
    said += [f"{in_danger} seen to be late or at risk"] * bool(in_danger)
    said += [f"{late} not kept in the end"] * bool(late)
    return " · ".join(said)


def _jumps(whole: DayView, minute: int) -> Iterable[Jump]:
    own, broke = whole.minutes, sorted({one.minute for one in whole.broken})

    def jump(id: str, short: str, said: str, to: int | None) -> Jump:
        if to is None or to == minute:
            return Jump(id, short, said, minute, "")
        return Jump(id, short, said, to, f"?day={whole.day}&{own.asked(to)}")

    yield jump("open", "Opening", "Opening", whole.opened)
    yield jump("event-before", "← Event", "Previous event", _before(whole.event_minutes, minute))
    yield jump("event-after", "Event →", "Next event", _after(whole.event_minutes, minute))
    yield jump("broken-before", "← Broken promise", "Previous broken promise", _before(broke, minute))
    yield jump("broken-after", "Broken promise →", "Next broken promise", _after(broke, minute))
    yield jump("longest", "Longest queue", "Longest queue", whole.longest)
    end = "Now" if whole.is_open else "Closing"
    yield jump("close", end, end, whole.closed)


def _before(at: Sequence[int], minute: int) -> int | None:
    place = bisect_left(at, minute)
    return at[place - 1] if place else None


def _after(at: Sequence[int], minute: int) -> int | None:
    place = bisect_right(at, minute)
    return at[place] if place < len(at) else None


def _row(standing: Standing, ticket: Ticket, present: Booth, now: datetime) -> OpenTicket:
    zone, at = standing.booth.zone, now_of(standing)
    quote, stands = standing.forecast.tickets.get(ticket.id), holding(standing, ticket)
    ended, word = present.tickets[ticket.id], word_of(present.tickets[ticket.id], now)
    then, then_state = _then(ended, word, zone, standing.as_of)
    told, first = ticket.promise, ticket.first_promise
    return OpenTicket(
        number=ticket.number,
        from_day=at.beside(ticket),
        oval=oval_of(ticket),
        stages_done=ticket.stages_done,
        stages=len(ticket.style.stages),
        what=ticket.style.name + ("" if ticket.sitters == 1 else f", {ticket.sitters} sitters"),
        where=place_said(ticket),
        told=at.clock(told.ready_by) if told else "no time told",
        told_first=_told_first(first, told, at),
        quote=_quote_said(quote, ticket, zone, standing.as_of),
        chance=_chance_said(quote),
        mark=stands.mark if stands else "",
        state=stands.state if stands else "",
        then=then,
        then_mark={"kept": "✓", "late": "✕"}.get(then_state, ""),
        then_state=then_state,
    )


def _told_first(first: Promised | None, told: Promised | None, at: Now) -> str:
    if first is None or told is None or first.ready_by == told.ready_by:
        return ""
    return f"first {at.clock(first.ready_by)}"


def _quote_said(quote: Quote | None, ticket: Ticket, zone: ZoneInfo, at: datetime) -> str:
    if not names_a_time(quote):
        return "nobody here draws it"
    said = f"about {window_of(quote, zone, at)}"
    return f"{said} if released" if ticket.place == HELD else said


def _chance_said(quote: Quote | None) -> str:
    """The chance that the promise is kept; the ends of the scale are said as what they are."""
    if quote is None or quote.chance_kept is None:
        return "–"
    percent = round(100 * quote.chance_kept)
    if 0 < percent < 100:
        return f"{percent}\u00a0%"
    return "under 1\u00a0%" if percent == 0 else "over 99\u00a0%"


def _then(ticket: Ticket, word: Word | None, zone: ZoneInfo, at: datetime) -> tuple[str, str]:
    """What then happened, and whether the first promise was "kept" or "late"; neither where that cannot be said."""
    state = "" if word is None else {"kept": "kept", LATE: "late", UNFINISHED: "late"}.get(word.outcome, "")
    if ticket.finished_at is not None:
        ready = f"ready {clock_time(ticket.finished_at, zone, at)}"
        if word is None or word.early_s is None:
            return ready, ""
        off = minutes(abs(word.early_s))
        return f"{ready}, {off} {'late' if state == 'late' else 'early'}", state
    if ticket.place == CANCELLED and ticket.over_at is not None:
        return f"cancelled {clock_time(ticket.over_at, zone, at)}", state
    return "not ready to this day" if state == "late" else "not ready yet", state


def _around(
    past: PastDay, then: SetUp | None, present: Booth, own: Minutes, minute: int
) -> tuple[tuple[Around, ...], tuple[Around, ...]]:
    """What was written down in the minutes before, and what came next."""
    at, lines = own.at(minute), past.lines
    known = past.read_until(at)
    before = [line for line in _told(lines[:known]) if line.at > at - AROUND][-MOST_AROUND:]
    after = [line for line in _told(lines[known:]) if line.at <= at + AROUND][:MOST_AROUND]
    return tuple(_line(line, present, then) for line in before), tuple(_line(line, present, then) for line in after)


def _line(line: Event, present: Booth, then: SetUp | None) -> Around:
    tapped = f"tapped {clock_time(line.happened_at, present.zone)}" if line.ago_s >= MINUTE.total_seconds() else ""
    return Around(clock_time(line.at, present.zone), event_said(line, present, then), tapped)

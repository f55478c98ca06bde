"""A day on one page for the season: what comparisons need of it, small enough to keep, without anybody's data.

The figures are those of the day's own page (`figures.py`), as far as they are here; it holds neither tickets nor
numbers: seconds, counts, money, and ids of styles and artists. What it rests on is `touched.py`'s to say.

Which times count is told without what is known of the artists today, for a closed day must not change with what is
learned later: a portrait has a measured time when every stage of it has one and none is doubtful by its taps
(`core/timing.py`). That a clock ran on for long is left to `pace_trend.py`, which sees more days than one.
"""

from __future__ import annotations

import json
from bisect import bisect_right
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import astuple, dataclass
from datetime import datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from portraitq.core.booth import Booth, TradingDay
from portraitq.core.events import Collected, Event, Paid, Promised, Started, WalkedAway
from portraitq.core.life import CANCELLED, Ticket
from portraitq.core.timing import stage_times
from portraitq.daybook.attendance import Attendance
from portraitq.daybook.days import Day
from portraitq.daybook.hours import BREAK, hours_of, stays_of
from portraitq.daybook.presence import flow_span
from portraitq.daybook.promises import OPEN, word_of
from portraitq.daybook.segments import PAUSE, segments
from portraitq.daybook.spans import Span, common, length_s
from portraitq.daybook.takings import Payment, takings_of

VERSION = 1  # of what is kept: a summary of another version is made anew
LEFT, UNTOLD = "left", "untold"  # what became of somebody who asked, beside the outcomes of `promises.py`
OUT_OF_HOURS = -1  # in the place of an hour of the day, for what happened while the booth was closed
HOUR = timedelta(hours=1)


@dataclass(frozen=True, slots=True)
class Portrait:
    """One portrait first finished on the day.

    drawn_s  what its stages were measured to take, all sitters together; 0 where not every stage is known
    guess_s  what the artist's guesses say of the same
    easel_s  its time on easels: drawing, pauses that are no breaks, touch-ups, while the booth was open, and its share
             of its artist's turnarounds on that day, in equal parts for each portrait finished; as far as it is over
    earned   what was paid for it and not given back, whenever that was
    """

    artist: str
    style: str
    sitters: int
    drawn_s: float
    guess_s: float
    easel_s: float
    earned: int


@dataclass(frozen=True, slots=True)
class Asked:
    """Somebody who asked for a portrait on the day, and the first time that they were told.

    wait_s      from then to the time told; None where none was told
    confidence  how sure that promise was; None for who left, and where none was given
    became      the outcome of that promise, or LEFT, or UNTOLD for an order without a promise
    artist      who drew it, empty where nobody did
    """

    style: str
    wait_s: float | None
    confidence: float | None
    became: str
    artist: str


@dataclass(frozen=True, slots=True)
class HourOfDay:
    """One hour of the clock (0–23, or OUT_OF_HOURS): how long the booth was open in it, and what came of it."""

    hour: int
    open_s: float
    finished: int
    taken: int


@dataclass(frozen=True, slots=True)
class ArtistDay:
    """Where one artist's hours went, as in `hours.py`; `drawing_s` has the touch-ups in it."""

    artist: str
    total_s: float
    drawing_s: float
    paused_s: float
    break_s: float
    turnaround_s: float
    idle_s: float


@dataclass(frozen=True, slots=True)
class DaySummary:
    """One day.

    in_hand_s   portraits ordered and not yet ready, times the seconds of trading that they were so
    taken       what changed hands on the day, less what was given back
    """

    day: str
    zone: str
    open_s: float
    in_hand_s: float
    ordered: int
    collected: int
    cancelled: int
    taken: int
    portraits: tuple[Portrait, ...]
    asked: tuple[Asked, ...]
    hours: tuple[HourOfDay, ...]
    artists: tuple[ArtistDay, ...]

    @property
    def is_settled(self) -> bool:
        """Whether every promise of it has come due, so that time alone changes nothing any more."""
        return all(one.became != OPEN for one in self.asked)


def summary_of(
    booth: Booth, day: Day, tickets: Iterable[Ticket], attended: Iterable[Attendance], now: datetime
) -> DaySummary:
    """The summary of `day` as it stands at `now`.

    tickets   of `booth`, in the order of their orders: all that touch the day; others change nothing
    attended  who was in when, on this day at least
    """
    here, until, zone = list(tickets), min(now, day.ends_at), booth.zone
    trading = day.trading(until)
    lines = [_Line(ticket, _drawn_by(ticket)) for ticket in here if day.holds(ticket.finished_at)]
    artists = tuple(_artist_days(day, until, here, list(attended)))
    own = [ticket for ticket in here if ticket.day == day.day]
    payments = takings_of(day, here).payments
    return DaySummary(
        day=day.day,
        zone=zone.key,
        open_s=length_s(trading),
        in_hand_s=sum(length_s(common([flow_span(ticket, until)], trading)) for ticket in here),
        ordered=len(own),
        collected=sum(day.holds(_collected_at(ticket)) for ticket in here),
        cancelled=sum(ticket.place == CANCELLED and day.holds(ticket.over_at) for ticket in here),
        taken=sum(one.amount for one in payments),
        portraits=tuple(_portraits(booth, lines, {one.artist: one.turnaround_s for one in artists})),
        asked=tuple(_asked(own, [event for event in booth.walked_away if day.holds(event.happened_at)], now)),
        hours=tuple(_hours([line.ticket for line in lines], payments, trading, zone)),
        artists=artists,
    )


@dataclass(frozen=True, slots=True)
class _Line:
    """A portrait that was finished on the day, and who drew it."""

    ticket: Ticket
    artist: str


def _drawn_by(ticket: Ticket) -> str:
    """Who had it on the easel last, whoever touched it up; empty before it was begun."""
    begun = (event.data.artist for event in reversed(ticket.history) if isinstance(event.data, Started))
    return next(begun, "")


def _collected_at(ticket: Ticket) -> datetime | None:
    return next((event.happened_at for event in ticket.history if isinstance(event.data, Collected)), None)


def _artist_days(
    day: Day, until: datetime, tickets: Sequence[Ticket], attended: Sequence[Attendance]
) -> Iterator[ArtistDay]:
    stretches = [
        one
        for ticket in tickets
        for one in segments(ticket)
        if one.from_at < until and (one.to_at or until) >= day.begins_at
    ]
    here = [one for one in attended if one.from_at < until and (one.to_at or until) >= day.begins_at]
    came = stays_of(tickets)
    for artist in sorted({*(one.artist for one in here), *(one.artist for one in stretches)}):
        one = hours_of(artist, day, until, here, stretches, came)
        if one.total_s > 0:
            yield ArtistDay(
                artist=artist,
                total_s=one.total_s,
                drawing_s=one.drawing_s + one.touch_up_s,
                paused_s=sum(one.paused_s.values()),
                break_s=one.break_s,
                turnaround_s=one.turnaround_s,
                idle_s=one.idle_s,
            )


def _portraits(booth: Booth, lines: Sequence[_Line], turned_s: Mapping[str, float]) -> Iterator[Portrait]:
    drawn = Counter(line.artist for line in lines)
    for line in lines:
        ticket, artist = line.ticket, line.artist
        drawn_s, guess_s = _measured(ticket, booth.days)
        yield Portrait(
            artist=artist,
            style=ticket.style.id,
            sitters=ticket.sitters,
            drawn_s=drawn_s,
            guess_s=guess_s,
            easel_s=_on_easels_s(ticket, booth.days) + turned_s.get(artist, 0.0) / drawn[artist],
            earned=sum(event.data.amount for event in ticket.history if isinstance(event.data, Paid)),
        )


def _measured(ticket: Ticket, days: Sequence[TradingDay]) -> tuple[float, float]:
    """What the stages of `ticket` were measured to take and what was guessed; two zeros where one is not known."""
    times = stage_times(ticket, days)
    if any(not one.trusted or one.over_break for one in times):
        return 0.0, 0.0
    if {stage for one in times for stage in one.stages} != {stage.id for stage in ticket.style.stages}:
        return 0.0, 0.0
    guesses = (stage.usual_s * (ticket.sitters if stage.per_sitter else 1) for stage in ticket.style.stages)
    return sum(one.total_s for one in times), sum(guesses)


def _on_easels_s(ticket: Ticket, days: Sequence[TradingDay]) -> float:
    """Seconds on easels that are over: whole where a stretch lies in one day, else while the booth was open."""
    total_s = 0.0
    for one in segments(ticket):
        if one.to_at is None or (one.kind == PAUSE and one.name == BREAK):
            continue
        if one.kind != PAUSE and _session(days, one.from_at) == _session(days, one.to_at):
            total_s += (one.to_at - one.from_at).total_seconds()
        else:
            total_s += _open_s(days, (one.from_at, one.to_at))
    return total_s


def _session(days: Sequence[TradingDay], at: datetime) -> int:
    return bisect_right(days, at, key=lambda one: one.opened_at)


def _open_s(days: Sequence[TradingDay], span: Span) -> float:
    """How long the booth was open in `span`."""
    concerned = days[max(_session(days, span[0]) - 1, 0) : _session(days, span[1])]
    return length_s(common([span], [(one.opened_at, one.closed_at or span[1]) for one in concerned]))


def _asked(own: Iterable[Ticket], left: Iterable[Event], now: datetime) -> Iterator[Asked]:
    for ticket in own:
        word, artist = word_of(ticket, now), _drawn_by(ticket)
        if word is None:
            yield Asked(ticket.style.id, None, None, UNTOLD, artist)
            continue
        first = next(event.data for event in ticket.history if isinstance(event.data, Promised))
        wait_s = (word.first_by - ticket.ordered_at).total_seconds()
        yield Asked(ticket.style.id, wait_s, first.confidence, word.outcome, artist)
    for event in left:
        if isinstance(event.data, WalkedAway):
            told = event.data.ready_by
            left_s = (told - event.happened_at).total_seconds() if told else None
            yield Asked(event.data.style or "", left_s, None, LEFT, "")


def _hours(
    finished: Iterable[Ticket], payments: Iterable[Payment], trading: Sequence[Span], zone: ZoneInfo
) -> Iterator[HourOfDay]:
    open_s: dict[int, float] = {}
    for begins_at, ends_at in trading:
        at = begins_at
        while at < ends_at:
            local = at.astimezone(zone)
            passed = timedelta(minutes=local.minute, seconds=local.second, microseconds=local.microsecond)
            until = min(at + HOUR - passed, ends_at)
            open_s[local.hour] = open_s.get(local.hour, 0.0) + (until - at).total_seconds()
            at = until

    def hour_of(at: datetime) -> int:
        hour = at.astimezone(zone).hour
        is_open = any(begins_at <= at <= ends_at for begins_at, ends_at in trading)
        return hour if is_open and hour in open_s else OUT_OF_HOURS

    drawn = Counter(hour_of(ticket.finished_at) for ticket in finished if ticket.finished_at is not None)
    taken = Counter[int]()
    for paid in payments:
        taken[hour_of(paid.at)] += paid.amount
    for hour in sorted({*open_s, *drawn, *taken}):
        yield HourOfDay(hour, open_s.get(hour, 0.0), drawn[hour], taken[hour])


# How it is kept

_ROWS: tuple[tuple[str, type[Any]], ...] = (
    ("portraits", Portrait),
    ("asked", Asked),
    ("hours", HourOfDay),
    ("artists", ArtistDay),
)
_PLAIN = ("day", "zone", "open_s", "in_hand_s", "ordered", "collected", "cancelled", "taken")


def print_summary(summary: DaySummary) -> str:
    """`summary` as JSON, its rows as lists in the order of their fields."""
    plain = {name: getattr(summary, name) for name in _PLAIN}
    rows = {name: [astuple(one) for one in getattr(summary, name)] for name, _ in _ROWS}
    return json.dumps({**plain, **rows}, separators=(",", ":"))


def read_summary(text: str) -> DaySummary:
    """What `print_summary` printed; ValueError when it did not."""
    try:
        found = json.loads(text)
        fields: dict[str, Any] = {name: found[name] for name in _PLAIN}
        fields |= {name: tuple(kind(*row) for row in found[name]) for name, kind in _ROWS}
        return DaySummary(**fields)
    except (KeyError, TypeError, json.JSONDecodeError) as odd:
        raise ValueError(f"a day's summary of version {VERSION} was expected, not {text[:60]!r}") from odd

"""Where did the hours of each artist go on one day?

The time at the easel is from coming in to going, within the hours of trading; a portrait that is finished after closing
counts until it is finished. It is split without gap or overlap, so that the parts add up to the whole:

drawing      the pencil moves: a stage that is not paused
touch-up     the same after a portrait was finished
pauses       a portrait is on the easel and the pencil is down, by the reason given
break        a planned break in which nothing was on the easel, and pauses whose reason is a break
turnaround   between two portraits while the next one waited already: hands, pencils, paper, and whatever else there was
idle         the rest: nothing on the easel, and nothing that was begun next waited yet

A clock that was left running into another day is counted only while its artist was in.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from itertools import pairwise

from portraitq.core.life import Ticket
from portraitq.core.timing import Stay, stays
from portraitq.daybook.attendance import Attendance
from portraitq.daybook.days import Day
from portraitq.daybook.segments import PAUSE, STAGE, TOUCH_UP, Segment
from portraitq.daybook.spans import Span, common, length_s, union, without

BREAK, DRAWING = "break", "drawing"


@dataclass(frozen=True, slots=True)
class Hours:
    """Seconds of one artist's day; everything but `total_s` adds up to `total_s`.

    tickets  those behind each part, by its name: `drawing`, `touch-up`, `turnaround`, `break` and the pauses' reasons
    """

    artist: str
    total_s: float
    drawing_s: float
    touch_up_s: float
    paused_s: Mapping[str, float]
    break_s: float
    turnaround_s: float
    idle_s: float
    tickets: Mapping[str, tuple[str, ...]] = field(default_factory=dict)

    @property
    def utilisation(self) -> float | None:
        """The share of the time at the easel in which the artist drew; None when there was none."""
        return (self.drawing_s + self.touch_up_s) / self.total_s if self.total_s else None


def hours_of(
    artist: str,
    day: Day,
    until: datetime,
    attended: Iterable[Attendance],
    on_easel: Iterable[Segment],
    came: Iterable[Stay],
) -> Hours:
    """The hours of `artist` on `day` up to `until`, an instant.

    attended  of any artists and days
    on_easel  the stretches on any easel that touch the day
    came      the stays on any easel that touch the day
    """
    at_easel, stretches = _at_easel(artist, day, until, attended, on_easel)
    planned = [
        (one.begins_at, one.ends_at) for session in day.sessions for one in session.breaks if one.artist == artist
    ]
    gaps = without(at_easel, (span for _, span in stretches))
    on_break = common(gaps, planned)
    next_waited = _next_waited(artist, day, came)
    free = without(gaps, planned)
    turned = common(free, (span for _, span in next_waited))
    by_why: dict[str, float] = {}
    for segment, span in stretches:
        if segment.kind == PAUSE:
            by_why[segment.name] = by_why.get(segment.name, 0.0) + length_s([span])
    break_pauses_s = by_why.pop(BREAK, 0.0)
    total_s, turned_s = length_s(at_easel), length_s(turned)
    return Hours(
        artist=artist,
        total_s=total_s,
        drawing_s=length_s(span for segment, span in stretches if segment.kind == STAGE),
        touch_up_s=length_s(span for segment, span in stretches if segment.kind == TOUCH_UP),
        paused_s=by_why,
        break_s=length_s(on_break) + break_pauses_s,
        turnaround_s=turned_s,
        idle_s=length_s(gaps) - length_s(on_break) - turned_s,
        tickets=_behind(stretches, [ticket for ticket, span in next_waited if common(free, [span])]),
    )


def easel_time(
    artist: str, day: Day, until: datetime, attended: Iterable[Attendance], on_easel: Iterable[Segment]
) -> tuple[list[Span], list[Span]]:
    """When `artist` was at the easel on `day`, and when the pencil moved, touch-ups as well; as in `hours_of`."""
    at_easel, stretches = _at_easel(artist, day, until, attended, on_easel)
    return at_easel, union(span for segment, span in stretches if segment.kind != PAUSE)


def _at_easel(
    artist: str, day: Day, until: datetime, attended: Iterable[Attendance], on_easel: Iterable[Segment]
) -> tuple[list[Span], list[tuple[Segment, Span]]]:
    present = _present(artist, day, until, attended)
    stretches = _one_by_one(artist, day, until, on_easel, present)
    return union([*present, *(span for _, span in stretches)]), stretches


def _behind(stretches: Iterable[tuple[Segment, Span]], turned: Iterable[str]) -> dict[str, tuple[str, ...]]:
    found: dict[str, dict[str, None]] = {"turnaround": dict.fromkeys(turned)}
    names = {STAGE: DRAWING, TOUCH_UP: TOUCH_UP}
    for segment, _ in stretches:
        found.setdefault(names.get(segment.kind, segment.name), {})[segment.ticket] = None
    return {name: tuple(tickets) for name, tickets in found.items() if tickets}


def _present(artist: str, day: Day, until: datetime, attended: Iterable[Attendance]) -> list[Span]:
    was_in = [(one.from_at, min(one.to_at or until, until)) for one in attended if one.artist == artist]
    return common(was_in, day.trading(until))


def _one_by_one(
    artist: str, day: Day, until: datetime, on_easel: Iterable[Segment], present: Sequence[Span]
) -> list[tuple[Segment, Span]]:
    """The stretches of `artist`, cut to the day and to each other: late news may make two of them overlap."""
    found: list[tuple[Segment, Span]] = []
    taken_to: datetime | None = None
    for segment in sorted((one for one in on_easel if one.artist == artist), key=lambda one: one.from_at):
        whole = [(segment.from_at, min(segment.to_at or until, until))]
        ran_into_another_day = not (day.holds(segment.from_at) and day.holds(whole[0][1]))
        if segment.kind == PAUSE or ran_into_another_day or segment.to_at is None:
            whole = common(whole, present)
        for begins_at, ends_at in whole:
            begins_at = max(begins_at, taken_to or begins_at)
            if begins_at < ends_at:
                found.append((segment, (begins_at, ends_at)))
                taken_to = ends_at
    return found


def _next_waited(artist: str, day: Day, came: Iterable[Stay]) -> list[tuple[str, Span]]:
    """Of each portrait: from when it was waiting, and another had been on the easel, to when it was begun."""
    own = sorted((stay for stay in came if stay.artist == artist), key=lambda stay: stay.began_at)
    return [
        (stay.ticket, (max(before.ended_at, stay.waiting_since), stay.began_at))
        for before, stay in pairwise(own)
        if day.holds(stay.began_at) and before.ended_at is not None and day.holds(before.ended_at)
    ]


def stays_of(tickets: Iterable[Ticket]) -> list[Stay]:
    """Every stay of `tickets` on an easel."""
    return [stay for ticket in tickets for stay in stays(ticket)]

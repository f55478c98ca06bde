"""The figures of one day: what was drawn, where the hours went, was the word kept, what came in, how long it took.

Everything is derived from the booth (which is the journal, folded), from who was in when and from what was learned of
the artists' pace. Every figure knows the tickets behind it: `behind` lists them by the figure's name. What each figure
means stands where it is reckoned: `promises.py`, `hours.py`, `pressure.py`, `takings.py`, `stages.py`, `by_hour.py`;
here it is

ordered     ordered on the day
finished    first `finished` on the day, whenever it was ordered
collected   first handed over on the day
cancelled   cancelled on the day
carried     ordered on the day or before, and at its end (or now) never finished nor cancelled yet
on the rack ordered likewise, finished by then (a touch-up may be due), and not yet handed over or cancelled
flow time   first `finished` − ordered
waiting     first `started` − ordered

Flow and waiting times are summed up over the portraits finished, or begun, on the day that were also ordered on it: a
night between order and easel says nothing about how fast a booth is. How many that leaves out is told.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime
from functools import partial
from zoneinfo import ZoneInfo

from portraitq.core.booth import Booth
from portraitq.core.events import Collected, Event, Started
from portraitq.core.life import CANCELLED, Ticket
from portraitq.core.timing import Stay, drawn_s, turnaround
from portraitq.daybook.attendance import Attendance
from portraitq.daybook.by_day import ByDay, by_day
from portraitq.daybook.by_hour import HourFigures, Taken, by_hour
from portraitq.daybook.days import Day, days_of
from portraitq.daybook.hours import Hours, easel_time, hours_of, stays_of
from portraitq.daybook.past import NO_PAST, Past
from portraitq.daybook.presence import Steps, count, flow_span, waiting_spans
from portraitq.daybook.pressure import Easel, Pressure, pressure
from portraitq.daybook.promises import (
    JUDGED,
    KEPT,
    LATE,
    MARGINS,
    OPEN,
    SET_ASIDE,
    UNFINISHED,
    Promises,
    Word,
    promises_of,
    word_of,
)
from portraitq.daybook.quantiles import Spread, spread
from portraitq.daybook.segments import Segment, segments
from portraitq.daybook.stages import DayStages, stages_of
from portraitq.daybook.takings import Takings, still_to_come, takings_of
from portraitq.forecast.pace import Pace

ORDERED, FINISHED, COLLECTED, CALLED_OFF, CARRIED, ON_RACK = (
    "ordered",
    "finished",
    "collected",
    "cancelled",
    "carried",
    "on-rack",
)


@dataclass(frozen=True, slots=True)
class Line:
    """One ticket as the day's tables show it; None where it has not happened by then."""

    ticket: Ticket
    started_at: datetime | None
    finished_at: datetime | None
    collected_at: datetime | None
    cancelled_at: datetime | None
    word: Word | None
    drawn_s: float

    @property
    def drawn_by(self) -> str:
        """The artist who had it on the easel last, whoever touched it up; empty before it was begun."""
        begun = (event.data.artist for event in reversed(self.ticket.history) if isinstance(event.data, Started))
        return next(begun, "")

    @property
    def flow_s(self) -> float | None:
        """From the order to the first `finished`."""
        return (self.finished_at - self.ticket.ordered_at).total_seconds() if self.finished_at else None

    @property
    def waiting_s(self) -> float | None:
        """From the order to the first `started`."""
        return (self.started_at - self.ticket.ordered_at).total_seconds() if self.started_at else None


@dataclass(frozen=True, slots=True)
class DayFigures:
    """One day. `until` is its end, or now while it lasts; `lines` are the tickets that anything happened to."""

    day: Day
    until: datetime
    lines: tuple[Line, ...]
    behind: Mapping[str, tuple[str, ...]]
    walked_away: tuple[Event, ...]
    hours: tuple[Hours, ...]
    promises: Promises
    takings: Takings
    stages: DayStages
    turnarounds: Spread | None
    flow: Spread | None
    waiting: Spread | None
    segments: tuple[Segment, ...]
    queue: Steps
    by_hour: tuple[HourFigures, ...]
    pressure: Pressure

    @property
    def drawn_s(self) -> float:
        """Seconds drawn by all artists together, touch-ups as well."""
        return sum(one.drawing_s + one.touch_up_s for one in self.hours)

    @property
    def per_drawing_hour(self) -> int | None:
        """The net takings for each hour of drawing; None when nothing was drawn."""
        return self.takings.per_hour(self.drawn_s)

    def n(self, figure: str) -> int:
        """How many tickets stand behind that figure."""
        return len(self.behind.get(figure, ()))


def of_day(
    booth: Booth,
    day: Day,
    attended: Iterable[Attendance],
    now: datetime,
    pace: Pace,
    among: ByDay | None = None,
    past: Past = NO_PAST,
) -> DayFigures:
    """The figures of `day` as they stand at `now`; `attended` is who was in when, of this day at least.

    pace   tells which clocks ran on while nobody drew
    among  the tickets of `booth` by day, where they were found already
    past   the stage times of the days before, to hold this day's against
    """
    until = min(now, day.ends_at)
    tickets = (among or by_day(booth, days_of(booth))).of(day)
    lines = tuple(_line(ticket, day, now) for ticket in tickets)
    own = [ticket for ticket in tickets if ticket.day == day.day]
    promises = promises_of(own, now)
    takings = takings_of(day, tickets)
    stages = stages_of(day, tickets, booth.days, pace, past)
    stretches = tuple(
        one
        for ticket in tickets
        for one in segments(ticket)
        if one.from_at < until and (one.to_at or until) >= day.begins_at
    )
    here = tuple(attended)
    came = stays_of(tickets)
    artists = _artists(booth, here, stretches)
    worked = (hours_of(artist, day, until, here, stretches, came) for artist in artists)
    hours = tuple(one for one in worked if one.total_s > 0)
    turned = _turnarounds(booth, day, came)
    hourly = by_hour(
        (
            Taken(
                line.ticket.id,
                line.ticket.ordered_at,
                line.waiting_s if _is_own(line.started_at, line, day) else None,
                line.flow_s if _is_own(line.finished_at, line, day) else None,
            )
            for line in lines
            if line.ticket.day == day.day
        ),
        booth.zone,
    )
    easels = [
        Easel(*easel_time(artist, day, until, here, stretches), partial(_may_draw, booth, artist)) for artist in artists
    ]
    pressed = pressure(tickets, day.trading(until), easels, until)
    from_at = min([day.opened_at, *(ticket.ordered_at for ticket in own)])
    return DayFigures(
        day=day,
        until=until,
        lines=lines,
        behind={
            **_behind(day, lines),
            **_behind_others(promises, takings, stages, lines, day),
            **_behind_hours(hours, hourly, booth.zone),
            "turnaround": tuple(ticket for ticket, _ in turned),
            "pressed": pressed.tickets,
        },
        walked_away=tuple(event for event in booth.walked_away if day.holds(event.happened_at)),
        hours=hours,
        promises=promises,
        takings=takings,
        stages=stages,
        turnarounds=spread(lag_s for _, lag_s in turned),
        flow=spread(line.flow_s for line in lines if line.flow_s is not None and _is_own(line.finished_at, line, day)),
        waiting=spread(
            line.waiting_s for line in lines if line.waiting_s is not None and _is_own(line.started_at, line, day)
        ),
        segments=stretches,
        queue=count((span for ticket in tickets for span in waiting_spans(ticket, until)), from_at, until),
        by_hour=hourly,
        pressure=pressed,
    )


def in_hand(figures: DayFigures, from_at: datetime, to_at: datetime) -> Steps:
    """How many portraits were ordered and not yet ready at each moment between two instants of the day."""
    return count((flow_span(line.ticket, figures.until) for line in figures.lines), from_at, to_at)


def _turnarounds(booth: Booth, day: Day, came: Iterable[Stay]) -> list[tuple[str, float]]:
    """The ticket that came next and the seconds, of each turnaround of `day` in which it waited all the while."""
    free_at: dict[str, datetime] = {}
    found = []
    for stay in sorted(came, key=lambda one: one.began_at):
        measured = turnaround(stay, free_at.get(stay.artist), booth)
        if measured is not None and measured.waited and day.holds(stay.began_at):
            found.append((stay.ticket, measured.lag_s))
        if stay.ended_at is not None:
            free_at[stay.artist] = stay.ended_at
    return found


def _line(ticket: Ticket, day: Day, now: datetime) -> Line:
    def by_then(at: datetime | None) -> datetime | None:
        return at if at is not None and at < day.ends_at and at <= now else None

    return Line(
        ticket=ticket,
        started_at=by_then(_first(ticket, Started)),
        finished_at=by_then(ticket.finished_at),
        collected_at=by_then(_first(ticket, Collected)),
        cancelled_at=by_then(ticket.over_at if ticket.place == CANCELLED else None),
        word=word_of(ticket, now),
        drawn_s=drawn_s(ticket),
    )


def _first(ticket: Ticket, kind: type[Started] | type[Collected]) -> datetime | None:
    return next((event.happened_at for event in ticket.history if isinstance(event.data, kind)), None)


def _is_own(at: datetime | None, line: Line, day: Day) -> bool:
    """Whether that happened on `day` to a portrait that was ordered on it."""
    return day.holds(at) and line.ticket.day == day.day


def _may_draw(booth: Booth, artist: str, ticket: Ticket) -> bool:
    """Whether `artist` may draw it by the set-up of today, or had it on the easel once."""
    return booth.may_draw(artist, ticket) or any(
        isinstance(event.data, Started) and event.data.artist == artist for event in ticket.history
    )


def _artists(booth: Booth, attended: Iterable[Attendance], stretches: Iterable[Segment]) -> list[str]:
    """Who may have hours: the set-up's artists in their order, then those whom it no longer knows."""
    known = [artist.id for artist in booth.set_up.artists] if booth.set_up else []
    return list(dict.fromkeys([*known, *(one.artist for one in attended), *(one.artist for one in stretches)]))


def _behind(day: Day, lines: Iterable[Line]) -> dict[str, tuple[str, ...]]:
    found: dict[str, list[str]] = {name: [] for name in (ORDERED, FINISHED, COLLECTED, CALLED_OFF, CARRIED, ON_RACK)}
    for line in lines:
        ticket, is_over = line.ticket, line.cancelled_at is not None or line.collected_at is not None
        for name, is_one in (
            (ORDERED, ticket.day == day.day),
            (FINISHED, day.holds(line.finished_at)),
            (COLLECTED, day.holds(line.collected_at)),
            (CALLED_OFF, day.holds(line.cancelled_at)),
            (CARRIED, ticket.day <= day.day and line.finished_at is None and not is_over),
            (ON_RACK, ticket.day <= day.day and line.finished_at is not None and not is_over),
        ):
            if is_one:
                found[name].append(ticket.id)
    return {name: tuple(ids) for name, ids in found.items()}


def _behind_others(
    promises: Promises, takings: Takings, stages: DayStages, lines: Iterable[Line], day: Day
) -> dict[str, tuple[str, ...]]:
    words = {
        f"promise-{outcome.replace(' ', '-')}": tuple(word.ticket for word in promises.of(outcome))
        for outcome in (KEPT, LATE, UNFINISHED, OPEN, SET_ASIDE)
    }
    return {
        **words,
        "promised": tuple(word.ticket for word in promises.words),
        "promise-judged": tuple(word.ticket for word in promises.words if word.outcome in JUDGED),
        **{f"promise-{margin}": tuple(word.ticket for word in promises.within(margin)) for margin in MARGINS},
        "promise-moved": tuple(word.ticket for word in promises.words if word.was_moved),
        "paid": _once(one.ticket for one in takings.payments),
        **{
            f"paid-{how.how}": _once(one.ticket for one in takings.payments if one.how == how.how)
            for how in takings.means
        },
        "refunded": _once(one.ticket for one in takings.payments if one.amount < 0),
        "tipped": tuple(one.ticket for one in takings.tips),
        "paid-for": takings.paid_for,
        "to-come": tuple(x.ticket.id for x in lines if x.ticket.day == day.day and still_to_come(x.ticket)),
        **{f"stage-{one.style}.{one.stage.id}": _once(one.tickets) for one in stages.stages},
        **{
            f"hand-{one.style}.{one.stage.id}.{hand.artist}": _once(timed.ticket for timed in hand.times)
            for one in stages.stages
            for hand in one.hands
        },
        "set-aside": _once(one.time.ticket for one in stages.set_aside),
        "flow": tuple(x.ticket.id for x in lines if _is_own(x.finished_at, x, day)),
        "waiting": tuple(x.ticket.id for x in lines if _is_own(x.started_at, x, day)),
    }


def _behind_hours(hours: Iterable[Hours], hourly: Iterable[HourFigures], zone: ZoneInfo) -> dict[str, tuple[str, ...]]:
    by_artist = {f"easel-{one.artist}.{part}": tickets for one in hours for part, tickets in one.tickets.items()}
    together: dict[str, list[str]] = {}
    for one in hours:
        for part, tickets in one.tickets.items():
            together.setdefault(f"easels.{part}", []).extend(tickets)
    return {
        **by_artist,
        **{name: _once(tickets) for name, tickets in together.items()},
        **{one.name(zone): one.tickets for one in hourly},
    }


def _once(ids: Iterable[str]) -> tuple[str, ...]:
    return tuple(dict.fromkeys(ids))

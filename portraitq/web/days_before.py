"""What the day book looks up once and keeps in memory: tickets by day, and the stage times of days that are over.

Judging every clock of a long season takes seconds, so each day is judged once, and anew only where a ticket of it has
changed. A verdict about an old clock is thus that of the pace known when the day was first asked for in this process;
the page's own day is judged by the pace of now.
"""

from __future__ import annotations

import threading
from dataclasses import dataclass, field
from typing import TYPE_CHECKING
from weakref import WeakKeyDictionary

from portraitq.core.life import Ticket
from portraitq.daybook.by_day import ByDay, by_day
from portraitq.daybook.days import Day, days_of
from portraitq.daybook.past import DayTimes, Past, times_of

if TYPE_CHECKING:
    from portraitq.desk import Desk, Standing


@dataclass
class _Known:
    """Of one desk."""

    turn: threading.Lock = field(default_factory=threading.Lock)
    among: ByDay | None = None
    times: dict[str, tuple[tuple[Ticket, ...], DayTimes]] = field(default_factory=dict)


_LOOKING = threading.Lock()
_known: WeakKeyDictionary[Desk, _Known] = WeakKeyDictionary()


def tickets_by_day(desk: Desk, standing: Standing) -> ByDay:
    """The tickets of the booth as it stands, by the days that they concern."""
    known = _of(desk)
    with known.turn:
        return _by_day(known, standing)


def past_of(desk: Desk, standing: Standing, day: Day) -> Past:
    """The stage times of all days before `day`."""
    known = _of(desk)
    with known.turn:
        among = _by_day(known, standing)
        found = []
        for one in among.days:
            if one.begins_at >= day.begins_at:
                break
            tickets = among.of(one)
            kept = known.times.get(one.day)
            if kept is None or kept[0] != tickets:  # tickets that did not change are the same objects
                kept = (tickets, times_of(one, tickets, standing.booth.days, standing.pace))
                known.times[one.day] = kept
            found.append(kept[1])
    return Past(tuple(found))


def _of(desk: Desk) -> _Known:
    with _LOOKING:
        return _known.setdefault(desk, _Known())


def _by_day(known: _Known, standing: Standing) -> ByDay:
    if known.among is None or known.among.seq != standing.seq:
        known.among = by_day(standing.booth, days_of(standing.booth))
    return known.among

"""What does a closed day rest on? Which days an event may change, and which tickets a day's summary is made of.

A ticket touches the day it was ordered on, every day on which anything happened to it, and each day over which it was
in hand or on an easel. A closed day whose tickets rest is never reckoned again; a late payment, a collection, a tap
that arrives late, each moves the days of its ticket and no others.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Collection, Iterable, Sequence
from datetime import datetime

from portraitq.core.booth import Booth
from portraitq.core.events import DayClosed, DayOpened, Event, OfTicket, TouchedUp
from portraitq.core.life import CANCELLED, Ticket
from portraitq.daybook.days import Day

OFF_THE_EASEL = ("finished", "cancelled")  # what ends a touch-up


class Places:
    """Finds the place, among `days`, of the day that an instant or a date belongs to."""

    def __init__(self, days: Sequence[Day]) -> None:
        self.days = days
        self._edges = [day.begins_at for day in days]
        self._names = {day.day: place for place, day in enumerate(days)}

    def at(self, at: datetime) -> int:
        """The place of the day that holds `at`."""
        return max(bisect_right(self._edges, at) - 1, 0)

    def of(self, ticket: Ticket) -> set[int]:
        """The places of the days that `ticket` touches."""
        last = len(self.days) - 1
        over_at = ticket.finished_at or (ticket.over_at if ticket.place == CANCELLED else None)
        found = set(range(self.at(ticket.ordered_at), (self.at(over_at) if over_at else last) + 1))
        found.add(self._names[ticket.day])
        latest_at, touched_up_at = ticket.ordered_at, None
        for event in ticket.history:
            at = event.happened_at
            latest_at = max(latest_at, at)
            found |= {self.at(at), self.at(latest_at)}  # a tap that claims to be older than the last is as old as that
            if isinstance(event.data, TouchedUp):
                touched_up_at = at
            elif touched_up_at is not None and event.kind in OFF_THE_EASEL:
                found |= set(range(self.at(touched_up_at), self.at(latest_at) + 1))
                touched_up_at = None
        if touched_up_at is not None:
            found |= set(range(self.at(touched_up_at), last + 1))
        return found


def tickets_of(booth: Booth, days: Sequence[Day], wanted: Collection[str]) -> dict[str, dict[str, Ticket]]:
    """For each of the `wanted` days the tickets that touch it, by id and in the order of their orders."""
    found: dict[str, dict[str, Ticket]] = {name: {} for name in wanted}
    asked = [day for day in days if day.day in found]
    if not asked:
        return found
    places, earliest_at = Places(days), min(day.begins_at for day in asked)
    for ticket in booth.tickets.values():
        if ticket.over_at is not None and ticket.history[-1].at < earliest_at:
            continue  # the most of a long season: at rest since before any day that is asked for
        for place in places.of(ticket):
            if (name := days[place].day) in found:
                found[name][ticket.id] = ticket
    return found


def moved_by(booth: Booth, days: Sequence[Day], events: Iterable[Event]) -> dict[str, int]:
    """The days whose summaries `events` may have changed, each with the last `seq` that did.

    `booth` is folded at least up to them. What a set-up changes of a day is its zone alone, which a summary names.
    """
    found: dict[str, int] = {}
    places = Places(days)
    for event in events:
        if not days:
            break
        if isinstance(event.data, OfTicket):
            concerned: Iterable[int] = places.of(booth.tickets[event.data.ticket])
        elif isinstance(event.data, DayOpened | DayClosed) and event.ago_s:
            concerned = range(len(days))  # told late, it moves the edges of days
        else:
            concerned = range(places.at(event.happened_at), places.at(event.at) + 1)
        for place in concerned:
            found[days[place].day] = event.seq
    return found

"""Which tickets concern which day, found once for all days of a booth.

A ticket concerns the day it was ordered on, every day on which it was still open, and each later day on which something
happened to it (a refund, a touch-up). That its personal data were erased is no business of any day. Without this a
season of days would each look through every ticket of the booth.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime

from portraitq.core.booth import Booth
from portraitq.core.life import Ticket
from portraitq.daybook.days import Day

Placed = tuple[int, Ticket]  # with its place in the order of the orders


@dataclass(frozen=True, slots=True)
class ByDay:
    """The tickets of `booth` by day; `seq` is the journal's line up to which it goes."""

    seq: int
    days: tuple[Day, ...]
    _over: dict[str, list[Placed]]  # tickets that are over, at each day that they concern
    _open: list[tuple[int, Placed]]  # tickets still open, with the first day that they concern

    def of(self, day: Day) -> tuple[Ticket, ...]:
        """The tickets that concern `day`, in the order of their orders."""
        place = next((place for place, one in enumerate(self.days) if one.day == day.day), -1)
        found = [*self._over.get(day.day, ()), *(placed for first, placed in self._open if first <= place)]
        return tuple(ticket for _, ticket in sorted(found, key=lambda placed: placed[0]))


def by_day(booth: Booth, days: tuple[Day, ...]) -> ByDay:
    """Every ticket of `booth` at the days that it concerns; `days` are all days of the booth."""
    begins_at = [day.begins_at for day in days]
    places = {day.day: place for place, day in enumerate(days)}
    over: dict[str, list[Placed]] = {day.day: [] for day in days}
    still_open: list[tuple[int, Placed]] = []

    def place_of(at: datetime) -> int:
        return bisect_right(begins_at, at) - 1

    for order, ticket in enumerate(booth.tickets.values()):
        earliest_at = min([ticket.ordered_at, *(event.happened_at for event in ticket.history if event.ago_s)])
        first = min(places[ticket.day], place_of(earliest_at))
        if ticket.over_at is None:
            still_open.append((first, (order, ticket)))
            continue
        last = max(places[ticket.day], place_of(ticket.over_at))
        concerned: Iterable[int] = range(first, last + 1)
        if ticket.history[-1].at > ticket.over_at:
            afterwards = {place_of(event.happened_at) for event in ticket.history if event.kind != "erased"}
            concerned = sorted(afterwards.union(concerned))
        for place in concerned:
            over[days[place].day].append((order, ticket))
    return ByDay(booth.seq, days, over, still_open)

"""Which day something belongs to: the day of trading that was opened last before it happened.

A night market that runs past midnight belongs to the day it opened on, and a portrait handed over after closing to the
day that was closed. A day that was closed and opened again is one day with two sessions. Where calendar days begin,
and that some are 23 or 25 hours long, plays no part: durations are differences of instants.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime
from itertools import groupby, pairwise

from portraitq.core.booth import Booth, TradingDay
from portraitq.daybook.spans import Span, union

_BEGINNING = datetime(1, 1, 1, tzinfo=UTC)
_END = datetime(9999, 12, 31, tzinfo=UTC)


@dataclass(frozen=True, slots=True)
class Day:
    """One day of the booth: `begins_at` ≤ what happened on it < `ends_at`, which is the opening of the next day."""

    day: str
    sessions: tuple[TradingDay, ...]
    begins_at: datetime
    ends_at: datetime

    @property
    def opened_at(self) -> datetime:
        """When it was opened first."""
        return self.sessions[0].opened_at

    @property
    def closed_at(self) -> datetime | None:
        """When it was closed for good, None while it is open."""
        return self.sessions[-1].closed_at

    def holds(self, at: datetime | None) -> bool:
        """Whether what happened at `at` belongs to this day; nothing that never happened does."""
        return at is not None and self.begins_at <= at < self.ends_at

    def trading(self, until: datetime) -> list[Span]:
        """When it was open, up to `until`; late news may make two sessions overlap, and that time counts once."""
        return union((one.opened_at, min(one.closed_at or until, until)) for one in self.sessions)


def days_of(booth: Booth) -> tuple[Day, ...]:
    """Every day of `booth`, in order. What came before the first opening belongs to the first day."""
    grouped = [(day, tuple(sessions)) for day, sessions in groupby(booth.days, key=lambda one: one.day)]
    if not grouped:
        return ()
    edges = [_BEGINNING, *(sessions[0].opened_at for _, sessions in grouped[1:]), _END]
    return tuple(
        Day(day, sessions, begins_at, ends_at)
        for (day, sessions), (begins_at, ends_at) in zip(grouped, pairwise(edges), strict=True)
    )


def day_named(booth: Booth, name: str) -> Day | None:
    """The day of that date, None when the booth did not trade on it."""
    return next((day for day in days_of(booth) if day.day == name), None)

"""Which hours of the day are worth being open for? Portraits finished, and money taken, per hour open.

By the hour on the booth's clock, over all days on which the booth was open in it; an hour open for ten minutes counts a
sixth. What happened after closing belongs to no hour and is told apart. An hour's money is often of portraits ordered
before it: it says when the counter is busy, not what an hour less would cost.
"""

from __future__ import annotations

from dataclasses import dataclass

from portraitq.daybook.day_summary import OUT_OF_HOURS
from portraitq.daybook.ratios import Ratio, ratio
from portraitq.daybook.season import Season

HOUR_S = 3600
ENOUGH_DAYS_OPEN = 3  # on fewer days an hour is neither called best nor worst
ENOUGH_OPEN_H = 1.0  # nor is one that was hardly ever open


@dataclass(frozen=True, slots=True)
class HourFigures:
    """One hour of the clock: `days` on which the booth was open in it, for `open_h` hours together."""

    hour: int
    days: int
    open_h: float
    finished: Ratio
    taken: Ratio

    @property
    def is_known(self) -> bool:
        """Whether it was open often enough to be held against others."""
        return self.days >= ENOUGH_DAYS_OPEN and self.open_h >= ENOUGH_OPEN_H


@dataclass(frozen=True, slots=True)
class HoursOfDay:
    """Every hour in which the booth was open, by the clock; and what happened while it was closed."""

    hours: tuple[HourFigures, ...]
    finished_after: int
    taken_after: int

    @property
    def best(self) -> HourFigures | None:
        """The hour with the highest takings per hour open; None unless two can be held against each other."""
        known = [one for one in self.hours if one.is_known]
        return max(known, key=lambda one: one.taken.value) if len(known) > 1 else None

    @property
    def worst(self) -> HourFigures | None:
        """The hour with the lowest takings per hour open; None unless two can be held against each other."""
        known = [one for one in self.hours if one.is_known]
        return min(known, key=lambda one: one.taken.value) if len(known) > 1 else None

    @property
    def are_told_apart(self) -> bool:
        """Whether the best and the worst hour differ by more than luck: their intervals do not meet."""
        best, worst = self.best, self.worst
        if best is None or worst is None or best.taken.interval is None or worst.taken.interval is None:
            return False
        return worst.taken.interval[1] < best.taken.interval[0]


def hours_of_day(season: Season) -> HoursOfDay:
    """The hours of the days of `season`, of the whole booth."""
    by_day = [{one.hour: one for one in day.whole.hours} for day in season.days]
    found = []
    for hour in sorted({hour for day in by_day for hour in day} - {OUT_OF_HOURS}):
        those = [day[hour] for day in by_day if hour in day]
        open_h = [one.open_s / HOUR_S for one in those]
        finished, taken = ratio([one.finished for one in those], open_h), ratio([one.taken for one in those], open_h)
        if finished is not None and taken is not None:
            found.append(HourFigures(hour, len(those), sum(open_h), finished, taken))
    after = [day[OUT_OF_HOURS] for day in by_day if OUT_OF_HOURS in day]
    return HoursOfDay(tuple(found), sum(one.finished for one in after), sum(one.taken for one in after))

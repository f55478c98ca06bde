"""Does an artist get quicker or slower, measured against their own guesses?

Of each portrait the log of the time that its stages were measured to take, over what was guessed for them: 0 is as
guessed, 0.1 about ten per cent slower, whatever the style and however many sitters. A day's pace is the mean over its
portraits; the trend is a line through the days, each counted once, for days differ more than chance among portraits
says (a hot day, a festival). A portrait whose clock ran on, by far longer than the artist's others in the range, is
left out and counted.
"""

from __future__ import annotations

import math
import statistics
from collections.abc import Sequence
from dataclasses import dataclass

from portraitq.daybook.differences import Mean, mean_of
from portraitq.daybook.season import Season, SeasonDay, season_of
from portraitq.daybook.trend import Trend, trend

# Iglewicz & Hoaglin, How to Detect and Handle Outliers (1993): so many robust spreads from the median; 1.4826 makes the
# median absolute deviation of normal values their standard deviation.
BEYOND, MAD_TO_SD = 3.5, 1.4826
LEAST_SPREAD = 0.15  # of the log: hands are never steadier than this, however alike a few portraits were
ENOUGH_TO_DOUBT = 5  # with fewer portraits nothing is called odd


@dataclass(frozen=True, slots=True)
class DayPace:
    """One day: how many days after the first of the range it is, and the mean log of measured to guessed."""

    day: str
    at: int
    log_pace: Mean


@dataclass(frozen=True, slots=True)
class ArtistPace:
    """One artist's pace over a range.

    logs      of every portrait that counts
    unknown   portraits of which not every stage was measured well
    ran_on    portraits left out because their clocks ran on
    """

    artist: str
    days: tuple[DayPace, ...]
    logs: tuple[float, ...]
    unknown: int
    ran_on: int

    @property
    def trend(self) -> Trend | None:
        """The log of the pace over days of the calendar; None where it stays open."""
        return trend([one.at for one in self.days], [one.log_pace.value for one in self.days])

    @property
    def usual(self) -> Mean | None:
        """The log of the pace over all days, each counted once."""
        return mean_of([one.log_pace.value for one in self.days])


def pace_of_artist(season: Season, artist: str) -> ArtistPace:
    """The pace of `artist` on the days of `season`."""
    days = season_of([one.whole for one in season.days], artist).days
    known = [(day, [math.log(p.drawn_s / p.guess_s) for p in day.portraits if p.drawn_s > 0]) for day in days]
    limit = _limit([log for _, logs in known for log in logs])
    first = season.days[0].ordinal if season.days else 0
    paces = []
    for day, logs in known:
        if mean := mean_of([log for log in logs if log <= limit]):
            paces.append(DayPace(day.day, day.ordinal - first, mean))
    every = [log for _, logs in known for log in logs]
    counted = tuple(log for log in every if log <= limit)
    return ArtistPace(
        artist=artist,
        days=tuple(paces),
        logs=counted,
        unknown=_finished(days) - len(every),
        ran_on=len(every) - len(counted),
    )


def _finished(days: Sequence[SeasonDay]) -> int:
    return sum(len(day.portraits) for day in days)


def _limit(logs: Sequence[float]) -> float:
    """Above this a clock ran on."""
    if len(logs) < ENOUGH_TO_DOUBT:
        return math.inf
    middle = statistics.median(logs)
    spread = max(MAD_TO_SD * statistics.median(abs(log - middle) for log in logs), LEAST_SPREAD)
    return middle + BEYOND * spread

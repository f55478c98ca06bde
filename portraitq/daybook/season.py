"""A range of days, the season: what was drawn from day to day, and does it grow?

A day counts once, however long it was. With an artist only what that artist drew is counted, on the days on which they
were at an easel. What else is asked of a range stands in a file of its own: `pace_trend.py`, `said_and_kept.py`,
`lost.py`, `best_hours.py`, `earnings.py`; two of them beside each other in `side_by_side.py`.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date

from portraitq.daybook.day_summary import ArtistDay, DaySummary, Portrait
from portraitq.daybook.differences import Mean, mean_of
from portraitq.daybook.promises import JUDGED, KEPT
from portraitq.daybook.shares import Share, share
from portraitq.daybook.trend import Trend, trend


@dataclass(frozen=True, slots=True)
class SeasonDay:
    """One day of a season, with what concerns its artist alone."""

    whole: DaySummary
    portraits: tuple[Portrait, ...]
    artists: tuple[ArtistDay, ...]

    @property
    def day(self) -> str:
        """Its date."""
        return self.whole.day

    @property
    def ordinal(self) -> int:
        """Its date as a number of days."""
        return date.fromisoformat(self.day).toordinal()

    @property
    def earned(self) -> int:
        """What was paid for the portraits finished on it, whenever that was."""
        return sum(one.earned for one in self.portraits)


@dataclass(frozen=True, slots=True)
class Season:
    """Days in order; `artist` is the one of whom it tells, empty for the whole booth."""

    days: tuple[SeasonDay, ...]
    artist: str = ""

    @property
    def finished(self) -> int:
        """Portraits finished."""
        return sum(len(one.portraits) for one in self.days)

    @property
    def a_day(self) -> Mean | None:
        """Portraits finished a day."""
        return mean_of([len(one.portraits) for one in self.days])

    @property
    def taken(self) -> int:
        """What came in on the days; with an artist what was paid for the portraits that they finished on them."""
        return sum(self._taken_on(one) for one in self.days)

    @property
    def taken_a_day(self) -> Mean | None:
        """The same a day."""
        return mean_of([self._taken_on(one) for one in self.days])

    def _taken_on(self, day: SeasonDay) -> int:
        return day.earned if self.artist else day.whole.taken

    @property
    def trend(self) -> Trend | None:
        """Portraits finished a day over days of the calendar, counted from the first; None where it stays open."""
        return trend(self.ordinals, [len(one.portraits) for one in self.days])

    @property
    def ordinals(self) -> list[int]:
        """How many days after the first each one is."""
        return [one.ordinal - self.days[0].ordinal for one in self.days]

    @property
    def kept(self) -> Share | None:
        """First promises kept, of those that can be judged."""
        judged = [
            one.became
            for day in self.days
            for one in day.whole.asked
            if one.became in JUDGED and (not self.artist or one.artist == self.artist)
        ]
        return share(sum(became == KEPT for became in judged), len(judged))

    @property
    def in_hand(self) -> float | None:
        """How many portraits were ordered and not yet ready, on average while the booth was open."""
        open_s = sum(one.whole.open_s for one in self.days)
        return sum(one.whole.in_hand_s for one in self.days) / open_s if open_s else None


def season_of(days: Iterable[DaySummary], artist: str = "") -> Season:
    """The season of those days; of `artist` alone where one is named, and then of the days when they were there."""
    found = (
        SeasonDay(
            day,
            tuple(one for one in day.portraits if not artist or one.artist == artist),
            tuple(one for one in day.artists if not artist or one.artist == artist),
        )
        for day in days
    )
    return Season(tuple(one for one in found if not artist or one.artists or one.portraits), artist)


def artists_of(days: Sequence[DaySummary]) -> tuple[str, ...]:
    """Everybody who was at an easel or finished a portrait on one of the days, in alphabetical order."""
    found = {one.artist for day in days for one in day.artists}
    return tuple(sorted(found | {one.artist for day in days for one in day.portraits}))

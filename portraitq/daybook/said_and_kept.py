"""Is "85 % sure" kept 85 times in a hundred? What was said of first promises against what became of them.

By the confidence that was said, and by how far ahead was promised: kept of those that can be judged (`promises.py`),
with Wilson's interval. The wish lies in the interval, or it does not; more is not claimed.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from statistics import fmean

from portraitq.daybook.bands import BANDS, Band, band_of
from portraitq.daybook.day_summary import Asked
from portraitq.daybook.promises import JUDGED, KEPT
from portraitq.daybook.season import Season
from portraitq.daybook.shares import Share

ENOUGH_PROMISES = 20  # with fewer, luck hides whether the wish was met (binomial: 14–20 of 20 at 85 %)
AS_SAID, LESS, MORE, OPEN = "as said", "less than said", "more than said", "too few to tell"


@dataclass(frozen=True, slots=True)
class Level:
    """Promises said with one confidence, and how many of them were kept."""

    said: float
    kept: Share

    @property
    def verdict(self) -> str:
        """Whether what was said lies in the interval of what was kept."""
        return verdict(self.kept, self.said)


@dataclass(frozen=True, slots=True)
class Ahead:
    """Promises so far ahead; `said` is their mean confidence."""

    band: Band
    said: float
    kept: Share

    @property
    def verdict(self) -> str:
        """Whether what was said lies in the interval of what was kept."""
        return verdict(self.kept, self.said)


def verdict(kept: Share, said: float) -> str:
    """What may be said of `kept` against `said`."""
    if kept.n < ENOUGH_PROMISES:
        return OPEN
    low, high = kept.interval()
    return LESS if high < said else MORE if low > said else AS_SAID


def by_level(season: Season) -> tuple[Level, ...]:
    """By the confidence that was said, to the whole per cent, rising."""
    found: dict[int, list[Asked]] = {}
    for one in _judged(season):
        found.setdefault(round(100 * (one.confidence or 0)), []).append(one)
    return tuple(Level(percent / 100, _kept(those)) for percent, those in sorted(found.items()))


def by_band(season: Season) -> tuple[Ahead, ...]:
    """By how far ahead was promised, near ones first; bands without a promise are left out."""
    found: dict[Band, list[Asked]] = {}
    for one in _judged(season):
        found.setdefault(band_of(one.wait_s or 0), []).append(one)
    return tuple(
        Ahead(band, fmean(one.confidence or 0 for one in found[band]), _kept(found[band]))
        for band in BANDS
        if band in found
    )


def _judged(season: Season) -> Iterable[Asked]:
    return (
        one
        for day in season.days
        for one in day.whole.asked
        if one.became in JUDGED and one.confidence is not None and (not season.artist or one.artist == season.artist)
    )


def _kept(those: list[Asked]) -> Share:
    return Share(sum(one.became == KEPT for one in those), len(those))

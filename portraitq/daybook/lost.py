"""Who left when they heard the time? Of all who asked and were told one, the share who walked away, by the time told.

Somebody who ordered was told the promise of the order; somebody who walked away, what was noted then. A share is
left / (left + ordered), with Wilson's interval. That more leave who are told longer is what is seen, not what it would
do to tell them less: people who come at noon may wait less gladly than those of the evening.
"""

from __future__ import annotations

from dataclasses import dataclass

from portraitq.daybook.bands import BANDS, Band, band_of
from portraitq.daybook.day_summary import LEFT, Asked
from portraitq.daybook.differences import Difference, of_shares
from portraitq.daybook.season import Season
from portraitq.daybook.shares import Share, share

ENOUGH_ASKED = 10  # of fewer, the interval of a share is sixty points wide


@dataclass(frozen=True, slots=True)
class LostInBand:
    """Those told a time of one band."""

    band: Band
    left: Share


@dataclass(frozen=True, slots=True)
class Lost:
    """Those who asked on the days of a range.

    bands    by the time told; bands of which nobody was told are left out
    untold   of those to whom no time was told
    """

    bands: tuple[LostInBand, ...]
    untold: Share | None
    everybody: Share | None

    def beyond(self, minutes: int) -> Share | None:
        """Of those told more than that; it is the edge of a band."""
        return _together([one.left for one in self.bands if one.band.over_min >= minutes])

    def within(self, minutes: int) -> Share | None:
        """Of those told at most that; it is the edge of a band."""
        return _together([one.left for one in self.bands if one.band.over_min < minutes])

    def told_longer(self, minutes: int) -> Difference | None:
        """How many more left of those told longer than that; None where either are too few to tell."""
        beyond, within = self.beyond(minutes), self.within(minutes)
        if beyond is None or within is None or min(beyond.n, within.n) < ENOUGH_ASKED:
            return None
        return of_shares(beyond, within)


def lost(season: Season) -> Lost:
    """Who left on the days of `season`, whomever they asked for."""
    asked = [one for day in season.days for one in day.whole.asked]
    by_band: dict[Band, list[Asked]] = {}
    for one in asked:
        if one.wait_s is not None:
            by_band.setdefault(band_of(one.wait_s), []).append(one)
    return Lost(
        bands=tuple(
            LostInBand(band, Share(_left(by_band[band]), len(by_band[band]))) for band in BANDS if band in by_band
        ),
        untold=_share([one for one in asked if one.wait_s is None]),
        everybody=_share(asked),
    )


def _left(those: list[Asked]) -> int:
    return sum(one.became == LEFT for one in those)


def _share(those: list[Asked]) -> Share | None:
    return share(_left(those), len(those))


def _together(shares: list[Share]) -> Share | None:
    return share(sum(one.hits for one in shares), sum(one.n for one in shares))

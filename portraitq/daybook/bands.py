"""How long people were told to wait, in the bands that they think in: a quarter of an hour, half an hour, an hour."""

from __future__ import annotations

from bisect import bisect_left
from dataclasses import dataclass

EDGES_MIN = (15, 30, 45, 60, 90, 120)


@dataclass(frozen=True, slots=True)
class Band:
    """Told to wait more than `over_min` and at most `to_min` minutes; None is without an end."""

    over_min: int
    to_min: int | None


BANDS = tuple(Band(over, to) for over, to in zip((0, *EDGES_MIN), (*EDGES_MIN, None), strict=True))


def band_of(wait_s: float) -> Band:
    """The band of a wait; its upper edge is in it.

    >>> band_of(900).to_min, band_of(901).to_min, band_of(3 * 3600).to_min
    (15, 30, None)
    """
    return BANDS[bisect_left(EDGES_MIN, wait_s / 60)]

"""The middle and the spread of measured times, and which definition of a percentile the day book means.

Type 7 of Hyndman & Fan (The American Statistician 50, 1996): linear between the sorted values, the k-th of n standing
at (k − 1) / (n − 1). It is what spreadsheets call PERCENTILE or PERCENTILE.INC, so that somebody who opens the CSV and
asks there gets the number that stands in the day book.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass


def quantile(values: Sequence[float], q: float) -> float:
    """The `q` quantile of `values`, type 7; ValueError when there are none or `q` is outside 0–1.

    >>> quantile([10, 20, 40], 0.5), quantile([10, 20, 40], 0.75)
    (20.0, 30.0)
    """
    if not values:
        raise ValueError("a quantile of no values was asked for")
    if not 0 <= q <= 1:
        raise ValueError(f"q must lie in 0–1, not {q!r}")
    ordered = sorted(values)
    place = q * (len(ordered) - 1)
    low = math.floor(place)
    high = min(low + 1, len(ordered) - 1)
    return ordered[low] + (place - low) * (ordered[high] - ordered[low])


@dataclass(frozen=True, slots=True)
class Spread:
    """`n` times in seconds: their median, and the tenth and ninetieth percentile."""

    n: int
    p10_s: float
    median_s: float
    p90_s: float
    longest_s: float


def spread(values_s: Iterable[float]) -> Spread | None:
    """The spread of `values_s`, None when there are none."""
    values = sorted(values_s)  # once: each quantile then finds it in order
    if not values:
        return None
    return Spread(len(values), quantile(values, 0.1), quantile(values, 0.5), quantile(values, 0.9), values[-1])

"""So much for so much: money an hour, portraits an hour, over several days, with an interval.

The ratio of the sums, not the mean of the days' ratios: an hour counts as an hour on whichever day it was. Each day is
one draw (what happens on one day hangs together), and the interval is that of the ratio estimator with Student's t:
W. G. Cochran, Sampling Techniques, 3rd ed. (1977), sections 2.11 and 6.3, without a correction for a finite population.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from portraitq.daybook.differences import ENOUGH_FOR_A_MEAN
from portraitq.daybook.trend import t_quantile


@dataclass(frozen=True, slots=True)
class Ratio:
    """`value` over `n` days with a part in it; the 95 % interval is None where they are too few."""

    n: int
    value: float
    interval: tuple[float, float] | None


def ratio(tops: Sequence[float], bottoms: Sequence[float]) -> Ratio | None:
    """The sum of `tops` to the sum of `bottoms`, one of each a day; None where the bottoms sum to nothing.

    Days whose bottom is 0 and whose top is 0 are no part of it.

    >>> ratio([10, 20], [1, 1]).value
    15.0
    """
    days = [(top, bottom) for top, bottom in zip(tops, bottoms, strict=True) if top or bottom]
    below = math.fsum(bottom for _, bottom in days)
    if below <= 0:
        return None
    n, value = len(days), math.fsum(top for top, _ in days) / below
    if n < ENOUGH_FOR_A_MEAN:
        return Ratio(n, value, None)
    variance = math.fsum((top - value * bottom) ** 2 for top, bottom in days) / (n - 1)
    half = t_quantile(n - 1) * math.sqrt(variance * n) / below
    return Ratio(n, value, (value - half, value + half))

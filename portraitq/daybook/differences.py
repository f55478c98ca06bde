"""A mean with its interval, and how far two means, or two shares, are apart: never more than the numbers bear.

Means: Student's t, and Welch's for two of them (B. L. Welch, Biometrika 34 (1947), 28–35). Shares: Newcombe's interval
made of two Wilson ones (R. G. Newcombe, Statistics in Medicine 17 (1998), 873–890, his method 10).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from portraitq.daybook.shares import Share
from portraitq.daybook.trend import t_quantile

ENOUGH_FOR_A_MEAN = 3  # of two values the interval of a mean is twelve standard errors wide and tells nothing


@dataclass(frozen=True, slots=True)
class Mean:
    """The mean of `n` values and its 95 % interval, None where there are too few."""

    n: int
    value: float
    variance: float
    interval: tuple[float, float] | None


@dataclass(frozen=True, slots=True)
class Difference:
    """The first less the second; the 95 % interval is None where there are too few for one."""

    value: float
    interval: tuple[float, float] | None

    @property
    def is_clear(self) -> bool:
        """Whether the interval leaves out that there is none."""
        return self.interval is not None and (self.interval[0] > 0 or self.interval[1] < 0)


def mean_of(values: Sequence[float]) -> Mean | None:
    """The mean of `values`; None of nothing.

    >>> mean_of([2, 4, 6]).value
    4.0
    """
    n = len(values)
    if not n:
        return None
    value = math.fsum(values) / n
    if n < ENOUGH_FOR_A_MEAN:
        return Mean(n, value, 0.0, None)
    variance = math.fsum((one - value) ** 2 for one in values) / (n - 1)
    half = t_quantile(n - 1) * math.sqrt(variance / n)
    return Mean(n, value, variance, (value - half, value + half))


def of_means(first: Mean | None, second: Mean | None) -> Difference | None:
    """How far two means are apart, by Welch's interval; None where one of them is missing."""
    if first is None or second is None:
        return None
    value = first.value - second.value
    if first.interval is None or second.interval is None:
        return Difference(value, None)
    errors = [one.variance / one.n for one in (first, second)]
    if sum(errors) == 0:
        return Difference(value, (value, value))
    freedom = sum(errors) ** 2 / sum(error**2 / (one.n - 1) for error, one in zip(errors, (first, second), strict=True))
    half = t_quantile(freedom) * math.sqrt(sum(errors))
    return Difference(value, (value - half, value + half))


def of_shares(first: Share | None, second: Share | None) -> Difference | None:
    """How far two shares are apart, by Newcombe's interval; None where one of them is missing."""
    if first is None or second is None:
        return None
    value = first.value - second.value
    (low, high), (other_low, other_high) = first.interval(), second.interval()
    below = math.hypot(first.value - low, other_high - second.value)
    above = math.hypot(high - first.value, second.value - other_low)
    return Difference(value, (value - below, value + above))

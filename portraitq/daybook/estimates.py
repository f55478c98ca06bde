"""What is estimated and between which bounds it lies; and the median with its interval, whatever the law behind it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from scipy.special import bdtr

from portraitq.daybook.differences import Mean
from portraitq.daybook.quantiles import quantile
from portraitq.daybook.ratios import Ratio

OUTSIDE = 0.05  # the interval is left out in so many cases
FEWEST_FOR_A_MEDIAN = 6  # the smallest and the largest of five hold the median between them in 94 % of cases only


@dataclass(frozen=True, slots=True)
class Estimate:
    """`value`, estimated from `n` cases, and the bounds of its 95 % interval."""

    value: float
    low: float
    high: float
    n: int


def median_of(values: Sequence[float]) -> Estimate | None:
    """The median with the interval of its order statistics; None of fewer values than such an interval takes.

    Of the pairs (k-th smallest, k-th largest) that hold the median between them in at least 95 % of cases, the
    narrowest. Source: David & Nagaraja, Order Statistics, 3rd ed. (2003), section 7.1.

    >>> median_of([1, 2, 3, 4, 5, 6, 7, 8, 9, 10])
    Estimate(value=5.5, low=2, high=9, n=10)
    """
    n = len(values)
    if n < FEWEST_FOR_A_MEDIAN:
        return None
    left_out = 0  # on each side
    while bdtr(left_out + 1, n, 0.5) <= OUTSIDE / 2:
        left_out += 1
    ordered = sorted(values)
    return Estimate(quantile(ordered, 0.5), ordered[left_out], ordered[n - 1 - left_out], n)


def estimate(found: Mean | Ratio | None) -> Estimate | None:
    """A mean or a ratio where it has an interval, else None."""
    if found is None or found.interval is None:
        return None
    low, high = found.interval
    return Estimate(found.value, low, high, found.n)

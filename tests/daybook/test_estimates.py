"""Intervals by order statistics: which of the sorted values hold the median between them."""

from __future__ import annotations

import math

import pytest

from portraitq.daybook.differences import mean_of
from portraitq.daybook.estimates import Estimate, estimate, median_of


@pytest.mark.parametrize(
    ("n", "low_rank", "high_rank"),
    [
        # Of n coins at most k show heads with (1 + n + … + C(n, k)) / 2**n; the largest k for which that is ≤ 2.5 %
        # gives the ranks k + 1 and n - k. Worked by hand, in 2**-n:
        (6, 1, 6),  # k = 0: 1/64 = 1.6 %; k = 1: 7/64 = 10.9 %
        (8, 1, 8),  # k = 0: 1/256 = 0.4 %; k = 1: 9/256 = 3.5 %
        (9, 2, 8),  # k = 1: 10/512 = 2.0 %; k = 2: 46/512 = 9.0 %
        (10, 2, 9),  # k = 1: 11/1024 = 1.1 %; k = 2: 56/1024 = 5.5 %
        (20, 6, 15),  # k = 5: 21700/1048576 = 2.1 %; k = 6: 60460/1048576 = 5.8 %
    ],
)
def test_the_median_lies_between_the_ranks_of_the_binomial(n: int, low_rank: int, high_rank: int):
    found = median_of(list(range(1, n + 1)))

    assert found == Estimate((n + 1) / 2, low_rank, high_rank, n)


def test_a_thousand_values_give_the_ranks_of_the_normal_approximation():
    found = median_of([float(one) for one in range(1, 1001)])

    assert found is not None
    assert found.low == pytest.approx(500.5 - 1.96 * math.sqrt(1000) / 2, abs=1)
    assert found.low + found.high == 1001


def test_five_values_say_too_little_about_their_median():
    assert median_of([1, 2, 3, 4, 5]) is None


def test_a_mean_of_two_days_is_no_estimate():
    assert estimate(mean_of([1.0, 2.0])) is None


def test_a_mean_of_three_days_is_one():
    found = estimate(mean_of([2.0, 4.0, 6.0]))

    # mean 4, s = 2, t(2, 97.5 %) = 4.303 from any table: 4 ± 4.303 × 2 / √3
    assert found is not None
    assert (found.value, found.n) == (4.0, 3)
    assert found.high == pytest.approx(4 + 4.303 * 2 / math.sqrt(3), abs=0.001)

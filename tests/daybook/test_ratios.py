"""So much for so much, with days as draws."""

from __future__ import annotations

import math

import pytest

from portraitq.daybook.differences import mean_of
from portraitq.daybook.ratios import ratio
from portraitq.daybook.trend import t_quantile

TOPS = (120.0, 90.0, 150.0, 60.0, 180.0, 110.0, 75.0, 140.0)
HOURS = (6.0, 5.0, 7.5, 4.0, 8.0, 6.5, 4.5, 7.0)


def test_an_hour_counts_as_an_hour_on_whichever_day_it_was():
    found = ratio([100, 10], [4, 1])

    assert found is not None
    assert found.value == 22.0  # 110 / 5, not the mean of 25 and 10


def test_with_equal_hours_it_is_the_mean_with_its_interval():
    # the ratio estimator with a constant denominator is the mean, exactly
    found, mean = ratio(TOPS, [2.0] * 8), mean_of([top / 2 for top in TOPS])

    assert found is not None
    assert mean is not None
    assert found.value == pytest.approx(mean.value)
    assert found.interval == pytest.approx(mean.interval)


def test_its_standard_error_is_near_that_of_leaving_out_one_day_after_the_other():
    # Cochran 1977, section 6.17 (from memory): the jackknife's variance agrees to order 1/n (8 days: within 25 %)
    found = ratio(TOPS, HOURS)
    n = len(TOPS)
    without = [(sum(TOPS) - top) / (sum(HOURS) - hour) for top, hour in zip(TOPS, HOURS, strict=True)]
    middle = sum(without) / n
    jackknife = math.sqrt((n - 1) / n * sum((one - middle) ** 2 for one in without))

    assert found is not None
    assert found.interval is not None
    error = (found.interval[1] - found.value) / t_quantile(n - 1)
    assert error == pytest.approx(jackknife, rel=0.25)


def test_days_with_nothing_on_either_side_are_no_draws():
    found, padded = ratio(TOPS, HOURS), ratio((*TOPS, 0.0, 0.0), (*HOURS, 0.0, 0.0))

    assert padded == found


def test_two_days_have_a_ratio_and_no_interval_and_no_hours_no_ratio():
    found = ratio([10, 20], [1, 1])

    assert found is not None
    assert found.interval is None
    assert ratio([10, 20], [0, 0]) is None

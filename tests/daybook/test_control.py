"""The individuals chart, and why stage times are charted by their logs."""

from __future__ import annotations

import math

import pytest
from scipy.stats import norm

from portraitq.daybook.control import (
    D2,
    D3,
    ENOUGH,
    ENOUGH_BEFORE,
    RANGE_WIDTH,
    WIDTH,
    judge_times,
    limits,
    time_limits,
)

# NIST/SEMATECH e-Handbook 6.3.2.2
FLOW_RATES = [49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1]


def test_the_handbooks_example_has_its_centre_and_limits():
    found = limits(FLOW_RATES)

    assert found.centre == pytest.approx(50.81, abs=5e-5)
    assert found.mean_range == pytest.approx(1.877778, abs=5e-7)
    # the handbook divides by 1.128 and has these limits; with d2 = 2/√π itself they move by two thousandths
    by_the_book = 3 / 1.128 * found.mean_range
    assert (50.81 - by_the_book, 50.81 + by_the_book) == pytest.approx((45.8159, 55.8041), abs=5e-5)
    assert (found.lower, found.upper) == pytest.approx((45.8159, 55.8041), abs=2e-3)
    assert found.range_upper == pytest.approx(6.1347, abs=2e-3)  # tables' 3.267 · 1.8778


def test_the_constants_are_those_of_two_normal_values():
    # derived: E|X − Y| = 2/√π, sd √(2 − 4/π); tables of control chart constants print 1.128, 2.66, 3.267
    assert pytest.approx(1.1283792, abs=1e-7) == D2
    assert pytest.approx(2.6586808, abs=1e-7) == WIDTH
    assert pytest.approx(0.8525025, abs=1e-7) == D3
    assert pytest.approx(3.2665319, abs=1e-7) == RANGE_WIDTH
    assert (round(D2, 3), round(WIDTH, 2), round(RANGE_WIDTH, 3)) == (1.128, 2.66, 3.267)


def test_skewed_times_make_a_chart_of_seconds_call_wolf_on_one_side_and_sleep_on_the_other():
    # log T ~ N(0, 0.4²): mean e^(σ²/2), mean range 2 · mean · erf(σ/2) (Gini's mean difference of a log-normal)
    sigma = 0.4
    mean = math.exp(sigma**2 / 2)
    reach = WIDTH * 2 * mean * math.erf(sigma / 2)

    too_long = norm.sf(math.log(mean + reach) / sigma)

    assert mean - reach < 0  # no time is ever too short
    assert too_long == pytest.approx(0.016, abs=0.0005)
    assert norm.sf(3) == pytest.approx(0.00135, abs=0.00001)  # what three sigma of the logs call, on either side


def test_limits_of_times_are_factors_around_the_geometric_mean():
    times = [100.0, 200.0, 100.0, 200.0]  # each range of the logs is ln 2

    found = time_limits(times)

    assert found.centre == pytest.approx(math.sqrt(100 * 200))
    assert found.upper / found.centre == pytest.approx(2**WIDTH)
    assert found.centre / found.lower == pytest.approx(2**WIDTH)


@pytest.mark.parametrize("values", [[], [300.0]])
def test_no_limits_stand_on_less_than_one_range(values: list[float]):
    with pytest.raises(ValueError, match="two values"):
        limits(values)


def test_a_time_of_nothing_has_no_logarithm():
    with pytest.raises(ValueError, match="above 0"):
        time_limits([300.0, 0.0])


def usual(n: int) -> list[float]:
    return [380.0 if place % 2 else 420.0 for place in range(n)]


def test_a_day_of_few_times_is_not_judged_by_itself():
    assert judge_times(usual(ENOUGH - 1), []) is None
    assert judge_times(usual(ENOUGH), []) is not None
    assert judge_times([], usual(100)) is None


def test_an_odd_time_is_found_by_its_place():
    times = usual(ENOUGH)
    times[7] = 1500.0

    found = judge_times(times, [])

    assert found is not None
    assert (found.beyond, found.is_from_before) == ((7,), False)


def test_a_day_that_was_slow_as_a_whole_is_seen_beside_the_days_before():
    slow = [time_s * 1.5 for time_s in usual(ENOUGH)]

    by_itself, by_the_past = judge_times(slow, []), judge_times(slow, usual(ENOUGH_BEFORE))

    assert by_itself is not None
    assert by_the_past is not None
    assert by_itself.beyond == ()
    assert by_the_past.is_from_before
    assert by_the_past.beyond == tuple(range(ENOUGH))

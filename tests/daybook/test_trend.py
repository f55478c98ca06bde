"""A line through days against certified values, and how little it claims of a few."""

from __future__ import annotations

import pytest

from portraitq.daybook.trend import t_quantile, trend

# NIST StRD, linear regression, dataset Norris (lower difficulty), https://www.itl.nist.gov/div898/strd/lls/data/Norris.shtml:
# data, slope, intercept and their standard deviations as in SciPy's test_nist_norris; residual sd from memory
NORRIS_X = (0.2, 337.4, 118.2, 884.6, 10.1, 226.5, 666.3, 996.3, 448.6, 777.0, 558.2, 0.4, 0.6, 775.5, 666.9, 338.0,
            447.5, 11.6, 556.0, 228.1, 995.8, 887.6, 120.2, 0.3, 0.3, 556.8, 339.1, 887.2, 999.0, 779.0, 11.1, 118.3,
            229.2, 669.1, 448.9, 0.5)  # fmt: skip
NORRIS_Y = (0.1, 338.8, 118.1, 888.0, 9.2, 228.1, 668.5, 998.5, 449.1, 778.9, 559.2, 0.3, 0.1, 778.1, 668.8, 339.3,
            448.9, 10.8, 557.7, 228.3, 998.0, 888.8, 119.6, 0.3, 0.6, 557.6, 339.3, 888.0, 998.5, 778.9, 10.2, 117.6,
            228.9, 668.4, 449.2, 0.2)  # fmt: skip


def test_the_line_is_the_certified_one():
    found = trend(NORRIS_X, NORRIS_Y)

    assert found is not None
    assert found.slope == pytest.approx(1.00211681802045, rel=1e-12)
    assert found.intercept == pytest.approx(-0.262323073774029, rel=1e-11)
    assert found.slope_sd == pytest.approx(0.429796848199937e-3, rel=1e-11)
    assert found.intercept_sd == pytest.approx(0.232818234301152, rel=1e-11)
    assert found.scatter == pytest.approx(0.884796396144373, rel=1e-11)


def test_the_interval_of_the_slope_is_so_many_standard_errors_of_students_t():
    found = trend(NORRIS_X, NORRIS_Y)

    assert found is not None
    low, high = found.interval
    assert (high - low) / 2 == pytest.approx(
        2.0322 * 0.429796848199937e-3, rel=1e-4
    )  # t(34, 95 %) of any table: 2.0322


@pytest.mark.parametrize(("freedom", "printed"), [(1, 12.706), (4, 2.776), (9, 2.262), (24, 2.064), (120, 1.980)])
def test_t_is_that_of_the_tables(freedom: int, printed: float):
    # two-sided 5 %, as every table prints it (checks A3i, A3j use 2.262 and 2.0639; the others from memory)
    assert t_quantile(freedom) == pytest.approx(printed, abs=5e-4)


def test_the_band_is_narrowest_in_the_middle_and_at_x_0_that_of_the_intercept():
    found = trend(NORRIS_X, NORRIS_Y)

    assert found is not None
    low, high = found.band(0)
    assert (high - low) / 2 == pytest.approx(t_quantile(34) * found.intercept_sd, rel=1e-12)
    low, high = found.band(found.x_mean)
    assert (high - low) / 2 == pytest.approx(t_quantile(34) * found.scatter / 6, rel=1e-12)  # n = 36


@pytest.mark.parametrize("xs", [[], [1.0], [1.0, 2.0], [5.0, 5.0, 5.0, 5.0]])
def test_too_few_points_or_all_at_one_x_have_no_line(xs: list[float]):
    assert trend(xs, list(range(len(xs)))) is None


def test_a_steep_line_through_four_days_is_not_called_clear():
    found, longer = trend([0, 1, 2, 3], [1, 2.1, 2.9, 4]), trend([0, 1, 2, 3, 4], [1, 2.1, 2.9, 4, 5.1])

    assert found is not None
    assert longer is not None
    assert found.interval[0] > 0
    assert not found.is_clear
    assert longer.is_clear


def test_a_level_line_is_not_called_clear():
    found = trend(range(8), [5, 4, 6, 5, 5, 6, 4, 5])

    assert found is not None
    assert not found.is_clear


def test_as_many_y_as_x_are_asked_for():
    with pytest.raises(ValueError, match="as many y as x were expected, not 2 for 3"):
        trend([1, 2, 3], [1, 2])

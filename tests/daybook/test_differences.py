"""Means and shares apart: against worked examples, and silent where there is too little."""

from __future__ import annotations

import pytest

from portraitq.daybook.differences import mean_of, of_means, of_shares
from portraitq.daybook.shares import Share

# "Student's sleep data", hours of sleep gained by ten patients, as R ships it (help page of `t.test`; from memory)
FIRST = (0.7, -1.6, -0.2, -1.2, -0.1, 3.4, 3.7, 0.8, 0.0, 2.0)
SECOND = (1.9, 0.8, 1.1, 0.1, -0.1, 4.4, 5.5, 1.6, 4.6, 3.4)


def test_two_means_differ_by_welchs_interval():
    found = of_means(mean_of(FIRST), mean_of(SECOND))

    # R: t.test(extra ~ group, data = sleep): 95 percent confidence interval -3.3654832 0.2054832 (from memory)
    assert found is not None
    assert found.value == pytest.approx(0.75 - 2.33)
    assert found.interval == pytest.approx((-3.3654832, 0.2054832), abs=1e-7)
    assert not found.is_clear


def test_a_mean_has_students_interval():
    found = mean_of(FIRST)

    # R: t.test(sleep$extra[1:10]): 95 percent confidence interval -0.5297804 2.0297804 (from memory)
    assert found is not None
    assert found.interval == pytest.approx((-0.5297804, 2.0297804), abs=1e-7)


def test_two_shares_differ_by_newcombes_interval():
    # Newcombe 1998, Statistics in Medicine 17:873–890, table II, contrast (a) 56/70 − 48/80, method 10: 0.0524, 0.3339
    # (from memory; Wald's 0.0575, 0.3425 for the same pair stand in tests of R packages)
    found = of_shares(Share(56, 70), Share(48, 80))

    assert found is not None
    assert found.interval == pytest.approx((0.0524, 0.3339), abs=5e-5)
    assert found.is_clear


@pytest.mark.parametrize("values", [[3.0], [3.0, 9.0]])
def test_one_or_two_values_have_a_mean_and_no_interval(values: list[float]):
    found = mean_of(values)

    assert found is not None
    assert found.interval is None
    difference = of_means(found, mean_of(FIRST))
    assert difference is not None
    assert difference.interval is None
    assert not difference.is_clear


def test_nothing_has_neither_mean_nor_difference():
    assert mean_of([]) is None
    assert of_means(None, mean_of(FIRST)) is None
    assert of_shares(Share(1, 2), None) is None

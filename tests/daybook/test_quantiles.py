"""Percentiles against published examples, and the Wilson interval."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from portraitq.daybook.quantiles import quantile, spread
from portraitq.daybook.shares import Share, share

HYNDMAN_FAN = [1, 2, 4, 7, 11, 16, 22, 29, 37, 46]
NIST_7262 = [95.1772, 95.1567, 95.1937, 95.1959, 95.1442, 95.0610, 95.1591, 95.1195, 95.1065, 95.0925, 95.1990, 95.1682]


@pytest.mark.parametrize(("q", "expected"), [(0.1, 1.9), (0.25, 4.75), (0.5, 13.5), (0.85, 34.2), (0.9, 37.9)])
def test_a_quantile_is_of_type_7(q: float, expected: float):
    # Hyndman & Fan, The American Statistician 50 (1996), 361–365, definition 7
    assert quantile(HYNDMAN_FAN, q) == pytest.approx(expected, abs=1e-9)


def test_the_handbooks_data_give_what_spreadsheets_say():
    # NIST/SEMATECH e-Handbook 7.2.6.2; its own definition is type 6 (95.1981), type 7 gives this
    assert quantile(NIST_7262, 0.9) == pytest.approx(95.19568, abs=1e-9)


@given(st.lists(st.floats(0, 1e6), min_size=1, max_size=40), st.floats(0, 1))
def test_any_quantile_is_numpys_linear_one(values: list[float], q: float):
    assert quantile(values, q) == pytest.approx(float(np.quantile(values, q, method="linear")), rel=1e-9, abs=1e-9)


def test_nothing_has_no_quantile_and_no_spread():
    assert spread([]) is None
    with pytest.raises(ValueError, match="no values"):
        quantile([], 0.5)


def test_the_wilson_interval_of_34_of_40():
    # Wilson, J. Am. Stat. Assoc. 22 (1927), 209–212; statsmodels gives the same
    assert Share(34, 40).interval() == pytest.approx((0.7092768, 0.9293881), abs=1e-6)


@given(st.integers(1, 300), st.data())
def test_an_interval_holds_its_share_and_stays_within_0_and_1(n: int, data: st.DataObject):
    hits = data.draw(st.integers(0, n))

    low, high = Share(hits, n).interval()

    assert 0 <= low <= hits / n + 1e-12
    assert hits / n - 1e-12 <= high <= 1


def test_nothing_of_nothing_is_no_share():
    assert share(0, 0) is None

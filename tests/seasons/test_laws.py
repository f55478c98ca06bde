"""The laws of chance against scipy's, and against themselves."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import stats

from tests.seasons.laws import Law, Length, weibull_shape

DRAWS = 20_000
LAWS = [Law("lognormal", 0.35), Law("gamma", 0.45), Law("weibull", 0.4), Law("bimodal", 0.5, 0.25, 2.0)]
KS_999 = 1.949  # of √n times the distance; Kolmogorov's limit law at 99.9 %


def _theirs(law: Law) -> stats.rv_continuous:
    """The same law as scipy has it."""
    if law.kind == "gamma":
        return stats.gamma(1 / law.cv**2, scale=law.cv**2)
    if law.kind == "weibull":
        shape = weibull_shape(law.cv)
        return stats.weibull_min(shape, scale=1 / math.gamma(1 + 1 / shape))
    sigma = math.sqrt(math.log1p(law.cv**2))
    return stats.lognorm(sigma, scale=math.exp(-(sigma**2) / 2))


@pytest.mark.parametrize("law", LAWS, ids=lambda law: law.kind)
def test_draws_have_mean_one_and_the_coefficient_of_variation_asked_for(law: Law):
    draws = law.draw(np.random.default_rng(1), DRAWS)

    fourth = float(np.mean((draws - 1) ** 4))
    assert abs(draws.mean() - 1) < 4 * law.cv / math.sqrt(DRAWS)
    assert abs(draws.var() - law.cv**2) < 4 * math.sqrt(fourth / DRAWS)


@pytest.mark.parametrize("law", LAWS[:3], ids=lambda law: law.kind)
def test_density_tail_and_quantile_are_those_of_scipy(law: Law):
    x = np.array([0.2, 0.6, 1.0, 1.7, 3.0])

    assert law.log_density(x) == pytest.approx(_theirs(law).logpdf(x), rel=1e-9)
    assert law.log_tail(x) == pytest.approx(_theirs(law).logsf(x), rel=1e-7)
    assert law.quantile(0.9) == pytest.approx(_theirs(law).ppf(0.9), rel=1e-7)


def test_a_bimodal_density_is_the_slope_of_its_tail():
    law, x, h = LAWS[3], np.array([0.4, 0.9, 1.6, 2.5]), 1e-5

    slope = (np.exp(law.log_tail(x - h)) - np.exp(law.log_tail(x + h))) / (2 * h)

    assert np.exp(law.log_density(x)) == pytest.approx(slope, rel=1e-6)


@pytest.mark.parametrize("law", LAWS, ids=lambda law: law.kind)
def test_what_lasted_so_long_goes_on_by_the_law_beyond_it(law: Law):
    age = 1.3

    draws = law.beyond(np.full(DRAWS, age), np.random.default_rng(2))

    passed = 1 - np.exp(law.log_tail(draws) - law.log_tail(np.array(age)))
    assert draws.min() >= age
    assert stats.kstest(passed, "uniform").statistic < KS_999 / math.sqrt(DRAWS)


@pytest.mark.parametrize("law", LAWS, ids=lambda law: law.kind)
def test_far_in_the_tail_a_rest_is_still_drawn(law: Law):
    draws = law.beyond(np.full(1000, 12.0), np.random.default_rng(3))

    assert np.isfinite(draws).all()
    assert (draws >= 12.0).all()


def test_several_sitters_vary_less_but_a_hard_one_stays_as_hard():
    several = LAWS[3].of(4)

    assert LAWS[0].of(4).cv == pytest.approx(LAWS[0].cv / 2)
    assert several.cv < LAWS[3].cv
    assert several.times == LAWS[3].times


def test_a_length_has_the_mean_asked_for():
    length = Length(140, 0.7)

    draws = length.draw(np.random.default_rng(4), DRAWS)

    assert abs(draws.mean() - 140) < 4 * 140 * 0.7 / math.sqrt(DRAWS)

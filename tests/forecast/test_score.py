"""The score's figures, against closed forms and the scoringrules package."""

from datetime import UTC, datetime, timedelta

import numpy as np
import pytest
import scoringrules
from scipy.special import ndtri, stdtrit
from scipy.stats import binom, kstest

from portraitq.forecast.draws import normals
from portraitq.forecast.promise import LEVELS, at_level
from portraitq.forecast.replay import QuoteRow
from portraitq.forecast.score import (
    binomial_error,
    crps_of_quantiles,
    crps_of_sample,
    ks_distance,
    pinball,
    pit,
    report,
    score_rows,
    table,
)
from tests.builders import a_booth, instant

AT = datetime(2026, 6, 6, 12, 0, tzinfo=UTC)


def test_the_crps_of_a_sample_is_the_energy_form():
    sample = np.array([9.0, 10, 11, 13, 17])

    # scoringrules 0.10, crps_ensemble(estimator="nrg"): 0.88
    assert crps_of_sample(sample, 12.0) == pytest.approx(0.88, abs=1e-12)
    assert crps_of_sample(sample, 12.0) == pytest.approx(scoringrules.crps_ensemble(12.0, sample, estimator="nrg"))
    assert scoringrules.crps_ensemble(12.0, sample, estimator="fair") == pytest.approx(0.50)  # the other form: not ours


MIDDLES = (np.arange(50_000) + 0.5) / 50_000


# Gneiting & Raftery 2007, JASA 102:359–378 (from memory): σ[z(2Φ(z) − 1) + 2φ(z) − 1/√π]
@pytest.mark.parametrize(
    ("mean", "sd", "came", "expected"),
    [(0, 1, 0, 0.2336949773), (0, 1, 1, 0.6024413576), (15, 3, 20, 3.4263905594), (600, 120, 780, 119.3308804773)],
)
def test_the_crps_of_many_draws_comes_to_the_closed_normal_form(mean, sd, came, expected):
    found = crps_of_sample(mean + sd * ndtri(MIDDLES), came)

    assert found == pytest.approx(expected, rel=1e-4)
    assert scoringrules.crps_normal(came, mean, sd) == pytest.approx(expected, abs=1e-8)


@pytest.mark.parametrize(
    ("median", "sigma", "came", "expected"), [(380, 0.5, 600, 126.3091013421), (380, 0.38, 300, 52.8963523524)]
)
def test_the_crps_of_many_draws_comes_to_the_closed_log_normal_form(median, sigma, came, expected):
    found = crps_of_sample(median * np.exp(sigma * ndtri(MIDDLES)), came)

    assert found == pytest.approx(expected, rel=1e-4)
    assert scoringrules.crps_lognormal(came, np.log(median), sigma) == pytest.approx(expected, abs=1e-7)


def test_the_crps_of_many_draws_comes_to_the_closed_form_of_students_t():
    found = crps_of_sample(stdtrit(12, MIDDLES), 1.5)

    assert found == pytest.approx(0.9824254933, rel=1e-4)
    assert scoringrules.crps_t(1.5, 12, 0, 1) == pytest.approx(0.9824254933, abs=1e-8)


# truth N(0, 1), forecast N(0, k²): √(2(1 + k²)/π) − k/√π; k = 1 is 1/√π
@pytest.mark.parametrize(("k", "expected"), [(0.5, 0.609967), (1.0, 0.564190), (2.0, 0.655745)])
def test_too_sharp_and_too_wide_both_lose(k, expected):
    sample, truths = k * ndtri(MIDDLES[::25]), ndtri((np.arange(2000) + 0.5) / 2000)

    assert np.mean([crps_of_sample(sample, came) for came in truths]) == pytest.approx(expected, rel=2e-3)


def test_pinball_loss():
    # Koenker & Bassett 1978; scoringrules.quantile_score
    assert pinball(np.array([10.0]), np.array([0.9]), 12.0)[0] == pytest.approx(1.8)
    assert pinball(np.array([15.0]), np.array([0.9]), 12.0)[0] == pytest.approx(0.3)
    assert pinball(np.array([10.0]), np.array([0.1]), 12.0)[0] == pytest.approx(0.2)
    assert pinball(np.array([10.0]), np.array([0.9]), 12.0)[0] == pytest.approx(
        scoringrules.quantile_score(12.0, 10.0, 0.9)
    )


def test_the_mean_pinball_over_the_journals_levels():
    quantiles = 600 + 120 * ndtri(np.array(LEVELS))

    # N(600, 120²) at 780, computed with scipy 1.17.1
    assert pinball(quantiles, np.array(LEVELS), 780.0).mean() == pytest.approx(55.8964553935, abs=1e-8)


def test_twice_the_pinball_loss_over_all_levels_is_the_crps():
    losses = pinball(600 + 120 * ndtri(MIDDLES), MIDDLES, 780.0)

    assert 2 * losses.mean() == pytest.approx(119.33088048, rel=1e-4)


@pytest.mark.parametrize(("came", "expected"), [(22.0, 50.0), (15.0, 10.0)])
def test_the_pinball_loss_of_both_ends_is_winklers_interval_score(came, expected):
    losses = pinball(np.array([10.0, 20.0]), np.array([0.05, 0.95]), came)

    # Winkler 1972: a 90 % interval [10, 20] is scored (2 / 0.1) × the pinball losses of its ends
    assert 2 / 0.1 * losses.sum() == pytest.approx(expected)
    assert scoringrules.interval_score(came, 10.0, 20.0, 0.1) == pytest.approx(expected)


def test_eleven_levels_give_nearly_the_whole_crps():
    came = 600 + 120 * ndtri((np.arange(500) + 0.5) / 500)
    quantiles = np.tile(600 + 120 * ndtri(np.array(LEVELS)), (500, 1))

    # the expected CRPS of the true normal is sigma/√π
    assert crps_of_quantiles(quantiles, came).mean() == pytest.approx(120 / np.sqrt(np.pi), rel=0.02)


def test_the_kolmogorov_smirnov_distance():
    values = [0.07, 0.12, 0.23, 0.31, 0.38, 0.52, 0.61, 0.66, 0.83, 0.95]

    assert ks_distance(values) == pytest.approx(0.14)
    assert kstest(values, "uniform").statistic == pytest.approx(0.14)
    assert kstest(values, "uniform").pvalue == pytest.approx(0.97435, abs=1e-4)


# scipy.stats.kstwo: what a forecast that is right stays under in 95 of 100 seasons
@pytest.mark.parametrize(
    ("n", "limit"), [(20, 0.29408), (50, 0.18841), (100, 0.13403), (200, 0.09516), (1000, 0.04278)]
)
def test_the_distance_of_a_right_forecast_stays_under_the_critical_value_as_often_as_it_should(n, limit):
    seasons = 4000
    values = np.random.default_rng(np.random.SFC64(n)).random((seasons, n))

    share = np.mean([ks_distance(season) <= limit for season in values])

    assert share == pytest.approx(0.95, abs=4 * np.sqrt(0.95 * 0.05 / seasons))


# binomial, by scipy: the least and the most of n promises that are kept in 95 of 100 seasons
@pytest.mark.parametrize(
    ("confidence", "n", "least", "most"),
    [
        (0.85, 20, 14, 20),
        (0.85, 40, 29, 38),
        (0.85, 50, 37, 47),
        (0.85, 100, 78, 92),
        (0.85, 200, 160, 180),
        (0.85, 1000, 828, 872),
        (0.9, 20, 15, 20),
        (0.9, 50, 41, 49),
        (0.9, 100, 84, 95),
        (0.9, 200, 171, 188),
        (0.9, 1000, 881, 918),
    ],
)
def test_as_many_promises_are_kept_as_chance_allows_when_the_truth_is_told(confidence, n, least, most):
    seasons = 3000
    chance = np.random.default_rng(np.random.SFC64(n))
    told = at_level(np.sort(380 * np.exp(0.5 * normals("told", 1)[0].astype(float))), confidence)

    kept = (chance.lognormal(np.log(380), 0.5, (seasons, n)) <= told).sum(axis=1)

    inside = binom.cdf(most, n, confidence) - binom.cdf(least - 1, n, confidence)
    assert (binom.ppf(0.025, n, confidence), binom.ppf(0.975, n, confidence)) == (least, most)
    share = float(np.mean((kept >= least) & (kept <= most)))
    assert share == pytest.approx(inside, abs=4 * np.sqrt(inside * (1 - inside) / seasons))
    assert kept.mean() / n == pytest.approx(confidence, abs=4 * binomial_error(confidence, n * seasons) + 0.001)


def test_where_the_truth_came_in_its_forecast():
    quantiles = [100.0 * level for level in LEVELS]

    assert pit(quantiles, 55.0) == pytest.approx(0.55)
    assert pit(quantiles, 1.0) < 0.05
    assert pit(quantiles, 99.0) > 0.95


def test_the_binomial_error_of_a_share():
    assert binomial_error(0.85, 100) == pytest.approx(0.0357071, abs=1e-7)


def _row(came_s: float | None) -> QuoteRow:
    levels = tuple(AT + timedelta(seconds=1000 * level) for level in LEVELS)
    ready_at = None if came_s is None else AT + timedelta(seconds=came_s)
    return QuoteRow(1, AT, "T1", levels, AT + timedelta(seconds=900), ready_at)


def test_what_never_became_ready_is_not_scored():
    assert score_rows([_row(None)], 0.85) == {"n": 0}


def test_the_shares_of_a_hand_made_record():
    figures = score_rows([_row(500.0), _row(50.0), _row(899.0), _row(950.0)], 0.85)

    assert figures["n"] == 4
    assert figures["coverage_80"] == 0.5
    assert figures["promise_kept"] == 0.75
    assert figures["earliness_s"] == pytest.approx(900 - (500 + 50 + 899 + 950) / 4)
    assert figures["width_80_s"] == pytest.approx(800)


def test_a_report_tells_of_the_first_two_days_and_after_and_of_every_way():
    told = a_booth()
    for day, date in enumerate(("2026-06-06", "2026-06-07", "2026-06-08"), start=1):
        if day > 1:
            told = told.day_opened(date).artist_in("a1", "a2")
        id = f"T{day}"
        told = told.ordered(id, at=instant("10:00", date)).drawn(id).collected(id).day_closed()

    figures = report(told.events)

    assert list(figures) == ["all", "first two days", "after"]
    assert [figures[part]["portraitq"]["n"] for part in figures] == [3, 2, 1]
    assert list(figures["all"]) == ["portraitq", "mean × place", "last ten", "per-style mean"]
    assert "first two days" in table(figures)

"""The score's figures, against closed forms and the scoringrules package."""

from datetime import UTC, datetime, timedelta

import numpy as np
import pytest
import scoringrules
from scipy.special import ndtri

from portraitq.forecast.promise import LEVELS
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


def test_the_crps_of_many_draws_comes_to_the_closed_normal_form():
    middles = (np.arange(20_000) + 0.5) / 20_000

    # Gneiting & Raftery 2007, JASA 102:359–378: N(600, 120²) at 780
    assert crps_of_sample(600 + 120 * ndtri(middles), 780.0) == pytest.approx(119.3308804773, rel=1e-4)


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


def test_eleven_levels_give_nearly_the_whole_crps():
    came = 600 + 120 * ndtri((np.arange(500) + 0.5) / 500)
    quantiles = np.tile(600 + 120 * ndtri(np.array(LEVELS)), (500, 1))

    # the expected CRPS of the true normal is sigma/√π
    assert crps_of_quantiles(quantiles, came).mean() == pytest.approx(120 / np.sqrt(np.pi), rel=0.02)


def test_the_kolmogorov_smirnov_distance():
    # scipy.stats.kstest
    assert ks_distance([0.07, 0.12, 0.23, 0.31, 0.38, 0.52, 0.61, 0.66, 0.83, 0.95]) == pytest.approx(0.14)


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

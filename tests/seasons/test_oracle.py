"""The oracle is calibrated, looks at no line that comes later, and is sharper the more it is told."""

from __future__ import annotations

import math
from dataclasses import replace
from functools import lru_cache

import numpy as np
import pytest

from portraitq.forecast.promise import LEVELS
from portraitq.forecast.replay import QuoteRow
from portraitq.forecast.score import score_rows
from tests.seasons.oracle import oracle_rows
from tests.seasons.simulate import Season, simulate
from tests.seasons.truth import IDLE_LAG_S, Truth
from tests.seasons.truths import INK, SOLO, TRUTHS

# quotes of one busy afternoon share their chance, so that three of them say about as much as one that stands alone
ALIKE = 3
KS_99 = 1.628  # of √n times the distance; Kolmogorov's limit law at 99 %


@lru_cache(maxsize=8)
def _season(name: str, days: int) -> Season:
    return simulate(replace(TRUTHS[name], days=days), 5)


@pytest.mark.parametrize(("name", "days"), [("gamma-days", 8), ("two-easels", 4)])
def test_the_oracle_is_calibrated(name: str, days: int):
    rows = oracle_rows(_season(name, days), n=300)

    figures = score_rows(rows, 0.85)

    n = figures["n"] / ALIKE
    assert figures["n"] > 120
    assert figures["ks"] < KS_99 / math.sqrt(n)
    assert abs(figures["quantile_kept"] - 0.85) < 3 * math.sqrt(0.85 * 0.15 / n)


def test_what_comes_later_changes_nothing_said_before():
    season = _season("two-easels", 2)
    half = len(season.events) // 2

    whole = oracle_rows(season, n=100)
    cut = oracle_rows(replace(season, events=season.events[:half]), n=100)

    assert len(cut) > 10
    assert [row.quantiles for row in cut] == [row.quantiles for row in whole[: len(cut)]]


def test_told_the_effects_outright_it_is_sharper_still():
    season = _season("gamma-days", 8)

    filtered = score_rows(oracle_rows(season, "filtered", n=300), 0.85)
    told = score_rows(oracle_rows(season, "effects", n=300), 0.85)

    assert told["crps_s"] < filtered["crps_s"]


def test_a_portrait_with_nobody_ahead_takes_the_sum_of_its_stages():
    truth = Truth("lonely", (INK,), SOLO, days=1, visitors_a_day=14, pauses_per_h=(), cv=0.2)
    season = simulate(truth, 2)
    n = 4000

    rows = oracle_rows(season, n=n)

    alone = min(rows, key=lambda row: _spread_s(row))
    mean_s = sum(stage.mean_s for stage in INK.stages) + sum(IDLE_LAG_S) / 2
    sd_s = math.sqrt(sum((0.2 * stage.mean_s) ** 2 for stage in INK.stages))
    middle_s = (alone.quantiles[LEVELS.index(0.5)] - alone.at).total_seconds()
    # by Fenton and Wilkinson the sum is about log-normal, so its median is mean / √(1 + (sd/mean)²);
    # the standard error of a median of n is √(π/2)·sd/√n
    theirs_s = mean_s / math.sqrt(1 + (sd_s / mean_s) ** 2)
    assert abs(middle_s - theirs_s) < 0.05 * sd_s + 4 * math.sqrt(math.pi / 2) * sd_s / math.sqrt(n)


def _spread_s(row: QuoteRow) -> float:
    ready_s = np.array([(at - row.at).total_seconds() for at in row.quantiles])
    return float(ready_s[-1])

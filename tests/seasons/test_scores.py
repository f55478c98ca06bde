"""The forecast keeps its word on seasons that differ from its assumptions: scores beside the oracle and the plain ways.

One season of each truth, of a seed that nothing was tuned on. The oracle's figures are read from `oracle.json`
(`recorded.py`). Where chance makes a single season unfair the seasons are pooled: quotes of one busy afternoon share
their chance, so that three say about as much as one that stands alone, and the share that 500 quotes at 85 % keep errs
by √(0.85·0.15/(500/3)) ≈ 2.8 points, that of the 50 quotes of two days by 8.7; pooled over ten booths by 2.8.
"""

from __future__ import annotations

import random
import statistics
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cache

import pytest

from portraitq.core.events import Event
from portraitq.forecast.replay import QuoteRow, replay
from portraitq.forecast.score import plain_ways, score_rows
from tests.seasons.compare import CONFIDENCE
from tests.seasons.recorded import SEED, figures, of_oracle, recorded
from tests.seasons.simulate import simulate
from tests.seasons.truths import TRUTHS

SEASONS = (
    "gamma-days",
    "bimodal-faces",
    "drift-and-step",
    "forgotten-taps",
    "run-on-clocks",
    "counter-alone",
    "new-styles",
    "wrong-guesses",
    "two-easels",
)
FAIR = tuple(name for name in SEASONS if name not in ("wrong-guesses", "new-styles"))  # guesses right by and large
QUICK = "calm-solo"  # its oracle takes seconds
MEAN_TO_ORACLE = 1.08  # wanted over many seasons is 1.05; of nine it errs by about 0.01


@dataclass(frozen=True)
class Scored:
    """The figures of the forecast and of the oracle on one season, and the CRPS of each plain way in seconds."""

    ours: dict[str, float]
    oracle: dict[str, float]
    plain_s: dict[str, float]


@cache
def scored(name: str) -> Scored:
    season = simulate(TRUTHS[name], SEED)
    assert len(season.events) == recorded()[name]["lines"], "another season than recorded: see recorded.py"
    plain_s = {way: score_rows(rows, CONFIDENCE)["crps_s"] for way, rows in plain_ways(season.events).items()}
    return Scored(figures(season, list(replay(season.events))), recorded()[name], plain_s)


@pytest.mark.parametrize("name", SEASONS)
def test_after_two_days_it_is_nearly_as_sharp_as_who_knows_the_truth(name: str):
    season = scored(name)

    assert season.ours["after_crps_s"] <= 1.15 * season.oracle["after_crps_s"]


def test_over_the_seasons_it_is_nearly_as_sharp_as_who_knows_the_truth():
    ratios = [scored(name).ours["after_crps_s"] / scored(name).oracle["after_crps_s"] for name in SEASONS]

    assert statistics.fmean(ratios) <= MEAN_TO_ORACLE


def test_with_fair_guesses_the_first_two_days_are_not_far_behind():
    ours, oracle = (
        sum(figures["first_crps_s"] * figures["first_n"] for figures in found)
        for found in zip(*((scored(name).ours, scored(name).oracle) for name in FAIR), strict=True)
    )

    assert ours <= 1.25 * oracle


@pytest.mark.parametrize("name", SEASONS)
def test_no_plain_way_is_better(name: str):
    season = scored(name)

    assert season.ours["crps_s"] <= min(season.plain_s.values())


@pytest.mark.parametrize("name", SEASONS)
def test_it_is_far_better_than_the_mean_times_the_place(name: str):
    season = scored(name)

    assert season.ours["crps_s"] <= 0.70 * season.plain_s["mean × place"]


def test_after_two_days_the_unrounded_quantile_is_kept_as_often_as_it_says():
    # Chance alone would take it beyond 3 points in every third season; what past quotes teach brings that down to one
    # of twenty. Of nine seasons one may be unlucky.
    off = sorted(abs(scored(name).ours["after_kept"] - CONFIDENCE) for name in SEASONS)

    assert off[-2] <= 0.03
    assert off[-1] <= 0.05


def test_over_the_seasons_the_unrounded_quantile_is_neither_kept_too_often_nor_too_rarely():
    kept = statistics.fmean(scored(name).ours["after_kept"] for name in SEASONS)

    assert kept == pytest.approx(CONFIDENCE, abs=0.02)


def test_in_the_first_two_days_the_unrounded_quantile_is_kept_about_as_often_as_it_says():
    found = [scored(name).ours for name in SEASONS]

    kept = sum(each["first_kept"] * each["first_n"] for each in found) / sum(each["first_n"] for each in found)
    assert CONFIDENCE - 0.05 <= kept <= CONFIDENCE + 0.10


@pytest.mark.parametrize("name", SEASONS)
def test_the_promise_is_kept_as_often_as_the_booth_wants(name: str):
    assert scored(name).ours["promise_kept"] >= CONFIDENCE - 0.02


@pytest.mark.parametrize("name", SEASONS)
def test_the_whole_distribution_is_right_not_one_level_alone(name: str):
    season = scored(name)

    assert season.ours["n"] >= 400
    assert season.ours["ks"] <= 0.08
    assert season.ours["ks"] <= 1.5 * season.oracle["ks"]


def test_what_is_recorded_of_the_oracle_is_what_it_says():
    assert of_oracle(QUICK) == pytest.approx(recorded()[QUICK], rel=0.01)


@pytest.mark.parametrize("cut_by", range(4))
def test_a_season_cut_short_gives_the_same_quotes_so_far(cut_by: int):
    events, whole = _untidy_days()
    cut = random.Random(cut_by).randrange(len(events) // 4, len(events))

    short = [_said(row) for row in replay(events[:cut])]

    assert len(short) > 20
    assert short == [_said(row) for row in whole[: len(short)]]


@cache
def _untidy_days() -> tuple[Sequence[Event], Sequence[QuoteRow]]:
    """Five days with forgotten taps, clocks that run on and styles that come in, and their quotes."""
    truth = replace(TRUTHS["run-on-clocks"], days=5, forget_share=0.1, erases=True, tomorrow_share=0.1)
    events = simulate(truth, SEED).events
    return events, list(replay(events))


def _said(row: QuoteRow) -> tuple[object, ...]:
    """The row but for what then happened."""
    return row.seq, row.at, row.ticket, row.quantiles, row.ready_by

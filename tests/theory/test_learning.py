"""What one artist's hand learns, against normal theory: shrinkage towards the guess, and a sum shared among stages."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.stats import lognorm

from portraitq.core.events import Style
from portraitq.core.timing import StageTime
from portraitq.forecast.hand import GENERAL, Hand, Spreads, knowing, measured, stranger
from tests.builders import artist, instant
from tests.forecast.test_schedule import a_style, set_up

NO_EFFECTS = Spreads(general=0, style=0, stage=0, day=0, sketch=0, wander=0, guess_weight=math.inf)


def style_of(*stages: tuple[float, float]) -> Style:
    """(median, sigma) of each stage's guesses."""
    return set_up([a_style("one", *stages)], [artist("a1", "one")]).styles[0]


def a_time(total_s: float, *stages: str) -> StageTime:
    return StageTime("T1", "a1", "one", stages, 1, total_s, instant("10:00"))


# τ² / (τ² + σ² / n), what n times of mean m move what is expected by, as a share of m: Pinheiro & Bates 2000, §1.1
@pytest.mark.parametrize(
    ("between", "within", "weights"),
    [
        # logs of tests/reference/draft-selection-times.csv: 0.43266 between people, 0.86615 within; statsmodels agrees
        (math.sqrt(0.43266), math.sqrt(0.86615), {1: 0.33312, 3: 0.59977, 8: 0.79985, 24: 0.92301}),
        # the rails below, three goes each, their spreads taken as hundredths of log time
        (0.2480547, 0.04020779, {3: 0.2480547**2 / (0.2480547**2 + 0.04020779**2 / 3)}),
    ],
)
def test_a_few_times_are_believed_as_far_as_people_differ(between, within, weights):
    spreads = replace(NO_EFFECTS, general=between)
    style, moved = style_of((100, within)), {}
    hand = knowing(stranger(spreads), style, spreads)

    for n in range(1, 25):
        hand = measured(hand, a_time(100 * math.exp(0.1 * within), "s1"), style)
        moved[n] = hand.mean[GENERAL] / (0.1 * within)

    assert {n: moved[n] for n in weights} == pytest.approx(weights, abs=2e-5)


def test_how_far_rails_differ_from_each_other_and_within():
    # Pinheiro & Bates 2000, §1.1, data as printed; one-way analysis of variance, balanced, equals their estimates
    rails = np.array([[55, 53, 54], [26, 37, 32], [78, 91, 85], [92, 100, 96], [49, 51, 50], [80, 85, 83]], float)

    within = rails.var(axis=1, ddof=1).mean()
    between = rails.mean(axis=1).var(ddof=1) - within / 3

    assert (rails.mean(), math.sqrt(between), math.sqrt(within)) == pytest.approx((66.5, 24.80547, 4.020779), abs=1e-5)


FIRST, SECOND = (100, 0.43), (380, 0.38)


def given_the_sum(total_s: float, what) -> float:
    """E[what(first)] given that two log-normal stages took `total_s` together, by quadrature."""

    def density(x: float) -> float:
        return float(lognorm.pdf(x, FIRST[1], scale=FIRST[0]) * lognorm.pdf(total_s - x, SECOND[1], scale=SECOND[0]))

    near = [total_s * share for share in (0.1, 0.2, 0.4)]
    weight = quad(density, 0, total_s, points=near)[0]
    return float(quad(lambda x: what(x) * density(x), 0, total_s, points=near)[0] / weight)


def hand_of_two_stages() -> tuple[Hand, Style]:
    """A hand whose stages are pure effects, as uncertain as FIRST and SECOND, with next to no chance."""
    style = style_of((FIRST[0], 0.0), (SECOND[0], 0.0))
    hand = knowing(stranger(NO_EFFECTS), style, NO_EFFECTS)
    cov = hand.cov.copy()
    for stage, (_, sigma) in zip(("s1", "s2"), (FIRST, SECOND), strict=True):
        row = hand.index["stage", "one", stage]
        cov[row, row] = sigma * sigma
    return replace(hand, cov=cov), style


@pytest.mark.parametrize(("total_s", "mean_s"), [(300, 82.2516), (480, 109.7954), (700, 127.7635)])
def test_of_a_burst_each_stage_takes_about_its_due(total_s, mean_s):
    hand, style = hand_of_two_stages()

    after = measured(hand, a_time(total_s, "s1", "s2"), style)

    assert given_the_sum(total_s, lambda x: x) == pytest.approx(mean_s, abs=1e-3)
    shift = {stage: after.mean[after.index["stage", "one", stage]] for stage in ("s1", "s2")}
    due_s = math.exp(given_the_sum(total_s, math.log))
    by_prior_means_s = 0.2117 * total_s
    found_s = FIRST[0] * math.exp(shift["s1"])
    assert found_s == pytest.approx(due_s, rel=0.08)  # linear in the logs around what was expected
    if total_s != 480:
        assert abs(found_s - due_s) < abs(by_prior_means_s - due_s) / 2
    assert found_s + SECOND[0] * math.exp(shift["s2"]) == pytest.approx(total_s, rel=0.02)

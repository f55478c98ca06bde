"""One hand: what a time of which only the least is known teaches."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import truncnorm

from portraitq.core.events import Style
from portraitq.core.timing import StageTime
from portraitq.forecast.hand import GENERAL, SKETCH, TIRING, Hand, Spreads, at_hours, heard, knowing, stranger
from tests.builders import a_booth, instant

FLAT = Spreads(general=10, style=0, stage=0, day=0, sketch=0, tiring=0, guess_weight=math.inf)


def ink_head() -> Style:
    set_up = a_booth().booth.set_up
    style = set_up.style("ink-head") if set_up else None
    assert style is not None
    return style


def a_hand(spreads: Spreads, sigma: float | None = None) -> Hand:
    """Of an artist who draws ink heads; with `sigma`, chance is known to spread so."""
    hand = knowing(stranger(spreads), ink_head(), spreads)
    return hand if sigma is None else replace(hand, beta=dict.fromkeys(hand.beta, sigma))


def took(seconds: float, *stages: str) -> StageTime:
    return StageTime("T1", "a1", "ink-head", stages or ("likeness",), 1, seconds, instant("10:00"))


def took_at_least(seconds: float, *stages: str) -> StageTime:
    """A clock that ran through the night, alive for so long."""
    return replace(took(60_000, *stages), trusted=False, why_not="the night", at_least_s=seconds)


def after(hand: Hand, spreads: Spreads, *times: StageTime) -> Hand:
    for time in times:
        hand, _ = heard(hand, time, ink_head(), spreads)
    return hand


def usual_s(hand: Hand, stage: str = "likeness") -> float:
    key = ("ink-head", stage)
    return math.exp(hand.base[key] + float(hand.mean[list(hand.rows(*key))].sum()))


# Times of which only the least is known


def test_clocks_that_ran_on_are_taken_for_what_they_are():
    # lifelines 0.30: the log-normal's median by maximum likelihood from 352, 391, 402, 455 and two of at least 500 and
    # 520 is 450.05 where sigma is known to be .19659. The two left out it is 398.3, and taken as seen 432.5
    seen = [took(each) for each in (352, 391, 402, 455)]
    found = a_hand(FLAT, sigma=0.19659)

    all_told = after(found, FLAT, *seen, took_at_least(500), took_at_least(520))

    assert usual_s(all_told) == pytest.approx(450.05, rel=0.01)
    assert usual_s(after(found, FLAT, *seen)) == pytest.approx(398.3, abs=0.05)
    assert usual_s(after(found, FLAT, *seen, took(500), took(520))) == pytest.approx(432.5, abs=0.1)


def test_in_which_order_they_came_hardly_matters():
    first = [took_at_least(500), took_at_least(520), *(took(each) for each in (352, 391, 402, 455))]
    spreads = replace(FLAT, general=0.3)

    ahead, behind = (usual_s(after(a_hand(spreads, 0.19659), spreads, *times)) for times in (first, first[::-1]))

    assert ahead == pytest.approx(behind, rel=0.02)


@given(st.floats(0.05, 1.0), st.floats(0.05, 0.6), st.floats(-3.0, 3.0))
def test_what_is_believed_after_it_is_the_normal_cut_off_there(general: float, sigma: float, spreads_off: float):
    # scipy.stats.truncnorm: of the log of the time itself, before and after
    spreads = replace(FLAT, general=general)
    hand = a_hand(spreads, sigma)
    spread = math.hypot(general, sigma)

    known = after(hand, spreads, took_at_least(380 * math.exp(spreads_off * spread)))

    cut = truncnorm(spreads_off, math.inf)
    share = general**2 / spread**2  # of the variance that is the hand's and not this one time's chance
    assert known.mean[GENERAL] == pytest.approx(share * spread * cut.mean(), rel=1e-6, abs=1e-9)
    left = general**2 * (1 - share) + share**2 * spread**2 * cut.var()
    assert known.cov[GENERAL, GENERAL] == pytest.approx(left, rel=1e-6)


@given(st.floats(1, 20_000), st.floats(1, 20_000), st.booleans())
def test_a_longer_one_teaches_more_and_never_makes_less_sure(one_s: float, other_s: float, in_a_burst: bool):
    spreads, stages = Spreads(), ("layout", "likeness") if in_a_burst else ("likeness",)
    hand = a_hand(spreads)

    shorter, longer = (after(hand, spreads, took_at_least(each, *stages)) for each in sorted((one_s, other_s)))

    assert usual_s(hand) - 1e-6 <= usual_s(shorter) <= usual_s(longer) + 1e-6
    for each in (shorter, longer):
        assert np.linalg.eigvalsh(each.cov).min() > -1e-9
        assert np.trace(each.cov) <= np.trace(hand.cov) + 1e-12


def test_one_much_shorter_than_usual_or_of_which_nothing_is_known_teaches_nothing():
    spreads = Spreads()
    hand = a_hand(spreads)

    assert usual_s(after(hand, spreads, took_at_least(20))) == pytest.approx(380, rel=1e-4)
    assert after(hand, spreads, took_at_least(0.0)) is hand


def test_it_moves_the_effects_in_the_same_shares_as_a_measured_time_does():
    spreads = Spreads()
    hand = a_hand(spreads)

    least, measured = (after(hand, spreads, time).mean - hand.mean for time in (took_at_least(700), took(400)))

    assert least / least[GENERAL] == pytest.approx(measured / measured[GENERAL], abs=1e-9)
    assert least[SKETCH] > 0


def test_how_far_chance_spreads_is_not_learned_from_it():
    spreads = Spreads()
    hand = a_hand(spreads)

    known = after(hand, spreads, took_at_least(2000))

    assert (known.alpha, known.beta, known.goes) == (hand.alpha, hand.beta, hand.goes)


# A planned break in the time clocked


def well_known(spreads: Spreads) -> Hand:
    chance = np.random.default_rng(np.random.SFC64(3))
    return after(a_hand(spreads), spreads, *(took(380 * math.exp(0.2 * z)) for z in chance.standard_normal(20)))


def test_a_clock_that_ran_through_a_break_is_doubted_sooner_and_counts_until_the_break():
    spreads = Spreads()
    hand = well_known(spreads)
    long_s = usual_s(hand) * 1.8

    plain = after(hand, spreads, took(long_s))
    over_break = after(hand, spreads, replace(took(long_s), over_break=True, at_least_s=100))

    assert usual_s(plain) > 1.01 * usual_s(hand)
    assert usual_s(over_break) == pytest.approx(usual_s(hand), rel=0.002)


def test_a_clock_that_shows_no_more_than_usual_after_a_break_was_right():
    spreads = Spreads()
    hand = well_known(spreads)
    usual = usual_s(hand)

    plain, over_break = (
        after(hand, spreads, each)
        for each in (took(1.05 * usual), replace(took(1.05 * usual), over_break=True, at_least_s=60))
    )

    assert np.array_equal(plain.mean, over_break.mean)


# Tiring


def test_one_who_tires_is_learned_from_long_times_late_and_short_ones_early():
    spreads = Spreads(day=0, sketch=0, tiring=0.02)
    hand = a_hand(spreads)
    for _ in range(30):
        for hour, factor in ((0.5, 0.9), (7.5, 1.1)):
            hand = after(at_hours(hand, hour), spreads, took(380 * factor))

    early, late = (hand.mean[TIRING] * at_hours(hand, hour).hours for hour in (0.5, 7.5))

    assert late - early > 0.5 * math.log(1.1 / 0.9)
    assert usual_s(hand) == pytest.approx(380, rel=0.03)

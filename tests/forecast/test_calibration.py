"""Quotes corrected by how past ones turned out: read off where the truth really came, within limits, in order."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import UTC, datetime, timedelta

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.special import expit, ndtr, ndtri

from portraitq.forecast.calibration import (
    ENDS_AND_LEVELS,
    HIGHEST,
    LOWEST,
    MOST_ODDS,
    REMEMBERED,
    STEP,
    Calibration,
    Said,
    place_in,
)
from portraitq.forecast.promise import LEVELS

NOON = datetime(2026, 6, 6, 12, 0, tzinfo=UTC)
ONE_HOUR_S = np.linspace(0.0, 3600.0, 2001)  # a forecast of anything between now and an hour, each as likely
MARGIN = 1e-9
places = st.floats(0.0, 1.0, allow_nan=False)


def settle(known: Calibration, place: float) -> Calibration:
    """With one more quote, of a portrait that came there in its forecast."""
    return known.said("T1", NOON, ONE_HOUR_S).came("T1", NOON + timedelta(seconds=3600 * place))


def settled(came: Iterable[float], known: Calibration | None = None) -> Calibration:
    """After quotes whose portraits came there in their forecasts, one settled before the next is made."""
    known = known or Calibration()
    for place in came:
        known = settle(known, float(place))
    return known


def kept(came: Iterable[float], known: Calibration | None = None) -> np.ndarray:
    """(quotes, levels): which corrected levels of each quote were kept, each quote settled before the next."""
    known, found = known or Calibration(), []
    for place in came:
        found.append(float(place) <= np.array(known.levels) + MARGIN)
        known = settle(known, float(place))
    return np.array(found)


def test_the_last_settled_quotes_are_remembered_with_what_came():
    known = settled([place / REMEMBERED for place in range(REMEMBERED + 3)])

    assert len(known.past) == REMEMBERED
    assert [took_s for _, took_s in known.past[:2]] == [3600 * 3 / REMEMBERED, 3600 * 4 / REMEMBERED]
    assert known.past[-1][0].read_at == settled([place / REMEMBERED for place in range(REMEMBERED + 2)]).levels


def test_a_portrait_that_never_became_ready_is_not_remembered():
    known = Calibration().said("T1", NOON, ONE_HOUR_S).came("T1", None)

    assert known.past == ()


# Where it stands at first


def test_before_any_quote_is_settled_every_level_is_read_off_at_itself():
    known = Calibration()

    assert known.levels == LEVELS
    assert [known.level(level) for level in (0.0, 0.07, 0.85, 1.0)] == pytest.approx([0.0, 0.07, 0.85, 1.0])
    assert known.settled == 0


# What it learns


def test_a_portrait_in_time_lowers_its_levels_and_a_late_one_raises_them():
    # exact, by hand: a level α goes up by STEP × α if the portrait came later than it said, else down by STEP × (1 − α)
    after = settled([0.55])

    expected = [level + STEP * (level - (level >= 0.55)) for level in LEVELS]
    assert after.read_at == pytest.approx(expected)
    assert after.settled == 1


def test_a_portrait_ready_at_the_very_instant_of_a_level_kept_it():
    in_time = settled([0.5])

    assert in_time.level(0.5) == pytest.approx(0.5 - STEP * 0.5)


def test_a_quote_is_judged_by_where_it_was_read_off_then_and_not_by_where_it_is_now():
    known = settled([0.9] * 20)
    assert known.level(0.5) == pytest.approx(0.6)

    late = known.said("A", NOON, ONE_HOUR_S)
    for _ in range(20):
        late = settle(late, 0.9)
    now = late.level(0.5)
    late = late.came("A", NOON + timedelta(seconds=3600 * 0.65))

    assert now > 0.65, "at which a quote of now would have been kept"
    assert late.level(0.5) == pytest.approx(now + STEP * 0.5)


def test_a_forecast_that_is_always_late_is_read_off_higher_and_one_always_early_lower():
    late, early = settled([1.0] * 40), settled([0.0] * 40)

    assert all(np.array(late.levels) > LEVELS)
    assert all(np.array(early.levels) < LEVELS)


def test_one_bad_evening_moves_a_promise_by_a_few_levels_only():
    known = settled([1.0] * 10)

    assert known.level(0.85) == pytest.approx(0.85 + 10 * STEP * 0.85, abs=0.01)


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_a_forecast_that_is_right_stays_near_where_it_is(seed: int):
    came = np.random.default_rng(np.random.SFC64(seed)).random(3000)

    known = settled(came)

    # in the long run each level wanders around itself with variance STEP × α(1 − α) / (2 − STEP) at most
    wanders = np.sqrt(STEP * np.array(LEVELS) * (1 - np.array(LEVELS)) / (2 - STEP))
    assert np.all(np.abs(np.array(known.levels) - LEVELS) < 4 * wanders)


# What can be known of it whatever comes


@settings(max_examples=60)
@given(st.lists(places, max_size=250))
def test_levels_are_in_order_and_within_five_times_the_odds_whatever_came(came: list[float]):
    known = settled(came)

    levels, read_at = np.array(known.levels), np.array(known.read_at)
    odds = np.array(LEVELS) / (1 - np.array(LEVELS))
    assert np.all(np.diff(levels) >= 0)
    assert np.all(read_at >= expit(np.log(odds / MOST_ODDS)) - MARGIN)
    assert np.all(read_at <= expit(np.log(odds * MOST_ODDS)) + MARGIN)
    assert 0 < levels[0] <= levels[-1] < 1


@settings(max_examples=60)
@given(st.lists(places, max_size=120), st.lists(places, min_size=2, max_size=8))
def test_a_higher_level_is_never_read_off_lower_and_the_ends_stay(came: list[float], asked: list[float]):
    known = settled(came)

    read_at = [known.level(level) for level in sorted(asked)]
    assert read_at == sorted(read_at)
    assert (known.level(0.0), known.level(1.0)) == (0.0, 1.0)


@settings(max_examples=100)
@given(st.lists(places, max_size=120), places)
def test_the_chance_of_a_promise_is_the_level_that_it_was_read_off_for(came: list[float], level: float):
    known = settled(came)

    if np.all(np.diff((0.0, *known.levels, 1.0)) > 1e-6):
        assert known.chance(known.level(level)) == pytest.approx(level, abs=1e-6)
        assert known.level(known.chance(level)) == pytest.approx(level, abs=1e-6)


@settings(max_examples=100)
@given(st.lists(places, min_size=1, max_size=300))
def test_the_share_in_time_misses_each_level_by_no_more_than_gibbs_and_candes_say(came: list[float]):
    # Gibbs & Candès 2021, proposition 4.1: |mean of what was missed − α| ≤ (max(α, 1 − α) + STEP) / (STEP × T) for any
    # sequence, as long as no limit is met; exact and not only likely
    known, in_time = Calibration(), []
    for place in came:
        in_time.append(place <= np.array(known.levels))
        known = settle(known, place)
        if np.any((np.array(known.read_at) <= LOWEST) | (np.array(known.read_at) >= HIGHEST)):
            return

    share = np.mean(in_time, axis=0)
    bound = (np.maximum(LEVELS, 1 - np.array(LEVELS)) + STEP) / (STEP * len(came))
    assert np.all(np.abs(share - LEVELS) <= bound + MARGIN)


@settings(max_examples=60)
@given(st.lists(st.tuples(places, st.integers(0, 12)), min_size=1, max_size=150))
def test_what_each_level_moved_is_what_was_missed_however_late_a_quote_is_settled(quotes: list[tuple[float, int]]):
    known, missed, due = Calibration(), np.zeros(len(LEVELS)), list[tuple[int, str, float]]()
    for count, (place, waits) in enumerate([*quotes, *[(0.0, 0)] * 13]):
        if count < len(quotes):
            known = known.said(f"T{count}", NOON, ONE_HOUR_S)
            due.append((count + waits, f"T{count}", place))
        for _, ticket, came in [one for one in due if one[0] == count]:
            missed += np.array(LEVELS) - (came <= np.array(known.open[ticket].read_at))
            known = known.came(ticket, NOON + timedelta(seconds=3600 * came))
        if np.any((np.array(known.read_at) <= LOWEST) | (np.array(known.read_at) >= HIGHEST)):
            return

    assert known.settled == len(quotes)
    assert np.array(known.read_at) - LEVELS == pytest.approx(STEP * missed, abs=1e-9)


# In the long run

WRONG = {
    "said too narrowly": lambda u: ndtr(1.25 * ndtri(u)),
    "said too widely": lambda u: ndtr(0.7 * ndtri(u)),
    "always a little late": lambda u: ndtr(ndtri(u) + 0.3),
    "always a little early": lambda u: ndtr(ndtri(u) - 0.3),
    "right": lambda u: u,
}


@pytest.mark.parametrize("wrong", WRONG.values(), ids=WRONG)
def test_a_forecast_wrong_in_the_same_way_every_day_keeps_its_levels_in_the_long_run(wrong):
    quotes = 2500
    came = wrong(np.random.default_rng(np.random.SFC64(11)).random(quotes))

    found = kept(came)

    # by the proof of proposition 4.1, and no limit met: what was missed is the way gone, of which there is only so much
    way = np.maximum(HIGHEST - LEVELS, LEVELS - LOWEST)
    assert np.all(np.abs(found.mean(axis=0) - LEVELS) <= way / (STEP * quotes))


def test_a_forecast_wrong_by_far_is_made_up_for_as_far_as_the_limits_go():
    came = ndtr(2.5 * ndtri(np.random.default_rng(np.random.SFC64(12)).random(1500)))

    known = settled(came)
    found = kept(came[500:], settled(came[:500]))

    assert known.level(0.95) == pytest.approx(HIGHEST[-1], abs=STEP)
    assert 0.75 < found[:, LEVELS.index(0.95)].mean() < 0.95, "better than .745 uncorrected, and still too seldom"


def test_quotes_that_are_exchangeable_are_kept_as_often_as_a_fitted_rank_would():
    # Vovk, Gammerman & Shafer 2005: the k-th smallest of n earlier places covers k / (n + 1), whatever the forecast;
    # k = ⌈(n + 1) × 80 %⌉ = 81. Ours takes no rank, but comes to the same share
    chance, level = np.random.default_rng(np.random.SFC64(100)), LEVELS.index(0.8)
    came = WRONG["said too narrowly"](chance.random((200, 121)))
    by_rank = np.sort(came[:, 20:120], axis=1)[:, 80]

    ours = [(one[-1] <= settled(one[:-1]).levels[level]) for one in came]

    share = np.mean(came[:, -1] <= by_rank)
    assert share == pytest.approx(81 / 101, abs=4 * 0.4 / np.sqrt(len(came)))
    assert np.mean(ours) == pytest.approx(0.8, abs=4 * 0.4 / np.sqrt(len(came)))


def test_after_a_change_it_finds_its_levels_again():
    chance, level = np.random.default_rng(np.random.SFC64(5)), LEVELS.index(0.8)
    known = settled(WRONG["always a little early"](chance.random(600)))
    assert known.level(0.8) < 0.75

    again = kept(ndtr(ndtri(chance.random(1400)) + 0.3), known)

    assert np.mean(again[:50, level]) < 0.75, "at first it is off"
    assert np.mean(again[400:, level]) == pytest.approx(0.8, abs=0.8 * (1 - 0.8) / (STEP * 1000))


# Which quotes are settled


def test_a_ticket_that_was_never_quoted_changes_nothing():
    known = settled([0.3, 0.9]).said("T2", NOON, ONE_HOUR_S)

    assert known.came("T9", NOON) is known
    assert known.came("T9", None) is known


def test_a_quote_is_settled_once():
    known = settled([0.3, 0.9])

    assert known.came("T1", NOON + timedelta(hours=9)) is known
    assert "T1" not in known.open


def test_a_cancelled_portrait_teaches_nothing_and_is_forgotten():
    known = settled([0.3, 0.9])

    after = known.said("T2", NOON, ONE_HOUR_S).came("T2", None)

    assert after == known


def test_a_quote_says_nothing_before_it_is_settled():
    known = settled([0.3, 0.9])

    quoted = known.said("T2", NOON, ONE_HOUR_S)

    assert (quoted.read_at, quoted.settled) == (known.read_at, known.settled)
    assert list(quoted.open) == ["T2"]
    assert list(known.open) == [], "the one before stays as it was"


@given(st.lists(st.floats(0, 86_400), min_size=2, max_size=50), st.floats(-100, 100_000))
def test_where_the_truth_came_lies_between_0_and_1_and_grows_with_it(ready_s: list[float], took_s: float):
    said = Calibration().said("T1", NOON, np.sort(np.array(ready_s))).open["T1"]

    place = place_in(said, took_s)

    assert 0 <= place <= 1
    assert place_in(said, took_s + 60) >= place
    assert (place == 0) or (took_s >= said.ready_s[0])


def test_what_was_said_is_kept_as_forecast_and_not_as_corrected():
    known = settled([1.0] * 30)

    said = known.said("T2", NOON, ONE_HOUR_S).open["T2"]

    assert isinstance(said, Said)
    assert said.ready_s == pytest.approx(np.linspace(0, 3600, 101))
    assert said.read_at == known.levels
    assert len(ENDS_AND_LEVELS) == len(said.read_at) + 2

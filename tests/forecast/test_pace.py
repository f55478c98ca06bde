"""What is known of each artist's pace, and how it moves."""

import math
from dataclasses import replace
from datetime import timedelta

import numpy as np
import pytest

from portraitq.core.timing import StageTime
from portraitq.forecast.hand import Hand, Spreads, knowing, measured, on_day, ran_on_s
from portraitq.forecast.pace import MINDS, Pace, pace_of
from tests.builders import Told, a_booth, instant


def draw(told: Told, id: str, *stages_s: float, artist: str = "a1", style: str = "ink-head") -> Told:
    """One portrait ordered, drawn in these times and finished."""
    at = told.at()
    told = told.ordered(id, style=style, at=at).started(id, artist, at=at)
    for seconds in stages_s:
        at += timedelta(seconds=seconds)
        told = told.stage_done(id, at=at)
    return told.finished(id, at=at)


def expected_s(pace: Pace, told: Told, artist: str, style: str, stage: str) -> float:
    found = told.booth.set_up.style(style) if told.booth.set_up else None
    assert found is not None
    hand = pace.hand(artist, found, 1)
    return math.exp(hand.base[style, stage] + float(hand.mean[list(hand.rows(style, stage))].sum()))


def test_before_anything_was_measured_the_guesses_stand():
    told = a_booth()

    assert expected_s(pace_of(told.booth), told, "a1", "ink-head", "likeness") == pytest.approx(380)


def test_measured_times_move_the_guesses():
    told = a_booth()
    for number in range(12):
        told = draw(told, f"T{number}", 60, 250, 110)

    pace = pace_of(told.booth)

    assert expected_s(pace, told, "a1", "ink-head", "layout") == pytest.approx(60, rel=0.12)
    assert expected_s(pace, told, "a1", "ink-head", "likeness") == pytest.approx(250, rel=0.12)
    assert expected_s(pace, told, "a1", "ink-head", "finish") == pytest.approx(110, rel=0.12)


def test_an_artists_general_pace_carries_over_to_a_style_not_yet_drawn_and_to_nobody_else():
    told = a_booth()
    for number in range(6):
        told = draw(told, f"T{number}", 160, 600, 175)

    pace = pace_of(told.booth)

    assert expected_s(pace, told, "a1", "chalk-half", "tone") > 1.15 * 900
    assert expected_s(pace, told, "a2", "ink-head", "likeness") == pytest.approx(380)


def test_a_guess_wrong_by_seventy_percent_is_mostly_forgiven_after_four_portraits():
    told = a_booth()
    for number in range(4):
        told = draw(told, f"T{number}", 170, 646, 187)

    assert expected_s(pace_of(told.booth), told, "a1", "ink-head", "likeness") > 1.5 * 380


def test_learning_line_by_line_comes_to_the_same_as_learning_all_at_once():
    told = a_booth()
    step = pace_of(told.booth)
    for number in range(5):
        told = draw(told, f"T{number}", 80 + number, 300, 100, artist="a1" if number % 2 else "a2")
        told = told.collected(f"T{number}")
        step = pace_of(told.booth, step)

    once = pace_of(told.booth)

    assert step.seq == once.seq
    for artist, hand in once.hands.items():
        assert np.array_equal(step.hands[artist].mean, hand.mean)
        assert np.array_equal(step.hands[artist].cov, hand.cov)
    assert step.lags == once.lags


def test_only_new_history_is_read():
    told = draw(a_booth(), "T1", 80, 300, 100)
    before = pace_of(told.booth)

    after = pace_of(told.ordered("T2").booth, before)

    assert after.minds is before.minds
    assert after.unread == ("T2",)


def test_a_pace_learned_from_another_booths_longer_journal_is_not_believed():
    longer = pace_of(draw(a_booth(), "T1", 80, 300, 100).booth)

    assert pace_of(a_booth().booth, longer).hands == {}


def a_hand(told: Told) -> Hand:
    found = told.booth.set_up.style("ink-head") if told.booth.set_up else None
    assert found is not None
    return Pace().hand("a1", found, 1)


def a_time(total_s: float, *stages: str) -> StageTime:
    return StageTime("T1", "a1", "ink-head", stages, 1, total_s, instant("10:00"))


def test_a_burst_moves_the_stages_together_and_less_than_each_by_itself_would():
    told = a_booth()
    style = told.booth.set_up.style("ink-head") if told.booth.set_up else None
    hand = a_hand(told)
    assert style is not None

    burst = measured(hand, a_time(960.0, "layout", "likeness"), style)

    layout = burst.mean[burst.index["stage", "ink-head", "layout"]]
    likeness = burst.mean[burst.index["stage", "ink-head", "likeness"]]
    assert 0 < layout < likeness  # the larger part of the sum took more of what was too much


def test_each_measured_time_makes_the_prediction_surer():
    told = a_booth()
    style = told.booth.set_up.style("ink-head") if told.booth.set_up else None
    hand = a_hand(told)
    assert style is not None

    after = measured(hand, a_time(400.0, "likeness"), style)

    assert np.all(np.linalg.eigvalsh(after.cov) > -1e-12)
    assert np.trace(after.cov) < np.trace(hand.cov)


def test_known_and_unknown_as_the_normal_shrinkage_formula_has_it():
    # Gelman et al., Bayesian Data Analysis, 3rd ed., §2.5: prior N(0, 0.3²), 5 observations of mean 0.2, sd 0.25
    told = a_booth()
    style = told.booth.set_up.style("ink-head") if told.booth.set_up else None
    assert style is not None
    spreads = Spreads(general=0.3, style=0, stage=0, day=0, sketch=0, guess_weight=math.inf)
    hand = knowing(Pace.believing(spreads).hand("a1", None, 1), style, spreads)
    hand = replace(hand, beta=dict.fromkeys(hand.beta, 0.25))

    for _ in range(5):
        hand = measured(hand, a_time(380 * math.exp(0.2), "likeness"), style)

    assert hand.mean[0] == pytest.approx(0.1756098, abs=1e-6)
    assert math.sqrt(hand.cov[0, 0]) == pytest.approx(0.1047645, abs=1e-6)


def test_a_new_day_forgets_the_old_days_own_effect_and_is_a_little_less_sure():
    told = a_booth()
    style = told.booth.set_up.style("ink-head") if told.booth.set_up else None
    assert style is not None
    hand = measured(a_hand(told), a_time(700.0, "likeness"), style)

    next_day = on_day(hand, 2, Spreads())

    assert next_day.mean[1] == 0.0
    assert next_day.mean[0] == hand.mean[0]
    assert next_day.cov[0, 0] > hand.cov[0, 0]


def test_a_clock_that_ran_on_is_told_by_the_artists_own_spread():
    told = a_booth()
    style = told.booth.set_up.style("ink-head") if told.booth.set_up else None
    hand = a_hand(told)
    assert style is not None
    for usual_s in (370.0, 380.0, 390.0):
        hand = measured(hand, a_time(usual_s, "likeness"), style)

    assert ran_on_s(hand, a_time(700.0, "likeness"), style) == 0.0
    assert ran_on_s(hand, a_time(9000.0, "likeness"), style) > 8000


def test_a_clock_that_ran_on_does_not_teach_a_slower_pace():
    told = a_booth()
    for number in range(8):
        told = draw(told, f"T{number}", 100, 380, 110)
    before = expected_s(pace_of(told.booth), told, "a1", "ink-head", "likeness")

    told = draw(told, "T9", 100, 4000, 110)

    pace = pace_of(told.booth)
    assert expected_s(pace, told, "a1", "ink-head", "likeness") == pytest.approx(before, rel=0.03)
    assert pace.lags.unsaid_met > 1


def test_a_guess_wrong_by_ten_times_is_no_clock_that_ran_on():
    told = a_booth()
    for number in range(6):
        told = draw(told, f"T{number}", 1000, 3800, 1100)

    pace = pace_of(told.booth)

    assert expected_s(pace, told, "a1", "ink-head", "likeness") > 0.7 * 3800
    assert pace.lags.unsaid_met < 1


def test_a_lasting_change_is_believed_in_the_end_however_large():
    told = a_booth()
    for number in range(10):
        told = draw(told, f"T{number}", 100, 380, 110)

    for number in range(10, 20):
        told = draw(told, f"T{number}", 100, 380 * 6, 110)

    assert expected_s(pace_of(told.booth), told, "a1", "ink-head", "likeness") > 0.7 * 380 * 6


def seasons_of(day_sd: float, sketch_sd: float) -> Told:
    """Twelve days of six portraits at one easel, their days and sketches spread as told."""
    chance = np.random.default_rng(np.random.SFC64(7))
    told, number = a_booth(), 0
    for day in range(12):
        date = f"2026-06-{6 + day:02d}"
        if day:
            told = told.day_opened(date).artist_in("a1")
        days_own = chance.normal(0, day_sd)
        for _ in range(6):
            number += 1
            factor = np.exp(days_own + chance.normal(0, sketch_sd) + chance.normal(0, 0.25, 3))
            told = draw(told, f"T{number}", *(round(float(each), 3) for each in factor * (100, 380, 110)))
        told = told.day_closed()
    return told


def test_the_mind_that_is_believed_is_one_that_fits_the_artists_days_and_sketches():
    steady, moody = (pace_of(seasons_of(*sds).booth).mind("a1").spreads for sds in ((0.0, 0.0), (0.15, 0.25)))

    assert steady.day + steady.sketch < moody.day + moody.sketch


def test_an_artist_of_whom_nothing_is_known_is_thought_of_as_usual():
    assert Pace().mind("nobody").spreads == MINDS[0]

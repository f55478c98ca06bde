"""What the record suggests, and that it is silent where the record is thin. Thresholds are tried on both sides."""

from __future__ import annotations

import math
from collections.abc import Iterable
from datetime import UTC, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from portraitq.daybook.changes import CONFIDENCE, ROUNDING, TURNAROUND
from portraitq.daybook.earnings import StyleEarns
from portraitq.daybook.measured_guesses import median_over_days
from portraitq.daybook.other_promises import Policy, outcome
from portraitq.daybook.ratios import Ratio
from portraitq.daybook.suggestions import (
    BREAK,
    CLOSING,
    COUNTER,
    EARNS,
    FINER,
    GUESSES,
    PROMISES,
    CounterPauses,
    DrawnThrough,
    EarnsLess,
    NeverDone,
    OtherPromises,
    Suggestion,
    TakeGuesses,
    shown,
    suggestions,
)
from portraitq.forecast.calibration import GRID, LEVELS, Calibration, Said, would_tell_s
from portraitq.forecast.pace import Pace, pace_of
from tests.builders import CHALK, INK_HEAD, Told, a_set_up, artist, instant
from tests.daybook.seasons import drawn, name_of, opened, season

NOON = datetime(2026, 5, 2, 12, tzinfo=UTC)
LISBON = ZoneInfo("Europe/Lisbon")


def suggested(told: Told, pace: Pace | None = None) -> dict[str, Suggestion]:
    at = told.booth.last_at
    assert at is not None
    return {one.key.partition(":")[0]: one for one in suggestions(told.booth, pace or pace_of(told.booth), at)}


# The measured times as guesses


def slow_likeness(n: int, likeness_s: float = 600.0, days: int = 1) -> dict[str, Suggestion]:
    return suggested(season(days, n // days, (100.0, likeness_s, 110.0)))


def test_a_stage_that_takes_other_than_guessed_is_suggested_with_what_was_measured():
    found = slow_likeness(15)[GUESSES]

    assert isinstance(found, TakeGuesses)
    (guess,) = found.guesses
    assert (guess.change.what, guess.change.old) == ("ink-head/likeness", (190.0, 380.0, 760.0))
    assert guess.change.new == (600.0, 600.0, 600.0)
    assert (guess.median_s.value, guess.median_s.n, guess.days) == (600.0, 15, 1)
    assert found.strength > 1


def test_fourteen_times_are_too_few():
    assert GUESSES not in slow_likeness(14)


def test_a_guess_that_is_off_by_less_than_fifteen_percent_is_a_good_one():
    assert GUESSES not in slow_likeness(30, likeness_s=380 * 1.14, days=3)
    assert GUESSES in slow_likeness(30, likeness_s=380 * 1.17, days=3)


def test_one_day_that_may_have_been_slow_says_less_than_many():
    a_little = 380 * 1.25  # one day may well be 1.96 × 12 % slower, so 26.5 %

    assert GUESSES not in slow_likeness(30, a_little, days=1)
    assert GUESSES in slow_likeness(30, a_little, days=3)


def test_days_that_differ_widen_the_interval_and_make_it_silent():
    alike = [(name_of(index), time_s) for index in range(4) for time_s in (440.0, 450.0, 460.0, 470.0)]
    unlike = [(day, time_s * (1.3 if day in (name_of(0), name_of(1)) else 0.8)) for day, time_s in alike]

    steady, unsteady = median_over_days(alike), median_over_days(unlike)

    # alike: of 16 values the 4th and 13th hold the median (C(16, ≤3)/2**16 = 1.1 %, ≤4: 3.8 %)
    assert steady is not None
    assert (steady.value, steady.low, steady.high) == (455.0, 440.0, 470.0)
    # unlike: the days' mean logs lie ±ln(1.3/0.8)/2 = ±0.243 about the middle, so s = 0.280 and
    # t(3, 97.5 %) = 3.182: ±3.182 × 0.280 / 2 = ±0.446 in the log
    assert unsteady is not None
    assert math.log(unsteady.high / unsteady.low) == pytest.approx(2 * 3.182 * 0.2803 / 2, rel=0.01)


@pytest.mark.parametrize("day_spread", [0.0, 0.1, 0.3])
def test_the_interval_holds_the_true_median_as_often_as_it_says_however_days_differ(day_spread: float):
    """At least 95 %, less 4 standard errors of 600 seasons: 3.6 points. The median of the law is the truth."""
    chance, held = np.random.default_rng(5), []
    for _ in range(600):
        days = chance.normal(0, day_spread, 6)
        times_s = 380 * np.exp(days[:, None] + chance.normal(0, 0.4, (6, 6)))
        goes = [(name_of(day), float(time_s)) for day in range(6) for time_s in times_s[day]]
        found = median_over_days(goes)
        assert found is not None
        held.append(found.low <= 380 <= found.high)

    assert np.mean(held) >= 0.95 - 4 * math.sqrt(0.95 * 0.05 / 600)


def test_times_that_scatter_around_the_guess_suggest_nothing():
    told = opened(Told().set_up(at=instant("08:00", name_of(0))), 0)
    for number in range(20):
        told = drawn(told, f"N{number}", (100.0, 200.0 if number % 2 else 700.0, 110.0))

    assert GUESSES not in suggested(told)


def test_the_turnaround_is_measured_as_well():
    told = opened(Told().set_up(at=instant("08:00", name_of(0))), 0)
    for number in range(16):
        told = drawn(told, f"N{number}", turnaround_s=120.0)

    found = suggested(told)[GUESSES]

    assert isinstance(found, TakeGuesses)
    assert [(one.change.what, one.change.new) for one in found.guesses] == [(TURNAROUND, (120.0, 120.0, 120.0))]


def test_a_style_that_was_cut_into_other_stages_since_is_not_judged_by_its_old_ones():
    told = season(1, 20, (100.0, 600.0, 110.0))
    other = {**INK_HEAD, "stages": INK_HEAD["stages"][:2]}

    assert GUESSES in suggested(told)
    assert GUESSES not in suggested(told.set_up(a_set_up(styles=(other, CHALK))))


# Other promises: quotes that are made up, so that each figure can be worked out


def said(at_minute: float, minutes: Iterable[float]) -> Said:
    """A quote whose 101 quantiles are straight between those minutes."""
    low, high = minutes
    return Said(
        NOON + timedelta(minutes=at_minute), tuple(60 * (low + (high - low) * level) for level in GRID), tuple(LEVELS)
    )


def quoted(ready_min: Iterable[float], spread_min: tuple[float, float] = (0.0, 100.0)) -> Pace:
    """A pace that remembers a quote of that spread for each portrait, and after how many minutes it was ready."""
    past = tuple((said(0, spread_min), 60 * each) for each in ready_min)
    return Pace(calibration=Calibration(past=past, settled=len(past)))


def a_day(**booth: Any) -> Told:
    return opened(Told().set_up(a_set_up(**booth), at=instant("08:00", name_of(0))), 0)


def test_a_quote_is_read_off_between_its_quantiles():
    quote = said(0, (0, 100))

    assert would_tell_s(quote, 0.85) == pytest.approx(85 * 60)
    assert would_tell_s(quote, 0.873) == pytest.approx(87.3 * 60)


def test_another_confidence_is_judged_by_what_came():
    past = quoted([50.0] * 7 + [82.0] * 2 + [99.0]).calibration.past
    present = Policy(0.85, 60, LISBON)

    found = outcome(past, Policy(0.8, 60, LISBON), present)

    # told 80 min after the order instead of 85; ready by then: the seven
    assert found is not None
    assert (found.kept.hits, found.kept.n) == (7, 10)
    assert found.earlier_s.value == pytest.approx(300)


def test_a_night_between_two_promises_is_no_earliness():
    late = [(said(11 * 60, (0, 100)), 60.0)] * 4  # ordered at midnight of Lisbon's summer, 23:00 UTC
    over_midnight = [(said(9 * 60 + 36, (0, 100)), 60.0)] * 4  # 21:36 UTC: 22:56 with 80 %, 23:01 with 85 %
    present = Policy(0.85, 60, LISBON)

    found = outcome([*late, *over_midnight], Policy(0.8, 60, LISBON), present)

    assert found is not None
    assert found.earlier_s.n == 4
    assert found.kept.n == 8


def evenly(n: int, over: float = 100.0) -> list[float]:
    return [over * (place + 0.5) / n for place in range(n)]


def test_a_step_down_is_offered_as_a_choice_with_what_it_would_cost():
    found = suggested(a_day(round_to_s=60), quoted(evenly(100)))[PROMISES]

    assert isinstance(found, OtherPromises)
    assert not found.is_free
    assert found.strength < 1
    assert (found.present.kept.hits, found.other.kept.hits) == (85, 80)
    assert found.other.earlier_s.value == pytest.approx(300)
    assert [(one.what, one.old, one.new) for one in found.changes] == [(CONFIDENCE, (0.85,), (0.8,))]


def broken_words(n: int, kept: int, **booth: Any) -> Told:
    """Ten minutes' sketches of which only some are ready by what the customer was told."""
    told = a_day(**booth)
    for number in range(n):
        told = told.ordered(f"N{number}", at=told.booth.last_at)
        minutes = 30 if number < kept else 2
        told = told.promised(f"N{number}", told.at(told.booth.last_at) + timedelta(minutes=minutes))
        told = told.drawn(f"N{number}")
    return told


def test_a_booth_that_breaks_its_word_is_not_advised_to_promise_earlier():
    assert PROMISES in suggested(broken_words(12, kept=8, round_to_s=60), quoted(evenly(100)))  # 8 of 12: up to 86 %
    assert PROMISES not in suggested(broken_words(12, kept=7, round_to_s=60), quoted(evenly(100)))  # up to 81 %
    assert FINER not in suggested(broken_words(12, kept=7, round_to_s=900), quoted(evenly(100)))


def test_a_step_that_wins_less_than_two_minutes_is_not_worth_a_word():
    assert PROMISES in suggested(a_day(round_to_s=1), quoted(evenly(100, 41), (0, 41)))  # 5 % of 41 min: 2:03
    assert PROMISES not in suggested(a_day(round_to_s=1), quoted(evenly(100, 19), (0, 19)))  # even 10 % of 19 is 1:54


def test_fifty_nine_quotes_are_too_few():
    assert PROMISES in suggested(a_day(round_to_s=60), quoted(evenly(60)))
    assert PROMISES not in suggested(a_day(round_to_s=60), quoted(evenly(59)))


def test_promises_that_are_all_kept_could_be_earlier_and_still_meet_the_wish():
    found = suggested(a_day(round_to_s=60), quoted([40.0] * 100))[PROMISES]

    assert isinstance(found, OtherPromises)
    assert found.is_free
    assert found.other.policy.confidence == 0.75  # ten points are the most that is given up
    assert found.other.kept.interval()[0] >= 0.85


def test_a_word_that_is_kept_too_seldom_asks_for_more_care():
    ready = [50.0] * 70 + [87.0] * 18 + [99.0] * 12  # 70 kept at 85 %, 88 at 90 %

    found = suggested(a_day(round_to_s=60), quoted(ready))[PROMISES]

    assert isinstance(found, OtherPromises)
    assert (found.other.policy.confidence, found.other.kept.hits) == (0.9, 88)
    assert found.strength > 1  # 70 of 100: up to 78 %, which leaves 85 out


def test_rounding_to_a_quarter_of_an_hour_is_told_what_it_costs():
    found = suggested(a_day(round_to_s=900), quoted(evenly(100)))[FINER]

    # told at 12:00 + 85 min = 13:25: rounded to 13:30 and 13:25
    assert isinstance(found, OtherPromises)
    assert found.other.earlier_s.value == pytest.approx(300)
    assert [(one.what, one.new) for one in found.changes] == [(ROUNDING, (300.0,))]


def test_rounding_to_five_minutes_is_fine_as_it_is():
    assert FINER not in suggested(a_day(round_to_s=300), quoted(evenly(100)))


def test_a_finer_rounding_that_would_break_the_wish_is_not_suggested():
    ready = [50.0] * 84 + [88.0] * 16  # 84 kept by 13:25, all of them by 13:30

    assert FINER not in suggested(a_day(round_to_s=900), quoted(ready))


# Never done before closing


def late_chalk(n: int, of_days: int, done: int = 0, at: str = "16:30") -> Told:
    """Chalk half-lengths ordered late, spread over days; the first `done` of them are drawn at once."""
    told = Told().set_up(at=instant("08:00", name_of(0)))
    for index in range(of_days):
        told = opened(told, index)
        for number in range(index, n, of_days):
            if number < done:
                told = drawn(told, f"C{number}", (60.0, 60.0), instant(at, name_of(index)), style="chalk-half")
            else:
                told = told.ordered(f"C{number}", style="chalk-half", at=max(told.at(), instant(at, name_of(index))))
        told = told.day_closed(at=instant("18:05", name_of(index)))
    return told


def test_a_style_that_is_never_done_when_ordered_late_is_named():
    found = suggested(late_chalk(6, 3))[CLOSING]

    assert isinstance(found, NeverDone)
    assert (found.style.id, found.missed.hits, found.missed.n, found.carried, found.days) == ("chalk-half", 6, 6, 6, 3)


@pytest.mark.parametrize(
    "told",
    [
        pytest.param(late_chalk(5, 3), id="five orders"),
        pytest.param(late_chalk(8, 2), id="two days"),
        pytest.param(late_chalk(8, 4, done=3), id="five of eight, of which a half is within 95 %"),
        pytest.param(late_chalk(6, 3, at="15:30"), id="ordered more than two hours before closing"),
    ],
)
def test_what_is_thin_or_early_names_no_style(told: Told):
    assert CLOSING not in suggested(told)


def test_seven_of_eight_leave_a_half_out():
    assert CLOSING in suggested(late_chalk(8, 4, done=1))  # Wilson: 53 to 98 %


def test_orders_that_were_called_off_before_closing_do_not_count():
    told = Told().set_up(at=instant("08:00", name_of(0)))
    for index in range(6):
        told = opened(told, index).ordered(f"C{index}", style="chalk-half", at=instant("17:00", name_of(index)))
        told = told.cancelled(f"C{index}", at=instant("17:30", name_of(index)))
        told = told.day_closed(at=instant("18:05", name_of(index)))

    assert CLOSING not in suggested(told)


# Breaks


def with_breaks(days: int, drawn_through: int, through_s: float = 600.0) -> Told:
    """Half an hour's break at noon each day; on the first days two sketches are drawn in it."""
    told = Told().set_up(at=instant("08:00", name_of(0)))
    for index in range(days):
        told = opened(told, index, a1=("12:00", "12:30"))
        for number in range(4):
            told = drawn(told, f"D{index}M{number}")
        if index < drawn_through:
            told = drawn(told, f"D{index}A", (100.0, through_s - 210, 110.0), instant("12:00", name_of(index)))
            told = drawn(told, f"D{index}B", (100.0, 300.0, 110.0), instant("12:15", name_of(index)))
        told = told.day_closed(at=instant("18:05", name_of(index)))
    return told


def test_breaks_that_are_drawn_through_are_pointed_out():
    found = suggested(with_breaks(4, 4))[BREAK]

    assert isinstance(found, DrawnThrough)
    assert (found.artist, found.drawn.hits, found.drawn.n) == ("a1", 4, 4)  # 600 + 510 of 1800 s


@pytest.mark.parametrize(
    "told",
    [
        pytest.param(with_breaks(3, 3), id="three breaks"),
        pytest.param(with_breaks(4, 3), id="one of four taken"),
        pytest.param(with_breaks(4, 4, through_s=380.0), id="890 of 1800 seconds, less than half"),
    ],
)
def test_breaks_that_are_taken_or_few_are_not_pointed_out(told: Told):
    assert BREAK not in suggested(told)


def test_a_clock_that_was_forgotten_over_a_break_is_no_drawing():
    told = Told().set_up(at=instant("08:00", name_of(0)))
    for index in range(5):
        told = opened(told, index, a1=("12:00", "12:30"))
        for number in range(4):
            told = drawn(told, f"D{index}M{number}")
        told = drawn(told, f"D{index}A", (100.0, 3000.0, 110.0), instant("11:50", name_of(index)))
        told = told.day_closed(at=instant("18:05", name_of(index)))

    assert BREAK not in suggested(told)


# The counter


def at_the_counter(days: int, pauses: int, each_min: float = 5.0, why: str = "counter") -> Told:
    told = Told().set_up(at=instant("08:00", name_of(0)))
    for index in range(days):
        told = opened(told, index)
        for number in range(pauses):
            id = f"D{index}N{number}"
            told = told.ordered(id).started(id, "a1").paused(id, why)
            told = told.resumed(id, at=told.at(told.booth.last_at) + timedelta(minutes=each_min))
            told = told.stages_all_done(id).finished(id)
        told = told.day_closed(at=instant("18:05", name_of(index)))
    return told


def test_pauses_for_the_counter_tell_what_somebody_there_would_free():
    found = suggested(at_the_counter(3, 8))[COUNTER]

    assert isinstance(found, CounterPauses)
    assert (found.a_day_s.value, found.a_day_s.n, found.pauses) == (8 * 300.0, 3, 24)
    # each portrait: a minute before the pause, three stages of a minute, a minute to finish = 300 s drawn
    assert found.of_drawing == pytest.approx(300 / 300)
    assert found.portraits == pytest.approx(8 * 300 / 300)


@pytest.mark.parametrize(
    "told",
    [
        pytest.param(at_the_counter(2, 8), id="two days"),
        pytest.param(at_the_counter(3, 6), id="just half an hour a day"),
        pytest.param(at_the_counter(3, 8, why="supplies"), id="pauses for something else"),
    ],
)
def test_little_or_other_pauses_ask_for_nobody(told: Told):
    assert COUNTER not in suggested(told)


# Earnings


def earns(style: str, an_hour: float, half: float, n: int = 10) -> StyleEarns:
    return StyleEarns(style, n, 0, 10.0, round(10 * an_hour), Ratio(4, an_hour, (an_hour - half, an_hour + half)))


def of_earnings(*earned: StyleEarns) -> dict[str, Suggestion]:
    told = season(1, 1)
    assert told.booth.last_at is not None
    found = suggestions(told.booth, pace_of(told.booth), told.booth.last_at, earned)
    return {one.key.partition(":")[0]: one for one in found}


def test_a_style_that_brings_far_less_an_hour_is_shown_beside_the_others():
    found = of_earnings(earns("ink-head", 9000, 500), earns("chalk-half", 5000, 500))[EARNS]

    assert isinstance(found, EarnsLess)
    assert (found.style.id, found.portraits, found.own.value, found.least.value) == ("chalk-half", 10, 5000, 9000)
    assert found.strength < 1  # what a style is worth is a matter of choice


@pytest.mark.parametrize(
    "earned",
    [
        pytest.param([earns("ink-head", 9000, 500), earns("chalk-half", 5000, 500, n=9)], id="nine portraits"),
        pytest.param(
            [earns("ink-head", 9000, 500), earns("chalk-half", 5000, 960)], id="up to 70 % of the other's least"
        ),
        pytest.param([earns("chalk-half", 5000, 500)], id="no other style"),
        pytest.param([earns("ink-head", 9000, 500), earns("gone", 5000, 500)], id="a style that is not drawn any more"),
    ],
)
def test_few_portraits_or_a_small_difference_say_nothing_of_a_price(earned: list[StyleEarns]):
    assert EARNS not in of_earnings(*earned)


# What is shown


def test_an_ordinary_season_suggests_nothing():
    assert suggested(season(4, 8)) == {}


def test_a_booth_that_never_opened_is_suggested_nothing():
    assert suggested(Told().set_up()) == {}


def test_three_are_shown_one_of_a_kind_the_strongest_first():
    told = a_day()
    both = [NeverDone(style, found.missed, 6, 3, strength) for style, found, strength in _two_styles_late(told)]
    counter = suggested(at_the_counter(3, 8))[COUNTER]
    breaks = suggested(with_breaks(4, 4))[BREAK]
    guesses = slow_likeness(15)[GUESSES]

    found = shown([guesses, *both, counter, breaks], put_away=[])

    assert [one.key for one in found] == [GUESSES, both[0].key, COUNTER]


def _two_styles_late(told: Told) -> list[tuple[Any, NeverDone, float]]:
    late = suggested(late_chalk(6, 3))[CLOSING]
    assert isinstance(late, NeverDone)
    assert told.booth.set_up is not None
    return [(style, late, 2.0) for style in told.booth.set_up.styles]


def test_what_was_put_away_makes_room_for_the_next():
    counter, breaks = suggested(at_the_counter(3, 8))[COUNTER], suggested(with_breaks(4, 4))[BREAK]

    assert shown([counter, breaks], put_away=[COUNTER]) == (breaks,)


def test_only_the_last_ten_days_count():
    told = season(3, 20, (100.0, 600.0, 110.0))
    for index in range(3, 13):
        told = opened(told, index)
        for number in range(2):
            told = drawn(told, f"D{index}N{number}")
        told = told.day_closed(at=instant("18:05", name_of(index)))

    assert GUESSES not in suggested(told)


def test_of_very_many_portraits_the_last_whole_days_are_read(monkeypatch: pytest.MonkeyPatch):
    told = season(4, 10, (100.0, 600.0, 110.0))
    monkeypatch.setattr("portraitq.daybook.suggestions.MOST_TICKETS", 25)

    found = suggested(told)[GUESSES]

    assert isinstance(found, TakeGuesses)
    assert (found.guesses[0].median_s.n, found.days) == (20, 2)


def test_of_very_many_portraits_of_one_day_the_last_are_read(monkeypatch: pytest.MonkeyPatch):
    monkeypatch.setattr("portraitq.daybook.suggestions.MOST_TICKETS", 15)

    found = suggested(season(1, 20, (100.0, 600.0, 110.0)))[GUESSES]

    assert isinstance(found, TakeGuesses)
    assert found.guesses[0].median_s.n == 15


def test_an_artist_who_is_gone_is_told_nothing_about_breaks():
    told = with_breaks(4, 4).set_up(a_set_up(artists=[artist("a2", "ink-head", "chalk-half")]))

    assert BREAK not in suggested(told)

"""How far is each measured time believed?"""

from __future__ import annotations

import pytest

from portraitq.core.timing import RAN_OVERNIGHT
from portraitq.forecast.doubts import (
    AT_LEAST,
    EXACT,
    IN_ONE_SUM,
    NOT,
    RAN_FAR_BEYOND,
    RAN_OVER_BREAK,
    SUM,
    Judged,
    judged,
)
from portraitq.forecast.pace import Pace, pace_of
from tests.builders import Told, a_journal
from tests.forecast.test_pace import draw

WELL_KNOWN = 8  # portraits: by then the artist's own spread is measured


def a_known_hand(**breaks: tuple[str, str]) -> Told:
    """A day on which a1 drew ink heads in about 100, 380 and 110 s each; the last one ended before 11."""
    told = a_journal().set_up().day_opened(**breaks).artist_in("a1", "a2")
    for number in range(WELL_KNOWN):
        off = 0.95 + 0.1 * (number % 2)
        told = draw(told, f"K{number}", *(round(off * usual_s, 3) for usual_s in (100, 380, 110)))
    return told


def on_t1(told: Told, pace: Pace | None = None) -> list[Judged]:
    return list(judged([told.ticket("T1")], told.booth.days, pace or pace_of(told.booth)))


def test_an_ordinary_time_counts_as_it_was_measured():
    told = draw(a_known_hand(), "T1", 104, 371, 120)

    times = on_t1(told)

    assert [(one.counts_as, one.why, one.at_least_s, one.is_trusted) for one in times] == [(EXACT, None, 0, True)] * 3


def test_taps_in_one_burst_count_as_their_sum():
    told = a_known_hand().ordered("T1", at="11:00").started("T1", "a1", at="11:00")
    told = told.taps("layout 11:10:00", "likeness 11:10:01", "finish 11:10:02").finished("T1", at="11:10:02")

    (whole,) = on_t1(told)

    assert (whole.counts_as, whole.why, whole.is_trusted) == (SUM, IN_ONE_SUM, True)
    assert whole.time.total_s == 602


def test_a_clock_that_ran_on_over_a_planned_break_counts_up_to_the_break():
    told = a_known_hand(a1=("12:00", "12:45")).ordered("T1", at="11:50").started("T1", "a1", at="11:50")
    told = told.taps("layout 11:52:00", "likeness 12:50:00", "finish 12:52:00").finished("T1", at="12:52:00")

    layout, likeness, finish = on_t1(told)

    assert (layout.counts_as, finish.counts_as) == (EXACT, EXACT)
    assert (likeness.counts_as, likeness.why, likeness.is_trusted) == (AT_LEAST, RAN_OVER_BREAK, False)
    assert likeness.at_least_s == 8 * 60  # 11:52 to 12:00
    assert likeness.usual_s == pytest.approx(380, rel=0.15)


def test_a_clock_far_beyond_the_artists_own_spread_counts_up_to_its_last_start():
    told = a_known_hand().ordered("T1", at="11:50").started("T1", "a1", at="11:50").stage_done("T1", at="11:52")
    told = told.paused("T1", at="11:54").resumed("T1", at="11:56").stage_done("T1", at="13:30")
    told = told.stage_done("T1", at="13:32").finished("T1", at="13:32")

    likeness = on_t1(told)[1]

    assert (likeness.counts_as, likeness.why) == (AT_LEAST, RAN_FAR_BEYOND)
    assert likeness.at_least_s == 120  # 11:52 to the pause


def test_a_clock_that_ran_on_without_a_later_sign_of_life_counts_not_at_all():
    told = draw(a_known_hand(), "T1", 100, 9000, 110)

    likeness = on_t1(told)[1]

    assert (likeness.counts_as, likeness.why, likeness.at_least_s) == (NOT, RAN_FAR_BEYOND, 0)


def test_clocks_that_ran_on_one_after_the_other_are_all_set_aside():
    told = draw(draw(a_known_hand(), "T0", 100, 9000, 110), "T1", 100, 9000, 110)

    times = judged([told.ticket("T0"), told.ticket("T1")], told.booth.days, pace_of(told.booth))

    assert [one.counts_as for one in times] == [EXACT, NOT, EXACT] * 2


def test_a_lasting_change_is_no_clock_that_ran_on_once_it_is_believed():
    told = a_known_hand()
    for number in range(8):
        told = draw(told, f"C{number}", 100, 6 * 380, 110)

    times = judged([told.ticket(f"C{number}") for number in range(8)], told.booth.days, pace_of(told.booth))

    assert [one.counts_as for one in times] == [EXACT] * 24


def test_a_burst_whose_clock_ran_on_is_no_known_sum():
    known = a_known_hand()
    told = known.ordered("T1", at="11:00").started("T1", "a1", at="11:00")
    told = told.taps("layout 15:10:00", "likeness 15:10:01", "finish 15:10:02").finished("T1", at="15:10:02")

    (whole,) = on_t1(told, pace_of(known.booth))

    assert (whole.why, whole.is_trusted) == (RAN_FAR_BEYOND, False)
    assert whole.usual_s == pytest.approx(590, rel=0.15)


def test_of_an_artist_of_whom_nothing_is_known_no_clock_is_said_to_have_run_on():
    told = draw(a_known_hand(), "T1", 100, 9000, 110)

    assert [one.counts_as for one in on_t1(told, Pace())] == [EXACT] * 3


def test_what_the_taps_tell_needs_no_known_artist():
    told = a_journal().set_up().day_opened(closes="18:00").artist_in("a1", "a2").ordered("T1", at="17:50")
    told = told.started("T1", "a1", at="17:55").day_closed(at="18:00").day_opened("2026-06-07")
    told = told.taps("layout 09:05:00", "likeness 09:15:00")

    night, ended = on_t1(told, Pace())

    assert (night.counts_as, night.why, night.at_least_s) == (AT_LEAST, RAN_OVERNIGHT, 5 * 60)
    assert (ended.counts_as, ended.is_trusted) == (EXACT, True)


def test_two_hands_in_one_stage_count_not_at_all():
    told = a_journal().set_up().day_opened().artist_in("a1", "a2").ordered("T1").started("T1", "a1", at="09:05")
    told = told.put_back("T1", at="09:06").started("T1", "a2", at="09:07").stage_done("T1", at="09:09")

    (layout,) = on_t1(told)

    assert (layout.counts_as, layout.at_least_s) == (NOT, 0)
    assert "another" in (layout.why or "")


def test_a_tap_together_with_the_start_counts_not_at_all():
    told = a_journal().set_up().day_opened().artist_in("a1").ordered("T1").started("T1", "a1", at="09:05")
    told = told.stage_done("T1", at="09:05:01")

    (layout,) = on_t1(told)

    assert layout.counts_as == NOT
    assert "together with the start" in (layout.why or "")


def test_how_slow_today_is_says_nothing_of_a_closed_day():
    told = draw(a_known_hand(), "T1", 100, 9000, 110).day_closed().day_opened("2026-06-07").artist_in("a1")
    for number in range(4):
        told = draw(told, f"S{number}", 160, 600, 180)
    told = draw(told, "T2", 100, 9000, 110)

    times = list(judged([told.ticket("T1"), told.ticket("T2")], told.booth.days, pace_of(told.booth)))

    yesterday, today = (one.usual_s for one in times if one.counts_as == NOT)
    assert yesterday is not None
    assert today is not None
    assert yesterday < 0.98 * today

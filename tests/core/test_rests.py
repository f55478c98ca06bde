"""Since when an artist has drawn without a rest."""

from __future__ import annotations

from datetime import datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from portraitq.core.rests import REST_S, drawing_since
from tests.builders import Told, a_booth, instant


def since(told: Told, now: str, who: str = "a1") -> datetime | None:
    return drawing_since(told.booth, who, told.at(now))


def test_an_artist_who_has_not_drawn_yet_needs_no_rest():
    assert since(a_booth().ordered("T1"), "12:00") is None


def test_drawing_counts_from_the_first_stroke():
    told = a_booth().ordered("T1", at="09:00").started("T1", at="09:05")

    assert since(told, "09:40") == instant("09:05")


def test_a_turnaround_of_a_minute_is_no_rest():
    told = a_booth().ordered("T1", "T2", at="09:00").started("T1", "a1", at="09:05").drawn("T1", at="09:40")
    told = told.started("T2", "a1", at="09:41")

    assert since(told, "10:30") == instant("09:05")


def test_a_turnaround_in_which_one_sat_down_is_a_rest():
    told = a_booth().ordered("T1", "T2", at="09:00").started("T1", "a1", at="09:05").drawn("T1", at="09:40")
    told = told.started("T2", "a1", at="09:46")

    assert since(told, "10:30") == instant("09:46")


def test_a_pause_for_a_break_is_a_rest_and_a_short_one_is_none():
    told = a_booth().ordered("T1", at="09:00").started("T1", at="09:05")
    told = told.paused("T1", "break", at="09:30").resumed("T1", at="09:36")
    assert since(told, "10:00") == instant("09:36")

    told = told.paused("T1", "counter", at="10:00").resumed("T1", at="10:02")
    assert since(told, "10:30") == instant("09:36")


def test_whoever_has_rested_long_enough_is_rested_although_the_sketch_is_paused():
    told = a_booth().ordered("T1", at="09:00").started("T1", at="09:05").paused("T1", "break", at="10:30")

    assert since(told, "10:34") == instant("09:05")
    assert since(told, "10:35") is None


def test_a_touch_up_is_drawing_too():
    told = a_booth().ordered("T1", at="09:00").started("T1", "a1", at="09:05").drawn("T1", at="09:30")
    told = told.collected("T1", at="09:31").touched_up("T1", "a1", at="09:33").finished("T1", at="09:40")

    assert since(told, "09:42") == instant("09:05")


def test_what_another_artist_draws_is_not_counted():
    told = a_booth().ordered("T1", at="09:00").started("T1", "a2", at="09:05")

    assert since(told, "10:00") is None


def test_a_clock_that_ran_through_the_night_counts_from_the_morning():
    told = a_booth().ordered("T1", at="17:00").started("T1", "a1", at="17:50").day_closed(at="18:00")
    assert since(told, "18:01") is None

    told = told.day_opened("2026-06-07").artist_in("a1")

    assert drawing_since(told.booth, "a1", instant("09:30", "2026-06-07")) == instant("09:00", "2026-06-07")


def test_a_tap_that_came_late_counts_from_when_it_was_made():
    told = a_booth().ordered("T1", at="09:00").started("T1", at="09:10", ago_s=300)

    assert since(told, "09:20") == instant("09:05")


def test_a_rest_of_no_length_is_refused():
    with pytest.raises(ValueError, match="rest_s must be above 0"):
        drawing_since(a_booth().booth, "a1", instant("10:00"), rest_s=0)


@given(gaps_s=st.lists(st.integers(1, 1200), min_size=1, max_size=6))
def test_only_a_gap_as_long_as_a_rest_begins_anew(gaps_s):
    told = a_booth().ordered("T1", at="09:00").started("T1", "a1", at="09:00")
    at, expected = instant("09:00"), instant("09:00")
    for gap_s in gaps_s:
        told = told.paused("T1", at=at + timedelta(seconds=60))
        at += timedelta(seconds=60 + gap_s)
        told = told.resumed("T1", at=at)
        expected = at if gap_s >= REST_S else expected

    assert drawing_since(told.booth, "a1", at + timedelta(seconds=1)) == expected

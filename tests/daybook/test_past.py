"""The stage times of the days before."""

from __future__ import annotations

from portraitq.daybook.by_day import by_day
from portraitq.daybook.days import days_of
from portraitq.daybook.past import NO_PAST, Past, times_of
from portraitq.forecast.pace import pace_of
from tests.builders import Told, a_booth


def past_of(told: Told) -> Past:
    days, pace = days_of(told.booth), pace_of(told.booth)
    among = by_day(told.booth, days)
    return Past(tuple(times_of(day, among.of(day), told.booth.days, pace) for day in days))


def two_days() -> Told:
    told = a_booth().ordered("T1", at="09:00").ordered("T2", sitters=2, at="09:00").started("T1", "a1", at="09:01")
    told = told.started("T2", "a2", at="09:01").taps("layout 09:03:00", "likeness 09:09:00", "finish 09:11:00", id="T1")
    told = told.finished("T1").taps("layout 09:14:00", "likeness 09:26:00", id="T2").day_closed(at="18:00")
    told = told.day_opened("2026-06-07").artist_in("a1").ordered("T3").started("T3", "a1", at="09:20:00")
    return told.taps("layout 09:20:01", "likeness 09:30:00", id="T3")


def test_times_are_kept_by_style_stage_and_artist_in_their_order_for_one_sitter():
    first, second = past_of(two_days()).days

    assert first == {
        ("ink-head", "layout", "a1"): (120.0,),
        ("ink-head", "likeness", "a1"): (360.0,),
        ("ink-head", "finish", "a1"): (120.0,),
        ("ink-head", "layout", "a2"): (390.0,),  # 13 min for two
        ("ink-head", "likeness", "a2"): (360.0,),
    }
    assert second == {("ink-head", "likeness", "a1"): (599.0,)}  # its layout was tapped together with the start


def test_the_past_is_the_days_one_behind_the_other():
    past = past_of(two_days())

    assert past.times_s("ink-head", "likeness", "a1") == (360.0, 599.0)
    of_all, of_one = past.spread("ink-head", "likeness"), past.spread("ink-head", "likeness", "a1")
    assert of_all is not None
    assert of_one is not None
    assert (of_all.n, of_all.median_s) == (3, 360.0)
    assert (of_one.n, of_one.median_s) == (2, (360 + 599) / 2)


def test_a_first_day_has_no_past():
    assert NO_PAST.spread("ink-head", "likeness") is None
    assert NO_PAST.times_s("ink-head", "likeness", "a1") == ()

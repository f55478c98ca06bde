"""What is said of a range of days: figures that were put in come out, and nothing is said of too few."""

from __future__ import annotations

import math

import pytest

from portraitq.daybook.attendance import attendances
from portraitq.daybook.bands import BANDS
from portraitq.daybook.best_hours import hours_of_day
from portraitq.daybook.day_summary import (
    LEFT,
    OUT_OF_HOURS,
    UNTOLD,
    ArtistDay,
    Asked,
    DaySummary,
    HourOfDay,
    Portrait,
    summary_of,
)
from portraitq.daybook.days import days_of
from portraitq.daybook.earnings import earnings
from portraitq.daybook.lost import lost
from portraitq.daybook.pace_trend import pace_of_artist
from portraitq.daybook.promises import KEPT, LATE, OPEN, SET_ASIDE, UNFINISHED
from portraitq.daybook.said_and_kept import AS_SAID, LESS, MORE, by_band, by_level, verdict
from portraitq.daybook.said_and_kept import OPEN as TOO_FEW
from portraitq.daybook.season import artists_of, season_of
from portraitq.daybook.shares import Share
from portraitq.daybook.side_by_side import side_by_side
from portraitq.daybook.touched import tickets_of
from tests.daybook.quick_season import a_season


def a_day(place: int = 0, *portraits: Portrait, asked=(), hours=(), artists=None, taken=0) -> DaySummary:
    drew = {one.artist for one in portraits}
    there = [ArtistDay(artist, 9 * 3600, 3 * 3600, 0, 0, 0, 6 * 3600) for artist in sorted(drew)]
    return DaySummary(
        day=f"2026-06-{place + 1:02d}",
        zone="Europe/Lisbon",
        open_s=9 * 3600,
        in_hand_s=18 * 3600,
        ordered=len(portraits),
        collected=0,
        cancelled=0,
        taken=taken,
        portraits=portraits,
        asked=tuple(asked),
        hours=tuple(hours),
        artists=tuple(there if artists is None else artists),
    )


def drawn(pace: float = 1.0, artist="a1", style="ink-head", easel_s=1200.0, earned=1800) -> Portrait:
    return Portrait(artist, style, 1, 600 * pace, 600.0 if pace else 0.0, easel_s, earned)


def told(minutes: float | None, became: str = KEPT, confidence: float | None = 0.85, artist="a1") -> Asked:
    return Asked("ink-head", None if minutes is None else minutes * 60, confidence, became, artist)


# Throughput


def test_portraits_a_day_grow_by_what_was_put_in():
    season = season_of([a_day(place, *[drawn()] * n) for place, n in enumerate((2, 4, 6, 8, 10))])

    assert season.finished == 30
    assert season.a_day is not None
    assert season.a_day.value == 6
    assert season.trend is not None
    assert season.trend.slope == pytest.approx(2)  # a day; exactly on a line
    assert season.trend.is_clear


def test_the_trend_is_over_days_of_the_calendar_not_of_trading():
    season = season_of([a_day(place, *[drawn()] * n) for place, n in ((0, 1), (7, 2), (14, 3))])

    assert season.trend is not None
    assert season.trend.slope == pytest.approx(1 / 7)


def test_of_an_artist_only_the_days_on_which_they_were_there_count():
    days = [a_day(0, drawn(), drawn(artist="a2")), a_day(1, drawn(artist="a2")), a_day(2, drawn(), drawn())]

    season = season_of(days, "a1")

    assert [one.day for one in season.days] == ["2026-06-01", "2026-06-03"]
    assert season.finished == 3
    assert artists_of(days) == ("a1", "a2")


def test_how_many_were_in_hand_is_over_the_hours_open():
    assert season_of([a_day(0), a_day(1)]).in_hand == 2.0  # 18 portrait-hours in 9 hours
    assert season_of([]).in_hand is None


# Pace


def test_an_artist_who_gets_slower_is_found_out_and_the_other_is_not():
    # 0.6 % slower a day was put in; the slope knows its own standard error, and 4 of them are allowed
    season = a_season(30, portraits=5, slower_a_day=0.006)
    booth, here = season.booth, attendances(season.events)
    every = days_of(booth)
    among = tickets_of(booth, every, {day.day for day in every})
    days = [summary_of(booth, day, among[day.day].values(), here, season.at) for day in every]

    slower, steady = (pace_of_artist(season_of(days), artist).trend for artist in ("a1", "a2"))

    assert slower is not None
    assert steady is not None
    assert slower.is_clear
    assert slower.slope == pytest.approx(math.log(1.006), abs=4 * slower.slope_sd)
    assert steady.slope == pytest.approx(0, abs=4 * steady.slope_sd)


def test_a_days_pace_is_the_mean_of_the_logs_so_that_twice_and_half_even_out():
    season = season_of([a_day(0, drawn(2.0), drawn(0.5))])

    found = pace_of_artist(season, "a1")

    assert found.days[0].log_pace.value == pytest.approx(0)
    assert found.trend is None


def test_a_clock_that_ran_on_is_left_out_and_counted_and_so_is_an_unknown_time():
    days = [a_day(place, *[drawn(1 + 0.01 * n) for n in range(4)]) for place in range(3)]
    season = season_of([*days, a_day(3, drawn(20.0), drawn(1.02), drawn(0.0))])

    found = pace_of_artist(season, "a1")

    assert (found.ran_on, found.unknown, len(found.logs)) == (1, 1, 13)
    assert max(found.logs) < math.log(1.1)


def test_of_four_portraits_none_is_called_odd():
    season = season_of([a_day(0, drawn(), drawn(), drawn(), drawn(20.0))])

    assert pace_of_artist(season, "a1").ran_on == 0


# Promises


def test_promises_are_held_against_what_was_said_by_level_and_by_how_far_ahead():
    asked = [
        *[told(10, KEPT, 0.85)] * 17, *[told(10, LATE, 0.85)] * 3, *[told(100, UNFINISHED, 0.95)] * 20,
        told(10, OPEN), told(10, SET_ASIDE), told(None, UNTOLD, None), told(10, LEFT, None),
    ]  # fmt: skip
    season = season_of([a_day(0, asked=asked)])

    levels, bands = by_level(season), by_band(season)

    assert [(one.said, one.kept.hits, one.kept.n, one.verdict) for one in levels] == [
        (0.85, 17, 20, AS_SAID),
        (0.95, 0, 20, LESS),
    ]
    assert [(one.band.to_min, one.kept.n, one.said) for one in bands] == [(15, 20, 0.85), (120, 20, 0.95)]


def test_a_verdict_needs_twenty_promises_and_the_interval():
    assert verdict(Share(0, 19), 0.85) == TOO_FEW
    assert verdict(Share(34, 40), 0.85) == AS_SAID  # Wilson 0.709–0.929 (checks D: 34 of 40)
    assert verdict(Share(34, 40), 0.95) == LESS
    assert verdict(Share(34, 40), 0.60) == MORE


def test_of_an_artist_only_the_promises_that_they_drew_count():
    season = season_of([a_day(0, drawn(), asked=[told(10), told(10, LATE, artist="a2")])], "a1")

    assert season.kept == Share(1, 1)
    assert [one.kept for one in by_level(season)] == [Share(1, 1)]


# Who left


def test_the_share_who_left_is_by_the_time_they_were_told():
    asked = [*[told(20)] * 18, *[told(20, LEFT, None)] * 2, *[told(75)] * 5, *[told(75, LEFT, None)] * 15]
    asked += [told(None, LEFT, None), told(None, UNTOLD, None)]

    found = lost(season_of([a_day(0, asked=asked)]))

    assert [(one.band.over_min, one.left) for one in found.bands] == [(15, Share(2, 20)), (60, Share(15, 20))]
    assert found.untold == Share(1, 2)
    assert found.everybody == Share(18, 42)
    longer = found.told_longer(60)
    assert longer is not None
    assert longer.value == pytest.approx(0.65)
    assert longer.is_clear


def test_of_nine_nothing_is_said():
    asked = [*[told(20)] * 30, *[told(75, LEFT, None)] * 9]

    assert lost(season_of([a_day(0, asked=asked)])).told_longer(60) is None


def test_the_bands_follow_each_other_without_a_gap():
    assert [band.over_min for band in BANDS[1:]] == [band.to_min for band in BANDS[:-1]]
    assert (BANDS[0].over_min, BANDS[-1].to_min) == (0, None)


# Hours


def test_an_hour_open_for_half_counts_half():
    days = [
        a_day(
            place,
            hours=[HourOfDay(10, 3600, 2, 3600), HourOfDay(11, 1800, 2, 3600), HourOfDay(OUT_OF_HOURS, 0, 1, 900)],
        )
        for place in range(3)
    ]

    found = hours_of_day(season_of(days))

    assert [(one.hour, one.finished.value, one.taken.value) for one in found.hours] == [(10, 2, 3600), (11, 4, 7200)]
    assert (found.finished_after, found.taken_after) == (3, 2700)
    assert found.best is not None
    assert found.worst is not None
    assert (found.best.hour, found.worst.hour, found.are_told_apart) == (11, 10, True)


def test_an_hour_that_was_open_on_two_days_is_neither_best_nor_worst():
    days = [a_day(place, hours=[HourOfDay(10, 3600, 2, 3600)]) for place in range(5)]
    days += [a_day(place, hours=[HourOfDay(11, 3600, 9, 90000), HourOfDay(10, 3600, 2, 3600)]) for place in (5, 6)]

    found = hours_of_day(season_of(days))

    assert (found.best, found.worst, found.are_told_apart) == (None, None, False)


# Earnings


def test_what_a_style_earns_is_all_its_money_over_all_its_easel_hours():
    chalk = drawn(style="chalk-half", easel_s=3600, earned=3000)
    days = [a_day(0, drawn(), chalk), a_day(1, drawn(earned=0)), a_day(2, drawn(0.0, earned=99999))]

    ink, other = sorted(earnings(season_of(days)), key=lambda one: one.per_hour.value, reverse=True)

    assert (ink.style, other.style) == ("chalk-half", "ink-head")
    assert other.per_hour.value == pytest.approx(1800 / (2400 / 3600))  # both portraits' hours, the one's money
    assert (other.n, other.left_out, other.earned) == (2, 1, 1800)
    assert other.easel_h_each == pytest.approx(1 / 3)
    assert ink.per_hour.value == 3000


# Side by side


def test_two_ranges_that_differ_are_told_apart_and_two_alike_are_not():
    few = [a_day(place, *[drawn()] * (2 + place % 2)) for place in range(6)]
    many = [a_day(place + 10, *[drawn(1.4)] * (5 + place % 2)) for place in range(6)]

    found = {one.name: one for one in side_by_side(season_of(few), season_of(many))}
    alike = {one.name: one for one in side_by_side(season_of(few), season_of(few))}

    assert found["finished"].difference is not None
    assert found["finished"].difference.value == pytest.approx(-3)
    assert found["finished"].difference.is_clear
    assert found["pace"].difference is not None
    assert found["pace"].difference.value == pytest.approx(-math.log(1.4))
    assert not any(one.difference.is_clear for one in alike.values() if one.difference)


def test_two_single_days_have_an_interval_only_where_there_is_scatter_to_hold_it_against():
    first, second = (season_of([a_day(place, *portraits)]) for place, portraits in
                     ((0, [drawn(), drawn(1.1), drawn(0.9)]), (1, [drawn(1.5), drawn(1.6), drawn(1.4)])))  # fmt: skip

    found = {one.name: one for one in side_by_side(first, second)}

    assert found["finished"].difference is not None
    assert found["finished"].difference.interval is None
    assert found["pace"].difference is not None
    assert found["pace"].difference.is_clear


def test_two_artists_are_compared_without_those_who_left_and_by_what_they_earned():
    days = [a_day(place, drawn(), drawn(artist="a2", earned=900), taken=9999) for place in range(4)]

    found = {one.name: one for one in side_by_side(season_of(days, "a1"), season_of(days, "a2"))}

    assert set(found) == {"finished", "earned", "an-hour", "drawing", "pace", "kept"}
    assert found["earned"].difference is not None
    assert found["earned"].difference.value == 900

"""Measured stage times out of untidy histories."""

from datetime import timedelta
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from portraitq.core.booth import import_lines
from portraitq.core.timing import (
    StageTime,
    drawn_s,
    pause_in_hand,
    pauses,
    running,
    stage_times,
    stays,
    turnarounds,
)
from tests.builders import Told, a_booth, instant

JOURNALS = sorted((Path(__file__).parents[1] / "journals").glob("*.jsonl"))


def seconds(told: Told, id: str = "T1") -> list[tuple[tuple[str, ...], float]]:
    return [(time.stages, time.total_s) for time in stage_times(told.ticket(id), told.booth.days)]


def test_the_contracts_example_is_measured_to_the_second():
    journal = Path(__file__).parents[1] / "journals" / "contract-example.jsonl"

    booth, _ = import_lines(journal.read_text(encoding="utf-8").splitlines())

    times = stage_times(booth.tickets["T1"], booth.days)
    # journal.md, "An example": started 09:04:40, taps 09:06:31, 09:13:02, 09:15:00
    assert [(time.stages, time.total_s) for time in times] == [
        (("layout",), 111.0),
        (("likeness",), 391.0),
        (("finish",), 118.0),
    ]


def test_a_pause_is_no_part_of_its_stage():
    told = (
        a_booth()
        .ordered("T1", at="09:00:00")
        .started("T1", at="09:10:00")
        .paused("T1", at="09:10:30")
        .resumed("T1", at="09:12:00")
    )

    told = told.taps("layout 09:12:40")

    assert seconds(told) == [(("layout",), 70.0)]
    assert [(pause.why, pause.ended_at - pause.began_at) for pause in pauses(told.ticket("T1")) if pause.ended_at] == [
        ("counter", timedelta(seconds=90))
    ]


def test_three_taps_in_two_seconds_are_known_only_as_one_sum():
    told = a_booth().ordered("T1", at="09:00:00").started("T1", at="09:00:00")

    told = told.taps("layout 09:09:58", "likeness 09:09:59", "finish 09:10:00")

    assert seconds(told) == [(("layout", "likeness", "finish"), 600.0)]


def test_a_burst_after_a_measured_stage_covers_only_what_it_caught_up():
    told = a_booth().ordered("T1", at="09:00:00").started("T1", at="09:00:00")

    told = told.taps("layout 09:02:00", "likeness 09:09:59", "finish 09:10:00")

    assert seconds(told) == [(("layout",), 120.0), (("likeness", "finish"), 480.0)]


def test_a_stage_tapped_together_with_the_start_is_not_trusted():
    told = a_booth().ordered("T1", at="09:00:00").started("T1", at="09:00:00")

    told = told.taps("layout 09:00:01", "likeness 09:06:00")

    first, second = stage_times(told.ticket("T1"))
    assert (first.trusted, second.trusted) == (False, True)
    assert first.why_not is not None


def test_an_undone_tap_is_as_if_it_had_not_been_said():
    told = a_booth().ordered("T1", at="09:00:00").started("T1", at="09:00:00").taps("layout 09:01:00")

    told = told.stage_undone("T1", at="09:01:20").taps("layout 09:02:10")

    assert seconds(told) == [(("layout",), 130.0)]


def test_a_tap_is_measured_from_when_it_was_made_not_from_when_it_arrived():
    told = a_booth().ordered("T1", at="09:00:00").started("T1", at="09:00:00")

    told = told.stage_done("T1", "layout", at="09:06:00", ago_s=240.0).stage_done("T1", "likeness", at="09:07:30")

    assert seconds(told) == [(("layout",), 120.0), (("likeness",), 330.0)]


def test_a_tap_that_claims_to_be_older_than_the_one_before_it_ends_no_stage_before_it_began():
    told = a_booth().ordered("T1", at="09:00:00").started("T1", at="09:00:00").taps("layout 09:02:00")

    told = told.stage_done("T1", "likeness", at="09:08:00", ago_s=1200.0)

    assert all(time.total_s >= 0 for time in stage_times(told.ticket("T1")))


def test_a_portrait_put_back_goes_on_with_its_stage_where_it_was_left():
    told = a_booth().ordered("T1", at="09:00:00").started("T1", "a1", at="09:00:00").taps("layout 09:02:00")

    told = told.put_back("T1", at="09:03:00").started("T1", "a1", at="09:30:00").taps("likeness 09:35:00")

    assert seconds(told) == [(("layout",), 120.0), (("likeness",), 360.0)]


def test_a_stage_of_two_hands_is_not_trusted():
    told = a_booth().ordered("T1", at="09:00:00").started("T1", "a1", at="09:00:00").put_back("T1", at="09:01:00")

    told = told.started("T1", "a2", at="09:05:00").taps("layout 09:06:00", "likeness 09:12:00")

    assert [(time.artist, time.trusted) for time in stage_times(told.ticket("T1"))] == [("a2", False), ("a2", True)]


def test_a_cancelled_stage_is_not_measured():
    told = a_booth().ordered("T1", at="09:00:00").started("T1", at="09:00:00").taps("layout 09:02:00")

    told = told.cancelled("T1", at="09:05:00")

    assert seconds(told) == [(("layout",), 120.0)]
    assert drawn_s(told.ticket("T1")) == 300.0


def test_a_touch_up_is_no_part_of_any_stage():
    told = a_booth().ordered("T1", at="09:00:00").started("T1", at="09:00:00")
    told = told.taps("layout 09:02:00", "likeness 09:08:00", "finish 09:10:00").finished("T1", at="09:10:00")
    before = seconds(told)

    told = told.touched_up("T1", "a1", at="09:30:00")

    assert seconds(told) == before
    assert running(told.ticket("T1"), instant("09:31:00")) == 60.0
    told = told.finished("T1", at="09:40:00")
    assert drawn_s(told.ticket("T1")) == 600.0
    assert drawn_s(told.touched_up("T1", "a1", at="10:00:00").finished("T1", at="10:05:00").ticket("T1")) == 600.0


def test_a_clock_that_ran_on_over_the_night_is_not_trusted():
    told = a_booth().ordered("T1", at="09:00:00").started("T1", at="17:50:00").day_closed(at="18:00:00")

    told = told.day_opened("2026-06-07").artist_in("a1").taps("layout 09:05:00")

    (time,) = stage_times(told.ticket("T1"), told.booth.days)
    assert not time.trusted
    assert "night" in (time.why_not or "")


def test_a_portrait_finished_after_closing_is_trusted():
    told = a_booth().ordered("T1", at="09:00:00").started("T1", at="17:58:00").day_closed(at="18:00:00")

    told = told.taps("layout 18:01:00")

    assert stage_times(told.ticket("T1"), told.booth.days) == (
        StageTime("T1", "a1", "ink-head", ("layout",), 1, 180.0, instant("18:01:00")),
    )


def test_the_stage_in_hand_runs_without_its_pauses():
    told = (
        a_booth()
        .ordered("T1", at="09:00:00")
        .started("T1", at="09:00:00")
        .taps("layout 09:02:00")
        .paused("T1", at="09:03:00")
    )

    assert running(told.ticket("T1"), instant("09:30:00")) == 60.0
    assert running(told.resumed("T1", at="09:10:00").ticket("T1"), instant("09:11:00")) == 120.0


def test_a_stage_taken_back_runs_on_as_if_its_tap_had_not_been_said():
    told = (
        a_booth()
        .ordered("T1", at="09:00:00")
        .started("T1", at="09:00:00")
        .taps("layout 09:02:00")
        .stage_undone("T1", at="09:02:30")
    )

    assert running(told.ticket("T1"), instant("09:03:00")) == 180.0


def test_nothing_runs_off_the_easel():
    told = a_booth().ordered("T1")

    assert running(told.ticket("T1"), instant("10:00")) is None


def test_the_pause_in_hand_says_since_when():
    told = a_booth().ordered("T1", at="09:00:00").started("T1").paused("T1", "supplies", at="09:30:00")

    pause = pause_in_hand(told.ticket("T1"))

    assert pause is not None
    assert (pause.why, pause.began_at, pause.ended_at) == ("supplies", instant("09:30:00"), None)
    assert pause_in_hand(told.resumed("T1").ticket("T1")) is None


def test_a_turnaround_is_counted_from_the_end_of_the_portrait_before():
    told = a_booth().ordered("T1", "T2", at="09:00:00").started("T1", "a1", at="09:01:00").drawn("T1", at="09:10:00")

    told = told.started("T2", "a1", at="09:11:15")

    (found,) = turnarounds(told.booth)
    assert (found.artist, found.lag_s, found.waited) == ("a1", 75.0, True)


def test_a_late_start_for_which_nobody_waited_is_no_turnaround():
    told = a_booth().ordered("T1", at="09:00:00").started("T1", "a1", at="09:01:00").drawn("T1", at="09:10:00")

    told = told.ordered("T2", at="09:40:00").started("T2", "a1", at="09:40:20")

    (found,) = turnarounds(told.booth)
    assert (found.lag_s, found.waited) == (20.0, False)


def test_a_planned_break_between_two_portraits_is_no_turnaround():
    told = a_booth().day_closed(at="09:00:01").day_opened(opens="09:00:01", a1=("12:00", "12:30")).artist_in("a1")
    told = told.ordered("T1", "T2", at="11:40:00").started("T1", "a1", at="11:41:00").drawn("T1", at="11:59:00")

    told = told.started("T2", "a1", at="12:31:00")

    assert turnarounds(told.booth) == ()


@pytest.mark.parametrize("journal", JOURNALS, ids=lambda path: path.stem)
def test_on_every_honest_day_no_time_is_negative_and_no_stage_is_measured_twice(journal: Path):
    booth, _ = import_lines(journal.read_text(encoding="utf-8").splitlines())

    for ticket in booth.tickets.values():
        times = stage_times(ticket, booth.days)
        named = [stage for time in times for stage in time.stages]
        assert all(time.total_s >= 0 for time in times)
        assert named == [stage.id for stage in ticket.style.stages[: len(named)]]
        assert all(stay.ended_at is None or stay.ended_at >= stay.began_at for stay in stays(ticket))


@given(st.lists(st.tuples(st.integers(1, 600), st.booleans(), st.booleans()), min_size=1, max_size=12))
def test_the_stages_the_running_one_and_the_pauses_add_up_to_the_time_on_the_easel(steps):
    told = a_booth().ordered("T1", at="09:00:00").started("T1", at="09:00:00")
    now = instant("09:00:00")
    for gap_s, pauses_here, undoes in steps:
        now += timedelta(seconds=gap_s)
        if pauses_here:
            told = told.paused("T1", at=now)
            now += timedelta(seconds=gap_s)
            told = told.resumed("T1", at=now)
        elif undoes and told.ticket("T1").stages_done:
            told = told.stage_undone("T1", at=now)
        elif told.ticket("T1").stages_done < 2:
            told = told.stage_done("T1", at=now)

    ticket = told.ticket("T1")
    measured_s = sum(time.total_s for time in stage_times(ticket))
    rested_s = sum((pause.ended_at - pause.began_at).total_seconds() for pause in pauses(ticket) if pause.ended_at)
    assert measured_s + (running(ticket, now) or 0) + rested_s == pytest.approx(
        (now - instant("09:00:00")).total_seconds()
    )


def test_a_clock_left_running_over_the_night_counts_only_while_the_booth_was_open():
    told = a_booth().ordered("T1", at="17:40:00").started("T1", at="17:50:00").day_closed(at="18:00:00")
    told = told.day_opened("2026-06-07", "09:00", "18:00")

    next_morning = instant("09:02:00", "2026-06-07")

    assert running(told.ticket("T1"), next_morning, told.booth.days) == 12 * 60
    assert running(told.ticket("T1"), instant("23:00:00"), told.booth.days) == 10 * 60


# What is known of a clock that may have run on


def one_time(told: Told) -> StageTime:
    (time,) = stage_times(told.ticket("T1"), told.booth.days)
    return time


def a_day_with_a_break() -> Told:
    """A day with a planned break of a1 from 12:00 to 12:30, T1 ordered in the morning."""
    told = a_booth().day_closed(at="09:00:01").day_opened(opens="09:00:01", a1=("12:00", "12:30")).artist_in("a1", "a2")
    return told.ordered("T1", at="09:10:00")


def test_of_a_clock_that_ran_through_a_planned_break_the_time_until_it_is_known():
    told = a_day_with_a_break().started("T1", "a1", at="11:56:00")

    time = one_time(told.taps("layout 12:34:00"))

    assert (time.total_s, time.at_least_s, time.over_break, time.trusted) == (38 * 60, 240, True, True)


def test_a_clock_that_was_stopped_for_the_break_did_not_run_through_it():
    told = a_day_with_a_break().started("T1", "a1", at="11:56:00").paused("T1", "break", at="12:01:00")

    time = one_time(told.resumed("T1", at="12:31:00").taps("layout 12:34:00"))

    assert (time.total_s, time.over_break) == (8 * 60, False)


def test_a_break_of_another_artist_or_one_that_was_drawn_into_only_is_none():
    others = a_day_with_a_break().started("T1", "a2", at="11:56:00").taps("layout 12:34:00")
    into = a_day_with_a_break().started("T1", "a1", at="11:56:00").taps("layout 12:04:00")

    assert [one_time(told).over_break for told in (others, into)] == [False, False]
    assert [one_time(told).at_least_s for told in (others, into)] == [0, 0]


def test_of_two_breaks_the_clock_ran_through_only_the_time_until_the_first_is_known():
    told = a_booth().day_closed(at="09:00:01").day_opened(opens="09:00:01", a1=("12:00", "12:30")).artist_in("a1")
    told = told.day_closed(at="12:40").day_opened("2026-06-07", a1=("09:20", "09:30")).artist_in("a1")
    told = told.ordered("T1", at="09:05:00").started("T1", "a1", at="09:10:00")

    time = one_time(told.taps("layout 09:40:00"))

    assert (time.at_least_s, time.over_break) == (600, True)


def test_of_a_clock_that_ran_on_over_the_night_the_time_until_closing_is_known():
    told = a_booth().ordered("T1", at="09:00:00").started("T1", at="17:50:00").day_closed(at="18:10:00")

    time = one_time(told.day_opened("2026-06-07").artist_in("a1").taps("layout 09:05:00"))

    assert (time.trusted, time.at_least_s, time.over_break) == (False, 600, False)


def test_of_a_day_closed_early_the_time_until_then_is_known():
    told = a_booth().ordered("T1", at="09:00:00").started("T1", at="15:00:00").day_closed(at="15:07:00")

    time = one_time(told.day_opened("2026-06-07").artist_in("a1").taps("layout 09:05:00"))

    assert time.at_least_s == 420


def test_a_portrait_begun_after_closing_was_alive_at_its_beginning_and_no_longer_is_known():
    told = a_booth().ordered("T1", at="09:00:00").started("T1", at="18:20:00").day_closed(at="18:30:00")

    time = one_time(told.day_opened("2026-06-07").artist_in("a1").taps("layout 09:05:00"))

    assert (time.trusted, time.at_least_s) == (False, 0)


def test_a_clock_that_was_started_again_was_alive_then():
    told = a_booth().ordered("T1", at="09:00:00").started("T1", at="09:10:00").paused("T1", at="09:11:40")

    time = one_time(told.resumed("T1", at="09:20:00").taps("layout 09:22:00"))

    assert (time.total_s, time.at_least_s, time.over_break) == (220, 100, False)


def test_a_break_after_a_pause_counts_what_was_clocked_before_it():
    told = a_day_with_a_break().started("T1", "a1", at="11:50:00").paused("T1", at="11:52:00")

    time = one_time(told.resumed("T1", at="11:55:00").taps("layout 12:31:00"))

    assert (time.at_least_s, time.over_break) == (120 + 300, True)


def test_a_tap_taken_back_is_no_end_and_what_ran_before_it_counts():
    told = a_day_with_a_break().started("T1", "a1", at="11:50:00").taps("layout 11:52:00")
    told = told.stage_undone("T1", at="11:53:00")

    time = one_time(told.taps("layout 12:40:00"))

    assert (time.total_s, time.at_least_s, time.over_break) == (50 * 60, 600, True)


def test_a_tap_taken_back_after_the_break_is_made_anew_with_the_break_in_it():
    told = a_day_with_a_break().started("T1", "a1", at="11:50:00").taps("layout 12:40:00")

    time = one_time(told.stage_undone("T1", at="12:40:20").taps("layout 12:41:00"))

    assert (time.total_s, time.at_least_s, time.over_break) == (51 * 60, 600, True)


def test_of_a_stage_in_two_hands_nothing_is_known_however_long_it_took():
    told = a_day_with_a_break().started("T1", "a2", at="11:40:00").put_back("T1", at="11:45:00")

    time = one_time(told.started("T1", "a1", at="11:50:00").taps("layout 12:40:00"))

    assert (time.trusted, time.at_least_s) == (False, 0)


@given(st.lists(st.tuples(st.integers(5, 900), st.booleans()), min_size=1, max_size=8), st.booleans())
def test_no_clock_was_alive_for_longer_than_it_ran(steps: list[tuple[int, bool]], overnight: bool):
    told = a_day_with_a_break().started("T1", "a1", at="11:40:00")
    now = instant("11:40:00")
    for gap_s, rests in steps:
        now += timedelta(seconds=gap_s)
        if rests:
            told = told.paused("T1", at=now).resumed("T1", at=now + timedelta(seconds=gap_s))
            now += timedelta(seconds=gap_s)
    if overnight:
        told = told.day_closed(at="18:00:00").day_opened("2026-06-07").artist_in("a1")
        now = told.booth.last_at or now

    time = one_time(told.stage_done("T1", at=now + timedelta(seconds=5)))

    assert 0 <= time.at_least_s <= time.total_s
    assert time.trusted is not overnight


def test_an_unplanned_break_between_two_portraits_is_no_turnaround():
    told = a_booth().ordered("T1", "T2", "T3", at="09:00").started("T1", "a1", at="09:00").stages_all_done("T1")
    told = told.finished("T1", at="09:10").artist_out("a1", at="09:10:30").artist_in("a1", at="09:20")

    told = told.started("T2", "a1", at="09:21").stages_all_done("T2").finished("T2", at="09:30")
    told = told.started("T3", "a1", at="09:31")

    assert [(one.ticket, one.lag_s) for one in turnarounds(told.booth)] == [("T3", 60.0)]


def test_a_break_that_the_booth_heard_of_late_is_no_turnaround_either():
    told = a_booth().ordered("T1", "T2", at="09:00").started("T1", "a1", at="09:00").stages_all_done("T1")
    told = told.finished("T1", at="09:10").artist_out("a1", at="09:10:30")

    # out of reach: in again at 09:20, begun at 09:21, both written down at 09:25
    told = told.artist_in("a1", at="09:25", ago_s=300).started("T2", "a1", at="09:25", ago_s=240)

    assert turnarounds(told.booth) == ()


def test_a_break_that_is_written_down_after_a_portrait_was_begun_changes_no_turnaround_before_it():
    told = a_booth().ordered("T1", "T2", at="09:00").started("T1", "a1", at="09:00").stages_all_done("T1")
    told = told.finished("T1", at="09:10").started("T2", "a1", at="09:11").stages_all_done("T2")
    known = turnarounds(told.finished("T2", at="09:20").booth)

    told = told.finished("T2", at="09:20").artist_out("a1", at="09:21").artist_in("a1", at="09:22", ago_s=690)

    assert turnarounds(told.booth) == known != ()

"""The hand-worked day of `evening.py`: every number derived beside it, to the second and the cent."""

from __future__ import annotations

import pytest

from portraitq.daybook.attendance import attendances
from portraitq.daybook.days import day_named
from portraitq.daybook.figures import DayFigures, in_hand, of_day
from portraitq.daybook.presence import area_s
from portraitq.daybook.takings import Means
from portraitq.forecast.pace import pace_of
from tests.builders import DAY, Told, a_booth, instant
from tests.daybook.evening import NOW, quay_day
from tests.forecast.test_pace import draw


def figures_of(told: Told, now=NOW, day: str = DAY) -> DayFigures:
    found = day_named(told.booth, day)
    assert found is not None
    return of_day(told.booth, found, attendances(told.events), now, pace_of(told.booth))


@pytest.fixture(scope="module")
def day() -> DayFigures:
    return figures_of(quay_day())


def test_portraits_are_counted_where_they_stand_at_the_end_of_the_day(day: DayFigures):
    assert day.behind["ordered"] == ("T1", "T2", "T3", "T4", "T5", "T6", "T7")
    assert day.behind["finished"] == ("T1", "T2", "T3", "T4", "T6")
    assert day.behind["collected"] == ("T1", "T2", "T3")
    assert day.behind["on-rack"] == ("T4", "T6")
    assert day.behind["carried"] == ("T7",)
    assert day.behind["cancelled"] == ("T5",)
    assert len(day.walked_away) == 1


def test_the_hours_of_an_artist_add_up_without_gap_or_overlap(day: DayFigures):
    a1, a2 = day.hours

    # a1 is in from 09:00 to the closing at 18:00: 9 h
    assert a1.total_s == 9 * 3600
    # T1 4:30 + 5:30, T3 20:00, T4 7:02, T6 3:00 + 7:00
    assert a1.drawing_s == 270 + 330 + 1200 + 422 + 180 + 420
    assert a1.paused_s == {"counter": 60}
    # 12:00–12:30, in which T6 was back in the queue
    assert a1.break_s == 1800
    # T1→T3 09:16:30–09:18:00; T4 from its order 10:00–10:01; T6 from its order 11:50–11:55; T6 again 11:58–12:00 and,
    # after the break, 12:30–12:35
    assert a1.turnaround_s == 90 + 60 + 300 + 120 + 300
    assert a1.idle_s == 32400 - 2822 - 60 - 1800 - 870
    # a2 is in from 09:10 to 12:00; T2 09:12–09:31 and 09:40:30–09:42:10, the pause between them 9:30
    assert (a2.total_s, a2.drawing_s, a2.paused_s) == (10200, 1140 + 100, {"sitter": 570})
    assert (a2.break_s, a2.turnaround_s, a2.idle_s) == (0, 0, 10200 - 1240 - 570)


def test_promises_are_judged_by_the_first_time_told(day: DayFigures):
    promises = day.promises

    assert day.behind["promise-kept"] == ("T1", "T3", "T4")
    assert day.behind["promise-late"] == ("T2", "T6")
    assert day.behind["promise-set-aside"] == ("T5",)  # cancelled 10:20, promised for 10:30
    assert day.behind["promise-open"] == ("T7",)  # promised for 18:30, asked at 18:05
    assert promises.kept is not None
    assert (promises.kept.hits, promises.kept.n) == (3, 5)
    assert promises.median_early_s == 810  # of 13:30, 42:00 and 6:58
    assert promises.worst_late_s == 32 * 60  # T6: 12:42 for 12:10


def test_a_promise_told_anew_is_shown_apart(day: DayFigures):
    last = day.promises.kept_by_the_last

    assert day.behind["promise-moved"] == ("T6",)
    assert last is not None
    assert (last.hits, last.n) == (4, 5)  # T6 was ready at 12:42, told 12:45 the second time


def test_a_promise_that_passed_without_the_portrait_is_not_kept():
    later = figures_of(quay_day(), now=instant("18:31"))

    assert later.behind["promise-unfinished"] == ("T7",)
    assert later.promises.kept is not None
    assert (later.promises.kept.hits, later.promises.kept.n) == (3, 6)


def test_takings_are_counted_to_the_cent_by_means_of_payment(day: DayFigures):
    takings = day.takings

    assert takings.means == (
        Means("cash", 1800 + 3600, 600),
        Means("card", 3000 + 1800, 0),
        Means("other", 500, 0),
    )
    assert takings.net == 10100
    assert takings.average == 2020  # of T1, T2, T3, T5 and T6
    assert takings.to_come == 1800 + 3600  # T4 on the rack, T7 in the queue; what T3 got back is not due again
    assert takings.to_return == 500  # T5


def test_stages_are_measured_without_pauses_and_for_one_sitter(day: DayFigures):
    found = {(one.style, one.stage.id): one for one in day.stages.stages}

    layout, likeness, finish = (found["ink-head", stage].measured for stage in ("layout", "likeness", "finish"))
    assert layout is not None
    assert likeness is not None
    assert finish is not None
    # layout: T1 2:00; T2 4:00 for two; T6 2:00. likeness: T1 7:00 less 1:00; T2 14:00 for two; T6 1:00 + 5:00.
    # finish, once for all sitters: T1 2:00; T2 12:10 less 9:30; T6 2:00
    assert (layout.n, layout.median_s, layout.longest_s) == (3, 120, 120)
    assert (likeness.n, likeness.median_s, likeness.longest_s) == (3, 360, 420)
    assert (finish.n, finish.median_s) == (3, 120)
    assert finish.p90_s == pytest.approx(120 + 0.8 * (160 - 120))  # type 7: place 0.9 · 2 = 1.8
    assert found["ink-head", "layout"].against_guess == pytest.approx(0.2)  # 120 s against 100 s
    assert [found["chalk-half", stage].measured.median_s for stage in ("block-in", "tone")] == [300, 900]


def test_stages_tapped_together_are_set_aside_as_one_sum(day: DayFigures):
    (aside,) = day.stages.set_aside

    assert (aside.time.ticket, aside.time.total_s) == ("T4", 7 * 60 + 2)
    assert "sum" in aside.why
    assert [one.set_aside for one in day.stages.stages if one.style == "ink-head"] == [1, 1, 1]


def test_a_clock_that_ran_on_is_in_no_figure_of_its_stage():
    told = quay_day().day_opened("2026-06-07", a1=("12:00", "12:45")).artist_in("a1", at=instant("09:00", "2026-06-07"))
    for number in range(8):
        told = draw(told, f"N{number}", 100, 380, 110)
    told = told.ordered("N9", at="11:50").started("N9", "a1", at="11:50")
    told = told.taps("layout 11:52:00", "likeness 12:50:00", "finish 12:52:00").finished("N9", at="12:52:00")

    day = figures_of(told, now=instant("13:00", "2026-06-07"), day="2026-06-07")

    likeness = next(one for one in day.stages.stages if one.stage.id == "likeness")
    assert [one.time.ticket for one in day.stages.set_aside] == ["N9"]
    assert (likeness.tickets, likeness.set_aside) == (tuple(f"N{number}" for number in range(8)), 1)
    assert likeness.measured is not None
    assert likeness.measured.longest_s == 380


def test_flow_and_waiting_times_come_from_the_order(day: DayFigures):
    assert day.flow is not None
    assert day.waiting is not None
    # flow: T1 11:30, T2 36:10, T3 23:00, T4 8:02, T6 52:00
    assert (day.flow.n, day.flow.median_s, day.flow.longest_s) == (5, 1380, 3120)
    assert day.flow.p90_s == pytest.approx(2170 + 0.6 * (3120 - 2170))
    # waiting: 30, 360, 180, 60, 300
    assert (day.waiting.n, day.waiting.median_s) == (5, 180)


def test_only_a_turnaround_with_somebody_waiting_is_measured(day: DayFigures):
    assert day.turnarounds is not None
    assert (day.turnarounds.n, day.turnarounds.median_s) == (1, 90)  # T3 after T1


def test_the_area_under_those_in_hand_is_the_sum_of_the_flow_times(day: DayFigures):
    # Little's law, Operations Research 9 (1961), 383–387. T5 was in hand 10 min until it was cancelled, T7 since 17:50
    flow_s = 690 + 2170 + 1380 + 482 + 3120 + 600 + 15 * 60

    steps = in_hand(day, instant("09:00"), NOW)

    assert area_s(steps, NOW) == pytest.approx(flow_s, abs=1e-6)


def test_a_portrait_carried_over_counts_on_both_days_and_its_night_in_neither_ones_flow_time():
    told = quay_day().day_opened("2026-06-07", opens="10:00").artist_in("a1", at=instant("10:00", "2026-06-07"))
    told = told.started("T7", "a1", at=instant("10:05", "2026-06-07"))
    told = told.stage_done("T7", at=instant("10:10", "2026-06-07")).stage_done("T7", at=instant("10:25", "2026-06-07"))
    told = told.finished("T7", at=instant("10:25", "2026-06-07"))
    now = instant("11:00", "2026-06-07")

    first, second = figures_of(told, now), figures_of(told, now, "2026-06-07")

    assert first.behind["carried"] == ("T7",)
    assert first.behind["promise-late"] == ("T2", "T6", "T7")
    assert (second.behind["ordered"], second.behind["finished"], second.flow) == ((), ("T7",), None)
    assert second.behind["on-rack"] == ("T4", "T6", "T7")
    assert [one.artist for one in second.hours] == ["a1"]
    assert second.hours[0].drawing_s == 20 * 60


def test_an_order_that_reached_the_booth_a_day_late_is_not_carried_over_to_the_day_of_its_number():
    evening = Told().set_up(at="08:00").day_opened().day_closed(at="18:00")
    morning = evening.day_opened("2026-06-07").ordered("T1", at=instant("09:30", "2026-06-07"), ago_s=16 * 3600)

    first, second = (figures_of(morning, instant("10:00", "2026-06-07"), day) for day in (DAY, "2026-06-07"))

    assert (first.behind["ordered"], first.behind["carried"]) == ((), ())
    assert (second.behind["ordered"], second.behind["carried"]) == (("T1",), ("T1",))


def test_a_clock_left_running_overnight_counts_only_while_its_artist_was_in():
    told = quay_day().day_opened("2026-06-07", opens="10:00").artist_in("a1", at=instant("10:00", "2026-06-07"))
    told = told.started("T7", "a1", at=instant("17:00", "2026-06-07")).day_closed(at=instant("18:00", "2026-06-07"))
    told = told.day_opened("2026-06-08", opens="10:00").artist_in("a1", at=instant("10:30", "2026-06-08"))
    told = told.stage_done("T7", at=instant("10:45", "2026-06-08"))
    now = instant("11:00", "2026-06-08")

    evening, morning = figures_of(told, now, "2026-06-07"), figures_of(told, now, "2026-06-08")

    assert evening.hours[0].drawing_s == 3600
    assert morning.hours[0].drawing_s == 30 * 60
    assert [one.why for one in morning.stages.set_aside] == ["the clock ran on over the night"]


def test_a_day_without_a_single_order_has_figures_too():
    empty = figures_of(Told().set_up(at="08:00").day_opened(), now=instant("09:30"))

    assert empty.lines == ()
    assert empty.flow is None
    assert empty.promises.kept is None
    assert empty.takings.average is None
    assert empty.hours == ()


def test_a_touch_up_by_another_does_not_change_who_drew_it():
    told = a_booth().ordered("T1", "T2").started("T1", "a1").drawn("T1").touched_up("T1", "a2").finished("T1")

    drawn, waiting = figures_of(told).lines

    assert (drawn.drawn_by, waiting.drawn_by) == ("a1", "")

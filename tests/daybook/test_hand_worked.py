"""The Saturday of `hand_worked.py`: every figure of the day book, derived beside it, to the second and the cent."""

from __future__ import annotations

import pytest

from portraitq.daybook.attendance import attendances
from portraitq.daybook.by_day import by_day
from portraitq.daybook.by_hour import HourFigures
from portraitq.daybook.days import days_of
from portraitq.daybook.figures import DayFigures, in_hand, of_day
from portraitq.daybook.past import Past, times_of
from portraitq.daybook.presence import area_s
from portraitq.daybook.promises import MARGINS
from portraitq.daybook.quantiles import Spread
from portraitq.daybook.stages import StageFigures
from portraitq.daybook.takings import Means, Tip
from portraitq.forecast.pace import pace_of
from tests.builders import instant
from tests.daybook.hand_worked import NOW, friday_and_saturday

FIRST, SECOND = "a1", "a2"


@pytest.fixture(scope="module")
def days() -> tuple[DayFigures, DayFigures]:
    """Friday's and Saturday's figures, as the day book makes them: each with the days before it."""
    told = friday_and_saturday()
    pace, both = pace_of(told.booth), days_of(told.booth)
    among = by_day(told.booth, both)
    past = Past((times_of(both[0], among.of(both[0]), told.booth.days, pace),))
    here = attendances(told.events)
    friday = of_day(told.booth, both[0], here, NOW, pace, among)
    return friday, of_day(told.booth, both[1], here, NOW, pace, among, past)


@pytest.fixture(scope="module")
def day(days: tuple[DayFigures, DayFigures]) -> DayFigures:
    return days[1]


def test_what_was_done(day: DayFigures):
    # Y2 was ordered on Friday; Y1 was over then and is no business of Saturday
    assert [line.ticket.id for line in day.lines] == ["Y2", "T1", "T2", "T3", "T4", "T5", "T6", "T7", "T8"]
    assert day.behind["ordered"] == ("T1", "T2", "T3", "T4", "T5", "T6", "T7", "T8")
    assert day.behind["finished"] == ("Y2", "T1", "T2", "T3", "T4", "T7")
    assert day.behind["collected"] == ("Y2", "T1", "T2", "T3", "T7")  # T2 once, though it came back for a touch-up
    assert day.behind["on-rack"] == ("T4",)
    assert day.behind["carried"] == ("T8",)
    assert day.behind["cancelled"] == ("T5", "T6")
    assert len(day.walked_away) == 2


def test_where_the_hours_of_the_first_easel_went(day: DayFigures):
    a1 = day.hours[0]

    assert a1.total_s == 18000  # in 09:00, closed 14:00: 5 h
    # Y2 09:00–09:12 (its clock ran all night, but a1 came at 09:00) 12:00; T1 09:13:30–09:17 3:30, 09:18:30–09:26 7:30;
    # T3 09:27–09:52 25:00; T4 10:10–10:20:02 10:02; T7 11:50–12:00 10:00, 12:30–12:33 3:00
    assert a1.drawing_s == 720 + 210 + 450 + 1500 + 602 + 600 + 180 == 4262
    assert a1.touch_up_s == 0
    assert a1.paused_s == {"counter": 90}  # T1 09:17:00–09:18:30
    assert a1.break_s == 1800  # T7 paused for it, 12:00–12:30; the planned one is the same half hour
    # T1 09:12–09:13:30; T3 09:26–09:27; T4, which waited since 09:40, 09:52–10:10; T7 from its order 11:30–11:50
    assert a1.turnaround_s == 90 + 60 + 1080 + 1200 == 2430
    assert a1.idle_s == 4198 + 5220  # 10:20:02–11:30 and 12:33–14:00
    assert a1.total_s == 4262 + 90 + 1800 + 2430 + 9418
    assert a1.utilisation == 4262 / 18000
    assert a1.tickets == {
        "drawing": ("Y2", "T1", "T3", "T4", "T7"),
        "counter": ("T1",),
        "break": ("T7",),
        "turnaround": ("T1", "T3", "T4", "T7"),
    }


def test_where_the_hours_of_the_second_easel_went(day: DayFigures):
    a2 = day.hours[1]

    assert a2.total_s == 12600  # 09:30–13:00
    assert a2.drawing_s == 540 + 600 + 1140  # T2 09:31–09:40, 09:44–09:54; T6 10:26–10:45
    assert a2.touch_up_s == 240  # T2 10:20–10:24
    assert a2.paused_s == {"supplies": 240}  # T2 09:40–09:44
    assert (a2.break_s, a2.turnaround_s) == (0, 120)  # T6 waited since 10:05: 10:24–10:26
    assert a2.idle_s == 60 + 1560 + 8100  # 09:30–09:31, 09:54–10:20, 10:45–13:00
    assert a2.total_s == 2280 + 240 + 240 + 120 + 9720
    assert day.behind["easel-a2.touch-up"] == ("T2",)
    assert day.behind["easels.drawing"] == ("Y2", "T1", "T3", "T4", "T7", "T2", "T6")


def test_turnarounds_are_measured_where_the_next_one_waited_all_the_while(day: DayFigures):
    # T1 1:30, T3 1:00, T4 18:00, T6 2:00; T7 came when a1 was free already
    assert day.behind["turnaround"] == ("T1", "T3", "T4", "T6")
    assert day.turnarounds is not None
    assert (day.turnarounds.n, day.turnarounds.median_s) == (4, (90 + 120) / 2)


def test_whether_the_word_was_kept(day: DayFigures):
    promises = day.promises

    # early: T1 ready 09:26 for 09:30, T3 09:52 for 10:10, T7 12:33 for 12:40; late: T2 09:54 for 09:50, T4 10:20:02 for
    # 10:00; T5 was cancelled 10:15 before 10:20, T6 10:45 after 10:30; T8 is promised for 14:30 and it is 14:05
    assert {word.ticket: (word.outcome, word.early_s) for word in promises.words} == {
        "T1": ("kept", 240),
        "T2": ("late", -240),
        "T3": ("kept", 1080),
        "T4": ("late", -1202),
        "T5": ("set aside", None),
        "T6": ("unfinished", None),
        "T7": ("kept", 420),
        "T8": ("open", None),
    }
    assert promises.kept is not None
    assert (promises.kept.hits, promises.kept.n) == (3, 6)
    assert promises.early == Spread(3, 240 + 0.2 * 180, 420, pytest.approx(420 + 0.8 * 660), 1080)
    assert promises.late == Spread(2, pytest.approx(240 + 0.1 * 962), 721, pytest.approx(240 + 0.9 * 962), 1202)
    assert [day.behind[f"promise-{margin}"] for margin in MARGINS] == [
        ("T4",),  # late by more than 15 min
        (),
        ("T2",),  # by up to 5 min
        ("T1",),  # early by up to 5 min
        ("T7",),
        ("T3",),  # by more than 15 min
    ]


def test_a_promise_that_was_moved_is_judged_by_both(day: DayFigures):
    assert day.behind["promise-moved"] == ("T4",)  # told 10:00, then at 09:58 told 10:40
    assert day.promises.kept_by_the_last is not None
    assert (day.promises.kept_by_the_last.hits, day.promises.kept_by_the_last.n) == (4, 6)


def test_what_came_in(day: DayFigures):
    takings = day.takings

    assert takings.means == (
        Means("cash", 2000 + 1800 + 3600, 600),  # T1, T6, T3; T3 got 6.00 back
        Means("card", 3000 + 1800, 100),  # T2, T7; Y2 got 1.00 back
        Means("other", 500, 500),  # T5, all of it back
    )
    assert takings.net == 6800 + 4700 + 0 == 11500
    assert takings.refunded == 1200
    assert takings.paid_for == ("T1", "T2", "T3", "T6", "T7")
    assert takings.average == 11500 / 5
    # 115.00 in 4262 + 2280 + 240 s of drawing: 115 · 3600 / 6782 = 61.0439…
    assert day.drawn_s == 6782
    assert day.per_drawing_hour == 6104
    assert takings.to_come == 1800 + 1800  # T4 on the rack, T8 in the queue; what T3 got back was a gift
    assert takings.to_return == 1800  # T6


def test_tips_count_on_the_day_on_which_they_came_and_went(days: tuple[DayFigures, DayFigures]):
    friday, saturday = days

    # Y2 paid 20.00 for 18.00 on Friday and got 1.00 of it back on Saturday; T1 paid 20.00 for 18.00; T6 is cancelled
    assert friday.takings.tips == (Tip("Y2", 200),)
    assert saturday.takings.tips == (Tip("Y2", -100), Tip("T1", 200))
    assert saturday.behind["tipped"] == ("Y2", "T1")
    assert (friday.takings.tipped, saturday.takings.tipped) == (200, 100)


def test_how_long_it_took_from_the_order(day: DayFigures):
    # flow: T1 09:05–09:26, T2 09:20–09:54, T3 09:25–09:52, T4 09:40–10:20:02, T7 11:30–12:33; not Y2, ordered on Friday
    assert day.flow == Spread(5, pytest.approx(1260 + 0.4 * 360), 2040, pytest.approx(2402 + 0.6 * 1378), 3780)
    # waiting: T1 8:30, T2 11:00, T3 2:00, T4 30:00, T6 21:00, T7 20:00
    assert day.waiting is not None
    assert (day.waiting.n, day.waiting.median_s, day.waiting.longest_s) == (6, (660 + 1200) / 2, 1800)


def test_how_long_it_took_by_the_hour_of_the_order(day: DayFigures):
    # the booth's clock is an hour ahead: 10 h, 11 h, 12 h, nobody at 13 h, 14 h
    def short(one: HourFigures):
        waiting, flow = one.waiting, one.flow
        return one.tickets, waiting and (waiting.n, waiting.median_s), flow and (flow.n, flow.median_s)

    assert [one.begins_at for one in day.by_hour] == [instant(f"{hour:02d}:00") for hour in (9, 10, 11, 12, 13)]
    assert [short(one) for one in day.by_hour] == [
        # waiting 510, 660, 120, 1800; flow 1260, 2040, 1620, 2402; T5 was cancelled before either
        (("T1", "T2", "T3", "T4", "T5"), (4, (510 + 660) / 2), (4, (1620 + 2040) / 2)),
        (("T6",), (1, 1260), None),
        (("T7",), (1, 1200), (1, 3780)),
        ((), None, None),
        (("T8",), None, None),
    ]
    assert day.behind["hour-06T10"] == ("T1", "T2", "T3", "T4", "T5")


def found(day: DayFigures, style: str, stage: str) -> StageFigures:
    return next(one for one in day.stages.stages if (one.style, one.stage.id) == (style, stage))


def test_how_long_the_stages_took_against_the_guess_and_the_past(day: DayFigures):
    layout, likeness, finish = (found(day, "ink-head", stage) for stage in ("layout", "likeness", "finish"))

    # layout, for one sitter: T1 1:30, T2 4:00 for two, T6 2:00, T7 2:00
    assert layout.measured == Spread(4, pytest.approx(99), 120, 120, 120)
    assert layout.against_guess == pytest.approx(0.2)  # guessed 1:40
    # likeness: Y2 6:20; T1 9:00 less 1:30 at the counter, the tap at 09:22 taken back; T2 17:00 less 4:00, for two;
    # T7 39:00 less the break of 30:00
    assert likeness.measured is not None
    assert (likeness.measured.n, likeness.measured.median_s, likeness.measured.longest_s) == (4, (390 + 450) / 2, 540)
    assert finish.measured == Spread(4, 120, 120, 120, 120)  # once for all sitters
    assert found(day, "chalk-half", "block-in").measured == Spread(1, 300, 300, 300, 300)
    assert found(day, "chalk-half", "tone").measured == Spread(1, 1200, 1200, 1200, 1200)
    # on Friday Y1 took 1:30, 6:30 and 2:00; nothing was drawn in chalk
    assert [one.past and one.past.median_s for one in (layout, likeness, finish)] == [90, 390, 120]
    assert likeness.against_past == pytest.approx(420 / 390 - 1)
    assert found(day, "chalk-half", "tone").past is None


def test_each_artist_has_a_row_of_their_own(day: DayFigures):
    hands = {hand.artist: hand for hand in found(day, "ink-head", "likeness").hands}

    assert [(one.ticket, one.time_s) for one in hands[FIRST].times] == [("Y2", 380), ("T1", 450), ("T7", 540)]
    assert [(one.ticket, one.time_s) for one in hands[SECOND].times] == [("T2", 390)]
    assert hands[FIRST].past is not None
    assert (hands[FIRST].past.n, hands[FIRST].past.median_s) == (1, 390)
    assert hands[SECOND].past is None
    assert hands[FIRST].control is None  # three times and one before make no limits
    assert day.behind["hand-ink-head.likeness.a1"] == ("Y2", "T1", "T7")


def test_what_is_set_aside_and_why(day: DayFigures):
    overnight, burst = day.stages.set_aside

    assert (overnight.time.ticket, overnight.time.stages) == ("Y2", ("layout",))
    assert overnight.why == "the clock ran on over the night"
    assert overnight.at_least_s == 600  # 17:50 to the closing at 18:00
    assert (burst.time.ticket, burst.time.stages) == ("T4", ("layout", "likeness", "finish"))
    assert burst.time.total_s == 602
    assert [found(day, "ink-head", stage).set_aside for stage in ("layout", "likeness", "finish")] == [2, 1, 1]


def test_how_far_the_easels_were_used_while_somebody_waited(day: DayFigures):
    pressed = day.pressure

    assert pressed.trading_s == 18000
    # T1 09:05–09:13:30; T2, T3 09:20–09:31; T4, T5, T6 09:40–10:26; T7 11:30–11:50; T8 13:50–14:00
    assert pressed.waited_s == 510 + 660 + 2760 + 1200 + 600 == 5730
    # a1 was in for all of it, a2 for 09:30–09:31, 09:40–10:26 and 11:30–11:50
    assert pressed.easel_s == 5730 + 60 + 2760 + 1200
    # a1: Y2 09:05–09:12, T1 09:20–09:26, T3 09:27–09:31 and 09:40–09:52, T4 10:10–10:20:02
    # a2: T2 09:44–09:54, its touch-up 10:20–10:24
    assert pressed.drawn_s == 420 + 360 + 240 + 720 + 602 + 600 + 240 == 3182
    assert day.behind["pressed"] == ("T1", "T2", "T3", "T4", "T5", "T6", "T7", "T8")


def test_the_queue_was_longest_when_three_waited(day: DayFigures):
    # T4 09:40–10:10, T5 09:50–10:15, T6 10:05–10:26
    assert max(n for _, n in day.queue) == 3
    assert next(at for at, n in day.queue if n == 3) == instant("10:05")


def test_littles_law_gives_the_same_area_from_both_sides(day: DayFigures):
    # Little, Operations Research 9 (1961), 383–387. From 09:00 to 14:05: Y2 12:00, T1 21:00, T2 34:00, T3 27:00,
    # T4 40:02, T5 25:00, T6 40:00, T7 1:03:00, T8 15:00
    flow_s = 720 + 1260 + 2040 + 1620 + 2402 + 1500 + 2400 + 3780 + 900

    assert area_s(in_hand(day, instant("09:00"), NOW), NOW) == flow_s

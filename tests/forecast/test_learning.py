"""One way to read a journal on, for the live booth, the replay and a restart: the same at any pace of reading."""

from __future__ import annotations

from contextlib import suppress
from dataclasses import replace
from datetime import timedelta
from pathlib import Path
from random import Random

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from portraitq.core.booth import Booth, fold
from portraitq.core.errors import Refused
from portraitq.core.events import Event, ThreeGuesses
from portraitq.core.timing import stays
from portraitq.forecast.calibration import Calibration
from portraitq.forecast.learning import QUOTED_BACK, Learned, read_on
from portraitq.forecast.lognormal import LogTime
from portraitq.forecast.pace import Pace, pace_of
from portraitq.forecast.promise import LEVELS, at_levels
from portraitq.forecast.quotes import quotes_out_of
from portraitq.forecast.replay import read_journal, replay
from portraitq.forecast.schedule import Scenarios
from tests.builders import Told, a_booth, a_set_up, artist

JOURNALS = sorted((Path(__file__).parents[1] / "journals").glob("*.jsonl"))
ALONE = a_set_up(artists=[artist("a1", "ink-head", "chalk-half")])


def same_pace(one: Pace, other: Pace) -> bool:
    """Whether both believe the same of the hands and of all the rest."""
    hands = one.hands.keys() == other.hands.keys() and all(
        np.array_equal(one.hands[who].mean, other.hands[who].mean)
        and np.array_equal(one.hands[who].cov, other.hands[who].cov)
        for who in one.hands
    )
    return hands and replace(one, minds=()) == replace(other, minds=())


def in_pieces(events: list[Event], cuts: list[int]) -> Learned:
    learned, ends = Learned(), sorted({min(cut, len(events)) for cut in cuts} | {len(events)})
    for since, until in zip([0, *ends], ends, strict=False):
        learned = read_on(learned, events[since:until])
    return learned


# Reading in pieces


@settings(max_examples=20, deadline=None)
@given(st.data())
def test_read_in_pieces_is_read_at_once(data: st.DataObject):
    events = read_journal(data.draw(st.sampled_from(JOURNALS)))
    cuts = data.draw(st.lists(st.integers(0, len(events)), max_size=8))

    pieces, once = in_pieces(events, cuts), read_on(Learned(), events)

    assert pieces.booth == once.booth
    assert same_pace(pieces.pace, once.pace)
    assert (pieces.last_order is None) == (once.last_order is None)


@pytest.mark.parametrize("journal", JOURNALS, ids=lambda path: path.stem)
def test_read_line_by_line_is_read_at_once(journal: Path):
    events = read_journal(journal)

    lines, once = in_pieces(events, list(range(len(events)))), read_on(Learned(), events)

    assert lines.booth == once.booth
    assert same_pace(lines.pace, once.pace)


OFTEN = (Told.started, Told.stage_done, Told.stages_all_done, Told.finished, Told.collected, Told.touched_up)
SELDOM = (Told.paused, Told.resumed, Told.held, Told.released, Told.cancelled, Told.put_back, Told.stage_undone)


def a_busy_day(chance: Random, lines: int) -> Told:
    """Whatever may happen, as it comes: orders, portraits drawn, paused, held, cancelled, collected and touched up."""
    told = a_booth()
    while len(told.events) < lines:
        at = told.booth.last_at + timedelta(seconds=chance.randint(1, 300))
        known = list(told.booth.tickets)
        if len(told.booth.queue) < 3 and chance.random() < 0.1:
            told = told.ordered(f"T{len(known)}", at=at)
        elif known:
            does = chance.choice((*OFTEN, *OFTEN, *SELDOM))
            with suppress(Refused):
                told = does(told, chance.choice(known), at=at)
        if chance.random() < 0.003:
            told = told.day_closed().day_opened(f"{told.booth.last_at + timedelta(days=1):%Y-%m-%d}")
            told = told.artist_in("a1", "a2")
    return told


@settings(max_examples=25, deadline=None)
@given(st.integers(0, 10_000))
def test_any_day_read_line_by_line_is_read_at_once(seed: int):
    events = list(a_busy_day(Random(seed), 90).events)

    lines, once = in_pieces(events, list(range(len(events)))), read_on(Learned(), events)

    assert lines.booth == once.booth
    assert same_pace(lines.pace, once.pace)


def test_what_settled_first_counts_first_whatever_came_of_it_later():
    told = a_booth().ordered("T1", "T2").started("T1", "a1").started("T2", "a2").drawn("T1").drawn("T2")
    learned = read_on(Learned(), told.ordered("T3").events[:-1])

    later = read_on(Learned(), told.collected("T1").events)

    assert later.pace.calibration == learned.pace.calibration


@settings(max_examples=20, deadline=None)
@given(st.data())
def test_what_was_read_is_what_the_booth_and_its_pace_are_folded_to(data: st.DataObject):
    events = read_journal(data.draw(st.sampled_from(JOURNALS)))
    until = data.draw(st.integers(0, len(events)))

    learned = read_on(Learned(), events[:until])

    booth = fold(Booth(), events[:until])
    bare = replace(learned.pace, calibration=Calibration(), closing=Pace().closing)
    assert learned.booth == booth
    assert same_pace(bare, pace_of(booth))


def test_lines_that_contradict_those_before_are_refused_and_change_nothing():
    told = a_booth().ordered("T1")
    learned = read_on(Learned(), told.events)
    again = told.next_event(told.events[-1].data)

    with pytest.raises(Refused):
        read_on(learned, [again])

    assert learned.booth == told.booth


def test_a_pause_for_a_planned_break_is_none_however_late_it_is_read():
    told = a_booth(ALONE).day_closed(at="10:00").day_opened("2026-06-07", a1=("12:00", "12:30")).artist_in("a1")
    told = told.ordered("T1", at="11:50").started("T1", at="11:55").paused("T1", "break", at="12:00")
    told = told.resumed("T1", at="12:31").drawn("T1", at="12:40").day_closed(at="13:00")
    for day in (8, 9, 10):
        told = told.day_opened(f"2026-06-{day:02d}").day_closed()

    late, line_by_line = read_on(Learned(), told.events), in_pieces(list(told.events), list(range(len(told.events))))

    assert late.pace.lags.met == Pace().lags.met
    assert same_pace(late.pace, line_by_line.pace)


def test_a_changed_guess_of_the_turnaround_starts_it_anew_however_late_it_is_read():
    told = (
        a_booth(ALONE)
        .ordered("T1", "T2")
        .drawn("T1")
        .drawn("T2")
        .set_up(
            a_set_up(artists=[artist("a1", "ink-head")]).model_copy(
                update={"turnaround": ThreeGuesses(quick_s=20, usual_s=35, slow_s=80)}
            )
        )
    )

    late, line_by_line = read_on(Learned(), told.events), in_pieces(list(told.events), list(range(len(told.events))))

    assert late.pace.lags.turnaround == LogTime.guessed(20, 35, 80)
    assert same_pace(late.pace, line_by_line.pace)


# How many quotes are quoted again


@settings(max_examples=20, deadline=None)
@given(st.data())
def test_fewer_orders_quoted_again_give_the_same_booth_and_the_same_hands(data: st.DataObject):
    events = read_journal(data.draw(st.sampled_from(JOURNALS)))
    fewer = data.draw(st.integers(0, 10))

    some, every = read_on(Learned(), events, quoted_back=fewer), read_on(Learned(), events)

    assert some.booth == every.booth
    bare = [replace(each.pace, calibration=Calibration(), closing=Pace().closing) for each in (some, every)]
    assert same_pace(*bare)
    assert some.pace.calibration.settled <= min(fewer, every.pace.calibration.settled)


def test_as_many_orders_as_there_are_quoted_again_are_all():
    events = read_journal(JOURNALS[0])
    orders = sum(event.kind == "ordered" for event in events)

    every = read_on(Learned(), events)

    assert orders < QUOTED_BACK
    assert same_pace(read_on(Learned(), events, quoted_back=orders).pace, every.pace)
    assert same_pace(read_on(Learned(), events, quoted_back=QUOTED_BACK).pace, every.pace)


# What is settled


@pytest.mark.parametrize("journal", JOURNALS, ids=lambda path: path.stem)
def test_every_portrait_that_was_ready_settles_its_quote_once_and_every_other_one_waits(journal: Path):
    learned = read_on(Learned(), read_journal(journal))

    tickets = learned.booth.tickets.values()
    unfinished = {each.id for each in tickets if each.finished_at is None}
    assert learned.pace.calibration.settled == len(tickets) - len(unfinished)
    assert set(learned.pace.calibration.open) == {id for id in unfinished if learned.booth.tickets[id].over_at is None}


def test_a_quote_is_settled_by_the_first_time_it_was_ready_and_not_by_a_touch_up():
    told = a_booth(ALONE).ordered("T1", at="10:00").drawn("T1")
    ready = read_on(Learned(), told.events)

    again = read_on(ready, told.touched_up("T1").finished("T1").events[len(told.events) :])

    assert ready.pace.calibration.settled == 1
    assert again.pace.calibration == ready.pace.calibration


def test_portraits_ready_in_another_order_than_quoted_are_settled_as_they_come():
    told = a_booth().ordered("T1", "T2").started("T2", "a2").drawn("T2").started("T1", "a1")

    learned = read_on(Learned(), told.events)

    assert list(learned.pace.calibration.open) == ["T1"]
    assert learned.pace.calibration.settled == 1


def slow_season(portraits: int) -> Told:
    """One easel at which all take three times as long as was guessed, quoted one by one."""
    told = a_booth(ALONE, closes="23:59")
    for number in range(portraits):
        told = told.ordered(f"T{number}", style="ink-head").started(f"T{number}")
        for stage in told.ticket(f"T{number}").style.stages:
            told = told.stage_done(f"T{number}", at=told.booth.last_at + timedelta(seconds=3 * stage.usual_s))
        told = told.finished(f"T{number}")
    return told


def test_a_booth_slower_than_it_says_is_read_off_higher_from_its_first_quotes_on():
    learned = read_on(Learned(), slow_season(3).events)

    assert learned.pace.calibration.settled == 3
    assert learned.pace.calibration.level(0.8) > 0.8


def test_the_next_order_is_quoted_at_the_corrected_levels():
    told = slow_season(3).ordered("T9")
    learned = read_on(Learned(), told.events)
    assert learned.last_order is not None

    quote = quotes_out_of(learned.last_order, ["T9"])["T9"]

    ready_s = np.sort(Scenarios(told.booth, pace_of(told.booth), told.booth.last_at).outlooks["T9"].ready_s)
    corrected_s = at_levels(ready_s[None, :], np.array([learned.pace.calibration.levels]))[0]
    told_s = [(at - told.booth.last_at).total_seconds() for at in quote.ready_at_quantiles.values()]
    assert told_s == pytest.approx(corrected_s.tolist(), abs=0.01)
    assert learned.pace.calibration.levels != LEVELS


def test_the_quote_of_what_is_being_drawn_is_not_corrected():
    told = slow_season(3).ordered("T9").started("T9")
    learned = read_on(Learned(), told.events)

    scenarios = Scenarios(learned.booth, learned.pace, told.booth.last_at)
    quote = quotes_out_of(scenarios, ["T9"])["T9"]

    median_s = float(np.median(scenarios.outlooks["T9"].ready_s))
    assert (quote.median_at - told.booth.last_at).total_seconds() == pytest.approx(median_s, abs=0.01)


# Nothing ahead of its time


@settings(max_examples=15, deadline=None)
@given(st.data())
def test_nothing_that_comes_later_changes_what_was_learned(data: st.DataObject):
    events = read_journal(data.draw(st.sampled_from(JOURNALS)))
    until = data.draw(st.integers(0, len(events)))
    held_back = read_on(Learned(), events[:until])

    read_on(held_back, events[until:])

    assert same_pace(held_back.pace, read_on(Learned(), events[:until]).pace)
    assert held_back.booth == fold(Booth(), events[:until])


@settings(max_examples=15, deadline=None)
@given(st.data())
def test_a_replay_cut_short_says_what_the_whole_one_says_up_to_there(data: st.DataObject):
    events = read_journal(data.draw(st.sampled_from(JOURNALS)))
    until = data.draw(st.integers(0, len(events)))

    short = [(row.seq, row.quantiles, row.ready_by) for row in replay(events[:until])]

    assert short == [(row.seq, row.quantiles, row.ready_by) for row in replay(events) if row.seq <= until]


def test_a_quote_learns_only_from_portraits_that_were_ready_before_it():
    told = a_booth(ALONE).ordered("T1").ordered("T2")
    learned = read_on(Learned(), told.events)
    before = learned.pace.calibration.open["T2"]

    learned = read_on(learned, told.drawn("T1").events[len(told.events) :])

    assert stays(learned.booth.tickets["T1"])
    assert learned.pace.calibration.open["T2"] == before

"""Whether the booth draws on after closing: by the rule as long as nothing speaks against it, then by what it does."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime, timedelta

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from portraitq.forecast.closing import DRAWS_ON_S, LEAST, Closing
from portraitq.forecast.learning import Learned, read_on
from portraitq.forecast.quotes import quotes_of_tickets
from portraitq.forecast.schedule import Scenarios
from tests.builders import Told, a_booth, a_set_up, artist
from tests.forecast.test_schedule import a_day, ready, sharp_pace

ALONE = a_set_up(artists=[artist("a1", "ink-head", "chalk-half")])
seen_orders = st.lists(st.tuples(st.floats(0.01, 1.0), st.booleans()), max_size=40)


def after(*orders: tuple[float, bool]) -> Closing:
    """After orders of which so much was foreseen to be carried over, and which were or were not."""
    closing = Closing()
    for foreseen, carried_over in orders:
        closing = closing.learned(foreseen, carried_over)
    return closing


# What is learned


def test_before_anything_was_seen_the_rule_of_the_journal_holds():
    assert Closing().draws_on == 0.0


@given(st.lists(st.floats(0.01, 1.0), max_size=40))
def test_as_long_as_all_that_was_foreseen_to_be_carried_over_is_the_rule_holds_exactly(foreseen: list[float]):
    assert after(*((each, True) for each in foreseen)).draws_on == 0.0


def test_a_booth_that_draws_on_again_and_again_is_expected_to():
    draws_on = [after(*[(0.9, False)] * count).draws_on for count in range(1, 12)]

    assert draws_on == sorted(draws_on)
    assert draws_on[-1] > 0.8


def test_one_carried_over_brings_it_down():
    often = [(0.95, False)] * 8

    assert after(*often, (0.95, True)).draws_on < after(*often).draws_on - 0.05


def test_a_portrait_that_would_surely_have_been_begun_in_time_says_nothing():
    assert after(*[(1e-9, False)] * 50).draws_on == 0.0


def test_half_of_them_drawn_on_is_a_chance_of_a_half():
    assert after(*[(1.0, False), (1.0, True)] * 20).draws_on == pytest.approx(0.5, abs=0.05)


@given(seen_orders)
def test_it_is_a_chance_and_none_that_is_small_is_told(orders: list[tuple[float, bool]]):
    draws_on = after(*orders).draws_on

    assert draws_on == 0 or LEAST <= draws_on <= 1


@given(seen_orders, st.randoms(use_true_random=False))
def test_in_which_order_it_was_seen_does_not_matter(orders: list[tuple[float, bool]], chance):
    shuffled = chance.sample(orders, len(orders))

    assert after(*shuffled).likely == pytest.approx(after(*orders).likely)


@given(seen_orders, st.floats(0.05, 1.0))
def test_one_more_drawn_on_never_lowers_it_and_one_more_carried_over_never_raises_it(orders, foreseen: float):
    known = after(*orders)

    margin = 1e-9
    assert known.learned(foreseen, carried_over=False).draws_on >= known.draws_on - margin
    assert known.learned(foreseen, carried_over=True).draws_on <= known.draws_on + margin


# What is quoted


def evening() -> Told:
    """Two minutes before closing, two chalk portraits of 200 s before one easel."""
    return a_day(closes="09:32").artist_in("a1").ordered("T1", "T2", style="chalk", at="09:30:00")


def test_a_new_booth_quotes_a_queue_past_closing_for_the_next_opening():
    assert ready(evening(), "09:30:00") == {"T1": "06 09:33:20", "T2": "07 09:03:20"}


def test_a_booth_that_draws_on_quotes_it_for_the_same_evening():
    always = replace(sharp_pace(), closing=after(*[(0.99, False)] * 40))

    assert ready(evening(), "09:30:00", always) == {"T1": "06 09:33:20", "T2": "06 09:36:40"}


def test_it_is_quoted_for_that_evening_in_as_many_scenarios_as_the_booth_draws_on():
    pace = replace(sharp_pace(), closing=after(*[(1.0, False), (1.0, True)] * 20))

    found = Scenarios(evening().booth, pace, evening().at("09:30:00"), n=1000).outlooks["T2"]

    assert np.mean(found.ready_s < 3600) == pytest.approx(pace.closing.draws_on, abs=0.002)


def test_nobody_draws_on_all_night():
    always = replace(sharp_pace(), closing=after(*[(0.99, False)] * 40))
    told = a_day(closes="09:32").artist_in("a1").ordered(*(f"T{n}" for n in range(60)), style="chalk", at="09:30:00")

    found = Scenarios(told.booth, always, told.at("09:30:00"), n=50).outlooks

    latest = (told.at("09:32:00") - told.at("09:30:00")).total_seconds() + DRAWS_ON_S + 201
    tonight = [float(each.ready_s.max()) for each in found.values() if each.ready_s.max() < 12 * 3600]
    assert len(tonight) == 28, "one begins every 200 s until an hour and a half after closing"
    assert max(tonight) < latest


# What a journal teaches


def season(days: int, draws_on: bool) -> Told:
    """Days on which five heads are ordered three minutes before closing; their booth draws on, or begins none then."""
    told = a_booth(ALONE)
    for day in range(days):
        if day:
            told = told.day_opened(f"2026-06-{6 + day:02d}").artist_in("a1")
            for id in told.booth.queue:
                told = drawn(told, id, told.booth.last_at + timedelta(seconds=60))
        ids = [f"D{day}-{number}" for number in range(5)]
        told = told.ordered(*ids, at="17:57")
        for id in ids if draws_on else ids[:1]:
            told = drawn(told, id, max(told.booth.last_at, told.at("17:57")) + timedelta(seconds=40))
        told = told.day_closed(at=max(told.booth.last_at, told.at("18:00")))
    return told


def drawn(told: Told, id: str, at: datetime) -> Told:
    told = told.started(id, at=at)
    for stage in told.ticket(id).style.stages:
        at += timedelta(seconds=stage.usual_s)
        told = told.stage_done(id, at=at)
    return told.finished(id, at=at)


def quoted_at_closing(told: Told) -> tuple[float, datetime]:
    """On another such evening: the chance that the booth draws on, and when the fourth of the queue is ready."""
    told = told.day_opened("2026-06-16").artist_in("a1").ordered("Q1", "Q2", "Q3", "Q4", at="17:57")
    learned = read_on(Learned(), told.events)
    quote = quotes_of_tickets(learned.booth, learned.pace, told.booth.last_at, ["Q4"])["Q4"]
    return learned.pace.closing.draws_on, quote.median_at


def test_a_journal_of_evenings_drawn_on_teaches_that_the_booth_does():
    draws_on, ready_at = quoted_at_closing(season(4, draws_on=True))

    assert draws_on > 0.8
    assert f"{ready_at:%d}" == "16"


def test_a_journal_of_evenings_that_end_at_closing_leaves_the_rule():
    told = season(4, draws_on=False)
    queue = told.booth.queue
    for id in queue:
        told = told.cancelled(id)

    draws_on, ready_at = quoted_at_closing(told)

    assert draws_on == 0.0
    assert f"{ready_at:%d}" == "17"


def test_a_portrait_cancelled_before_it_was_begun_says_nothing_of_closing():
    told = a_booth(ALONE).ordered(*(f"T{n}" for n in range(9)), at="17:57")
    for n in range(9):
        told = told.cancelled(f"T{n}")

    assert read_on(Learned(), told.events).pace.closing == Closing()

"""What a move would do, before it is made; and which order is worth suggesting."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from itertools import combinations
from random import Random

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from portraitq.core.booth import Booth
from portraitq.core.errors import Refused
from portraitq.core.events import Moved
from portraitq.core.life import HELD
from portraitq.core.passed_over import passed_over
from portraitq.forecast.interruptions import Lags
from portraitq.forecast.lognormal import LogTime
from portraitq.forecast.pace import Pace, known_exactly, pace_of
from portraitq.forecast.quotes import forecast
from portraitq.forecast.schedule import Scenarios
from portraitq.forecast.sequence import (
    EARLIEST_DUE,
    FEW_MOVES,
    MOST_MOVES,
    WORTH_A_HAND,
    Effect,
    Orders,
    Suggestion,
    effect_of_move,
    effects_of_moves,
    moves_to,
    suggest,
)
from tests.builders import CHALK, INK_HEAD, Told, a_booth, a_set_up, artist
from tests.forecast.test_schedule import a_style, set_up

ONE = a_set_up([INK_HEAD, CHALK], [artist("a1", "ink-head", "chalk-half")])
TWO = a_set_up()
CLEAR = [a_style("ink-head", (590, 0.0)), a_style("chalk-half", (1200, 0.0))]
ONE_CLEAR = set_up(CLEAR, [artist("a1", "ink-head", "chalk-half")])
TWO_CLEAR = set_up(CLEAR, [artist("a1", "ink-head", "chalk-half"), artist("a2", "ink-head")])
SHARP = known_exactly(lags=Lags(turnaround=LogTime.exactly(70, 0.01), idle=None, met=0, unsaid_met=0))


def a_trade(seed: int) -> tuple[Told, Pace]:
    """A booth in trade by chance: easels idle or busy, held, put back, carried-over and untold tickets in its queue."""
    chance = Random(seed)
    told = a_booth(chance.choice([ONE, TWO])).ordered("T0", at="09:05").started("T0", at="09:06")
    if chance.random() < 0.3:
        told = told.drawn("T0")
    for number in range(1, chance.randint(3, 7)):
        asked = chance.choice([None, None, "a1"])
        told = told.ordered(f"T{number}", style=chance.choice(["ink-head", "ink-head", "chalk-half"]), artist=asked)
    if chance.random() < 0.2:
        told = told.cancelled("T0") if "T0" in told.booth.easels.values() else told
        told = told.started("T1", artist="a1").put_back("T1") if "a1" not in told.booth.easels else told
    for id in told.booth.queue:
        if chance.random() < 0.8:
            told = told.promised(id, told.at() + timedelta(minutes=chance.choice([5, 15, 25, 40, 60])), at=told.at())
        if chance.random() < 0.15 and told.ticket(id).place != HELD:
            told = told.held(id)
    return told, pace_of(told.booth)


def a_move(seed: int, booth: Booth) -> Moved:
    chance = Random(seed)
    ticket = chance.choice(booth.queue)
    return Moved(ticket=ticket, before=chance.choice([None, *(id for id in booth.queue if id != ticket)]))


seeds = st.integers(0, 10_000)


# An effect is what then comes to pass


@settings(max_examples=15)
@given(seeds, seeds)
def test_what_is_said_before_the_move_is_what_the_forecast_says_after_it(seed: int, other: int):
    told, pace = a_trade(seed)
    now, move = told.at(), a_move(other, told.booth)

    effect = effect_of_move(told.booth, pace, now, move.ticket, move.before)
    moved = told.says(move, at=now)
    before, after = (forecast(booth, pace, now) for booth in (told.booth, moved.booth))

    assert effect.order == moved.booth.queue
    for change in effect.changes:
        quotes = [each.tickets[change.ticket] for each in (before, after)]
        assert [change.before.chance_kept, change.after.chance_kept] == [quote.chance_kept for quote in quotes]
        assert change.later_s == pytest.approx((quotes[1].median_at - quotes[0].median_at).total_seconds(), abs=1e-5)
    touched = {change.ticket for change in effect.changes}
    for id in judged(told.booth, before.tickets.keys()) - touched:
        assert before.tickets[id].ready_at_quantiles == after.tickets[id].ready_at_quantiles
    assert effect.before == Orders(told.booth, pace, now).totals
    assert effect.after == Orders(moved.booth, pace, now).totals
    told_of = [after.tickets[id].chance_kept for id in judged(told.booth, after.tickets.keys())]
    assert effect.after.broken == pytest.approx(sum(1 - chance for chance in told_of if chance is not None))


def judged(booth: Booth, ids: set[str]) -> set[str]:
    return {id for id in ids if booth.tickets[id].place != HELD}


@settings(max_examples=15)
@given(seeds, seeds)
def test_scenarios_of_another_order_are_to_the_bit_those_of_a_booth_in_that_order(seed: int, other: int):
    told, pace = a_trade(seed)
    moved = told.says(a_move(other, told.booth), at=told.at()).booth

    shared = Scenarios(told.booth, pace, told.at(), 64).reordered(moved)
    anew = Scenarios(moved, pace, told.at(), 64)

    assert shared.outlooks.keys() == anew.outlooks.keys()
    for id, one in anew.outlooks.items():
        two = shared.outlooks[id]
        assert np.array_equal(one.ready_s, two.ready_s), id
        assert np.array_equal(one.begins_s, two.begins_s), id
        assert (one.artist, one.ahead) == (two.artist, two.ahead)
    assert shared.is_here == anew.is_here
    assert np.array_equal(shared.easels.free_s, anew.easels.free_s)


def test_an_artist_not_in_yet_is_called_in_for_another_order_as_well():
    told = a_booth(a_set_up(artists=[artist("a1", "ink-head"), artist("a2", "chalk-half")]))
    told = told.artist_out("a2").ordered("T1").ordered("T2", style="chalk-half").ordered("T3", "T4")
    moved = told.says(Moved(ticket="T4", before="T2"), at=told.at()).booth
    pace = pace_of(told.booth)

    shared = Scenarios(told.booth, pace, told.at(), 64).reordered(moved)
    anew = Scenarios(moved, pace, told.at(), 64)

    assert all(np.array_equal(shared.outlooks[id].ready_s, anew.outlooks[id].ready_s) for id in moved.queue)


@settings(max_examples=10)
@given(seeds, seeds)
def test_moving_and_moving_back_does_nothing(seed: int, other: int):
    told, pace = a_trade(seed)
    move, queue = a_move(other, told.booth), told.booth.queue
    behind = queue.index(move.ticket) + 1
    back = Moved(ticket=move.ticket, before=queue[behind] if behind < len(queue) else None)

    assert is_nothing(Orders(told.booth, pace, told.at()).of_moves([move, back]), queue)


@pytest.mark.parametrize("seed", range(3))
def test_no_move_does_nothing(seed: int):
    told, pace = a_trade(seed)
    orders = Orders(told.booth, pace, told.at())

    assert is_nothing(orders.of_moves([]), told.booth.queue)
    assert is_nothing(orders.of_order(told.booth.queue), told.booth.queue)


def is_nothing(effect: Effect, queue: tuple[str, ...]) -> bool:
    return (effect.order, effect.changes, effect.fewer_broken, effect.error) == (queue, (), 0.0, 0.0)


def test_the_booth_itself_is_not_touched():
    told, pace = a_trade(4)
    before = replace(told.booth)

    effects_of_moves(told.booth, pace, told.at(), told.booth.queue[-1])

    assert told.booth == before


def test_every_other_place_in_the_queue_is_asked_of_once():
    told = a_booth(ONE).ordered("T1", "T2", "T3", "T4")
    pace = pace_of(told.booth)

    orders = {
        id: [effect.order for effect in effects_of_moves(told.booth, pace, told.at(), id).values()]
        for id in ("T1", "T3", "T4")
    }

    assert orders == {
        "T1": [("T2", "T1", "T3", "T4"), ("T2", "T3", "T1", "T4"), ("T2", "T3", "T4", "T1")],
        "T3": [("T3", "T1", "T2", "T4"), ("T1", "T3", "T2", "T4"), ("T1", "T2", "T4", "T3")],
        "T4": [("T4", "T1", "T2", "T3"), ("T1", "T4", "T2", "T3"), ("T1", "T2", "T4", "T3")],
    }


def test_who_is_put_first_comes_sooner_and_those_behind_later_by_its_drawing():
    told = a_booth(ONE_CLEAR).ordered("T0").started("T0").ordered("T1", "T2", "T3")

    effect = effect_of_move(told.booth, SHARP, told.at(), "T3", "T1")

    later_s = {change.ticket: change.later_s for change in effect.changes}
    assert later_s["T3"] == pytest.approx(-2 * (590 + 70), rel=0.01)
    assert later_s["T1"] == pytest.approx(590 + 70, rel=0.01)
    assert later_s["T2"] == pytest.approx(590 + 70, rel=0.01)


def test_expected_lateness_is_counted_from_the_promise():
    told = a_booth(ONE_CLEAR).ordered("T1", "T2", at="09:00").promised("T1", "09:05", at="09:00")

    effect = effect_of_move(told.booth, SHARP, told.at("09:00"), "T2", "T1")

    (first,) = (change for change in effect.changes if change.ticket == "T1")
    assert first.before.tardy_s == pytest.approx(590 - 300, rel=0.02)
    assert first.after.tardy_s - first.before.tardy_s == pytest.approx(590 + 70, rel=0.02)
    assert effect.after.tardy_s == first.after.tardy_s


def test_what_is_held_has_no_time_and_is_not_judged():
    told = a_booth(ONE).ordered("T1", "T2", "T3").promised("T2", "09:10").held("T2")

    effect = effect_of_move(told.booth, SHARP, told.at(), "T3", "T1")

    assert {change.ticket for change in effect.changes} == {"T1", "T3"}
    assert effect.before.broken == effect.after.broken == 0


def test_a_move_that_may_not_be_made_is_refused_in_the_journals_words():
    told = a_booth(ONE).ordered("T1", "T2").drawn("T1")

    with pytest.raises(Refused, match="Number 1 is ready"):
        effect_of_move(told.booth, SHARP, told.at(), "T1", "T2")
    with pytest.raises(Refused, match="is not in the queue"):
        effect_of_move(told.booth, SHARP, told.at(), "T2", "T1")
    with pytest.raises(Refused, match="Number 1 is ready"):
        effects_of_moves(told.booth, SHARP, told.at(), "T1")


# Moves that make an order


@settings(max_examples=40)
@given(st.permutations(["T1", "T2", "T3", "T4", "T5", "T6"]))
def test_the_moves_to_an_order_lead_there_and_no_fewer_would(order: list[str]):
    told = a_booth(ONE).ordered("T1", "T2", "T3", "T4", "T5", "T6")

    moves = moves_to(told.booth.queue, order)
    for move in moves:
        told = told.wants(move)

    runs = (size for size in range(6, 0, -1) for run in combinations(order, size) if list(run) == sorted(run))
    assert told.booth.queue == tuple(order)
    assert len(moves) == 6 - next(runs)


def test_an_order_of_other_tickets_is_no_order():
    with pytest.raises(ValueError, match="the same tickets"):
        moves_to(("T1", "T2"), ("T1", "T3"))


# A suggestion


def a_wrong_way_round(first: str = "10:30", last: str = "09:24") -> Told:
    """One easel, five in the queue; the last one was promised for much earlier than those before it."""
    told = a_booth(ONE_CLEAR).ordered("T0", at="09:00").started("T0", at="09:00")
    told = told.ordered("T1", "T2", "T3", at="09:01")
    for id in ("T1", "T2", "T3"):
        told = told.promised(id, first, at="09:01")
    return told.ordered("T4", at="09:02").promised("T4", last, at="09:02")


def test_the_earliest_promise_is_put_first_where_that_clearly_keeps_it():
    told = a_wrong_way_round()

    found = suggest(told.booth, SHARP, told.at("09:02"), passed_over_most=2)

    assert found is not None
    assert found.reason == EARLIEST_DUE
    assert found.effect.moves == (Moved(ticket="T4", before="T1"),)
    assert found.effect.before.broken == pytest.approx(1, abs=0.01)
    assert found.effect.after.broken == pytest.approx(0, abs=0.01)


def test_what_was_suggested_a_moment_ago_stays_while_another_order_is_hardly_better():
    told = a_wrong_way_round(last="09:36")  # T4 is in time as first and as second
    now = told.at("09:02")
    orders = Orders(told.booth, SHARP, now)
    as_good, worse, in_vain = (
        Suggestion(orders.of_moves([Moved(ticket=id, before=before)]), FEW_MOVES)
        for id, before in (("T4", "T2"), ("T4", "T3"), ("T3", "T1"))
    )

    found = {shown: suggest(told.booth, SHARP, now, 2, shown) for shown in (None, as_good, worse, in_vain)}

    assert as_good.effect.after.broken < 0.05 < 0.9 < worse.effect.after.broken
    assert found[as_good] == as_good
    assert found[worse] == found[in_vain] == found[None] != as_good


def test_nothing_is_suggested_where_all_promises_hold():
    told = a_wrong_way_round(last="10:40")

    assert suggest(told.booth, SHARP, told.at("09:02"), passed_over_most=2) is None


def test_nothing_is_suggested_where_another_order_breaks_as_many():
    told = a_wrong_way_round(first="09:05", last="09:04")

    assert suggest(told.booth, SHARP, told.at("09:02"), passed_over_most=2) is None


def test_nobody_is_passed_over_by_a_suggestion_where_the_house_rule_is_nobody():
    told = a_wrong_way_round()

    assert suggest(told.booth, SHARP, told.at("09:02"), passed_over_most=0) is None


def test_who_was_passed_over_as_often_as_the_rule_lets_is_passed_over_no_more():
    told = a_booth(ONE_CLEAR).ordered("T1", "T5", "T6", at="09:00").promised("T1", "10:30", at="09:00")
    told = told.moved("T5", "T1").moved("T6", "T1").drawn("T5").drawn("T6")
    told = told.ordered("T4").promised("T4", told.at() + timedelta(minutes=13), at=told.at())

    found = {most: suggest(told.booth, SHARP, told.at(), most) for most in (2, 3)}

    assert passed_over(told.booth)["T1"] == 2
    assert found[2] is None
    assert found[3] is not None
    assert found[3].effect.order == ("T4", "T1")


@settings(max_examples=20)
@given(seeds, st.integers(0, 3))
def test_a_suggestion_is_fair_worth_a_hand_and_leaves_begun_and_held_ones_alone(seed: int, most: int):
    told, pace = a_trade(seed)
    before = passed_over(told.booth)

    found = suggest(told.booth, pace, told.at(), most)

    if found is not None:
        for move in found.effect.moves:
            assert told.ticket(move.ticket).place != HELD
            assert not told.ticket(move.ticket).was_begun
            told = told.says(move, at=told.at())
        after = passed_over(told.booth)
        assert told.booth.queue == found.effect.order
        assert found.effect.fewer_broken >= WORTH_A_HAND
        assert 1 <= len(found.effect.moves) <= MOST_MOVES
        assert all(count <= max(most, before[id]) for id, count in after.items())
        begun = [id for id in before if told.ticket(id).was_begun]
        assert all(after[id] == before[id] for id in begun)


def test_among_these_booths_some_get_a_suggestion_and_some_none():
    found = [suggest(told.booth, pace, told.at(), 2) for told, pace in map(a_trade, range(20))]

    assert 2 <= sum(one is not None for one in found) <= 18


def test_who_was_asked_for_stays_asked_for():
    told = a_booth(TWO_CLEAR).ordered("T0", artist="a1").started("T0", artist="a1")
    told = told.ordered("T1", "T2", "T3", artist="a1").ordered("T4", style="chalk-half")
    for id in ("T1", "T2", "T3"):
        told = told.promised(id, "10:30", at=told.at())
    told = told.promised("T4", told.at() + timedelta(minutes=31), at=told.at())

    found = suggest(told.booth, SHARP, told.at(), 2)

    assert found is not None
    after = Orders(told.booth, SHARP, told.at()).of_order(found.effect.order)
    moved = told
    for move in found.effect.moves:
        moved = moved.says(move, at=told.at())
    quotes = forecast(moved.booth, SHARP, told.at()).tickets
    assert {quotes[id].artist for id in ("T1", "T2", "T3", "T4")} == {"a1"}
    assert after == found.effect


def test_a_booth_without_a_set_up_or_a_queue_gets_no_suggestion():
    empty = a_booth(ONE)

    assert suggest(Booth(), SHARP, empty.at(), 2) is None
    assert suggest(empty.booth, SHARP, empty.at(), 2) is None
    assert suggest(empty.ordered("T1").booth, SHARP, empty.at(), 2) is None

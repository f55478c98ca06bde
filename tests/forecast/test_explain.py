"""A quote taken apart: its parts are the quote's own numbers, and they say what is ahead and how sure it is."""

from __future__ import annotations

import math
from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from portraitq.core.booth import Booth, fold
from portraitq.core.errors import Refused
from portraitq.daybook.promises import JUDGED, KEPT, promises_of
from portraitq.forecast import explain as explaining
from portraitq.forecast.closing import Closing
from portraitq.forecast.explain import explain, explain_order, explain_past, past_promises
from portraitq.forecast.explanation import Explanation, Sketch
from portraitq.forecast.interruptions import Lags
from portraitq.forecast.pace import known_exactly, pace_of
from portraitq.forecast.quotes import quote_order, quotes_of_tickets
from portraitq.forecast.replay import read_journal, replay
from tests.builders import Told, a_booth, a_set_up, artist

JOURNALS = sorted((Path(__file__).parents[1] / "journals").glob("*.jsonl"))
ALONE = a_set_up(artists=[artist("a1", "ink-head", "chalk-half")])


def why(told: Told, id: str, now: str | None = None) -> Explanation:
    return explain(told.booth, pace_of(told.booth), told.at(now) if now else told.booth.last_at, id)


def numbers(sketches: tuple[Sketch, ...]) -> list[int]:
    return [sketch.number for sketch in sketches]


# The same numbers as the quote's


@pytest.mark.parametrize("journal", JOURNALS, ids=lambda path: path.stem)
def test_what_is_explained_is_the_quote_that_the_booth_would_have_given(journal: Path):
    events = read_journal(journal)
    for row in replay(events):
        past = explain_past(events, row.ticket)

        quote = past.explanation.quote
        assert tuple(quote.ready_at_quantiles.values()) == row.quantiles
        assert (quote.promise_at, past.ready_at) == (row.ready_by, row.ready_at)
        assert past.explanation.it.ready_at == quote.median_at


@pytest.mark.parametrize("journal", JOURNALS, ids=lambda path: path.stem)
def test_after_every_line_each_part_agrees_with_the_quotes_of_the_booth(journal: Path):
    events, booth, pace = read_journal(journal), Booth(), None
    for event in events:
        booth = fold(booth, [event])
        pace = pace_of(booth, pace)
        open_ids = [id for id in (*booth.easels.values(), *booth.queue) if booth.tickets[id].finished_at is None]
        quotes = quotes_of_tickets(booth, pace, event.at, open_ids)
        ready_at = {(booth.tickets[id].number, booth.tickets[id].day): quotes[id].median_at for id in open_ids}
        for id in open_ids:
            if quotes[id].artist is None:
                continue
            told = explain(booth, pace, event.at, id)

            assert told.quote == quotes[id]
            for each in (*told.ahead, told.it):
                called = (each.number, each.from_day or told.today)
                assert each.ready_at == ready_at.get(called, each.ready_at)
                if each.begins_at is not None:
                    assert event.at <= each.begins_at <= each.ready_at


def test_beginning_drawing_and_breaks_add_up_to_the_time_it_is_ready():
    told = a_booth(ALONE).ordered("T1", "T2", "T3").started("T1").ordered("T4", style="chalk-half", at="11:30")
    told = told.day_closed(at="12:00").day_opened("2026-06-07", a1=("09:20", "09:50")).artist_in("a1")
    known = known_exactly(lags=Lags(met=0.0, unsaid_met=0.0, idle=None))

    for id in ("T2", "T3", "T4"):
        it = explain(told.booth, known, told.booth.last_at, id).it

        assert it.begins_at is not None
        together_at = it.begins_at + timedelta(seconds=it.takes.middle_s + it.rests_s)
        assert abs((it.ready_at - together_at).total_seconds()) < 60, "to the minute, as it is told"


def test_an_order_not_yet_taken_is_explained_by_the_quote_it_would_get():
    told = a_booth().ordered("T1", "T2", "T3").started("T1")
    pace, now = pace_of(told.booth), told.at("09:20")

    asked = explain_order(told.booth, pace, now, style="chalk-half", sitters=2, artist="a1")

    assert asked.quote == quote_order(told.booth, pace, now, style="chalk-half", sitters=2, artist="a1")
    assert (asked.it.number, asked.it.sitters, asked.it.artist, asked.is_asked_for) == (0, 2, "Easel a1", True)
    assert asked.promised_at is None


@settings(max_examples=15, deadline=None)
@given(st.data())
def test_nothing_after_a_line_changes_what_is_explained_there(data: st.DataObject):
    events = read_journal(data.draw(st.sampled_from(JOURNALS)))
    ordered = [event for event in events if event.kind == "ordered"]
    event = data.draw(st.sampled_from(ordered))

    cut = explain_past(events[: event.seq], event.data.ticket)

    assert cut.explanation == explain_past(events, event.data.ticket).explanation


# What comes before it


def test_the_one_on_the_easel_and_those_in_the_queue_come_before_it_in_order():
    told = a_booth(ALONE).ordered("T1", "T2", sitters=2).ordered("T3", "T4").started("T1", at="10:00")
    told = told.stage_done("T1", at="10:03")

    seen = why(told, "T4", "10:05")

    running, second, third = seen.ahead
    assert numbers(seen.ahead) == [1, 2, 3]
    assert running.in_hand is not None
    assert (running.in_hand.stage, running.in_hand.place, running.in_hand.stages) == ("Likeness", 2, 3)
    assert running.in_hand.ran_s == 120
    assert running.begins_at is None
    assert (second.sitters, second.artist, second.is_sure) == (2, "Easel a1", True)
    assert third.begins_at > second.ready_at > running.ready_at
    assert second.takes.low_s < second.takes.middle_s < second.takes.high_s
    assert second.takes.middle_s > third.takes.middle_s, "two sitters take longer than one"


def test_nothing_comes_before_the_one_on_the_easel():
    told = a_booth(ALONE).ordered("T1", "T2").started("T1")

    seen = why(told, "T1")

    assert (seen.ahead, seen.elsewhere, seen.held_ahead) == ((), (), ())
    assert seen.it.in_hand is not None


def test_a_pause_says_why_and_since_when():
    told = a_booth(ALONE).ordered("T1").started("T1", at="10:00").paused("T1", "supplies", at="10:02")

    hand = why(told, "T1", "10:06").it.in_hand

    assert hand is not None
    assert (hand.paused_why, hand.paused_s, hand.ran_s) == ("supplies", 240, 120)


def test_those_that_others_will_draw_are_named_apart_where_they_could_change_places():
    told = a_booth().ordered("T1", "T2", "T3").started("T1", "a1").started("T2", "a2").ordered("T4")

    seen = why(told, "T4")

    assert sorted(numbers(seen.ahead) + numbers(seen.elsewhere)) == [1, 2, 3]
    assert {each.artist for each in seen.ahead} == {seen.it.artist}
    assert seen.it.artist not in {each.artist for each in seen.elsewhere}
    assert not seen.it.is_sure


def test_what_another_draws_and_only_they_can_is_not_told():
    told = a_booth().ordered("T1", style="chalk-half").ordered("T2", artist="a2")

    seen = why(told, "T2")

    assert (seen.ahead, seen.elsewhere, seen.is_asked_for) == ((), (), True)


def test_a_held_one_is_passed_over_and_told_apart():
    told = a_booth(ALONE).ordered("T1", "T2", "T3").held("T2", "photo")

    last, held = why(told, "T3"), why(told, "T2")

    assert (numbers(last.ahead), [each.number for each in last.held_ahead]) == ([1], [2])
    assert (last.held_why, held.held_why) == (None, "photo")


def test_turnaround_is_what_the_set_up_guesses_until_it_is_measured():
    between = why(a_booth(ALONE).ordered("T1", "T2"), "T2").turnaround

    assert between is not None
    assert between.middle_s == pytest.approx(70)
    assert between.low_s < 70 < between.high_s


# Its own drawing


def test_an_artist_who_was_never_measured_is_expected_to_draw_as_guessed():
    seen = why(a_booth(ALONE).ordered("T1", sitters=3), "T1")

    assert [stage.guessed_s for stage in seen.stages] == [300, 1140, 110], "layout and likeness for each sitter"
    assert seen.stages[2].usual_s == pytest.approx(110)
    assert (seen.measured, seen.past.due) == (0, 0)


def drawn_slowly(told: Told, *ids: str, factor: float = 2.0) -> Told:
    """These portraits, every stage in `factor` times the guess."""
    for id in ids:
        told = told.ordered(id).started(id)
        for stage in told.ticket(id).style.stages:
            told = told.stage_done(id, at=told.booth.last_at + timedelta(seconds=factor * stage.usual_s))
        told = told.finished(id)
    return told


def test_what_was_measured_moves_the_usual_times_and_is_counted():
    told = drawn_slowly(a_booth(ALONE), "T1", "T2", "T3", "T4", "T5").ordered("T6").ordered("T7", style="chalk-half")

    same, other = why(told, "T6"), why(told, "T7")

    assert (same.measured, other.measured) == (5, 0)
    assert all(1.5 < stage.usual_s / stage.guessed_s < 2.1 for stage in same.stages)
    assert all(1.1 < stage.usual_s / stage.guessed_s < 2.1 for stage in other.stages), "the general pace carries over"


def test_a_stage_that_is_done_says_what_it_took():
    told = a_booth(ALONE).ordered("T1").started("T1", at="10:00").taps("layout 10:02:30")

    layout, likeness, _ = why(told, "T1").stages

    assert (layout.is_done, layout.took_s) == (True, 150)
    assert (likeness.is_done, likeness.took_s) == (False, None)


def test_stages_that_were_tapped_in_one_burst_are_done_without_a_time():
    told = a_booth(ALONE).ordered("T1").started("T1", at="10:00").taps("layout 10:08:00", "likeness 10:08:01")

    assert [(stage.is_done, stage.took_s) for stage in why(told, "T1").stages[:2]] == [(True, None), (True, None)]


def test_a_day_slower_than_the_ones_before_shows_as_such():
    told = drawn_slowly(a_booth(ALONE), *(f"T{n}" for n in range(1, 10)), factor=1.0).day_closed(at="18:00")
    told = told.day_opened("2026-06-07").artist_in("a1")
    usual = why(told.ordered("T20"), "T20")
    told = drawn_slowly(told, "T10", "T11", "T12", factor=1.5).ordered("T13")

    assert usual.day == pytest.approx(0)
    assert why(told, "T13").day > 0.01


def test_a_sketch_slower_than_its_like_shows_as_such():
    told = drawn_slowly(a_booth(ALONE), *(f"T{n}" for n in range(1, 6)), factor=1.0).ordered("T6", "T7")
    told = told.started("T6", at="12:00").taps("layout 12:03:20")

    seen = why(told, "T7")

    assert seen.sketch > 0.005


# What else counts


def test_a_break_before_it_costs_what_it_moves_the_time():
    told = a_booth(ALONE).day_closed(at="10:00").day_opened("2026-06-07", a1=("12:03", "12:43")).artist_in("a1")
    told = told.ordered("T1", style="chalk-half", at="12:00").ordered("T2", at="12:00")

    first, second = why(told, "T1"), why(told, "T2")

    assert [(each.begins_at, each.share > 0.9) for each in second.breaks] == [(told.at("12:03"), True)]
    assert 0 < second.breaks_cost_s <= 40 * 60
    assert second.it.ready_at > told.at("12:43")
    assert first.it.rests_s > 0, "the stage in hand is finished first, then the break comes"
    assert second.ahead[0].rests_s == first.it.rests_s
    assert first.it.takes.high_s < (first.it.ready_at - told.at("12:00")).total_seconds() + 40 * 60


def test_breaks_of_others_and_those_that_are_over_are_left_out():
    told = a_booth().day_closed(at="10:00")
    told = told.day_opened("2026-06-07", a1=("09:10", "09:20"), a2=("12:10", "12:30")).artist_in("a1", "a2")

    seen = why(told.ordered("T1", artist="a1", at="12:00"), "T1")

    assert (seen.breaks, seen.breaks_cost_s) == ((), 0)


def test_what_may_not_be_begun_before_closing_says_how_likely_and_when_then():
    told = a_booth(ALONE, closes="12:10").ordered(*(f"T{n}" for n in range(1, 9)), at="12:00")

    on_easel, soon, last = why(told.started("T1"), "T1"), why(told, "T1"), why(told, "T8")

    assert on_easel.closing is None, "one in hand is finished"
    assert soon.closing is None or soon.closing.share < 0.01
    assert last.closing is not None
    assert last.closing.share == 1
    assert (last.closing.closes_at, last.closing.opens_at) == (told.at("12:10"), told.at("09:00") + timedelta(days=1))


def test_where_the_booth_draws_on_after_closing_nothing_is_said_to_be_begun_tomorrow():
    told = a_booth(ALONE, closes="12:10").ordered("T1", "T2", at="12:00")
    draws_on = Closing()
    for _ in range(40):
        draws_on = draws_on.learned(0.99, carried_over=False)

    rule, habit = (replace(pace_of(told.booth), closing=known) for known in (Closing(), draws_on))

    by_rule, by_habit = (explain(told.booth, pace, told.booth.last_at, "T2").closing for pace in (rule, habit))
    assert by_rule is not None
    assert by_habit is None or by_habit.share < by_rule.share / 4


def test_while_it_is_closed_the_next_opening_is_told_and_the_night_is_no_drawing_time():
    told = a_booth(ALONE).ordered("T1", "T2").started("T1", at="17:50").day_closed(at="18:00")

    running, next_one = why(told, "T1", "20:00"), why(told, "T2", "20:00")

    assert running.closing is not None
    assert (running.closing.closes_at, running.closing.opens_at) == (None, told.at("09:00") + timedelta(days=1))
    assert running.it.takes.high_s < 3600
    assert next_one.ahead[0].takes == running.it.takes


def test_an_artist_who_is_not_in_is_told_with_when_they_are_counted_on():
    told = a_booth(ALONE).ordered("T1", "T2").artist_out("a1", at="11:00")

    away, here = why(told, "T2"), why(told.artist_in("a1"), "T2")

    assert here.absent is None
    assert away.absent is not None
    assert (away.absent.artist, away.absent.break_until) == ("Easel a1", None)
    assert away.absent.begins_at == away.ahead[0].begins_at


def test_an_artist_out_during_their_break_is_back_when_it_ends():
    told = a_booth(ALONE).day_closed(at="10:00").day_opened("2026-06-07", a1=("12:00", "12:30")).artist_in("a1")
    told = told.ordered("T1", at="12:01").artist_out("a1", at="12:02")

    absent = why(told, "T1").absent

    assert absent is not None
    assert absent.break_until == told.at("12:30")


def test_interruptions_are_told_by_how_often_and_how_long():
    told = a_booth(ALONE).ordered("T1")

    seen = why(told, "T1").interruptions
    none = explain(told.booth, known_exactly(lags=Lags(met=0.0)), told.at(), "T1").interruptions

    assert seen is not None
    assert 0 < seen.an_hour < 5
    assert 10 < seen.usual_s < 600
    assert none is None


# How sure


def test_the_doubt_about_what_comes_before_grows_with_the_queue():
    told = a_booth(ALONE).ordered(*(f"T{n}" for n in range(1, 8)))

    shares = [why(told, f"T{n}").ahead_share for n in (1, 3, 7)]

    assert shares == sorted(shares)
    assert shares[0] < 0.3
    assert shares[-1] > 0.7


def test_the_promise_that_was_told_and_its_chance_are_the_tickets_own():
    told = a_booth(ALONE).ordered("T1", at="10:00").promised("T1", "10:12")

    seen = why(told, "T1")

    assert seen.promised_at == told.at("10:12")
    assert seen.quote.chance_kept is not None
    assert 0.3 < seen.quote.chance_kept < 0.8


def test_a_quote_that_was_moved_says_by_how_much(monkeypatch: pytest.MonkeyPatch):
    told, bare = a_booth(ALONE).ordered("T1"), explaining.quotes_of_tickets
    pace = pace_of(told.booth)

    def moved(*of):
        return {
            id: replace(quote, ready_at_quantiles={level: at + timedelta(seconds=120) for level, at in
                                                   quote.ready_at_quantiles.items()})
            for id, quote in bare(*of).items()
        }  # fmt: skip

    monkeypatch.setattr(explaining, "quotes_of_tickets", moved)

    assert explain(told.booth, pace, told.at(), "T1").correction_s == pytest.approx(120, abs=1e-3)


# Promises so far


def test_promises_are_judged_by_the_first_time_told_once_it_came():
    told = a_booth(ALONE).ordered("T1", "T2", "T3", "T4", at="10:00")
    told = told.promised("T1", "10:30", at="10:00").promised("T1", "10:10", at="10:01").promised("T2", "10:20")
    told = told.promised("T3", "10:15").promised("T4", "18:00").drawn("T1", at="10:20").drawn("T2", at="10:26")

    past = past_promises(told.booth, told.at("10:40"))

    assert (past.due, past.kept) == (3, 1), "T1 kept, T2 late, T3 not drawn, T4 still to come"
    assert past.early_s == pytest.approx((600 - 360) / 2)


def test_one_cancelled_before_its_time_binds_nobody_and_one_after_it_was_not_kept():
    told = a_booth(ALONE).ordered("T1", "T2", at="10:00").promised("T1", "10:30").promised("T2", "10:30")
    told = told.cancelled("T1", at="10:20").cancelled("T2", at="10:40")

    past = past_promises(told.booth, told.at("11:00"))

    assert (past.due, past.kept, past.early_s) == (1, 0, None)


def test_only_the_last_promises_count():
    told = a_booth(ALONE)
    for n in range(1, 9):
        told = told.ordered(f"T{n}").promised(f"T{n}", told.at() + timedelta(minutes=2 if n < 5 else 30))
        told = told.drawn(f"T{n}")

    assert past_promises(told.booth, told.at("18:00"), most=4).kept == 4
    assert past_promises(told.booth, told.at("18:00")).kept == 4
    assert past_promises(told.booth, told.at("18:00")).due == 8


@pytest.mark.parametrize("journal", JOURNALS, ids=lambda path: path.stem)
def test_when_all_is_over_the_day_book_counts_the_same(journal: Path):
    booth = fold(Booth(), read_journal(journal))
    now = booth.last_at + timedelta(days=400)
    judged = [word for word in promises_of(booth.tickets.values(), now).words if word.outcome in JUDGED]

    past = past_promises(booth, now, most=10_000)

    assert (past.due, past.kept) == (len(judged), sum(word.outcome == KEPT for word in judged))
    early = [word.early_s for word in judged if word.early_s is not None]
    assert past.early_s == (pytest.approx(math.fsum(early) / len(early)) if early else None)


# Where there is nothing to explain


def test_only_what_is_still_to_be_drawn_has_a_time_to_explain():
    told = a_booth(ALONE).ordered("T1", "T2").drawn("T1").cancelled("T2")

    for id, said in (("T1", "Number 1 is ready"), ("T2", "Number 2 is cancelled"), ("T9", "There is no ticket T9")):
        with pytest.raises(Refused, match=said):
            why(told, id)


def test_a_style_that_nobody_draws_any_more_has_no_time_to_explain():
    told = a_booth().ordered("T1", style="chalk-half")
    told = told.set_up(a_set_up(artists=[artist("a1", "ink-head")]))

    with pytest.raises(Refused, match="Nobody of this booth draws"):
        why(told, "T1")


def test_a_past_quote_is_asked_for_by_a_ticket_and_a_line_of_its_journal():
    told = a_booth(ALONE).ordered("T1").started("T1").ordered("T2").drawn("T1")
    ordered = next(event.seq for event in told.events if event.kind == "ordered" and event.data.ticket == "T2")

    later = explain_past(told.events, "T2", len(told.events))

    assert numbers(explain_past(told.events, "T2").explanation.ahead) == [1]
    assert (numbers(later.explanation.ahead), later.explanation.as_of) == ([], told.booth.last_at)
    with pytest.raises(Refused, match="T1 to T2"):
        explain_past(told.events, "T7")
    for line in (ordered - 1, len(told.events) + 1):
        with pytest.raises(Refused, match=f"ordered in line {ordered}"):
            explain_past(told.events, "T2", line)

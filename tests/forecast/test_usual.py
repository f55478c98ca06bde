"""How long an artist usually takes for a stage."""

from __future__ import annotations

import pytest

from portraitq.forecast.pace import Pace, pace_of
from portraitq.forecast.usual import usual_stage_s, usual_stages_s
from tests.builders import Told, a_booth


def likeness_s(told: Told, pace: Pace, id: str) -> float:
    ticket = told.ticket(id)
    return usual_stage_s(pace, "a1", ticket, ticket.style.stages[1], day_index=1)


def test_before_anything_is_measured_the_usual_time_is_the_guess():
    told = a_booth().ordered("T1")

    assert likeness_s(told, Pace(), "T1") == pytest.approx(380)


def test_two_sitters_take_about_twice_as_long_where_the_stage_is_done_for_each():
    told = a_booth().ordered("T1", sitters=2)

    assert likeness_s(told, Pace(), "T1") == pytest.approx(2 * 380, rel=0.1)


def test_an_artist_who_was_slower_than_guessed_is_expected_slower():
    told = a_booth().ordered("T1", "T2", at="09:00").started("T1", "a1", at="09:01")
    told = told.taps("layout 09:05:00", "likeness 09:20:00", "finish 09:25:00").finished("T1", at="09:25:00")

    assert likeness_s(told, pace_of(told.booth), "T2") > 400


def test_the_stages_of_a_ticket_are_told_together_as_they_are_one_by_one():
    ticket = a_booth().ordered("T1", sitters=2).ticket("T1")

    together = usual_stages_s(Pace(), "a1", ticket, day_index=1)

    assert together == [usual_stage_s(Pace(), "a1", ticket, stage, day_index=1) for stage in ticket.style.stages]

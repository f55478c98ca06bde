"""What the Easel shows between two portraits: the card, breaks, and when a rest is suggested."""

from __future__ import annotations

from datetime import datetime
from typing import TYPE_CHECKING

import pytest

from portraitq import house_rules
from portraitq.house_rules import HouseRules
from tests.builders import Told, a_booth, a_journal
from tests.web.test_easel import easel, is_taken

if TYPE_CHECKING:
    from tests.web.conftest import Web

RULES = HouseRules(between="Sharpen.\n\n Fresh paper. \n", rest_after_min=60, rest="Look far away.", care="Air it.")


def drawing_since_nine(**how: str) -> Told:
    return a_booth().ordered("T1", "T2", at="09:00").started("T1", "a1", at="09:00", **how)


def with_a_break(begins: str = "12:00", ends: str = "12:30") -> Told:
    return a_journal().set_up().day_opened(a1=(begins, ends)).artist_in("a1").ordered("T1", at="09:30")


def fits(told: Told, now: str | datetime) -> str:
    return easel(told, now=now).sketches[0].fits_said


# The card


def test_the_card_has_the_booths_own_steps_a_line_each():
    assert easel(a_booth(), rules=RULES).between.steps == ("Sharpen.", "Fresh paper.")


def test_a_booth_that_wants_no_words_shows_none():
    between = easel(a_booth(), rules=HouseRules(between="", care=" ")).between

    assert (between.steps, between.care) == ((), "")


def test_the_house_rules_of_the_booth_are_on_its_easel(web: Web):
    web.sign_in()
    with web.desks.store.writing() as connection:
        house_rules.put(connection, "quay", RULES)

    page = web.client.get("/quay/easel/a1").get_data(as_text=True)

    assert "<li>Fresh paper.</li>" in page
    assert "Air it." in page


def test_what_was_begun_before_goes_on_instead_of_starting():
    told = a_booth().ordered("T1").started("T1", "a1").stage_done("T1").put_back("T1")

    start = easel(told).sketches[0].start

    assert (start.said, is_taken(told, start)) == ("Go on with number 1", True)


# Rest


def test_a_rest_is_suggested_after_long_drawing_and_not_before():
    told = drawing_since_nine()

    early, late = easel(told, now="09:59", rules=RULES), easel(told, now="10:00", rules=RULES)

    assert (early.between.rest, early.between.drawn_said) == ("", "")
    assert (late.between.rest, late.between.drawn_said) == ("Look far away.", "Drawing since 10:00 without a rest")


def test_a_booth_can_do_without_the_suggestion():
    never = HouseRules(rest_after_min=0)

    assert easel(drawing_since_nine(), now="15:00", rules=never).between.rest == ""


def test_after_a_break_nothing_is_suggested():
    told = drawing_since_nine().paused("T1", "break", at="10:30").resumed("T1", at="10:40")

    assert easel(told, now="10:50", rules=RULES).between.drawn_said == ""


def test_a_rest_that_is_due_asks_for_nothing_and_blocks_nothing():
    told = drawing_since_nine().drawn("T1", at="10:30")

    view = easel(told, now="10:31", rules=RULES)

    assert view.between.rest
    assert is_taken(told, view.sketches[0].start)


# Breaks


@pytest.mark.parametrize(
    ("now", "said"),
    [
        ("10:30", ""),
        ("11:20", "Fits before the break at 13:00: begun now, it is usually done by 12:30."),
        ("11:49", "Fits before the break at 13:00: begun now, it is usually done by 13:00."),
        ("11:52", "Does not fit before the break at 13:00: begun now, it usually takes until 13:05."),
        ("12:10", ""),
    ],
)
def test_whether_the_next_portrait_fits_before_the_break_is_said_in_clock_times(now: str, said: str):
    """An ink head usually takes 100 + 380 + 110 s, just under ten minutes; Lisbon is an hour ahead of UTC in June."""
    assert fits(with_a_break(), now) == said


def test_what_is_longer_than_the_time_to_a_far_break_is_told_so_early():
    told = a_journal().set_up().day_opened(a1=("12:00", "12:30")).artist_in("a1")
    told = told.ordered("T1", sitters=12, style="chalk-half", at="09:30")

    assert fits(told, "10:00").startswith("Does not fit before the break at 13:00")


def test_another_artists_break_is_not_in_the_way():
    told = a_journal().set_up().day_opened(a2=("12:00", "12:30")).artist_in("a1").ordered("T1", at="09:30")

    assert fits(told, "11:55") == ""


def test_an_unplanned_break_between_two_portraits_is_taken_by_the_booth():
    told = a_booth().ordered("T1")

    assert (easel(told).pause.said, is_taken(told, easel(told).pause)) == ("Take a break", True)


def test_whoever_was_here_today_comes_back_and_whoever_was_not_comes():
    away = a_booth().artist_out("a1")
    fresh = a_journal().set_up().day_opened()

    assert (easel(away).here.said, easel(away).is_back) == ("I am back", True)
    assert (easel(fresh).here.said, easel(fresh).is_back) == ("I am here", False)


def test_after_closing_time_who_leaves_goes():
    told = a_booth().ordered("T1")

    assert easel(told, now="18:00").pause.said == "I am going"

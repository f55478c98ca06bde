"""Whose personal data are due to be erased, and when."""

from __future__ import annotations

from datetime import timedelta

import pytest

from portraitq.erasing import due, left_behind
from tests.builders import Told, a_booth, instant

SERVED = a_booth().ordered("T1").drawn("T1", "A4").collected("T1", at="10:00").ordered("T2")
CLOSED = SERVED.day_closed()


def _due(told: Told, keep_h: int | None, at: str, kept: tuple[str, ...] = ("T1", "T2")) -> list[str]:
    return due(told.booth, kept, keep_h, instant(at))


def test_by_the_usual_rule_those_served_are_due_while_no_day_is_open() -> None:
    assert _due(SERVED, None, "23:59") == []
    assert _due(CLOSED, None, "23:59") == ["T1"]


@pytest.mark.parametrize("told", [SERVED, CLOSED], ids=["open", "closed"])
def test_by_hours_those_served_are_due_so_long_after_the_hand_over_whether_or_not_a_day_is_open(told: Told) -> None:
    assert _due(told, 3, "12:59:59.999") == []
    assert _due(told, 3, "13:00") == ["T1"]


def test_a_portrait_that_nobody_collected_is_due_only_once_it_is_handed_over_or_cancelled() -> None:
    waits = a_booth().ordered("T1").drawn("T1", "A4").day_closed()

    assert due(waits.booth, ["T1"], 1, instant("23:00") + timedelta(days=30)) == []
    assert due(waits.cancelled("T1").booth, ["T1"], None, instant("23:00")) == ["T1"]


@pytest.mark.parametrize(("at", "is_due"), [("09:59:59", False), ("10:00", True)])
def test_a_limit_of_days_reaches_what_waits_on_the_rack(at: str, is_due: bool) -> None:
    waits = a_booth().ordered("T1").drawn("T1", "A4", at="10:00").day_closed()

    found = due(waits.booth, ["T1"], None, instant(at) + timedelta(days=30), uncollected_days=30)

    assert found == (["T1"] if is_due else [])


def test_the_limit_counts_from_when_it_was_racked_last() -> None:
    drawn = a_booth().ordered("T1").drawn("T1", "A4", at="10:00")
    back = drawn.touched_up("T1", at="15:00").finished("T1", at="16:00").day_closed()

    assert due(back.booth, ["T1"], None, instant("15:59") + timedelta(days=1), uncollected_days=1) == []
    assert due(back.booth, ["T1"], None, instant("16:00") + timedelta(days=1), uncollected_days=1) == ["T1"]


def test_no_limit_reaches_what_is_still_to_be_drawn() -> None:
    waits = a_booth().ordered("T1").day_closed()

    assert due(waits.booth, ["T1"], 1, instant("23:00") + timedelta(days=400), uncollected_days=1) == []


def test_those_served_before_the_day_was_opened_are_due_though_erasing_failed_when_it_was_closed() -> None:
    again = CLOSED.day_opened("2026-06-07")

    assert due(again.booth, ["T1", "T2"], None, instant("09:00:01") + timedelta(days=1)) == ["T1"]


def test_a_day_that_nobody_closes_counts_as_closed_twelve_hours_after_its_closing_time() -> None:
    closes_at = SERVED.booth.day.closes_at  # type: ignore[union-attr]

    assert due(SERVED.booth, ["T1", "T2"], None, closes_at + timedelta(hours=12, seconds=-1)) == []
    assert due(SERVED.booth, ["T1", "T2"], None, closes_at + timedelta(hours=12)) == ["T1"]


def test_who_is_served_on_a_day_that_was_forgotten_has_twelve_hours_too() -> None:
    late = SERVED.drawn("T2").collected("T2", at=instant("15:00") + timedelta(days=1))

    assert due(late.booth, ["T2"], None, instant("02:59") + timedelta(days=2)) == []
    assert due(late.booth, ["T2"], None, instant("03:00") + timedelta(days=2)) == ["T2"]


def test_what_waits_for_its_customer_since_an_earlier_day_is_named_while_something_is_kept() -> None:
    told = a_booth().ordered("T1", "T2", "T3").drawn("T1", "A4").held("T2").day_closed()
    today = told.day_opened("2026-06-07").artist_in("a1").ordered("T4").drawn("T4", "A5")

    assert left_behind(told.booth, ["T1", "T2", "T3"]) == []
    assert [one.id for one in left_behind(today.booth, ["T1", "T2", "T3", "T4"])] == ["T1", "T2"]
    assert [one.id for one in left_behind(today.booth, ["T2"])] == ["T2"]


def test_who_comes_back_for_a_touch_up_is_served_anew() -> None:
    back = SERVED.touched_up("T1", at="12:30")

    assert _due(back, 3, "14:00") == []
    assert _due(back.finished("T1").collected("T1", at="13:00"), 3, "15:59") == []
    assert _due(back.finished("T1").collected("T1", at="13:00"), 3, "16:00") == ["T1"]


def test_what_came_while_a_ticket_was_erased_is_due_at_once() -> None:
    erased = a_booth().ordered("T1").erased("T1")

    assert _due(erased, None, "09:30", kept=("T1",)) == ["T1"]


def test_only_what_is_kept_and_known_is_due() -> None:
    assert _due(CLOSED, None, "23:59", kept=("T9",)) == []

"""Whose personal data are due to be erased, and when."""

from __future__ import annotations

from datetime import timedelta

import pytest

from portraitq.erasing import due
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

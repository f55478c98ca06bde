"""Cash counts worked out by hand, in minor units: the box of the day at the quay and of made-up days."""

from __future__ import annotations

from datetime import UTC, datetime

import pytest
from pydantic import ValidationError

from portraitq.daybook.cash import LONGEST_NOTE, CashCount, net_cash, reckoned
from portraitq.daybook.days import days_of
from portraitq.daybook.takings import Takings, takings_of
from tests.builders import a_booth
from tests.daybook.evening import quay_day

CLOSING = datetime(2026, 6, 6, 17, 5, tzinfo=UTC)


def takings(told: object = None) -> Takings:
    booth = (told or quay_day()).booth  # type: ignore[attr-defined]
    return takings_of(days_of(booth)[0], booth.tickets.values())


def counted(began_with: int, in_the_box: int, recorded: int = 4800) -> CashCount:
    return CashCount(began_with=began_with, counted=in_the_box, recorded=recorded, at=CLOSING)


def test_cash_is_what_came_in_less_what_was_given_back():
    # the quay's day: €18 for number 1, €36 for number 3, €6 given back; cards and the other €5 are not in the box
    assert net_cash(takings()) == 1800 + 3600 - 600


def test_a_box_that_holds_float_and_cash_differs_by_nothing():
    found = reckoned(counted(10_000, 14_800), takings())

    assert (found.should_be, found.difference, found.since) == (14_800, 0, 0)


@pytest.mark.parametrize(("in_the_box", "difference"), [(14_350, -450), (15_000, 200), (0, -14_800)])
def test_what_is_missing_is_negative_and_what_is_over_positive(in_the_box: int, difference: int):
    assert reckoned(counted(10_000, in_the_box), takings()).difference == difference


def test_money_given_back_beyond_what_came_in_is_taken_from_the_float():
    told = a_booth().ordered("T1").paid("T1", 1800, "card").cancelled("T1").paid("T1", -1800, "cash")

    found = reckoned(counted(5000, 3200, recorded=-1800), takings(told))

    assert (found.should_be, found.difference) == (3200, 0)


def test_cash_recorded_after_the_count_is_told_apart_from_a_difference():
    before = counted(10_000, 11_200, recorded=1200)  # counted when only €12 had come in

    found = reckoned(before, takings())

    assert (found.difference, found.since) == (0, 3600)


@pytest.mark.parametrize(
    "wrong",
    [{"counted": -1}, {"began_with": -1}, {"note": "x" * (LONGEST_NOTE + 1)}, {"at": datetime(2026, 6, 6)}],  # noqa: DTZ001
)
def test_what_cannot_be_in_a_box_is_no_count(wrong: dict[str, object]):
    whole = {"began_with": 0, "counted": 0, "recorded": 0, "at": CLOSING}

    with pytest.raises(ValidationError):
        CashCount.model_validate(whole | wrong)

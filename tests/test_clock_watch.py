"""What is found wrong with the clock, and whether times are told by it."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest

from portraitq.clock import Clock
from portraitq.clock_watch import AHEAD, BEHIND, BY_HAND, EARLY, LATE, Doubt, doubt
from tests.hands import Hands

NOW = datetime(2026, 6, 6, 14, 0, tzinfo=UTC)
IN_1970 = datetime(1970, 1, 1, tzinfo=UTC)
MINUTE = timedelta(minutes=1)


def found(clock: Clock, last_at: datetime | None = NOW) -> Doubt | None:
    if last_at is not None:
        clock.not_before(last_at)
    return doubt(clock.reading(), last_at)


def why(clock: Clock, last_at: datetime | None = NOW) -> tuple[str, bool] | None:
    wrong = found(clock, last_at)
    return (wrong.why, wrong.tells_time) if wrong else None


@pytest.mark.parametrize("shown", [NOW, NOW + timedelta(days=400), NOW - MINUTE])
def test_nothing_is_wrong_with_a_clock_at_or_after_the_last_line(shown: datetime):
    assert why(Clock(system=Hands(shown))) is None


@pytest.mark.parametrize(
    ("shown", "expected"),
    [
        (IN_1970, (EARLY, False)),
        (datetime(2036, 2, 7, tzinfo=UTC), (LATE, False)),
        (NOW - 2 * MINUTE, (BEHIND, False)),
    ],
)
def test_a_board_that_comes_up_with_a_wrong_clock_tells_no_times(shown: datetime, expected: tuple[str, bool]):
    assert why(Clock(system=Hands(shown))) == expected


def test_before_the_first_line_too():
    assert why(Clock(system=Hands(IN_1970)), last_at=None) == (EARLY, False)


@pytest.mark.parametrize("shown", [IN_1970, datetime(2036, 2, 7, tzinfo=UTC)])
def test_a_clock_spoilt_in_the_middle_of_a_day_is_said_but_times_go_on_right(shown: datetime):
    hands = Hands(NOW)
    clock = Clock(system=hands)

    hands.set_to(shown)

    wrong = found(clock)
    assert wrong is not None
    assert wrong.tells_time
    assert wrong.booth_at == NOW


@pytest.mark.parametrize(("back", "expected"), [(1, None), (5, (AHEAD, True)), (58, (AHEAD, False))])
def test_a_clock_set_back_is_said_and_far_back_times_are_told_no_more(back: int, expected: tuple[str, bool] | None):
    hands = Hands(NOW)
    clock = Clock(system=hands)

    hands.set_by(-60 * back)

    assert why(clock) == expected


def test_it_says_how_far_the_booths_time_is_ahead():
    hands = Hands(NOW)
    clock = Clock(system=hands)

    hands.set_by(-58 * 60)

    wrong = found(clock)
    assert wrong is not None
    assert wrong.ahead_s == 58 * 60


def test_a_time_said_by_hand_is_told_and_that_the_computers_is_wrong_is_still_said():
    clock = Clock(system=Hands(IN_1970))
    clock.not_before(NOW)

    clock.set_on(NOW + MINUTE)

    assert why(clock) == (BY_HAND, True)


def test_it_is_said_no_more_once_the_clock_is_right():
    hands = Hands(IN_1970)
    clock = Clock(system=hands)
    clock.not_before(NOW)

    hands.set_to(NOW + 7 * MINUTE)

    assert why(clock) is None


def test_a_clock_that_follows_no_system_is_never_doubted():
    assert why(Clock(start_at=IN_1970)) is None

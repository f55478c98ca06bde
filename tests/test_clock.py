"""What time it is, when the system's clock is moved under the service."""

from __future__ import annotations

import sys
import time
from datetime import UTC, datetime, timedelta

import pytest

from portraitq.clock import FARTHEST, WRITTEN_AT, Clock, Jump, ThisSystem
from tests.hands import Hands

START = datetime(2026, 6, 6, 17, 0, tzinfo=UTC)
SECOND = timedelta(seconds=1)
HOUR = timedelta(hours=1)


@pytest.fixture
def hands() -> Hands:
    return Hands(START)


def test_time_goes_by_as_the_system_says(hands: Hands) -> None:
    clock = Clock(system=hands)

    hands.go_by(90)

    assert (clock.now(), clock.jumps()) == (START + 90 * SECOND, ())


def test_a_clock_set_back_does_not_take_time_back(hands: Hands) -> None:
    clock = Clock(system=hands)
    hands.go_by(10)

    hands.set_by(-3600)
    hands.go_by(5)

    assert (clock.now(), clock.jumps()) == (START + 15 * SECOND, ())


def test_a_clock_set_on_is_followed_and_told_as_a_jump(hands: Hands, caplog: pytest.LogCaptureFixture) -> None:
    clock = Clock(system=hands)

    hands.go_by(1)
    hands.set_by(1800)
    now = clock.now()

    assert now == START + 1801 * SECOND
    assert clock.jumps() == (Jump(START + SECOND, now),)
    assert "set on by 1800 s" in caplog.text


def test_a_jump_is_told_until_it_is_forgotten(hands: Hands) -> None:
    clock = Clock(system=hands)
    hands.set_by(1800)
    clock.now()

    clock.forget(clock.jumps()[0])
    hands.go_by(5)
    clock.now()

    assert clock.jumps() == ()


def test_a_sleep_under_a_closed_lid_goes_by_and_is_no_jump(hands: Hands) -> None:
    clock = Clock(system=hands)

    hands.go_by(1800, asleep=True)

    assert (clock.now(), clock.jumps()) == (START + 1800 * SECOND, ())


def test_where_the_steady_clock_sleeps_too_a_clock_that_moved_on_is_taken_for_sleep() -> None:
    hands = Hands(START, counts_sleep=False)
    clock = Clock(system=hands)

    hands.go_by(1800, asleep=True)

    assert (clock.now(), clock.jumps()) == (START + 1800 * SECOND, ())


@pytest.mark.skipif(sys.platform != "linux", reason="CLOCK_BOOTTIME is Linux's")
def test_on_linux_the_clock_is_used_that_goes_on_while_the_system_sleeps() -> None:
    """clock_gettime(2), CLOCK_BOOTTIME: "identical to CLOCK_MONOTONIC, except that it also includes any time that the
    system is suspended" (from memory)."""
    system = ThisSystem()

    before_s = time.clock_gettime(time.CLOCK_BOOTTIME)
    read_s = system.steady_s()

    assert system.counts_sleep
    assert before_s <= read_s <= time.clock_gettime(time.CLOCK_BOOTTIME)


def test_a_reader_put_to_sleep_between_the_two_clocks_sees_no_jump(hands: Hands) -> None:
    class Interrupted(Hands):
        sleeps = 0

        def wall_s(self) -> float:
            shown = super().wall_s()
            if self.sleeps:
                self.sleeps -= 1
                self.go_by(600)
            return shown

    hands = Interrupted(START)
    clock = Clock(system=hands)

    hands.sleeps = 1

    assert (clock.now(), clock.jumps()) == (START + 600 * SECOND, ())


def test_a_clock_nudged_by_a_moment_is_followed_without_a_word(hands: Hands) -> None:
    clock = Clock(system=hands)

    hands.set_by(1.5)

    assert (clock.now(), clock.jumps()) == (START + 1.5 * SECOND, ())


# A board that does not know the time


@pytest.mark.parametrize(
    "shown",
    [
        datetime(1970, 1, 1, tzinfo=UTC),
        datetime(2000, 1, 1, tzinfo=UTC),
        datetime(2036, 2, 7, 6, 28, 16, tzinfo=UTC),  # where NTP's era 0 ends (RFC 5905, section 6; from memory)
        datetime(2038, 1, 19, 3, 14, 8, tzinfo=UTC),  # where 31 bits of seconds end
        datetime(9999, 12, 31, 23, 59, 59, tzinfo=UTC),
    ],
)
def test_a_clock_that_cannot_be_right_is_not_followed(shown: datetime) -> None:
    hands = Hands(shown)
    clock = Clock(system=hands)

    hands.go_by(60)

    assert clock.now() == WRITTEN_AT + 60 * SECOND
    assert (clock.reading().is_lost, clock.reading().can_be) == (True, False)


@pytest.mark.parametrize("seconds", [-1e18, -62135596801.0, 253402300800.0, 1e18])
def test_a_clock_beyond_the_calendar_is_read_all_the_same(hands: Hands, seconds: float) -> None:
    clock = Clock(system=hands)

    hands.set_by(seconds)
    hands.go_by(1)

    assert abs(clock.now() - (START + SECOND)) < timedelta(milliseconds=1)
    assert not clock.reading().can_be


def test_a_board_that_is_behind_what_was_written_goes_on_from_there_until_it_finds_the_time() -> None:
    hands = Hands(datetime(1970, 1, 1, tzinfo=UTC))
    clock = Clock(system=hands).of_its_own()
    written_at = START + HOUR

    assert clock.not_before(written_at) == written_at
    hands.go_by(60)
    while_behind = clock.not_before(written_at)
    hands.set_to(START + 3 * HOUR)

    assert while_behind == written_at + 60 * SECOND
    assert clock.now() == START + 3 * HOUR
    assert clock.jumps() == (Jump(written_at + 60 * SECOND, START + 3 * HOUR),)
    assert not clock.reading().is_lost


def test_a_clock_a_little_behind_what_another_server_wrote_is_not_lost(hands: Hands) -> None:
    clock = Clock(system=hands)

    now = clock.not_before(START + 5 * SECOND)

    assert (now, clock.reading().is_lost) == (START + 5 * SECOND, False)


def test_a_clock_that_was_behind_is_not_believed_when_it_has_come_round_by_itself(hands: Hands) -> None:
    clock = Clock(system=hands)
    clock.not_before(START + 600 * SECOND)

    hands.go_by(3600)

    assert clock.now() == START + 4200 * SECOND
    assert not clock.fall_back(START + 600 * SECOND)
    assert clock.reading().is_lost


def test_a_clock_set_to_2036_in_the_middle_of_a_day_is_not_followed(hands: Hands) -> None:
    clock = Clock(system=hands)

    hands.set_to(datetime(2036, 3, 12, tzinfo=UTC))
    hands.go_by(60)
    wrong = clock.reading()
    hands.set_to(START + 60 * SECOND)

    assert (wrong.at, wrong.can_be, wrong.is_lost) == (START + 60 * SECOND, False, False)
    assert (clock.now(), clock.jumps(), clock.reading().can_be) == (START + 60 * SECOND, (), True)


@pytest.mark.parametrize(("rested", "now"), [(FARTHEST, START + FARTHEST), (FARTHEST + HOUR, START)])
def test_a_booth_may_rest_for_five_years(rested: timedelta, now: datetime) -> None:
    clock = Clock(system=Hands(START + rested))

    assert clock.not_before(START) == now
    assert (clock.reading().is_lost, clock.jumps()) == (now == START, ())


# Somebody says what time it is


def test_while_the_time_is_lost_somebody_can_say_it_and_the_wrong_clock_is_not_heard_any_more() -> None:
    hands = Hands(datetime(1970, 1, 1, tzinfo=UTC))
    clock = Clock(system=hands)
    clock.not_before(START)

    assert clock.set_on(START + HOUR)
    hands.go_by(60)

    assert clock.now() == START + HOUR + 60 * SECOND
    assert clock.jumps() == (Jump(START, START + HOUR),)
    assert (clock.reading().is_lost, clock.reading().is_by_hand) == (False, True)


def test_a_time_server_that_comes_later_is_believed_more_than_a_hand() -> None:
    hands = Hands(datetime(1970, 1, 1, tzinfo=UTC))
    clock = Clock(system=hands)
    clock.not_before(START)
    clock.set_on(START + HOUR)

    hands.set_to(START + 2 * HOUR)

    assert (clock.now(), clock.reading().is_by_hand) == (START + 2 * HOUR, False)


@pytest.mark.parametrize("ahead", [timedelta(0), -HOUR, FARTHEST + HOUR])
def test_a_hand_cannot_turn_time_back_or_far_ahead(ahead: timedelta) -> None:
    clock = Clock(system=Hands(datetime(1970, 1, 1, tzinfo=UTC)))
    clock.not_before(START)

    assert not clock.set_on(START + ahead)
    assert clock.now() == START


def test_a_clock_that_is_not_lost_is_set_by_nobody_here(hands: Hands) -> None:
    clock = Clock(system=hands)

    assert not clock.set_on(START + HOUR)
    assert clock.now() == START


# Set back


def test_time_falls_back_to_a_clock_that_was_set_back_when_nothing_was_written_since(hands: Hands) -> None:
    clock = Clock(system=hands)
    hands.set_by(-3500)
    hands.go_by(10)

    too_early = clock.fall_back(START)
    done = clock.fall_back(START - HOUR)

    assert (too_early, done) == (False, True)
    assert clock.now() == hands.wall_at


def test_time_does_not_fall_back_to_a_clock_that_cannot_be_right(hands: Hands) -> None:
    clock = Clock(system=hands)
    hands.set_to(datetime(1970, 1, 1, tzinfo=UTC))

    assert not clock.fall_back(None)
    assert clock.now() == START


# The demo's


def test_the_demos_clock_runs_as_fast_as_asked_and_skips_the_night(hands: Hands) -> None:
    clock = Clock(start_at=START, speed=10, system=hands)

    hands.go_by(6)
    evening = clock.now()
    clock.skip_to(START + 20 * HOUR)

    assert evening == START + 60 * SECOND
    assert clock.now() == START + 20 * HOUR


def test_a_clock_of_ones_own_is_never_wrong() -> None:
    clock = Clock(start_at=datetime(1999, 1, 1, tzinfo=UTC), system=Hands(START))

    now = clock.not_before(START)

    assert (now, clock.jumps()) == (START, ())
    assert (clock.reading().can_be, clock.reading().is_lost, clock.reading().system_at) == (True, False, START)

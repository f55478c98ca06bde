"""What time it is, when the system's clock is moved under the service."""

from __future__ import annotations

import time
from datetime import UTC, datetime, timedelta

import pytest

from portraitq.clock import Clock

START = datetime(2026, 6, 6, 17, 0, tzinfo=UTC)


class Hands:
    """The system's two clocks, moved by the test."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch) -> None:
        self.wall_s, self.monotonic_s = START.timestamp(), 1000.0
        monkeypatch.setattr(time, "time", lambda: self.wall_s)
        monkeypatch.setattr(time, "monotonic", lambda: self.monotonic_s)

    def go_by(self, seconds: float, *, jump_s: float = 0.0) -> None:
        self.monotonic_s += seconds
        self.wall_s += seconds + jump_s


@pytest.fixture
def hands(monkeypatch: pytest.MonkeyPatch) -> Hands:
    return Hands(monkeypatch)


def test_time_goes_by_as_the_system_says(hands: Hands) -> None:
    clock = Clock()

    hands.go_by(90)

    assert clock.now() == START + timedelta(seconds=90)


def test_a_clock_set_back_does_not_take_time_back(hands: Hands) -> None:
    clock = Clock()
    hands.go_by(10)
    before = clock.now()

    hands.go_by(5, jump_s=-3600)

    assert clock.now() == before + timedelta(seconds=5)


def test_a_sleep_under_a_closed_lid_is_followed(hands: Hands, caplog: pytest.LogCaptureFixture) -> None:
    clock = Clock()

    hands.go_by(1, jump_s=1800)

    assert clock.now() == START + timedelta(seconds=1801)
    assert "moved on by 1800 s" in caplog.text


def test_a_clock_that_is_behind_is_set_on_until_the_system_has_come_round(hands: Hands) -> None:
    system = Clock()
    clock = system.of_its_own()

    clock.skip_to(START + timedelta(hours=1))
    hands.go_by(60)
    while_behind = clock.now()
    hands.go_by(60, jump_s=7200)

    assert while_behind == START + timedelta(hours=1, seconds=60)
    assert clock.now() == system.now() == START + timedelta(hours=2, seconds=120)


def test_the_demos_clock_runs_as_fast_as_asked_and_skips_the_night(hands: Hands) -> None:
    clock = Clock(start_at=START, speed=10)

    hands.go_by(6)
    evening = clock.now()
    clock.skip_to(START + timedelta(hours=20))

    assert evening == START + timedelta(seconds=60)
    assert clock.now() == START + timedelta(hours=20)

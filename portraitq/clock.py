"""What time it is: the system's clock, which never goes back by itself while the service runs.

Small boards find the right time minutes after they start, laptops sleep under a closed lid, and people set clocks. A
steady clock that nobody can set says how much time went by, sleep among it; so a difference between what went by and
what the system's clock shows is that clock being set, and is told as a `Jump` once. Set on, it is followed; set back,
time goes on from where it was. A clock that cannot be right (before this program was written, or years after all that
is known) is not followed at all: time goes on from what is known until it is right, or somebody says what time it is.
"""

from __future__ import annotations

import logging
import sys
import threading
import time
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Protocol

log = logging.getLogger(__name__)

WORTH_SAYING_S = 60.0  # nobody at a booth notices a clock that is wrong by less
JUMP_S = 2.0  # clocks are nudged by less than this all day long
WRITTEN_AT = datetime(2026, 1, 1, tzinfo=UTC)  # no right clock that runs this program shows less
FARTHEST = timedelta(days=5 * 366)  # no booth rests for longer; a battery clock gone wrong shows 2036, 2038 or 2099
TOGETHER_S = 0.05  # two clocks read further apart than this say nothing of each other
READS = 20
FIRST, LAST = datetime(2, 1, 1, tzinfo=UTC), datetime(9998, 12, 31, tzinfo=UTC)


class System(Protocol):
    """The two clocks of a system.

    counts_sleep  whether the steady one goes on while the system sleeps; else sleep cannot be told from a clock set on
    """

    counts_sleep: bool

    def wall_s(self) -> float:
        """Seconds since 1970 as the system says; people and time servers set it."""

    def steady_s(self) -> float:
        """Seconds since some moment; nobody can set it."""


class ThisSystem:
    """The clocks of the computer this runs on.

    Linux's CLOCK_MONOTONIC stands still during sleep and CLOCK_BOOTTIME does not (clock_gettime(2)); on macOS it is
    CLOCK_MONOTONIC_RAW that goes on (clock_gettime(3)), on Windows the counters under `time.monotonic`. Elsewhere
    nothing is sure, and a clock that moved on is taken for sleep.
    """

    def __init__(self) -> None:
        named = {"linux": "CLOCK_BOOTTIME", "darwin": "CLOCK_MONOTONIC_RAW"}.get(sys.platform, "")
        self._clock: int | None = getattr(time, named, None) if named else None
        self.counts_sleep = self._clock is not None or sys.platform == "win32"

    def wall_s(self) -> float:
        """Seconds since 1970 as the system says."""
        return time.time()

    def steady_s(self) -> float:
        """Seconds since some moment that nobody can set."""
        return time.monotonic() if self._clock is None else time.clock_gettime(self._clock)


@dataclass(frozen=True, slots=True)
class Jump:
    """The system's clock was set on: `from_at` is the last instant by the old clock, `to_at` the first by the new."""

    from_at: datetime
    to_at: datetime


@dataclass(frozen=True, slots=True)
class Reading:
    """How time is told at one moment.

    at          the booth's time
    system_at   what the system's clock shows
    can_be      whether that can be right, by all that is known
    is_lost     the booth's time went on from what was last known, and nobody knows how much is missing
    is_by_hand  somebody said what time it is, and the system's clock was not set since
    """

    at: datetime
    system_at: datetime
    can_be: bool = True
    is_lost: bool = False
    is_by_hand: bool = False


class Clock:
    """The time now, in UTC, never earlier than it was before unless `fall_back` says so.

    `speed` makes it run faster and `start_at` begin elsewhere, for the demo and tests; then no system is followed.
    """

    def __init__(self, start_at: datetime | None = None, speed: float = 1.0, system: System | None = None) -> None:
        self._lock = threading.Lock()
        self._system: System = system or ThisSystem()
        self._follows_system = start_at is None and speed == 1.0
        self._latest = WRITTEN_AT  # the latest instant that is known to be past
        self._wrong_offset_s: float | None = None  # how the system's clock is set while that is known to be wrong
        self._is_lost = False
        self._jumps: list[Jump] = []
        wall_at, self._read_s, offset_s = self._read()
        self._said = start_at or wall_at
        self.speed = speed
        if self._follows_system and not self._can_be(wall_at):
            self._said = WRITTEN_AT
            self._is_lost, self._wrong_offset_s = True, offset_s

    def now(self) -> datetime:
        """The instant now."""
        with self._lock:
            return self._now()

    def of_its_own(self) -> Clock:
        """A clock that can be set on without setting others on; one that is not the system's stays what it is."""
        return Clock(system=self._system) if self._follows_system else self

    def skip_to(self, at: datetime) -> None:
        """Go straight on to `at`, unless it is past, and follow no system from then on: for the demo and tests."""
        with self._lock:
            self._said, self._follows_system = max(self._now(), at), False

    def not_before(self, at: datetime) -> datetime:
        """Now, which is no earlier than `at`, for that was written down already.

        Where it would be by more than `WORTH_SAYING_S`, the time is lost: how far the system's clock is behind, nobody
        knows until somebody sets it.
        """
        with self._lock:
            if at > self._latest:
                self._know(at)
            now = self._now()
            if now >= at:
                return now
            if self._follows_system and (at - now).total_seconds() > WORTH_SAYING_S:
                log.warning("The clock is %s behind what was written down already: set it right.", at - now)
                self._is_lost, self._wrong_offset_s = True, self._read()[2]
            self._said = at
            return at

    def set_on(self, at: datetime) -> bool:
        """Somebody says that it is `at`, while the time is lost; whether that was followed.

        It is not where it is past, or cannot be. What it takes out of what is measured is a jump's.
        """
        with self._lock:
            now = self._now()
            if not self._is_lost or not now < at <= self._latest + FARTHEST:
                return False
            self._jump(at)
            self._is_lost, self._wrong_offset_s = False, self._read()[2]
            return True

    def fall_back(self, no_further_than: datetime | None) -> bool:
        """Back to the system's clock where that was set back and can be right; whether that was done.

        no_further_than  not where the system's clock is before it; None is no limit
        """
        with self._lock:
            now, (wall_at, _, _) = self._now(), self._read()
            ahead_s = (now - wall_at).total_seconds()
            if not self._is_to_be_followed(wall_at) or ahead_s <= JUMP_S:
                return False
            if no_further_than is not None and wall_at < no_further_than:
                return False
            log.warning("Back by %.0f s to the system's clock, which was set back.", ahead_s)
            self._said = wall_at
            return True

    def reading(self) -> Reading:
        """How time is told just now."""
        with self._lock:
            now, (wall_at, _, _) = self._now(), self._read()
            return Reading(
                at=now,
                system_at=wall_at if self._follows_system else now,
                can_be=not self._follows_system or self._can_be(wall_at),
                is_lost=self._is_lost,
                is_by_hand=self._wrong_offset_s is not None and not self._is_lost,
            )

    def jumps(self) -> tuple[Jump, ...]:
        """The jumps that were not forgotten yet, the oldest first."""
        with self._lock:
            return tuple(self._jumps)

    def forget(self, jump: Jump) -> None:
        """What was to be done about `jump` is done."""
        with self._lock:
            self._jumps.remove(jump)

    def _now(self) -> datetime:
        wall_at, read_s, offset_s = self._read()
        self._said += timedelta(seconds=(read_s - self._read_s) * self.speed)
        self._read_s = read_s
        if self._wrong_offset_s is not None and abs(offset_s - self._wrong_offset_s) > JUMP_S:
            self._wrong_offset_s = None  # somebody set it since
        if self._is_to_be_followed(wall_at):
            self._follow(wall_at)
        return self._said

    def _know(self, at: datetime) -> None:
        """That `at` is past. A clock that seemed too far ahead to be right may be near enough to that."""
        self._now()
        wall_at = self._read()[0]
        seemed_wrong, self._latest = wall_at > self._latest + FARTHEST, at
        if self._is_lost and seemed_wrong and self._can_be(wall_at):
            self._said, self._is_lost, self._wrong_offset_s = max(self._said, wall_at), False, None

    def _is_to_be_followed(self, wall_at: datetime) -> bool:
        return self._follows_system and self._wrong_offset_s is None and self._can_be(wall_at)

    def _follow(self, wall_at: datetime) -> None:
        self._is_lost = False
        ahead_s = (wall_at - self._said).total_seconds()
        if ahead_s > JUMP_S and self._system.counts_sleep:
            self._jump(wall_at)
        elif ahead_s > 0:
            self._said = wall_at

    def _jump(self, to_at: datetime) -> None:
        log.warning("The clock was set on by %.0f s; following it.", (to_at - self._said).total_seconds())
        self._jumps.append(Jump(self._said, to_at))
        self._said = to_at

    def _can_be(self, at: datetime) -> bool:
        return WRITTEN_AT <= at <= self._latest + FARTHEST

    def _read(self) -> tuple[datetime, float, float]:
        """Both clocks at one moment, and how far apart they are set, seconds.

        Whoever is put to sleep between the two reads looks again.
        """
        for _ in range(READS):
            before_s, wall_s, after_s = self._system.steady_s(), self._system.wall_s(), self._system.steady_s()
            if after_s - before_s <= TOGETHER_S:
                break
        return _instant(wall_s), after_s, wall_s - after_s


def _instant(wall_s: float) -> datetime:
    """`wall_s` seconds after 1970; the first or last that every zone can write, where that is beyond them."""
    try:
        return min(max(datetime.fromtimestamp(wall_s, UTC), FIRST), LAST)
    except (OverflowError, ValueError, OSError):
        return FIRST if wall_s < 0 else LAST

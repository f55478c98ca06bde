"""What time it is: the system's clock, which never goes back while the service runs.

Small boards find the right time minutes after they start, and laptops sleep under a closed lid. Between two readings
the monotonic clock says how much time went by; where the system's clock has moved on further it is followed (sleep, or
a board that found a time server), and where it was set back, time goes on from where it was.
"""

from __future__ import annotations

import logging
import threading
import time
from datetime import UTC, datetime, timedelta

log = logging.getLogger(__name__)

JUMP_S = 2.0  # clocks are nudged by less than this all day long


class Clock:
    """The time now, in UTC, never earlier than it was before. `speed` makes it run faster, for the demo and tests."""

    def __init__(self, start_at: datetime | None = None, speed: float = 1.0) -> None:
        self._lock = threading.Lock()
        self._follows_system = start_at is None and speed == 1.0
        self._said = start_at or datetime.fromtimestamp(time.time(), UTC)
        self._read_s = time.monotonic()
        self.speed = speed

    def now(self) -> datetime:
        """The instant now."""
        with self._lock:
            read_s = time.monotonic()
            joined = self._said + timedelta(seconds=(read_s - self._read_s) * self.speed)
            if self._follows_system:
                joined = self._with_the_system(joined)
            self._said, self._read_s = joined, read_s
            return joined

    def of_its_own(self) -> Clock:
        """A clock that can be set on without setting others on; one that is not the system's stays what it is."""
        return Clock() if self._follows_system else self

    def skip_to(self, at: datetime) -> None:
        """Go straight on to `at`, unless it is past; the system's clock is followed again once it is later."""
        with self._lock:
            self._said = max(self._said, at)

    def _with_the_system(self, joined: datetime) -> datetime:
        system = datetime.fromtimestamp(time.time(), UTC)
        ahead_s = (system - joined).total_seconds()
        if ahead_s > JUMP_S:
            log.warning("The system's clock moved on by %.0f s; following it.", ahead_s)
            return system
        if ahead_s < -JUMP_S:
            log.debug("The system's clock is %.0f s behind; time goes on from where it was.", -ahead_s)
            return joined
        return max(joined, system) if ahead_s > 0 else joined

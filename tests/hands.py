"""A computer's two clocks in the hands of a test: time goes by, somebody sets the clock, the lid is closed."""

from __future__ import annotations

from datetime import UTC, datetime


class Hands:
    """The clocks of `portraitq.clock.System`; `true_s` is what really went by."""

    def __init__(self, at: datetime, *, counts_sleep: bool = True) -> None:
        self.counts_sleep = counts_sleep
        self._wall_s, self._steady_s, self.true_s = at.timestamp(), 1000.0, 0.0

    def wall_s(self) -> float:
        """What the computer's clock shows."""
        return self._wall_s

    def steady_s(self) -> float:
        """What the clock shows that nobody can set."""
        return self._steady_s

    def go_by(self, seconds: float, *, asleep: bool = False) -> None:
        """Time goes by."""
        self._wall_s += seconds
        self.true_s += seconds
        self._steady_s += seconds if self.counts_sleep or not asleep else 0.0

    def set_by(self, seconds: float) -> None:
        """Somebody, or a time server, sets the computer's clock on, or back."""
        self._wall_s += seconds

    def set_to(self, at: datetime) -> None:
        """Somebody sets the computer's clock to that."""
        self._wall_s = at.timestamp()

    @property
    def wall_at(self) -> datetime:
        """What the computer's clock shows, as an instant."""
        return datetime.fromtimestamp(self._wall_s, UTC)

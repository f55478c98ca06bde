"""Is the clock to be believed, and can times be told by it? What is wrong with it; the words are the web's.

The booth's time may be right although the computer's clock is not (somebody set it wrong in the middle of the day, or
said what time it is), and wrong although the clock is right by now (it had been ahead, and what was written down keeps
the booth's time from going back).
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from portraitq.clock import WORTH_SAYING_S, WRITTEN_AT, Reading

EARLY, LATE, BEHIND, AHEAD, BY_HAND = "early", "late", "behind", "ahead", "by hand"
TELLABLE_S = 900.0  # a customer who is told a time this much too late waits, and finds the portrait finished


@dataclass(frozen=True, slots=True)
class Doubt:
    """What is wrong with the clock.

    why         EARLY or LATE: what the computer's clock shows cannot be; BEHIND the booth's last line;
                AHEAD: it was set back, and the booth's time runs ahead of it; BY_HAND: somebody said what time it is
    system_at   what the computer's clock shows
    booth_at    the booth's time
    last_at     the booth's last line; None before the first
    tells_time  whether times told by the booth's time are fit to be told
    """

    why: str
    system_at: datetime
    booth_at: datetime
    last_at: datetime | None
    tells_time: bool

    @property
    def ahead_s(self) -> float:
        """Seconds by which the booth's time is ahead of the computer's clock; negative where it is behind."""
        return (self.booth_at - self.system_at).total_seconds()


def doubt(reading: Reading, last_at: datetime | None) -> Doubt | None:
    """What is wrong with a clock that reads so, at a booth whose last line is of `last_at`; None where nothing is."""

    def found(why: str, tells_time: bool) -> Doubt:
        return Doubt(why, reading.system_at, reading.at, last_at, tells_time)

    ahead_s = (reading.at - reading.system_at).total_seconds()
    if reading.is_by_hand:
        return found(BY_HAND, True)
    if not reading.can_be:
        return found(EARLY if reading.system_at < WRITTEN_AT else LATE, not reading.is_lost)
    if reading.is_lost:
        return found(BEHIND, False)
    if ahead_s > WORTH_SAYING_S:
        return found(AHEAD, ahead_s <= TELLABLE_S)
    return None

"""Where it is morning just now, for booths that follow the real clock: no test meets closing time or midnight."""

from __future__ import annotations

from datetime import UTC, datetime

MORNING_H = 10


def where_it_is_morning() -> str:
    """A time zone in which it is about ten, with the whole of a first day to go."""
    ahead_h = MORNING_H - datetime.now(UTC).hour  # noqa: TID251  (the service reads the same clock)
    ahead_h += 24 if ahead_h < -12 else 0
    return f"Etc/GMT{-ahead_h:+d}" if ahead_h else "Etc/UTC"  # their sign is the other way round

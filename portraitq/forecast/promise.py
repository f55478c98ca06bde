"""Which time is told: the quantile the booth wants to stand by, rounded up to a time that is easily said."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import NDArray

LEVELS = (0.05, 0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 0.95)
MICROSECOND = timedelta(microseconds=1)


def round_up(at: datetime, round_to_s: float, zone: ZoneInfo) -> datetime:
    """`at`, or the first instant after it that the booth's clocks show as a multiple of `round_to_s` after midnight.

    >>> from datetime import UTC
    >>> round_up(datetime(2026, 6, 6, 14, 36, 1, tzinfo=UTC), 300, ZoneInfo("Europe/Lisbon")).isoformat()
    '2026-06-06T14:40:00+00:00'
    """
    local = at.astimezone(zone).replace(tzinfo=None)
    since_midnight = (local - local.replace(hour=0, minute=0, second=0, microsecond=0)) // MICROSECOND
    grid = max(round(round_to_s * 1_000_000), 1)
    return at + MICROSECOND * (-since_midnight % grid)


def promise(
    ready_s: NDArray[np.float64], confidence: float, round_to_s: float, now: datetime, zone: ZoneInfo
) -> datetime:
    """The promise at `confidence` for a portrait that is ready `ready_s` after `now`; never before now.

    ready_s  (n,) sorted, one a scenario
    """
    return round_up(now + timedelta(seconds=max(at_level(ready_s, confidence), 0.0)), round_to_s, zone)


def at_level(ready_s: NDArray[np.float64], level: float) -> float:
    """The `level` quantile of sorted scenarios (Hyndman & Fan's type 7)."""
    place = level * (len(ready_s) - 1)
    below = int(place)
    above = min(below + 1, len(ready_s) - 1)
    return float(ready_s[below] + (place - below) * (ready_s[above] - ready_s[below]))


def chance_kept(ready_s: NDArray[np.float64], ready_by: datetime, now: datetime) -> float:
    """The share of scenarios (sorted) in which it is ready by then."""
    return float(np.searchsorted(ready_s, (ready_by - now).total_seconds(), side="right")) / len(ready_s)


def quantiles(ready_s: NDArray[np.float64], now: datetime) -> Mapping[float, datetime]:
    """The journal's eleven levels as instants."""
    return {level: now + timedelta(seconds=at_level(ready_s, level)) for level in LEVELS}

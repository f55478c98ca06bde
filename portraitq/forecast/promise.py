"""Which time is told: the quantile the booth wants to stand by, rounded up to a time that is easily said."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import NDArray

LEVELS = (0.05, 0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 0.95)
Ordered = NDArray[np.floating[Any]]  # seconds after now, one a scenario, sorted
MICROSECOND = timedelta(microseconds=1)


def round_up(at: datetime, round_to_s: float, zone: ZoneInfo) -> datetime:
    """`at`, or the first instant after it that the booth's clocks show as a multiple of `round_to_s` after midnight.

    >>> from datetime import UTC
    >>> round_up(datetime(2026, 6, 6, 14, 36, 1, tzinfo=UTC), 300, ZoneInfo("Europe/Lisbon")).isoformat()
    '2026-06-06T14:40:00+00:00'
    """
    return at + MICROSECOND * (-_since_midnight(at, zone) % _grid(round_to_s))


def round_down(at: datetime, round_to_s: float, zone: ZoneInfo) -> datetime:
    """The last instant up to `at` that `round_up` leaves as it is: what is ready by then is promised by `at`.

    >>> from datetime import UTC
    >>> round_down(datetime(2026, 6, 6, 14, 36, 1, tzinfo=UTC), 300, ZoneInfo("Europe/Lisbon")).isoformat()
    '2026-06-06T14:35:00+00:00'
    """
    since_midnight, grid = _since_midnight(at, zone), _grid(round_to_s)
    return at - MICROSECOND * (since_midnight % grid)


def promise(ready_s: Ordered, confidence: float, round_to_s: float, now: datetime, zone: ZoneInfo) -> datetime:
    """The promise at `confidence` for a portrait that is ready `ready_s` after `now`; never before now.

    ready_s  (n,) sorted, one a scenario
    """
    return round_up(now + timedelta(seconds=max(at_level(ready_s, confidence), 0.0)), round_to_s, zone)


def _since_midnight(at: datetime, zone: ZoneInfo) -> int:
    """Microseconds that the booth's clocks show after midnight."""
    local = at.astimezone(zone).replace(tzinfo=None)
    return (local - local.replace(hour=0, minute=0, second=0, microsecond=0)) // MICROSECOND


def _grid(round_to_s: float) -> int:
    return max(round(round_to_s * 1_000_000), 1)


def at_level(ready_s: Ordered, level: float) -> float:
    """The `level` quantile of sorted scenarios (Hyndman & Fan's type 7)."""
    place = level * (len(ready_s) - 1)
    below = int(place)
    low_s, high_s = float(ready_s[below]), float(ready_s[min(below + 1, len(ready_s) - 1)])
    return low_s + (place - below) * (high_s - low_s)


def at_levels(ready_s: Ordered, levels: NDArray[np.float64]) -> NDArray[np.float64]:
    """As `at_level` for many tickets and several levels at once: (tickets, n), each sorted, and (tickets, levels)."""
    place = levels * (ready_s.shape[-1] - 1)
    below = place.astype(np.intp)
    low_s = np.take_along_axis(ready_s, below, axis=-1).astype(np.float64)
    high_s = np.take_along_axis(ready_s, np.minimum(below + 1, ready_s.shape[-1] - 1), axis=-1)
    return np.asarray(low_s + (place - below) * (high_s - low_s))


def chance_kept(ready_s: Ordered, ready_by: datetime, now: datetime) -> float:
    """The share of scenarios (sorted) in which it is ready by then."""
    return float(np.searchsorted(ready_s, (ready_by - now).total_seconds(), side="right")) / len(ready_s)

"""Which suggestions the booth's people put away: they are not shown again this season.

A season is over when the booth has not traded for SEASON_GAP; what was put away in an earlier one may be shown anew.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from datetime import date, timedelta
from typing import TYPE_CHECKING

from portraitq.store import settings

if TYPE_CHECKING:
    from sqlalchemy import Connection

SEASON_GAP = timedelta(days=60)  # from the last market of one season to the first of the next
MOST_KEPT = 50  # the oldest are forgotten first


def of(connection: Connection, booth: str, days: Sequence[str]) -> dict[str, str]:
    """What was put away in the season of the last of `days`: key -> on which day of trading.

    days  the booth's days of trading, in order
    """
    kept = _kept(connection, booth)
    since = season_begins(days)
    return {key: day for key, day in kept.items() if since is not None and day >= since}


def put(connection: Connection, booth: str, key: str, day: str) -> None:
    """Put the suggestion of that key away, on that day of trading."""
    kept = {one: then for one, then in _kept(connection, booth).items() if one != key}
    newest = [*kept.items(), (key, day)][-MOST_KEPT:]
    settings.put(connection, settings.key("put-away", booth), json.dumps(dict(newest)))


def take_out(connection: Connection, booth: str) -> None:
    """Let everything that was put away be shown again."""
    settings.put(connection, settings.key("put-away", booth), "{}")


def season_begins(days: Sequence[str]) -> str | None:
    """The first day of the season that the last of `days` belongs to; None before the first day of all.

    >>> season_begins(["2025-09-20", "2026-04-04", "2026-05-02"])
    '2026-04-04'
    """
    first = None
    for day in reversed(days):
        if first is not None and date.fromisoformat(first) - date.fromisoformat(day) > SEASON_GAP:
            break
        first = day
    return first


def _kept(connection: Connection, booth: str) -> dict[str, str]:
    found = json.loads(settings.get(connection, settings.key("put-away", booth)) or "{}")
    return {str(key): str(day) for key, day in found.items()} if isinstance(found, dict) else {}

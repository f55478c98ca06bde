"""The cash counted each day, kept beside the journal: the last count of a day stands.

A count is no event of the journal: no quote and no figure of another day depends on it. It holds amounts and one line
of note, nothing of any customer, so it stays when personal data are erased.
"""

from __future__ import annotations

import logging
from typing import TYPE_CHECKING

from pydantic import ValidationError

from portraitq.daybook.cash import CashCount
from portraitq.store import settings

if TYPE_CHECKING:
    from sqlalchemy import Connection

log = logging.getLogger(__name__)


def of_day(connection: Connection, booth: str, day: str) -> CashCount | None:
    """The last count of that day; None where nobody counted, or what was written cannot be read any more."""
    kept = settings.get(connection, settings.key(f"cash:{day}", booth))
    if kept is None:
        return None
    try:
        return CashCount.model_validate_json(kept)
    except ValidationError as wrong:  # of another version: a day without its count is better than no day
        log.warning("The cash count of %s on %s cannot be read, so it is left out: %s", booth, day, wrong)
        return None


def put(connection: Connection, booth: str, day: str, count: CashCount) -> None:
    """Keep the count of that day, in place of an earlier one."""
    settings.put(connection, settings.key(f"cash:{day}", booth), count.model_dump_json())
    settings.put(connection, settings.key("cash:float", booth), str(count.began_with))


def last_float(connection: Connection, booth: str) -> int | None:
    """The float of the last count, which the next day most likely begins with too."""
    kept = settings.get(connection, settings.key("cash:float", booth))
    return int(kept) if kept is not None else None

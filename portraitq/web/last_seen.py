"""When each device was last here: to the minute for those in use, without a write for every request.

A live connection counts: a counter that is only looked at is in use.
"""

from __future__ import annotations

import logging
import threading
import time
from collections.abc import Collection
from datetime import datetime
from typing import TYPE_CHECKING

from portraitq.store.store import StoreError

if TYPE_CHECKING:
    from portraitq.store.store import Store

NOTED_EVERY_S = 50.0  # so that a list that tells minutes is right
log = logging.getLogger(__name__)


class LastSeen:
    """Writes down who was here, each device at most once in `NOTED_EVERY_S`."""

    def __init__(self) -> None:
        self._noted_s: dict[str, float] = {}
        self._lock = threading.Lock()

    def note(self, store: Store, ids: Collection[str], now: datetime) -> None:
        """These devices are here. A store that cannot be written keeps nobody out: it is logged and tried again."""
        from portraitq.store import devices

        now_s = time.monotonic()
        with self._lock:
            due = [id for id in ids if now_s - self._noted_s.get(id, float("-inf")) >= NOTED_EVERY_S]
            self._noted_s.update(dict.fromkeys(due, now_s))
        if not due:
            return
        try:
            with store.writing() as connection:
                devices.seen(connection, due, now)
        except StoreError as silent:
            log.warning("when devices were seen could not be written down: %s", silent)

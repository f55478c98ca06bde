"""The back-ups that the service makes by itself: when one is due, how many stay, that erasing reaches them.

They stand in `backups/` inside the data folder, one a date, each a whole store by itself. A thread of their own makes
them; no tap waits for it. How one is written is `store/backup.py`'s, how erasing reaches it `store/erased_too.py`'s.
"""

from __future__ import annotations

import logging
import os
import shutil
import tempfile
import threading
import time
from collections.abc import Callable, Iterable
from contextlib import ExitStack, suppress
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import IO

from portraitq.core.booth import Booth
from portraitq.store import backup, erased_too
from portraitq.store.backup import ENDING, Unwanted, Written
from portraitq.store.store import Store, StoreError

EVERY = timedelta(hours=24)
AFTER_CLOSE = timedelta(minutes=2)  # by then what the close of the day erases is gone from the store itself
DAILY, DAYS_KEPT = "portraitq-", 7
BEFORE, BEFORE_KEPT, BEFORE_FOR = "before-", 3, timedelta(days=7)  # what an upgrade or `restore` put aside
TIMES_FREE = 2.0  # so often the store's size must be free: the new one beside the old, and room for the evening
LOOK_EVERY_S, TRY_AGAIN_S, TELL_EVERY_S = 60.0, 600.0, 3600.0
SERVERS_OWN = "This booth is kept on a database server: back it up with the server's own tools, such as pg_dump."
log = logging.getLogger(__name__)


@dataclass(frozen=True, slots=True)
class BackUp:
    """A back-up in the folder."""

    file: Path
    made_at: datetime
    size_bytes: int

    @property
    def name(self) -> str:
        """Its name among the others."""
        return self.file.name


def is_due(made_at: datetime | None, closed_at: datetime | None, now: datetime) -> bool:
    """Whether a back-up is to be made now: once a day, at best soon after the day's close.

    made_at    when the last one was made, None where there is none; one of the future is by a clock that was wrong
    closed_at  when a day of trading was last closed
    """
    if made_at is None or abs(now - made_at) >= EVERY:
        return True
    return closed_at is not None and made_at < closed_at + AFTER_CLOSE <= now


class BackUps:
    """The back-ups of one store. Any number of threads may use it; `start` lets it work by itself until `close`."""

    def __init__(self, store: Store, now: Callable[[], datetime], booths: Callable[[], Iterable[Booth]]) -> None:
        self._store, self._now, self._booths = store, now, booths
        self._not_made = self._not_erased = ""
        self._closed = threading.Event()
        self._thread: threading.Thread | None = None
        self._try_again_s = self._told_s = float("-inf")

    @property
    def source(self) -> Path | None:
        """The store's file; None where it is on a server, which makes its own back-ups."""
        return Path(self._store.engine.url.database or "") if self._store.is_sqlite else None

    @property
    def trouble(self) -> str:
        """Why the last try to make one, or to erase in them, failed; "" when neither did."""
        return " ".join(said for said in (self._not_made, self._not_erased) if said)

    def listed(self) -> list[BackUp]:
        """The back-ups that the service made, newest first; last those of the future, by a clock that was wrong."""
        now = self._now()
        return sorted(in_folder(self._folder()), key=lambda one: one.made_at - now >= EVERY)

    def make(self) -> Written:
        """Make one now, in the place of an earlier one of this date; StoreError with a sentence when it cannot be."""
        source, now = self._source(), self._now()
        zone = next((booth.zone for booth in self._booths()), UTC)
        name = f"{DAILY}{now.astimezone(zone).date().isoformat()}{ENDING}"
        try:
            made = backup.write_among(
                source,
                name,
                times_free=TIMES_FREE,
                folds=False,  # line by line it is the journal that this service has folded; again would slow the taps
                is_wanted=lambda: not self._closed.is_set(),
            )
            os.utime(made.file, (now.timestamp(), now.timestamp()))
        except StoreError as no:
            self._not_made = "" if isinstance(no, Unwanted) else str(no)
            raise
        self._not_made = ""
        self._store.erased.set()  # what was erased between the copy and its name
        self._make_room(now)
        return made

    def erase_too(self) -> None:
        """Erase in every back-up what is erased in the store; StoreError when one of them could not be changed."""
        source, failed = self._source(), list[StoreError]()
        if not (folder := self._folder()).is_dir():
            return
        with backup.in_turn(folder):
            for file in sorted(folder.glob(f"*{ENDING}")):
                try:
                    erased_too.erase(file, source)
                except StoreError as no:
                    failed += [no] if file.exists() else []  # somebody took it away meanwhile
        self._not_erased = f"What was erased may still stand in a back-up: {failed[0]}" if failed else ""
        if failed:
            raise StoreError(self._not_erased)

    def opened(self, name: str) -> IO[bytes]:
        """A copy of one of `listed()` to send somewhere slowly, while the file itself may change; nobody sees its name.

        LookupError when there is none of that name, StoreError when the disk has no room for it.
        """
        one = next((one for one in self.listed() if one.name == name), None)
        if one is None:
            raise LookupError(name)
        try:
            with backup.in_turn(self._folder()), one.file.open("rb") as kept, ExitStack() as half:
                copy = half.enter_context(tempfile.TemporaryFile(dir=self._folder()))
                shutil.copyfileobj(kept, copy, 2**20)
                copy.seek(0)
                half.pop_all()  # whoever asked closes it
        except OSError as wrong:
            raise StoreError(f"{name} could not be copied to be sent ({wrong.strerror}).") from wrong
        return copy

    def start(self, daily: bool = True) -> None:
        """Keep them from now on in a thread: erase in them, and make one each day where `daily`."""
        if self.source is not None and self._thread is None:
            self._thread = threading.Thread(target=self._keep, args=(daily,), name="back-ups", daemon=True)
            self._thread.start()

    def close(self) -> None:
        """Stop; one that is being written is given up."""
        self._closed.set()
        self._store.erased.set()
        if self._thread is not None:
            self._thread.join(timeout=5)

    def _keep(self, daily: bool) -> None:
        while not self._closed.is_set():
            self._without_end(self._follow)
            if daily:
                self._without_end(self._make_if_due)
            self._store.erased.wait(LOOK_EVERY_S)

    def _without_end(self, work: Callable[[], None]) -> None:
        """Do it; what fails is told once an hour and tried again, for the thread goes on whatever happens."""
        try:
            work()
        except Unwanted:
            return
        except StoreError as no:
            if time.monotonic() - self._told_s >= TELL_EVERY_S:
                self._told_s = time.monotonic()
                log.error("The back-ups are not as they should be; it is tried again: %s", no)
        except Exception:
            log.exception("Looking after the back-ups went wrong; the next round tries again.")
            self._closed.wait(LOOK_EVERY_S)

    def _follow(self) -> None:
        """Erase in the back-ups where something was erased since; what fails is tried again the next minute."""
        if not self._store.erased.is_set():
            return
        self._store.erased.clear()
        try:
            self.erase_too()
        except StoreError:
            self._closed.wait(LOOK_EVERY_S)
            self._store.erased.set()
            raise

    def _make_if_due(self) -> None:
        if time.monotonic() < self._try_again_s or not self._is_due():
            return
        try:
            self.make()
        finally:  # one that was made, too: a clock that is wrong must not fill the disk with them
            self._try_again_s = time.monotonic() + TRY_AGAIN_S

    def _is_due(self) -> bool:
        booths = list(self._booths())
        if not booths:
            return False
        closed_at = max((one.days[-1].closed_at for one in booths if one.days and one.days[-1].closed_at), default=None)
        last = next(iter(self.listed()), None)
        return is_due(last.made_at if last else None, closed_at, self._now())

    def _make_room(self, now: datetime) -> None:
        """Take away the oldest of the dated ones, and what an upgrade or `restore` put aside long ago."""
        aside = in_folder(self._folder(), BEFORE)
        old = [one for place, one in enumerate(aside) if place >= BEFORE_KEPT or now - one.made_at > BEFORE_FOR]
        for one in (*self.listed()[DAYS_KEPT:], *old):
            backup.remove(one.file)

    def _source(self) -> Path:
        if self.source is None:
            raise StoreError(SERVERS_OWN)
        return self.source

    def _folder(self) -> Path:
        return (self.source or Path()).parent / backup.FOLDER


def in_folder(folder: Path, begins: str = DAILY) -> list[BackUp]:
    """The back-ups in that folder whose names begin so, newest first."""
    found = []
    for file in folder.glob(f"{begins}*{ENDING}"):
        with suppress(FileNotFoundError):  # it made way for a newer one meanwhile
            looks = file.stat()
            found.append(BackUp(file, datetime.fromtimestamp(looks.st_mtime, UTC), looks.st_size))
    return sorted(found, key=lambda one: one.made_at, reverse=True)

"""One service to a store: whoever serves it, or puts another database in its place, holds it alone.

The system keeps the lock of a folder and lets go of it when the last process that holds it has ended, however it ended;
so no file that was left behind stops anybody. A database on a server is locked by the server, for as long as the
connection that asked for it stands. What only reads, or writes small things in transactions, needs no lock: the
database orders it beside the service.
"""

from __future__ import annotations

import logging
import os
import socket
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager, suppress
from pathlib import Path
from typing import Any

from filelock import FileLock, Timeout
from sqlalchemy.engine import URL

from portraitq.store import postgresql
from portraitq.store.store import StoreError, make_folder, shown_address, url_of

FILE_NAME = "portraitq.lock"  # it stays where it is: taking it away would let in two who opened it before and after
WAIT_S = 2.0  # so long the worker of a service that was killed may still need to notice
LOOK_EVERY_S = 1.0
TRY_AGAIN_S = 5.0
KeepOn = Callable[[threading.Event], None]
log = logging.getLogger(__name__)


class InUse(StoreError):
    """Another process holds this store."""


@contextmanager
def alone_in(where: Path | str, wait_s: float = WAIT_S) -> Iterator[KeepOn | None]:
    """Hold the store at `where` while the block runs; processes forked meanwhile hold it until they end.

    Gives what is to run, in a thread of the process that serves, until the event is set, so that a database is held
    again after its server was away; None where nothing need be done.
    Raises InUse when another process holds it for longer than `wait_s`, StoreError when it cannot be reached.
    """
    if isinstance(where, str) and "://" in where:
        url = url_of(where)
        if url.get_backend_name() != "sqlite":
            with _Held(url, wait_s).held() as keep_on:
                yield keep_on
            return
        if not url.database:  # one in memory, that nobody else can have
            yield None
            return
        where = Path(url.database).parent
    folder = Path(where)
    make_folder(folder)
    with ExitStack() as held:
        _take(folder, wait_s, held)
        yield None


class _Held:
    """The database at `url`, held through a connection that does nothing else."""

    def __init__(self, url: URL, wait_s: float) -> None:
        self._url, self._connection = url, self._taken(url, wait_s)
        self._told = False

    @contextmanager
    def held(self) -> Iterator[KeepOn]:
        process = os.getpid()
        try:
            yield self.keep_on
        finally:
            if os.getpid() == process:  # a fork that says goodbye would do so for both
                self._connection.close()

    def keep_on(self, stopped: threading.Event) -> None:
        """Look every second whether it is still held, and take it again where the server was away."""
        while not stopped.wait(LOOK_EVERY_S):
            if postgresql.stands(self._connection):
                continue
            try:
                self._connection = self._taken(self._url, 0)
            except InUse as no:
                if not self._told:
                    log.error("While the database server was away another took over. %s", no)
                self._told = True
                stopped.wait(TRY_AGAIN_S)
            except StoreError:  # the server is still away, which the store tells of
                stopped.wait(TRY_AGAIN_S)
            else:
                self._told = False

    @staticmethod
    def _taken(url: URL, wait_s: float) -> Any:
        me = f"portraitq, process {os.getpid()} on {socket.gethostname()}"
        until_s = time.monotonic() + wait_s
        while True:
            try:
                found = postgresql.hold(url, me)
            except postgresql.NotReached as no:
                raise StoreError(f"The database at {shown_address(url)} cannot be opened: {no}.") from no
            if not isinstance(found, str):
                return found
            if time.monotonic() >= until_s:
                raise InUse(
                    f"The database at {shown_address(url)} is served already{f' by {found}' if found else ''}: "
                    "stop that first, or choose another database."
                )
            time.sleep(0.1)


def _take(folder: Path, wait_s: float, held: ExitStack) -> None:
    def keep(descriptor: int) -> None:
        """Say who holds it; and keep a copy that a fork inherits, for `filelock` closes its own in the child."""
        with suppress(OSError):  # a full disk locks as well
            os.write(descriptor, f"{os.getpid()}\n".encode())
        held.callback(os.close, os.dup(descriptor))

    lock = FileLock(folder / FILE_NAME, wait_s, 0o600, thread_local=False, fallback_to_soft=False,
                    preserve_lock_file=True, on_acquired=keep)  # fmt: skip
    try:
        held.enter_context(lock)
    except Timeout as taken:
        raise InUse(
            f"The data folder {folder} is served already{_by_whom(folder)}: stop that first, "
            "or choose another folder with --data."
        ) from taken
    except OSError as wrong:  # a file system that knows no locks: a second server is kept out by nobody
        log.warning("%s cannot be locked (%s): see to it that only one portraitq serves it.", folder, wrong.strerror)


def _by_whom(folder: Path) -> str:
    with suppress(OSError, ValueError):  # Windows lets nobody read it meanwhile
        return f" by process {int((folder / FILE_NAME).read_text())}"
    return ""

"""One service to a data folder: whoever serves it, or puts another database in its place, holds it alone.

The system keeps the lock and lets go of it when the last process that holds it has ended, however it ended; so no file
that was left behind stops anybody. What only reads, or writes small things in transactions, needs no lock: SQLite
orders it beside the service.
"""

from __future__ import annotations

import logging
import os
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager, suppress
from pathlib import Path

from filelock import FileLock, Timeout

from portraitq.store.store import StoreError, make_folder

FILE_NAME = "portraitq.lock"  # it stays where it is: taking it away would let in two who opened it before and after
WAIT_S = 2.0  # so long the worker of a service that was killed may still need to notice
log = logging.getLogger(__name__)


class InUse(StoreError):
    """Another process holds this folder."""


@contextmanager
def alone_in(where: Path | str, wait_s: float = WAIT_S) -> Iterator[None]:
    """Hold the data folder `where` while the block runs; processes forked meanwhile hold it until they end.

    A database by its address (with "://") is not locked: several servers may share it.
    Raises InUse when another process holds it for longer than `wait_s`, StoreError when the folder cannot be written.
    """
    if isinstance(where, str) and "://" in where:
        yield
        return
    folder = Path(where)
    make_folder(folder)
    with ExitStack() as held:
        _take(folder, wait_s, held)
        yield


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

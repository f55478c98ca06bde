"""What it means when the database does not answer: one sentence for the person at the screen, whatever SQLite calls it.

SQLite's result codes: https://www.sqlite.org/rescode.html. Where a code has several causes, the system is asked.
"""

from __future__ import annotations

import errno
import os
import shutil
import sqlite3
from pathlib import Path

KEPT = "What was asked for was not done; everything before it is safe."
FULL = f"The disk is full. {KEPT} Make room on it, then try again."
READ_ONLY = f"The data folder can only be read just now. {KEPT} Let portraitq write there again, then try again."
HELD = f"Another program holds the database. {KEPT} Close it, or wait until it is done, then try again."
GONE = f"The data folder is gone, or another stands in its place. {KEPT} Put the folder back, or start portraitq anew."
DAMAGED = (
    "The database file is damaged. Nothing was changed. Stop portraitq, keep a copy of the data folder, and ask "
    "`portraitq check` what is left."
)
NO_HANDLES = f"This computer lets portraitq open no more files just now. {KEPT} Try again in a moment."
DISK = f"The disk does not read or write as it should. {KEPT} Look whether it is connected well, then try again."
ROOM_BYTES = 256 * 1024  # with less, the log's index may not be able to grow, which SQLite calls an I/O error

Identity = tuple[int, int]


def identity(file: Path) -> Identity | None:
    """Which file stands there: its device and number, or None where there is none."""
    try:
        found = file.stat()
    except OSError:
        return None
    return found.st_dev, found.st_ino


def sentence(wrong: BaseException | None, file: Path | None) -> str | None:
    """The sentence for an error of SQLite's about the database `file`; None where it is none that we know."""
    code = getattr(wrong, "sqlite_errorcode", None)
    if code is None or file is None:
        return None
    match code & 0xFF:  # the upper bits tell more than anybody can do about it
        case sqlite3.SQLITE_FULL:
            return FULL
        case sqlite3.SQLITE_READONLY | sqlite3.SQLITE_PERM:
            return READ_ONLY
        case sqlite3.SQLITE_BUSY | sqlite3.SQLITE_LOCKED:
            return HELD
        case sqlite3.SQLITE_CORRUPT | sqlite3.SQLITE_NOTADB:
            return DAMAGED
        case sqlite3.SQLITE_CANTOPEN | sqlite3.SQLITE_IOERR:
            return _of_the_disk(file)
    return None


def of_the_system(wrong: OSError) -> str | None:
    """The sentence for what the system refused us, wherever it was; None where it is none that passes by itself."""
    if wrong.errno in (errno.ENOSPC, errno.EDQUOT):
        return FULL
    if wrong.errno in (errno.EMFILE, errno.ENFILE):
        return NO_HANDLES
    return None


def _of_the_disk(file: Path) -> str:
    """Why it cannot be opened, read or written.

    The file itself is not opened: closing it again would take away the locks that SQLite has on it in this process
    (https://www.sqlite.org/howtocorrupt.html, "Posix advisory locks canceled by a separate thread doing close()").
    """
    try:
        os.close(os.open(file.parent, os.O_RDONLY))
        if not file.exists():
            return GONE
        if not os.access(file, os.W_OK):
            return READ_ONLY
        if shutil.disk_usage(file.parent).free < ROOM_BYTES:
            return FULL
    except OSError as no:
        if no.errno in (errno.ENOENT, errno.ENOTDIR):
            return GONE
        return of_the_system(no) or DISK
    return DISK

"""What it means when the database does not answer: one sentence for the person at the screen, whatever it calls it.

SQLite's result codes: https://www.sqlite.org/rescode.html. Where a code has several causes, the system is asked.
PostgreSQL's: https://www.postgresql.org/docs/15/errcodes-appendix.html (from memory); a line that broke has none.
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
SERVER_GONE = (
    "The database server does not answer. Everything before this is safe, and a tap that is sent again is done once. "
    "See to the server and to the way there, then try again."
)
SERVER_BUSY = f"The database server takes no more connections. {KEPT} Try again in a moment."
SERVER_FULL = f"The database server's disk is full. {KEPT} Make room on it, then try again."
SERVER_READ_ONLY = f"The database server can only be read just now. {KEPT} Let portraitq write there, then try again."
SERVER_REFUSES = f"The database server lets this account not do that. {KEPT} Give the account what is its own there."
SERVER_DAMAGED = "The database is damaged. Nothing was changed. Have whoever looks after the server look at it."
MANY_AT_ONCE = f"The database is not quick enough for all who ask at once. {KEPT} Try again in a moment."
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
    """The sentence for an error of the database's, which is SQLite's `file`, or on a server where there is none.

    None where it is none that we know.
    """
    if file is None:
        return _of_a_server(getattr(wrong, "sqlstate", None))
    code = getattr(wrong, "sqlite_errorcode", None)
    if code is None:
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


def _of_a_server(state: str | None) -> str | None:
    match state:
        case "53100":  # disk_full
            return SERVER_FULL
        case "53300" | "53400":  # too_many_connections, configuration_limit_exceeded
            return SERVER_BUSY
        case "55P03":  # lock_not_available
            return HELD
        case "25006":  # read_only_sql_transaction
            return SERVER_READ_ONLY
        case "42501":  # insufficient_privilege
            return SERVER_REFUSES
        case "XX001" | "XX002":  # data_corrupted, index_corrupted
            return SERVER_DAMAGED
        case "57P01" | "57P02" | "57P03" | "57P05":  # it is stopped, crashed, starts, or closed a line that rested
            return SERVER_GONE
    return SERVER_GONE if state is not None and state.startswith("08") else None  # connection_exception


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

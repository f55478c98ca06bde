"""A store's file, or a back-up of one, looked into without changing anything: not it, and no file beside it.

Whoever looks sees one state throughout, while the booth trades on. A file of an older version is seen as it would be
after it was brought up to date, which is done in memory. The file may come from anywhere, so it is treated as SQLite
advises for files that one did not write oneself (https://sqlite.org/security.html, "Untrusted SQLite Database Files").
"""

from __future__ import annotations

import os
import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from sqlalchemy import Connection, StaticPool, create_engine, event
from sqlalchemy.exc import SQLAlchemyError

from portraitq.store.schema import VERSION, bring_up_to_date, metadata
from portraitq.store.schema import schema as versions
from portraitq.store.store import StoreError

MAGIC = b"SQLite format 3\0"  # https://sqlite.org/fileformat2.html, "The Database Header"
BUSY_WAIT_MS = 5_000


class NoStore(StoreError):
    """The file is none that portraitq wrote, or not the whole of one."""


@contextmanager
def raw_reading(file: Path, *, trades: bool = False) -> Iterator[sqlite3.Connection]:
    """`file` opened for reading alone, in no transaction yet; NoStore with a sentence when it is none of ours.

    trades   it is a store that a service may begin to serve at any moment: SQLite keeps its log beside it meanwhile
    """
    if not trades:
        # Never of the store that this process may be serving: closing it again would take away the locks that SQLite
        # has on it, and another program would throw away the log from under us
        # (https://www.sqlite.org/howtocorrupt.html, section 2.2).
        _looks_like_one(file)
    try:
        raw = sqlite3.connect(_address(file, trades), uri=True, isolation_level=None, check_same_thread=False)
    except sqlite3.Error as wrong:
        raise _unreadable(file, wrong) from wrong
    try:
        for pragma in (f"busy_timeout={BUSY_WAIT_MS}", "trusted_schema=OFF", "cell_size_check=ON", "mmap_size=0"):
            raw.execute(f"PRAGMA {pragma}").close()
        version_of(raw, file)
        yield raw
    except (sqlite3.Error, SQLAlchemyError) as wrong:
        raise _unreadable(file, getattr(wrong, "orig", None) or wrong) from wrong
    except UnicodeDecodeError as wrong:  # a bent name of a table stands in SQLite's own sentence, and is no text
        raise _unreadable(file, wrong) from wrong
    finally:
        raw.close()


@contextmanager
def reading_only(file: Path) -> Iterator[Connection]:
    """One reading transaction on `file`, as of this version; StoreError with a sentence when that cannot be had."""
    with raw_reading(file) as raw:
        if version_of(raw, file) == VERSION:
            with connected(raw) as connection:
                yield connection
            return
        memory = sqlite3.connect(":memory:", isolation_level=None, check_same_thread=False)
        try:
            raw.backup(memory)
            with connected(memory) as connection:
                bring_up_to_date(connection)
                yield connection
        finally:
            memory.close()


def version_of(raw: sqlite3.Connection, file: Path) -> int:
    """The version of the tables in `file`; NoStore when they are not portraitq's, StoreError when they are newer."""
    try:
        found = raw.execute("SELECT type, name FROM sqlite_master").fetchall()
        rows = raw.execute(f"SELECT version FROM {versions.name}").fetchall()
    except sqlite3.Error as wrong:
        if "no such table" in str(wrong):
            raise NoStore(f"{file} is a database, but not of portraitq: nothing was done with it.") from wrong
        raise
    version = rows[0][0] if len(rows) == 1 else None
    if isinstance(version, int) and version > VERSION:
        raise StoreError(
            f"{file} is of version {version} and this portraitq knows versions up to {VERSION}: "
            "update portraitq. Nothing was changed."
        )
    strange = [name for type, name in found if type not in ("table", "index") or _is_foreign(type, name)]
    if strange or not isinstance(version, int) or version < 1:
        raise NoStore(f"{file} is no store as portraitq writes it: nothing was done with it.")
    return version


def _is_foreign(type: str, name: str) -> bool:
    return type == "table" and name not in metadata.tables and not name.startswith("sqlite_")


def _looks_like_one(file: Path) -> None:
    try:
        with file.open("rb") as opened:
            begins = opened.read(len(MAGIC))
    except OSError as wrong:
        raise NoStore(f"{file} cannot be read ({wrong.strerror}).") from wrong
    if begins != MAGIC:
        what = "is empty" if not begins else "is no database"
        raise NoStore(f"{file} {what}: a store or a back-up of portraitq was expected. Nothing was done with it.")


def _address(file: Path, trades: bool) -> str:
    """A file beside which no log lies is opened as one that nobody changes, so that SQLite makes no file beside it.

    Not so one that is traded on: a service that starts meanwhile would write under our hands.
    """
    if trades and os.access(file, os.W_OK) and os.access(file.parent, os.W_OK):
        return f"{file.resolve().as_uri()}?mode=rw"
    has_log = any(Path(f"{file}{end}").exists() for end in ("-wal", "-journal"))
    return f"{file.resolve().as_uri()}?mode=ro{'' if has_log else '&immutable=1'}"


def _unreadable(file: Path, wrong: object) -> NoStore:
    return NoStore(f"{file} cannot be read as a store of portraitq ({wrong}). Nothing was done with it.")


@contextmanager
def connected(raw: sqlite3.Connection) -> Iterator[Connection]:
    """`raw` as the rest of the store speaks to a database; what is written is kept once it is committed."""
    engine = create_engine("sqlite+pysqlite://", creator=lambda: raw, poolclass=StaticPool, hide_parameters=True)

    @event.listens_for(engine, "begin")
    def begun(connection: Connection) -> None:
        connection.exec_driver_sql("BEGIN")

    try:
        with engine.connect() as connection:
            yield connection
    finally:
        with suppress(sqlite3.Error):
            engine.dispose()

"""The database: opened safely, read and written in whole transactions.

SQLite runs in WAL with synchronous=FULL, so that what was acknowledged survives a power cut (SQLite's documentation,
PRAGMA synchronous), and with secure_delete, so that what was erased is overwritten; what a statement may have to undo
is kept in memory, so that no picture goes through a temporary file. Any other database that SQLAlchemy
knows takes its place by its address.
"""

from __future__ import annotations

import logging
import os
import sqlite3
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from sqlalchemy import Connection, create_engine, event, inspect, select
from sqlalchemy.engine import URL, Engine, make_url
from sqlalchemy.exc import (
    ArgumentError,
    DatabaseError,
    DBAPIError,
    InterfaceError,
    NoSuchModuleError,
    OperationalError,
    SQLAlchemyError,
)

from portraitq.store.schema import VERSION, TooNew, bring_up_to_date, schema

FILE_NAME = "portraitq.sqlite3"
LOCK_WAIT_MS = 5_000  # a slow card takes a second or two for a commit; longer than this somebody else holds it
SCRUB_WAIT_MS = 500  # nobody writes while scrubbing waits for readers, so a long one is not waited for
CONNECTIONS, MORE_CONNECTIONS = 8, 24
log = logging.getLogger(__name__)


class StoreError(RuntimeError):
    """The database cannot be used now; one sentence says why and what to do."""


class NotBegun(StoreError):
    """A database of an older version was not taken forward, and is as it was."""


class Store:
    """One database. Threads may share it; each transaction takes a connection of its own.

    `is_scrubbed` is False while something that was erased may still stand in SQLite's write-ahead log; `erased` is set
    while it may still stand in a back-up beside the store.
    """

    def __init__(self, engine: Engine) -> None:
        self.engine = engine
        self.is_scrubbed = False  # whoever had it before may have been killed in the middle
        self.erased = threading.Event()
        self.erased.set()
        self._scrubbing = threading.Lock()

    @property
    def is_sqlite(self) -> bool:
        """Whether it is a SQLite file."""
        return self.engine.dialect.name == "sqlite"

    @contextmanager
    def reading(self) -> Iterator[Connection]:
        """A transaction that only reads, and sees one state throughout."""
        with self._told(), self.engine.connect() as connection:
            yield connection

    @contextmanager
    def writing(self) -> Iterator[Connection]:
        """A transaction that writes: all of it is kept, on disk, or none of it. One writer at a time."""
        with (
            self._told(),
            self.engine.connect().execution_options(portraitq_writes=True) as connection,
            connection.begin(),
        ):
            yield connection

    def ping(self) -> None:
        """Return when the database answers; StoreError when it does not, or when its file was taken away under it."""
        file = self.engine.url.database
        if self.is_sqlite and file and not Path(file).exists():
            raise StoreError(f"The database {file} is gone: put it back, or start portraitq anew.")
        with self.reading() as connection:
            connection.execute(select(schema.c.version))  # SELECT 1 would not even look into the file

    def scrub(self) -> bool:
        """Empty SQLite's write-ahead log into the file, so that what was erased stands nowhere any more.

        Whether it could: a transaction that reads on elsewhere (a backup) holds the log. Then `is_scrubbed` stays
        False, it is logged, and whoever tidies up tries again. Other databases are not scrubbed from here.
        """
        if not self.is_sqlite:
            self.is_scrubbed = True
            return True
        with self._scrubbing, self._told(), self.engine.connect() as connection:
            self.is_scrubbed = False
            raw = connection.connection.dbapi_connection
            assert raw is not None
            raw.execute("ROLLBACK") if raw.in_transaction else None
            raw.execute(f"PRAGMA busy_timeout={SCRUB_WAIT_MS}")
            try:
                is_blocked, _, _ = raw.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchone()
            finally:
                raw.execute(f"PRAGMA busy_timeout={LOCK_WAIT_MS}")
            self.is_scrubbed = not is_blocked
        self.erased.set()
        if is_blocked:
            log.warning("What was erased still stands in the database's log, which somebody reads; tried again soon.")
        return not is_blocked

    def close(self) -> None:
        """Let go of every connection."""
        self.engine.dispose()

    @contextmanager
    def _told(self) -> Iterator[None]:
        try:
            yield
        except DBAPIError as wrong:
            is_damaged = type(wrong) is DatabaseError  # a file that is none of SQLite's any more; not its subclasses
            if wrong.connection_invalidated or is_damaged or isinstance(wrong, OperationalError | InterfaceError):
                raise StoreError(
                    f"The database does not answer as it should ({wrong.orig}). Nothing was changed."
                ) from wrong
            raise


def open_store(where: Path | str) -> Store:
    """The store in the folder `where`, made if it is not there, or the one at the database address `where`.

    Raises StoreError when the folder cannot be written, the address is wrong, the server does not answer, or the
    database is of a later version than this portraitq.
    """
    url = _url(where)
    try:
        engine = create_engine(
            url,
            pool_size=CONNECTIONS,
            max_overflow=MORE_CONNECTIONS,
            pool_pre_ping=not _is_file(url),
            hide_parameters=True,  # an error names no name, contact or photo in a log
        )
    except (ArgumentError, NoSuchModuleError, ImportError) as wrong:
        raise StoreError(f"{where} is no address of a database that portraitq can use: {wrong}") from wrong
    if engine.dialect.name == "sqlite":
        _prepare_sqlite(engine)
    store = Store(engine)
    try:
        _put_aside_before_a_step(store)
        with store.writing() as connection:
            bring_up_to_date(connection)
    except (TooNew, NotBegun) as no:
        store.close()
        raise StoreError(str(no)) from no
    except (StoreError, SQLAlchemyError) as wrong:
        store.close()
        reason = getattr(wrong, "orig", None) or wrong.__cause__ or wrong
        raise StoreError(
            f"The database at {_shown(url)} cannot be opened: {getattr(reason, 'orig', reason)}."
        ) from wrong
    return store


def _put_aside_before_a_step(store: Store) -> None:
    """Back up a database of an older version before it is taken forward; NotBegun where that cannot be done."""
    if not store.is_sqlite:
        return
    from portraitq.store import backup  # it stands on this module

    with store.reading() as connection:
        if not inspect(connection).has_table(schema.name):
            return
        found: int = connection.execute(select(schema.c.version)).scalar_one()
    if found >= VERSION:
        return
    try:
        file = Path(store.engine.url.database or "")
        backup.write_among(file, f"before-version-{VERSION}{backup.ENDING}", folds=False)
    except StoreError as no:
        raise NotBegun(
            f"The store is of version {found} and would be brought to version {VERSION}, but no back-up could be made "
            f"before: {no} Nothing was changed."
        ) from no


def _url(where: Path | str) -> URL:
    if isinstance(where, str) and "://" in where:
        try:
            url = make_url(where)
        except ArgumentError as wrong:
            raise StoreError("That is no address of a database; postgresql://USER@HOST/NAME was expected.") from wrong
        return url.set(drivername="postgresql+psycopg") if url.drivername in ("postgresql", "postgres") else url
    folder = Path(where)
    make_folder(folder)
    try:
        (folder / FILE_NAME).touch(mode=0o600)  # others on this computer read neither names nor photos
    except OSError as wrong:
        raise _not_writable(folder, wrong) from wrong
    return URL.create("sqlite+pysqlite", database=str(folder / FILE_NAME))


def make_folder(folder: Path) -> None:
    """Make the data folder where it is not there, for nobody else to read; StoreError when it cannot be written."""
    try:
        folder.mkdir(mode=0o700, parents=True, exist_ok=True)
        probe = folder / f".portraitq-can-write-{os.getpid()}"  # of each who asks its own
        probe.write_bytes(b"")
        probe.unlink()
    except OSError as wrong:
        raise _not_writable(folder, wrong) from wrong


def _not_writable(folder: Path, wrong: OSError) -> StoreError:
    return StoreError(
        f"The data folder {folder} cannot be written ({wrong.strerror}): "
        "make it writable, or choose another with --data."
    )


def _is_file(url: URL) -> bool:
    return url.get_backend_name() == "sqlite"


def _shown(url: URL) -> str:
    return str(url.database) if _is_file(url) else url.render_as_string(hide_password=True)


def _prepare_sqlite(engine: Engine) -> None:
    @event.listens_for(engine, "connect")
    def connected(raw: Any, _record: object) -> None:
        raw.isolation_level = None  # transactions are begun below, not by the driver
        for pragma in (
            f"busy_timeout={LOCK_WAIT_MS}",
            "journal_mode=WAL",
            "synchronous=FULL",
            "secure_delete=ON",
            "temp_store=MEMORY",
            "foreign_keys=ON",
        ):
            try:
                raw.execute(f"PRAGMA {pragma}").close()
            except sqlite3.Error:
                raw.close()  # nobody else knows of it yet
                raise

    @event.listens_for(engine, "begin")
    def begun(connection: Connection) -> None:
        writes = connection.get_execution_options().get("portraitq_writes")
        connection.exec_driver_sql("BEGIN IMMEDIATE" if writes else "BEGIN")

"""The database: opened safely, read and written in whole transactions.

SQLite runs in WAL with synchronous=FULL, so that what was acknowledged survives a power cut (SQLite's documentation,
PRAGMA synchronous), and with secure_delete, so that what was erased is overwritten; what a statement may have to undo
is kept in memory, so that no picture goes through a temporary file. PostgreSQL takes its place by its address
(`postgresql.py`).
"""

from __future__ import annotations

import logging
import os
import sqlite3
import threading
from collections.abc import Callable, Iterator
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
from sqlalchemy.exc import TimeoutError as NoneIsFree

from portraitq.store import postgresql, trouble
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

    `is_scrubbed` is False while something that was erased may still stand in SQLite's write-ahead log, or as an old
    version of a row in the tables of a server; `erased` is set while it may still stand in a back-up beside the store.
    Trouble is logged where it `is_served`, and else only told.
    """

    def __init__(self, engine: Engine) -> None:
        self.engine = engine
        self.is_scrubbed = False  # whoever had it before may have been killed in the middle
        self.erased = threading.Event()
        self.erased.set()
        self._scrubbing = threading.Lock()
        self.file = Path(engine.url.database) if self.is_sqlite and engine.url.database else None
        self._identity = trouble.identity(self.file) if self.file else None
        self.is_served = False
        self._told_of = dict[bool, str]()  # what goes wrong in reading and in writing, while it does
        self._reads, self._alters = dict[str, Any](), dict[str, Any](portraitq_writes=True)
        if self.file:
            _prepare_sqlite(engine, self.file, self._see_to_the_file)
        elif not self.is_sqlite:
            postgresql.prepare(engine)
            self._reads, self._alters = postgresql.READS, postgresql.ALTERS

    @property
    def is_sqlite(self) -> bool:
        """Whether it is a SQLite file."""
        return self.engine.dialect.name == "sqlite"

    @contextmanager
    def reading(self) -> Iterator[Connection]:
        """A transaction that only reads, and sees one state throughout."""
        with self._told(), self.engine.connect().execution_options(**self._reads) as connection:
            yield connection

    @contextmanager
    def writing(self) -> Iterator[Connection]:
        """A transaction that writes: all of it is kept, on disk, or none of it. One writer at a time.

        Raises StoreError also when the file is another than the one that was opened, or gone: what SQLite wrote went
        into the one that it holds open, and nobody would find it again.
        """
        with self._told(writes=True):
            self._see_to_the_file()
            if self._told_of.get(True) == trouble.READ_ONLY:
                self.engine.dispose()  # connections that were made meanwhile would stay ones that only read
            with self.engine.connect().execution_options(**self._alters) as connection, connection.begin():
                yield connection
            self._see_to_the_file()

    def ping(self) -> None:
        """Return when the database answers; StoreError when it does not, or when its file was taken away under it."""
        try:
            self._see_to_the_file()
        except StoreError as gone:
            self._goes_wrong(True, str(gone))
            raise
        with self.reading() as connection:
            connection.execute(select(schema.c.version))  # SELECT 1 would not even look into the file

    def scrub(self) -> bool:
        """Empty SQLite's write-ahead log into the file, so that what was erased stands nowhere any more.

        Whether it could: a transaction that reads on elsewhere (a backup) holds the log. Then `is_scrubbed` stays
        False, it is logged, and whoever tidies up tries again. A server is told to clear out its tables.
        """
        if not self.is_sqlite:
            with self._scrubbing, self._told(writes=True):
                self.is_scrubbed = False
                self.is_scrubbed = postgresql.clear_out(self.engine)
                return self.is_scrubbed
        with self._scrubbing, self._told(writes=True), self.engine.connect() as connection:
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

    def _see_to_the_file(self) -> None:
        if self.file and trouble.identity(self.file) != self._identity:
            raise StoreError(trouble.GONE)

    @contextmanager
    def _told(self, *, writes: bool = False) -> Iterator[None]:
        """What goes wrong as a StoreError with its sentence; it is logged once, and once more when it is over."""
        try:
            yield
        except DBAPIError as wrong:
            is_damaged = type(wrong) is DatabaseError  # a file that is none of SQLite's any more; not its subclasses
            is_of_the_line = wrong.connection_invalidated or isinstance(wrong, OperationalError | InterfaceError)
            known = self._sentence(wrong)
            if known or is_damaged or is_of_the_line:
                sentence = known or _unknown(wrong)
                self._goes_wrong(writes, sentence, wrong)
                raise StoreError(sentence) from wrong
            raise
        except NoneIsFree as wrong:  # all connections are in use, and none came back within the pool's half a minute
            self._goes_wrong(writes, trouble.MANY_AT_ONCE)
            raise StoreError(trouble.MANY_AT_ONCE) from wrong
        except StoreError as wrong:
            self._goes_wrong(writes, str(wrong))
            raise
        self._goes_well(writes)

    def _sentence(self, wrong: DBAPIError) -> str | None:
        if self.is_sqlite:
            return trouble.sentence(wrong.orig, self.file) if self.file else None
        is_cut_off = wrong.connection_invalidated or (
            isinstance(wrong, OperationalError) and getattr(wrong.orig, "sqlstate", None) is None
        )
        return trouble.sentence(wrong.orig, None) or (trouble.SERVER_GONE if is_cut_off else None)

    def _goes_wrong(self, writes: bool, sentence: str, wrong: DBAPIError | None = None) -> None:
        if self.is_served and self._told_of.get(writes) != sentence:
            log.error("%s%s", sentence, f" ({wrong.orig})" if wrong else "")
        self._told_of[writes] = sentence

    def _goes_well(self, writes: bool) -> None:
        if not self._told_of:
            return
        was_wrong = [self._told_of.pop(one, "") for one in ((False, True) if writes else (False,))]
        if self.is_served and any(was_wrong) and not self._told_of:
            log.warning("The database answers again.")


def _unknown(wrong: DBAPIError) -> str:
    return f"The database does not answer as it should ({wrong.orig}). Nothing was changed."


def open_store(where: Path | str) -> Store:
    """The store in the folder `where`, made if it is not there, or the one at the database address `where`.

    Raises StoreError when the folder cannot be written, the address is wrong, the server does not answer, or the
    database is of a later version than this portraitq.
    """
    url = url_of(where)
    try:
        engine = create_engine(
            url,
            pool_size=CONNECTIONS,
            max_overflow=MORE_CONNECTIONS,
            pool_pre_ping=not _is_file(url),  # a server that was away meanwhile has hung up on all of them
            connect_args={} if _is_file(url) else postgresql.settings_of(url),
            hide_parameters=True,  # an error names no name, contact or photo in a log
        )
    except (ArgumentError, NoSuchModuleError, ImportError) as wrong:
        raise StoreError(f"{where} is no address of a database that portraitq can use: {wrong}") from wrong
    store = Store(engine)
    try:
        _put_aside_before_a_step(store)
        with store.writing() as connection:
            if not store.is_sqlite and (unfit := postgresql.what_it_cannot_be(connection)):
                raise NotBegun(f"The database at {shown_address(url)} cannot hold a booth: {unfit}")
            bring_up_to_date(connection)
    except Exception as wrong:
        store.close()
        if (no := _not_opened(store, wrong)) is None:
            raise
        raise no from wrong
    return store


def _not_opened(store: Store, wrong: Exception) -> StoreError | None:
    """What `wrong` means for whoever wanted to open it; None where it is a fault of our own."""
    if isinstance(wrong, TooNew | NotBegun):
        return StoreError(str(wrong))
    if not isinstance(wrong, StoreError | SQLAlchemyError):
        return None
    cause = wrong.__cause__ or wrong
    known = trouble.sentence(getattr(cause, "orig", cause), store.file) if store.is_sqlite else None
    said = known or f"{getattr(cause, 'orig', cause)}."  # a server says itself what is wrong with an address
    return StoreError(f"The database at {shown_address(store.engine.url)} cannot be opened: {said}")


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


def url_of(where: Path | str) -> URL:
    """The address of the store at `where`, whose folder and file are made; StoreError when there can be none."""
    if isinstance(where, str) and "://" in where:
        try:
            url = make_url(where)
        except ArgumentError as wrong:
            raise StoreError("That is no address of a database; postgresql://USER@HOST/NAME was expected.") from wrong
        if _is_file(url) and url.database:
            _make_file(Path(url.database))
        if url.drivername in ("postgresql", "postgres"):
            return url.set(drivername="postgresql+psycopg")
        if _is_file(url) or url.drivername == "postgresql+psycopg":
            return url
        raise StoreError(
            f"{url.drivername} is no database that portraitq can use: postgresql://USER@HOST/NAME was expected, or a "
            "folder with --data."
        )
    folder = Path(where)
    make_folder(folder)
    _make_file(folder / FILE_NAME)
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


def _make_file(file: Path) -> None:
    try:
        file.touch(mode=0o600)  # others on this computer read neither names nor photos
    except OSError as wrong:
        raise _not_writable(file.parent, wrong) from wrong


def _not_writable(folder: Path, wrong: OSError) -> StoreError:
    return StoreError(
        f"The data folder {folder} cannot be written ({wrong.strerror}): "
        "make it writable, or choose another with --data."
    )


def _is_file(url: URL) -> bool:
    return url.get_backend_name() == "sqlite"


def shown_address(url: URL) -> str:
    """`url` as it may be told: without its password."""
    said = url.set(drivername=url.get_backend_name()).render_as_string(hide_password=True)
    return str(url.database) if _is_file(url) else said


def _prepare_sqlite(engine: Engine, file: Path, see_to_the_file: Callable[[], None]) -> None:
    @event.listens_for(engine, "do_connect")
    def connecting(_dialect: object, _record: object, _args: object, options: dict[str, Any]) -> Any:
        # Where the file was taken away, SQLite would begin an empty one in its place.
        return sqlite3.connect(f"{file.absolute().as_uri()}?mode=rw", uri=True, **options)

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
        try:
            see_to_the_file()
        except StoreError:
            raw.close()
            raise

    @event.listens_for(engine, "begin")
    def begun(connection: Connection) -> None:
        writes = connection.get_execution_options().get("portraitq_writes")
        connection.exec_driver_sql("BEGIN IMMEDIATE" if writes else "BEGIN")

"""PostgreSQL in the place of a SQLite file, so that the rest of the store need not know which of the two it speaks to.

One writes at a time, as in SQLite, by an advisory lock that every writing transaction takes first; whoever reads sees
one state throughout (REPEATABLE READ). A commit is answered once it is on the server's disk. What was erased the
server is told to clear out (VACUUM); what it keeps beside its tables (its log, its own back-ups) is its owner's.
(https://www.postgresql.org/docs/15/: explicit-locking, transaction-iso, wal-async-commit, routine-vacuuming; from
memory.)
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from sqlalchemy import Connection, NullPool, create_engine, event, text
from sqlalchemy.engine import URL, Engine
from sqlalchemy.exc import OperationalError

OURS = 0x706F7274  # "port": by this the server tells our advisory locks from those of other programs
WRITES, SERVES = 1, 2  # what is held alone
LOCK_WAIT_MS = 5_000  # as for SQLite: longer than this somebody else holds it
CLEAR_WAIT_MS = 500  # whoever comes meanwhile waits behind it, so a long reader is not waited for
CONNECT_WAIT_S = 5
# A server whose cable was pulled says nothing: after about a quarter of a minute it is taken for gone. The last one is
# for what was sent and not acknowledged.
ALIVE = {
    "connect_timeout": CONNECT_WAIT_S,
    "keepalives_idle": 5,
    "keepalives_interval": 3,
    "keepalives_count": 3,
    "tcp_user_timeout": 15_000,
}
LOCK_NOT_AVAILABLE = "55P03"  # https://www.postgresql.org/docs/15/errcodes-appendix.html
# And the server asks after us: it would hold what a computer without power held for two hours (tcp_keepalive_time).
ASKS_AFTER_US = "SET tcp_keepalives_idle = 5; SET tcp_keepalives_interval = 3; SET tcp_keepalives_count = 3"
NO_SIGN = "\ufffd"  # in the place of U+0000, which PostgreSQL keeps in no text
READS = {"isolation_level": "REPEATABLE READ", "postgresql_readonly": True}
ALTERS = {"isolation_level": "READ COMMITTED", "portraitq_writes": True}  # each statement sees what was written before
WAITS_FOR_THE_DISK = (  # whatever the server is set to; one that also waits for a replica goes on doing so
    "SELECT set_config('synchronous_commit', 'on', false) WHERE current_setting('synchronous_commit') = 'off'"
)
BY_ITSELF = {"isolation_level": "AUTOCOMMIT"}


# Who holds it is asked together with the try, for whoever waits wants to be told who it was that stood in the way.
_SERVED = f"""
SELECT pg_try_advisory_lock({OURS}, {SERVES}), (
    SELECT a.application_name FROM pg_locks AS l JOIN pg_stat_activity AS a USING (pid)
    WHERE l.locktype = 'advisory' AND l.classid = {OURS} AND l.objid = {SERVES} AND l.objsubid = 2 AND l.granted
        AND l.database = (SELECT oid FROM pg_database WHERE datname = current_database()) AND l.pid <> pg_backend_pid()
    LIMIT 1
)
"""


def settings_of(url: URL) -> dict[str, Any]:
    """What each connection is opened with, where the address does not say otherwise."""
    return {name: value for name, value in ALIVE.items() if name not in url.query}


def prepare(engine: Engine) -> None:
    """See to it that each connection and transaction of `engine` keeps what is promised above."""

    @event.listens_for(engine, "connect")
    def connected(raw: Any, _record: object) -> None:
        raw.autocommit = True
        try:
            raw.execute(f"{ASKS_AFTER_US}; SET lock_timeout = {LOCK_WAIT_MS}")
            raw.execute(WAITS_FOR_THE_DISK)
        finally:
            raw.autocommit = False

    @event.listens_for(engine, "begin")
    def begun(connection: Connection) -> None:
        if connection.get_execution_options().get("portraitq_writes"):
            connection.exec_driver_sql(f"SELECT pg_advisory_xact_lock({OURS}, {WRITES})")

    @event.listens_for(engine, "before_cursor_execute", retval=True)
    def executing(
        _connection: Connection, _cursor: Any, statement: str, parameters: Any, _context: Any, _many: bool
    ) -> tuple[str, Any]:
        return statement, _without_nul(parameters)


class NotReached(Exception):
    """The server could not be asked; its own words say why."""


def hold(url: URL, as_whom: str) -> Any:
    """Hold the database for serving: the connection that does, or a text that says who holds it already.

    It is held until that connection ends, be it by a kill, or by the server. Raises NotReached.
    """
    from psycopg import Error, connect

    words, named = create_engine(url, poolclass=NullPool).dialect.create_connect_args(url)
    try:
        raw = connect(*words, **{**ALIVE, "application_name": as_whom, **named}, autocommit=True)
        raw.execute(ASKS_AFTER_US)
        found = raw.execute(_SERVED).fetchone()
    except Error as wrong:
        raise NotReached(str(wrong)) from wrong
    if found is not None and found[0]:
        return raw
    raw.close()
    return str(found[1] or "") if found is not None else ""


def stands(raw: Any) -> bool:
    """Whether the server still holds up its end of a connection that nobody else uses now; nothing is sent."""
    from psycopg import OperationalError as Broken

    try:
        raw.pgconn.consume_input()
    except Broken:
        return False
    return bool(raw.pgconn.status == 0)  # libpq's CONNECTION_OK


def what_it_cannot_be(connection: Connection) -> str:
    """Why a database cannot hold a booth; "" where it can."""
    encoding = connection.execute(text("SHOW server_encoding")).scalar_one()
    if encoding != "UTF8":
        return f"its encoding is {encoding}, and names need UTF8: make one with `createdb --encoding=UTF8`."
    return ""


def said_of(connection: Connection) -> str:
    """What `check` says of a server."""
    version, fsync = (connection.execute(text(f"SHOW {name}")).scalar_one() for name in ("server_version", "fsync"))
    off = "" if fsync == "on" else "; its fsync is off, so that a cut of the power may damage it"
    return f"PostgreSQL {version}, which looks after itself{off}"


def clear_out(engine: Engine) -> bool:
    """Have the server take what was erased out of its tables; whether it could, for somebody may read them just now.

    `cards` is small and written anew (VACUUM FULL), so that no old version of a row stays in its file. Pictures are
    not, for the whole booth would wait for every photo there is: their room is free for other photos to stand in.
    """
    with engine.connect().execution_options(**BY_ITSELF) as connection:
        connection.exec_driver_sql(f"SET lock_timeout = {CLEAR_WAIT_MS}")
        try:
            connection.exec_driver_sql("VACUUM (FULL) cards")
            connection.exec_driver_sql("VACUUM photos, photo_views")
        except OperationalError as wrong:
            if getattr(wrong.orig, "sqlstate", None) != LOCK_NOT_AVAILABLE:
                raise
            return False
        finally:
            if not connection.invalidated:
                connection.exec_driver_sql(f"SET lock_timeout = {LOCK_WAIT_MS}")
    return True


def _without_nul(parameters: Any) -> Any:
    """`parameters` of one or of many statements as text that PostgreSQL takes."""
    if isinstance(parameters, str):
        return parameters.replace("\0", NO_SIGN) if "\0" in parameters else parameters
    if isinstance(parameters, dict):
        return {name: _without_nul(value) for name, value in parameters.items()}
    if isinstance(parameters, Sequence) and not isinstance(parameters, bytes | bytearray):
        return type(parameters)(_without_nul(value) for value in parameters)  # type: ignore[call-arg]
    return parameters

"""A PostgreSQL of the tests' own: a cluster in a folder that goes with it, reached by a socket in there alone.

It trusts whoever reaches the socket, never waits for a disk, and leaves vacuuming to whoever asks for it. It sorts as
people do and not by code points, so that nobody relies on how SQLite sorts. Where the server's programs are missing,
tests are skipped, but never where nobody would notice.
"""

from __future__ import annotations

import os
import re
import shutil
import signal
import socket
import subprocess
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from urllib.parse import quote

import psycopg
import pytest
from sqlalchemy.engine import make_url

from portraitq.store.schema import metadata, schema
from portraitq.store.store import open_store

DEBIANS = "/usr/lib/postgresql"  # Debian keeps each version's programs to itself, off the path
WITHIN_S = 60.0  # a busy machine takes its time; a quiet one needs a tenth of a second
BOOTH = "booth"  # the role that owns the databases, and may nothing else
SETTINGS = {
    "listen_addresses": "",
    "fsync": "off",
    "full_page_writes": "off",
    "shared_buffers": "16MB",
    "autovacuum": "off",
    "log_min_messages": "fatal",
}


def program(name: str) -> str | None:
    """Where that program of the server's is, or None."""
    there = (path for path in sorted(Path(DEBIANS).glob(f"*/bin/{name}"), reverse=True))
    return shutil.which(name) or next(map(str, there), None)


@dataclass
class Postgres:
    """A cluster in `folder`. It can be stopped and started again."""

    folder: Path
    account: str | None  # whose processes they are, for the server refuses to run as root
    process: subprocess.Popen[bytes] | None = None
    databases: list[str] = field(default_factory=list)
    _kept: str = ""
    _port: str = ""

    def address(self, database: str, user: str = BOOTH) -> str:
        """As `--database` takes it."""
        return f"postgresql://{user}@/{database}?host={quote(str(self.folder), safe='')}"

    def new_database(self) -> str:
        """A database in which nothing stands, and its address."""
        self.databases.append(name := f"booth_{len(self.databases)}")
        self.administer(f"CREATE DATABASE {name} OWNER {BOOTH}")
        return self.address(name)

    def emptied(self) -> str:
        """A database with the tables of now and nothing in them, the same one each time, and its address."""
        if not self._kept:
            self._kept = self.new_database()
            open_store(self._kept).close()
            return self._kept
        tables = ", ".join(table.name for table in metadata.sorted_tables if table is not schema)
        self.administer(f"TRUNCATE {tables}", make_url(self._kept).database or "")
        return self._kept

    def administer(self, statement: str, database: str = "postgres") -> None:
        """One statement as the server's own user, by itself."""
        with psycopg.connect(self.address(database, "postgres"), autocommit=True) as raw:
            raw.execute(statement.encode())

    @contextmanager
    def by_tcp(self) -> Iterator[str]:
        """The address of the emptied database by a port of this computer, while the block runs."""
        address = make_url(self.emptied())
        with socket.socket() as asking:
            asking.bind(("127.0.0.1", 0))
            port = asking.getsockname()[1]
        self.stop()
        self.start(listen_addresses="127.0.0.1", port=str(port))
        try:
            yield address.set(host="127.0.0.1", port=port, query={}).render_as_string()
        finally:
            self.stop()
            self.start()

    def start(self, **otherwise: str) -> None:
        """Start it, with settings that are `otherwise`, and wait until it answers."""
        settings = [word for name, value in {**SETTINGS, **otherwise}.items() for word in ("-c", f"{name}={value}")]
        self._port = otherwise.get("port", "5432")
        command = [_needed("postgres"), "-D", str(self.folder / "data"), "-k", str(self.folder), *settings]
        if dies_with_us := shutil.which("setpriv"):
            command = [dies_with_us, "--pdeathsig", "QUIT", *command]
        with (self.folder / "said.txt").open("ab") as out:
            self.process = subprocess.Popen(
                command, cwd=self.folder, user=self.account, group=_group(self.account), start_new_session=True,
                stdin=subprocess.DEVNULL, stdout=out, stderr=subprocess.STDOUT,
            )  # fmt: skip
        until_s = time.monotonic() + WITHIN_S
        while not self.answers():
            if self.process.poll() is not None or time.monotonic() > until_s:
                pytest.fail(f"PostgreSQL did not start:\n{(self.folder / 'said.txt').read_text()[-2000:]}")
            time.sleep(0.02)

    def answers(self) -> bool:
        """Whether somebody can connect."""
        try:
            psycopg.connect(self.address("postgres", "postgres"), port=self._port).close()
        except psycopg.OperationalError:
            return False
        return True

    def stop(self, how: signal.Signals = signal.SIGINT) -> None:
        """Stop it. SIGINT cuts everybody off and ends in order, SIGQUIT ends at once as after a crash.

        (https://www.postgresql.org/docs/15/server-shutdown.html; from memory.)
        """
        if self.process is not None:
            self.process.send_signal(how)
            self.process.wait(WITHIN_S)
            self.process = None


def sorts(initdb: str) -> tuple[str, ...]:
    """How `initdb` is told to sort as people do; before version 15 it can only sort as this system's C does."""
    said = subprocess.run([initdb, "--version"], capture_output=True, text=True, check=True).stdout
    found = re.search(r"\d+", said)
    by_people = ("--locale-provider=icu", "--icu-locale=en-US") if found and int(found[0]) >= 15 else ()
    return ("--locale=C", *by_people)


@contextmanager
def a_cluster() -> Iterator[Postgres]:
    """A new cluster that runs; gone with all that is in it when the block is left."""
    initdb = _needed("initdb")
    account = _an_account()
    folder = Path(tempfile.mkdtemp(prefix="portraitq-pg-", dir="/tmp"))  # a socket's path has room for 100 characters
    try:
        if account:
            shutil.chown(folder, account)
        command = [initdb, "-D", str(folder / "data"), "-U", "postgres", "-A", "trust", "-E", "UTF8", "--no-sync"]
        made = subprocess.run(
            [*command, *sorts(initdb)],
            user=account, group=_group(account), cwd=folder, capture_output=True, text=True, check=False,
        )  # fmt: skip
        if made.returncode:
            pytest.fail(f"initdb: {made.stderr}")
        server = Postgres(folder, account)
        server.start()
        try:
            server.administer(f"CREATE ROLE {BOOTH} LOGIN")
            yield server
        finally:
            server.stop()
    finally:
        shutil.rmtree(folder)


def _needed(name: str) -> str:
    if found := program(name):
        return found
    missing = f"there is no {name} of PostgreSQL here: scripts/test.py installs it, or says how to"
    if os.environ.get("CI"):
        pytest.fail(missing)
    pytest.skip(missing)


def _an_account() -> str | None:
    """An account that is not root's, where we are root."""
    if os.name == "nt" or os.geteuid() != 0:
        return None
    import pwd

    known = {one.pw_name for one in pwd.getpwall()}
    return next(name for name in ("postgres", "nobody") if name in known)


def _group(account: str | None) -> int | None:
    if account is None:
        return None
    import pwd

    return pwd.getpwnam(account).pw_gid

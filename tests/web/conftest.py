"""A real application on a real store for tests of the web: `web` is signed out, `web.sign_in()` lets it in."""

from __future__ import annotations

import io
import re
import secrets
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import timedelta
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from flask import Flask
from flask.testing import FlaskClient
from PIL import Image
from werkzeug.serving import make_server
from werkzeug.test import TestResponse

from portraitq import passphrase, starter
from portraitq.core.commands import Command, read_command
from portraitq.core.events import ArtistIn
from portraitq.desk import Desk, Desks, Standing
from portraitq.store import devices, pairings, schema
from portraitq.store.store import open_store
from portraitq.web.app import create_app
from tests.morning import where_it_is_morning

PASSPHRASE = "harbour-lantern-chalk"
ZONE = ZoneInfo(where_it_is_morning())


@dataclass
class Web:
    """One booth, `quay`, its day open and its first artist in."""

    desks: Desks
    app: Flask
    client: FlaskClient = field(init=False)
    epoch: int = 1  # of the passphrase

    def __post_init__(self) -> None:
        self.client = self.app.test_client()

    @property
    def desk(self) -> Desk:
        return self.desks.at("quay")

    def sign_in(self, client: FlaskClient | None = None) -> TestResponse:
        return (client or self.client).post("/sign-in", data={"passphrase": PASSPHRASE})

    def token(self, client: FlaskClient | None = None) -> str:
        page = (client or self.client).get("/").get_data(as_text=True)
        found = re.search(r'name="portraitq-token" content="([^"]+)"', page)
        return found[1] if found else ""

    def key(self, role: str = devices.OWNER) -> dict[str, str]:
        """The header of a device that was let in."""
        with self.desks.store.writing() as conn:
            return {"Authorization": f"Bearer {devices.add(conn, 'tablet', self.desks.clock.now(), role)}"}

    def pair(self, client: FlaskClient, role: str = devices.STAFF, name: str = "easel tablet") -> TestResponse:
        """Pair the browser `client` as a device."""
        with self.desks.store.writing() as conn:
            _, code = pairings.invite(conn, name, role, self.desks.clock.now())
        return client.post(f"/pair/{code}")

    def do(self, kind: str, by: str = "counter", **data: Any) -> Any:
        return self.desk.carry_out(read_command({"id": secrets.token_hex(8), "kind": kind, "data": data}, by))

    def order(self, style: str = "pencil-head", sitters: int = 1) -> str:
        return self.do("ordered", style=style, sitters=sitters).events[0].data.ticket

    def after(self, minutes: float) -> Standing:
        """How the booth stands so much later; somebody asks and leaves meanwhile, so that it is quoted anew."""
        self.desk.clock.skip_to(self.desk.clock.now() + timedelta(minutes=minutes))
        self.do("walked_away", style=None, sitters=1, ready_by=None)
        return self.desk.standing(wait_s=10)

    def code(self, ticket: str) -> str:
        return self.desk.cards([ticket])[ticket].code


def jpeg(width: int = 320, height: int = 400) -> bytes:
    """A plain photo."""
    out = io.BytesIO()
    Image.new("RGB", (width, height), (190, 170, 150)).save(out, "JPEG")
    return out.getvalue()


def make_web(where: Path | str) -> Web:
    store = open_store(where)
    desks = Desks(store)
    desk = desks.create("quay", starter.set_up(ZONE.key, "EUR"))
    desk.carry_out(Command("day", starter.first_day(desks.clock.now(), ZONE)))
    desk.carry_out(Command("in", ArtistIn(artist="a1"), "easel:a1"))
    passphrase.set_passphrase(store, PASSPHRASE)
    return Web(desks, create_app(desks, address="http://192.168.4.1:8750"))


@pytest.fixture
def fresh_web(tmp_path: Path) -> Iterator[Web]:
    """A booth of one test's own, in files where `web` is one for all of its tests."""
    yield from _until_closed(make_web(tmp_path))


@pytest.fixture
def web(fresh_web: Web) -> Web:
    return fresh_web


@pytest.fixture(scope="module")
def booth_of_all(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Web]:
    """One booth for all tests of a file that ask who may come in and change little else; see `with_nobody_in`."""
    yield from _until_closed(make_web(tmp_path_factory.mktemp("booth")))


def _until_closed(made: Web) -> Iterator[Web]:
    yield made
    made.app.extensions["portraitq-live"].close()
    made.desks.close()


def with_nobody_in(web: Web) -> Web:
    """`web` as on its first day at the door: nobody signed in or paired, nobody guessed, the passphrase as it was."""
    with web.desks.store.writing() as conn:
        for table in (schema.devices, schema.pairings):
            conn.execute(table.delete())
    for name in ("portraitq-guesses", "portraitq-pair-guesses", "portraitq-code-guesses"):
        guesses = web.app.extensions[name]
        guesses._guessers.clear(), guesses._all.clear()
        guesses._row = 0
    if passphrase.epoch(web.desks.store) != web.epoch:
        passphrase.set_passphrase(web.desks.store, PASSPHRASE)
        web.epoch = passphrase.epoch(web.desks.store)
    web.client = web.app.test_client()
    return web


@contextmanager
def serving(web: Web, port: int = 0) -> Iterator[str]:
    """Serve `web` in this process, with live push, while the block runs; its address. Port 0 is any that is free."""
    server = make_server("127.0.0.1", port, _closing(web.app), threaded=True)
    server.daemon_threads = True
    thread = threading.Thread(target=server.serve_forever, args=(0.05,), daemon=True)
    thread.start()
    yield f"http://127.0.0.1:{server.server_port}"
    web.app.extensions["portraitq-live"].close()
    server.shutdown()
    thread.join(timeout=5)
    server.server_close()


def _closing(app: Flask) -> Callable[..., Iterator[bytes]]:
    """`app`, its answers closed even when the browser hangs up: werkzeug's server then leaves their files open."""

    def answering(environ: dict[str, Any], start_response: Any) -> Iterator[bytes]:
        answer = app(environ, start_response)
        try:
            yield from answer
        finally:
            if hasattr(answer, "close"):
                answer.close()

    return answering


@pytest.fixture
def served(web: Web) -> Iterator[str]:
    """The address at which `web` is really served, in this process."""
    with serving(web) as address:
        yield address

"""The door for https: what comes in by TLS goes on as a plain connection, and nobody at the door holds anybody up."""

from __future__ import annotations

import asyncio
import contextlib
import socket
import ssl
import threading
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import pytest

from portraitq import secure_door
from portraitq.https import Https
from portraitq.secure_door import LONGEST_HEAD_BYTES, Door, InnerEnd, knows_https

PATIENCE_S = 30


@dataclass
class Booth:
    """A server behind a door that says back what it hears, in capitals."""

    https: Https
    door: Door
    port: int
    trusted: str
    clients: list[Any] = field(default_factory=list)

    def call(self, **how: Any) -> ssl.SSLSocket:
        context = ssl.create_default_context(cadata=self.trusted)
        for name, value in how.items():
            setattr(context, name, value)
        line = self.plain()
        try:
            return context.wrap_socket(line, server_hostname="127.0.0.1")
        except OSError:
            line.close()
            raise

    def plain(self) -> socket.socket:
        return socket.create_connection(("127.0.0.1", self.port), timeout=PATIENCE_S)


def shout(line: InnerEnd) -> None:
    with line:
        while heard := line.recv(65536):
            line.sendall(heard.upper())


@pytest.fixture
def opened(tmp_path: Path) -> Iterator[Callable[..., Booth]]:
    doors: list[Door] = []

    def open_one(serve: Callable[[InnerEnd], None] = shout) -> Booth:
        https = Https.of_its_own(tmp_path, "127.0.0.1", 0, None)
        listener, clients = https.listener(), []

        def take(line: InnerEnd, client: Any) -> None:
            clients.append(client)
            threading.Thread(target=serve, args=(line,), daemon=True).start()

        assert https.authority is not None
        trusted = ssl.DER_cert_to_PEM_cert(https.authority.der)
        port = listener.getsockname()[1]
        door = Door(listener, https.context(), take)
        doors.append(door)
        return Booth(https, door, port, trusted, clients)

    yield open_one
    for door in doors:
        door.close()


def heard(line: socket.socket, length: int) -> bytes:
    found = b""
    while len(found) < length and (piece := line.recv(65536)):
        found += piece
    return found


def test_what_is_said_by_tls_is_heard_and_answered_in_the_clear_behind_the_door(opened):
    booth = opened()

    with booth.call() as line:
        line.sendall(b"number 4 is ready")
        answer = heard(line, 17)
        own_address = line.getsockname()

    assert answer == b"NUMBER 4 IS READY"
    assert booth.clients == [own_address]  # the server is told who it really is


def test_much_goes_through_both_ways_at_once_unharmed(opened):
    photo = bytes(range(97, 123)) * 80_000  # 2 MB, more than all buffers on the way hold
    booth = opened()

    async def call() -> bytes:
        context = ssl.create_default_context(cadata=booth.trusted)
        reader, writer = await asyncio.open_connection("127.0.0.1", booth.port, ssl=context)
        writer.write(photo)
        answer, _ = await asyncio.gather(reader.readexactly(len(photo)), writer.drain())
        writer.close()
        await writer.wait_closed()
        return answer

    with ThreadPoolExecutor(1) as thread:  # one of its own: whoever has a browser open has a loop in this one
        assert thread.submit(asyncio.run, call()).result() == photo.upper()


def test_a_server_that_hangs_up_has_its_last_word_delivered(opened):
    def say_and_go(line: InnerEnd) -> None:
        with line:
            line.recv(100)
            line.sendall(b"z" * 300_000)

    booth = opened(say_and_go)

    with booth.call() as line:
        line.sendall(b"hello")
        answer = heard(line, 300_001)

    assert len(answer) == 300_000


def test_a_client_that_hangs_up_is_noticed_behind_the_door(opened):
    gone = threading.Event()

    def wait_for_the_end(line: InnerEnd) -> None:
        with line:
            while line.recv(100):
                pass
        gone.set()

    booth = opened(wait_for_the_end)
    with booth.call() as line:
        line.sendall(b"hello")

    assert gone.wait(PATIENCE_S)


def test_clients_that_never_finish_their_handshake_hold_nobody_up(opened):
    booth = opened()
    silent = [booth.plain() for _ in range(40)]
    stuck = [booth.plain() for _ in range(40)]
    for line in stuck:
        line.sendall(b"\x16\x03\x01\x02\x00")

    with booth.call() as line:
        line.sendall(b"me")

        assert heard(line, 2) == b"ME"
    assert len(booth.clients) == 1  # none of the others came as far as the server
    for line in (*silent, *stuck):
        line.close()


def test_of_one_address_only_so_many_may_stand_outside_and_who_is_inside_stays(opened, monkeypatch):
    monkeypatch.setattr(secure_door, "MOST_OUTSIDE", 2)
    monkeypatch.setattr(secure_door, "MANY_BEHIND", ())
    booth = opened()
    with booth.call() as inside, booth.plain() as one, booth.plain() as two:
        with booth.plain() as three:
            assert three.recv(10) == b""
        inside.sendall(b"me")
        assert heard(inside, 2) == b"ME"

        one.close(), two.close()

        assert eventually_let_in(booth)


def eventually_let_in(booth: Booth) -> bool:
    for _ in range(PATIENCE_S * 20):
        try:
            with booth.call():
                return True
        except OSError:
            threading.Event().wait(0.05)
    return False


def test_who_takes_nothing_of_an_answer_holds_nothing_behind_the_door(opened, monkeypatch):
    monkeypatch.setattr(secure_door, "UNREAD_S", 0.2)
    monkeypatch.setattr(secure_door, "FLUSH_S", 0.2)
    gone = threading.Event()

    def talk_to_nobody(line: InnerEnd) -> None:
        with line, contextlib.suppress(OSError):
            while True:
                line.sendall(b"z" * 300_000)
        gone.set()

    booth = opened(talk_to_nobody)

    with booth.call():
        assert gone.wait(PATIENCE_S)


# RFC 8996 forbids TLS 1.0 and 1.1; OWASP ASVS 5.0, 12.1.1 (only current versions; from memory)
@pytest.mark.filterwarnings(r"ignore:ssl.TLSVersion.TLSv1(_1)? is deprecated:DeprecationWarning")
def test_nothing_older_than_tls_1_2_is_spoken(opened):
    booth = opened()

    with booth.call(maximum_version=ssl.TLSVersion.TLSv1_2) as line:
        assert line.version() == "TLSv1.2"
        name = line.cipher()[0]
    assert name.startswith("ECDHE-")  # OWASP ASVS 5.0, 12.1.2: ciphers with forward secrecy (from memory)
    with pytest.raises(ssl.SSLError):
        booth.call(minimum_version=ssl.TLSVersion.TLSv1, maximum_version=ssl.TLSVersion.TLSv1_1)


@pytest.mark.parametrize(
    ("asked", "answer"),
    [
        (
            b"GET /booth/wall?evening=1 HTTP/1.1\r\nAccept: */*\r\nHost: 192.168.4.1:8743\r\n\r\n",
            b"HTTP/1.1 307 Temporary Redirect\r\nLocation: https://192.168.4.1:8743/booth/wall?evening=1\r\n",
        ),
        (b"GET / HTTP/1.1\r\nHost: a b\r\n\r\n", b"HTTP/1.1 400 Bad Request\r\n"),
        (b"GET / HTTP/1.1\r\n\r\n", b"HTTP/1.1 400 Bad Request\r\n"),
        (b"x" * LONGEST_HEAD_BYTES, b"HTTP/1.1 400 Bad Request\r\n"),
    ],
)
def test_who_forgot_to_type_the_s_is_shown_the_way(opened, asked: bytes, answer: bytes):
    booth = opened()

    with booth.plain() as line:
        line.sendall(asked)

        assert heard(line, 10_000).startswith(answer)
    assert booth.clients == []


def test_from_a_renewal_on_the_new_certificate_is_shown_and_who_is_inside_stays(opened, monkeypatch):
    booth = opened()
    with booth.call() as before:
        first = before.getpeercert()
        monkeypatch.setattr("portraitq.locality.own_addresses", lambda: ["10.9.8.7"])

        assert booth.https.renewed()
        assert not booth.https.renewed()  # once is enough
        booth.door.context = booth.https.context()

        with booth.call() as after:
            assert ("IP Address", "10.9.8.7") in after.getpeercert()["subjectAltName"]
        assert ("IP Address", "10.9.8.7") not in first["subjectAltName"]
        before.sendall(b"still here")
        assert heard(before, 10) == b"STILL HERE"


def test_closing_hangs_up_on_everybody_and_frees_the_port(opened):
    booth = opened()
    with booth.call() as line:
        line.sendall(b"me")
        heard(line, 2)

        booth.door.close()

        with pytest.raises(OSError):  # noqa: PT011  (refused, or reset, by the system's choice)
            booth.plain()
        assert line.recv(10) == b""


@pytest.mark.parametrize(("line", "scheme"), [(InnerEnd, "https"), (socket.socket, "http")])
def test_a_request_is_by_https_when_it_came_through_the_door_whatever_its_headers_say(line, scheme: str):
    with line() as came_by:
        environ = {"wsgi.url_scheme": "http", "gunicorn.socket": came_by, "HTTP_X_FORWARDED_PROTO": "https"}

        knows_https(lambda environ, start_response: [])(environ, None)

    assert environ["wsgi.url_scheme"] == scheme

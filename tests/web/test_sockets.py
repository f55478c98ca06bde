"""The WebSocket under live push, end to end on a socket pair; with the reference clients it is tried in test_live.

RFC 6455, sections named beside the checks; from memory.
"""

from __future__ import annotations

import socket
import threading
import time
from collections.abc import Iterator
from dataclasses import dataclass, field

import pytest
import requests
from engineio.packet import MESSAGE, Packet
from wsproto.frame_protocol import CloseReason

from portraitq.web import sockets
from portraitq.web.sockets import Line, Outbox, Postman
from tests.web.conftest import Web
from tests.web.test_live import connected

A_WHILE_S = 20.0
LARGEST = 1000
HANDSHAKE = {
    "Upgrade": "websocket",
    "Connection": "Upgrade",
    "Sec-WebSocket-Key": "dGhlIHNhbXBsZSBub25jZQ==",
    "Sec-WebSocket-Version": "13",
}


@dataclass
class Phone:
    """The other end of a line, which says frames and hears them."""

    end: socket.socket
    heard: bytes = field(default=b"")

    def says(self, kind: int, body: bytes, is_masked: bool = True) -> None:
        size = bytes([len(body) | 0x80 * is_masked]) if len(body) < 126 else b"\xfe" + len(body).to_bytes(2, "big")
        self.end.sendall(bytes([kind]) + size + b"\0\0\0\0" * is_masked + body)

    def hears(self) -> tuple[int, bytes]:
        """The next frame: its first byte and what it carries."""
        kind, size = self._take(2)
        if size > 125:
            size = int.from_bytes(self._take(2 if size == 126 else 8), "big")
        return kind, self._take(size)

    def is_hung_up(self) -> bool:
        while piece := self.end.recv(1 << 16):
            self.heard += piece
        return True

    def _take(self, count: int) -> bytes:
        while len(self.heard) < count:
            piece = self.end.recv(1 << 16)
            assert piece, "hung up in the middle of a frame"
            self.heard += piece
        taken, self.heard = self.heard[:count], self.heard[count:]
        return taken


@dataclass
class Call:
    """A line with its phone."""

    postman: Postman
    line: Line
    phone: Phone


@pytest.fixture
def call() -> Iterator[Call]:
    postman = Postman(ping_every_s=A_WHILE_S)
    ours, theirs = socket.socketpair()
    theirs.settimeout(A_WHILE_S)
    line = Line(ours, postman, silence_s=A_WHILE_S, largest_bytes=LARGEST)
    yield Call(postman, line, Phone(theirs))
    line.cut()
    postman.stop()
    postman.join(A_WHILE_S)
    ours.close()
    theirs.close()


def a_view(size: int) -> Packet:
    return Packet(MESSAGE, "x" * size)


def until(holds: object) -> bool:
    assert callable(holds)
    until_s = time.monotonic() + A_WHILE_S
    while not holds() and time.monotonic() < until_s:
        time.sleep(0.01)
    return bool(holds())


@pytest.mark.parametrize("size", [0, 124, 125, 126, 65_534, 65_535, 200_000])
def test_a_message_of_any_size_arrives_whole(call: Call, size: int):
    """Section 5.2: the length takes 7, 16 or 64 bits."""
    call.line.send(a_view(size))

    assert call.phone.hears() == (sockets.TEXT, b"4" + b"x" * size)


def test_what_is_said_in_pieces_is_heard_as_one(call: Call):
    """Section 5.4."""
    call.phone.says(0x01, b"40/li")
    call.phone.says(0x80, b"ve,")

    assert call.line.wait() == "40/live,"


def test_a_ping_of_the_browser_is_answered_with_what_it_said(call: Call):
    """Section 5.5.3."""
    call.phone.says(0x89, b"there?")
    call.phone.says(0x81, b"3")

    assert call.line.wait() == "3"
    assert call.phone.hears() == (sockets.PONG, b"there?")


@pytest.mark.parametrize(
    ("frame", "reason"),
    [
        ((0x81, b"x" * (LARGEST + 1), True), CloseReason.MESSAGE_TOO_BIG),
        ((0x81, b"bare", False), CloseReason.PROTOCOL_ERROR),  # section 5.1: whoever is no server masks
        ((0x83, b"", True), CloseReason.PROTOCOL_ERROR),  # section 5.2: kept for later
        ((0x88, b"\x03\xe8", True), CloseReason.NORMAL_CLOSURE),  # section 5.5.1
    ],
    ids=["too large", "unmasked", "unknown kind", "a farewell"],
)
def test_what_ends_a_line_is_answered_with_why(call: Call, frame: tuple[int, bytes, bool], reason: CloseReason):
    """Section 7.4.1."""
    call.phone.says(*frame)

    assert call.line.wait() is None
    assert call.phone.hears() == (sockets.CLOSE, int(reason).to_bytes(2, "big"))
    assert call.phone.is_hung_up()


@pytest.mark.parametrize(
    ("first", "more"),
    [
        (b"\x89\x80\0\0\0\0", b"\x89\x80\0\0\0\0"),
        (b"\x81\x81\0\0\0\x003", b"\x81\x81\0\0\0\x003"),
        (b"\x01\x80\0\0\0\0", b"\x00\x80\0\0\0\0"),
    ],
    ids=["pings", "messages", "empty pieces"],
)
def test_who_says_much_more_than_a_client_has_to_say_is_hung_up_on(
    call: Call, first: bytes, more: bytes, monkeypatch: pytest.MonkeyPatch
):
    """Section 7.4.1, 1008; OWASP ASVS 5.0 V15.2 (from memory): what a client may make us do and keep is bounded."""
    monkeypatch.setattr(sockets, "MORE_FRAMES_PER_S", 0.0)
    call.phone.end.sendall(first + more * sockets.MOST_FRAMES_AT_FIRST)

    while call.line.wait() is not None:
        pass

    while (heard := call.phone.hears())[0] != sockets.CLOSE:
        pass
    assert heard[1] == int(CloseReason.POLICY_VIOLATION).to_bytes(2, "big")


def test_text_that_is_none_ends_the_line(call: Call):
    """Section 8.1."""
    call.phone.says(0x81, b"\xff\xfe")

    assert call.line.wait() is None


def test_a_line_on_which_nothing_comes_for_long_is_dead(call: Call):
    call.line._silence_s = 0.05

    assert call.line.wait() is None


def test_whoever_sends_never_waits_for_a_phone_that_does_not_read(call: Call):
    for _ in range(50):
        call.line.send(a_view(100_000))  # returns, or this test never ends

    assert call.line.is_full
    assert [call.phone.hears()[1] for _ in range(50)] == [b"4" + b"x" * 100_000] * 50
    assert until(lambda: not call.line.is_full)


def test_a_phone_that_takes_nothing_for_long_is_hung_up_on(call: Call, monkeypatch: pytest.MonkeyPatch):
    monkeypatch.setattr(sockets, "STUCK_S", 0.1)

    for _ in range(50):
        call.line.send(a_view(100_000))

    assert call.line.wait() is None  # its thread is free
    assert not call.line.is_full


def test_who_is_hung_up_on_hears_first_what_was_still_to_be_said(call: Call):
    call.line.send(a_view(300_000))

    call.line.send(None)
    call.line.send(a_view(5))

    assert call.phone.hears() == (sockets.TEXT, b"4" + b"x" * 300_000)
    assert call.phone.hears()[0] == sockets.CLOSE
    assert call.phone.is_hung_up()


def test_what_waited_in_the_outbox_goes_first(call: Call):
    outbox = Outbox()
    outbox.put(a_view(1))

    outbox.goes_to(call.line)
    outbox.put(a_view(2))

    assert [call.phone.hears()[1] for _ in range(2)] == [b"4x", b"4xx"]


def test_a_phone_that_is_behind_takes_no_offer_until_it_has_read_all(call: Call):
    outbox = Outbox()
    outbox.goes_to(call.line)
    while outbox.offer(a_view(100_000), packets=1):
        pass

    assert not outbox.offer(a_view(5), packets=1)
    while call.line.is_full:
        assert call.phone.hears()[1] == b"4" + b"x" * 100_000
    assert until(lambda: outbox.offer(a_view(3), packets=1))
    while (heard := call.phone.hears()[1]) != b"4xxx":
        assert heard == b"4" + b"x" * 100_000


def test_a_line_that_is_over_takes_every_offer_for_nobody_is_there_to_be_told_again(call: Call):
    outbox = Outbox()
    outbox.goes_to(call.line)

    call.line.cut()

    assert outbox.offer(a_view(1), packets=1)


def test_who_polls_takes_as_many_offers_as_they_may_be_behind():
    outbox = Outbox()

    taken = [outbox.offer(a_view(1), packets=3) for _ in range(4)]

    assert taken == [True, True, True, False]


def test_a_phone_costs_one_thread(web: Web, served: str):
    with connected(served, view="wall", booth="quay") as first:
        first.view()
        before = _threads_of_the_service()
        with connected(served, view="wall", booth="quay") as second:
            second.view()

            assert _threads_of_the_service() == before + 1


def _threads_of_the_service() -> int:
    """Those that hold a request, or do what Engine.IO does in the background."""
    names = [thread.name for thread in threading.enumerate()]
    return sum("process_request_thread" in name or "_send_ping" in name or "writer" in name for name in names)


@pytest.mark.parametrize(
    "wrong", [{"Sec-WebSocket-Version": "8"}, {"Sec-WebSocket-Key": "short"}, {"Sec-WebSocket-Key": "ä" * 24}]
)
def test_what_is_no_handshake_is_answered_400_and_leaves_nothing(web: Web, served: str, wrong: dict[str, str]):
    """Sections 4.2.1 and 4.4: the version that is spoken here is named."""
    headers = {name: text.encode() for name, text in {**HANDSHAKE, **wrong}.items()}

    answer = requests.get(f"{served}/socket.io/?EIO=4&transport=websocket", headers=headers, timeout=A_WHILE_S)

    assert (answer.status_code, answer.headers["Sec-WebSocket-Version"]) == (400, "13")
    assert web.app.extensions["socketio"].server.eio.sockets == {}


def test_the_postman_pings_after_a_while_and_goes_on_although_one_is_gone():
    class Talk:
        closing = closed = False
        last_ping = None

        def __init__(self, is_gone: bool) -> None:
            self.is_gone, self.pinged = is_gone, threading.Event()

        def send(self, packet: Packet) -> None:
            if self.is_gone:
                raise ZeroDivisionError
            self.pinged.set()

    postman, gone, here = Postman(ping_every_s=0.05), Talk(is_gone=True), Talk(is_gone=False)

    postman.ping_later(gone)
    postman.ping_later(here)

    assert here.pinged.wait(A_WHILE_S)
    postman.stop()

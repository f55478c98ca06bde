"""What is no message of live push: its sender is hung up on, others go on, and no line of any log is written for it."""

from __future__ import annotations

import json
import logging
import time
from collections.abc import Iterator

import pytest

from tests.faults.frames import BINARY, CLOSE, GOOD, Line
from tests.web.conftest import Web, make_web, serving


@pytest.fixture(scope="module")
def web(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Web]:
    made = make_web(tmp_path_factory.mktemp("strange"))
    yield made
    made.app.extensions["portraitq-live"].close()
    made.desks.close()


@pytest.fixture(scope="module")
def served(web: Web) -> Iterator[str]:
    with serving(web) as address:
        yield address


HELLO = b"40/live," + json.dumps({**GOOD, "booth": "quay"}).encode()


def hears(line: Line) -> list[bytes]:
    """All that comes until the server hangs up."""
    heard = []
    while (frame := line.frame())[0] not in (0, CLOSE):
        heard.append(frame[1])
    return heard


def complaints(caplog: pytest.LogCaptureFixture) -> list[str]:
    """What was logged, except by a client that another test of this process left to its thread."""
    return [record.getMessage() for record in caplog.records if not record.name.startswith("engineio.client")]


@pytest.mark.parametrize(
    ("said", "opcode"),
    [
        (b"4", 1),
        (b"4x", 1),
        (b"49/live,", 1),
        (b'44/live,{"message":"no"}', 1),
        (b"43/live,1[]", 1),
        (b'451-/live,["view",{"_placeholder":true,"num":0}]', 1),
        (b"4599999999-/live,[]", 1),
        (b"40/live," + b"[" * 5000, 1),
        (b"40/live," + b"9" * 5000, 1),
        (b'42/live,["view"', 1),
        (b"\x04\x00\xff", BINARY),
        (HELLO + HELLO, 1),
    ],
)
def test_who_says_what_no_client_says_is_hung_up_on_quietly(
    web: Web, served: str, said: bytes, opcode: int, caplog: pytest.LogCaptureFixture
):
    line = Line(int(served.rpartition(":")[2]))

    with caplog.at_level(logging.WARNING):
        line.send(said, opcode)
        hears(line)

    assert complaints(caplog) == []
    line.close()


def test_who_says_twice_who_they_are_is_hung_up_on(web: Web, served: str):
    line = Line(int(served.rpartition(":")[2]))
    line.send(HELLO)
    while not line.frame()[1].startswith(b"42/live,"):
        pass

    line.send(HELLO)
    hears(line)

    publisher = web.app.extensions["portraitq-live"]
    until_s = time.monotonic() + 20
    while publisher.watching() and time.monotonic() < until_s:
        time.sleep(0.02)
    assert publisher.watching() == 0
    line.close()


def test_a_phone_that_comes_while_the_last_one_leaves_is_greeted_and_nothing_is_logged(
    web: Web, served: str, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
):
    manager = web.app.extensions["socketio"].server.manager
    entering, left = manager.basic_enter_room, list[str]()

    def while_the_last_one_leaves(sid: str, namespace: str, room: str | None, **more: object) -> None:
        if not left:
            left.append(sid)
            raise KeyError(namespace)
        entering(sid, namespace, room, **more)

    monkeypatch.setattr(manager, "basic_enter_room", while_the_last_one_leaves)
    line = Line(int(served.rpartition(":")[2]))

    with caplog.at_level(logging.WARNING):
        line.send(HELLO)
        while not line.frame()[1].startswith(b"42/live,"):
            pass

    assert (len(left), complaints(caplog)) == (1, [])
    line.close()


def test_an_event_that_nobody_listens_for_does_no_harm(web: Web, served: str):
    line = Line(int(served.rpartition(":")[2]))

    line.send(b'42/live,["hello",{}]')

    line.send(HELLO)
    while not line.frame()[1].startswith(b"42/live,"):
        pass
    line.close()

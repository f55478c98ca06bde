"""More than can be served are refused early, with when to come back; the booth's own people are not.

RFC 9110 §15.6.4 (503) and §10.2.3 (Retry-After); OWASP ASVS 5.0 V15.2.2 (availability under load); from memory.
"""

from __future__ import annotations

import json
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest
import requests

from portraitq.web import crowd
from portraitq.web.app import create_app
from tests.web.conftest import Web, make_web, serving
from tests.web.test_live import connected
from tests.web.test_sockets import HANDSHAKE

LIVE = "/socket.io/?EIO=4&transport=websocket"
A_WHILE_S = 20.0


@pytest.fixture
def small(tmp_path: Path) -> Iterator[tuple[Web, str]]:
    """A booth that keeps two connections up to date and not one more, but for its own people."""
    made = make_web(tmp_path)
    made.app.extensions["portraitq-live"].close()
    web = Web(made.desks, create_app(made.desks, address="http://192.168.4.1:8750", PORTRAITQ_MOST_LIVE=2))
    with serving(web) as address:
        yield web, address
    made.desks.close()


def test_a_phone_too_many_is_told_when_to_come_back_and_may_ask_meanwhile(small: tuple[Web, str]):
    _, address = small
    with connected(address, view="wall", booth="quay") as one, connected(address, view="wall", booth="quay") as two:
        one.view(), two.view()

        answer = requests.get(f"{address}{LIVE}", headers=HANDSHAKE, timeout=A_WHILE_S)

        assert answer.status_code == 503
        assert crowd.AGAIN_S[0] <= int(answer.headers["Retry-After"]) <= crowd.AGAIN_S[1]
        assert answer.text == crowd.FULL
        assert requests.get(f"{address}/quay/wall?fragment=1", timeout=A_WHILE_S).status_code == 200


def test_a_polling_phone_too_many_is_refused_too_and_one_that_was_let_in_goes_on(small: tuple[Web, str]):
    _, address = small
    with (
        connected(address, ("polling",), view="wall", booth="quay") as one,
        connected(address, view="wall", booth="quay") as two,
    ):
        one.view(), two.view()

        answer = requests.get(f"{address}/socket.io/?EIO=4&transport=polling", timeout=A_WHILE_S)

        assert answer.status_code == 503
        small[0].order()
        assert one.view()


def test_the_booths_own_screens_get_in_although_it_is_full(small: tuple[Web, str]):
    web, address = small
    with connected(address, view="wall", booth="quay") as one, connected(address, view="wall", booth="quay") as two:
        one.view(), two.view()

        with connected(address, headers=web.key(), view="counter", booth="quay") as counter:
            assert counter.view()


def test_when_a_phone_has_left_another_gets_in(small: tuple[Web, str]):
    web, address = small
    with connected(address, view="wall", booth="quay") as one, connected(address, view="wall", booth="quay") as two:
        one.view(), two.view()
    gone = threading.Event()
    while web.app.extensions["socketio"].server.eio.sockets and not gone.wait(0.02):
        pass

    with connected(address, view="wall", booth="quay") as three:
        assert three.view()


@contextmanager
def busy(web: Web, monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    """One request is in hand, which is all that there may be."""
    monkeypatch.setattr(crowd, "MOST_AT_ONCE", 1)
    with in_hand(web, "start.index", "/"):
        yield


@contextmanager
def in_hand(web: Web, endpoint: str, address: str, **asked: Any) -> Iterator[None]:
    """A request of that address is begun and not answered."""
    begun, go_on = threading.Event(), threading.Event()

    def slow(**_named: str) -> str:
        begun.set()
        assert go_on.wait(A_WHILE_S)
        return "done"

    web.app.view_functions[endpoint] = slow
    client = web.app.test_client()
    asking = threading.Thread(target=client.open, args=(address,), kwargs=asked)
    asking.start()
    assert begun.wait(A_WHILE_S)
    try:
        yield
    finally:
        go_on.set()
        asking.join(A_WHILE_S)


def test_a_request_too_many_is_told_when_to_come_back_and_the_artists_tap_is_taken(
    web: Web, monkeypatch: pytest.MonkeyPatch
):
    key = web.key()
    with busy(web, monkeypatch):
        page = web.client.get("/quay/wall", headers={"Accept": "text/html"})
        tap = web.client.post(
            "/api/v1/booths/quay/commands",
            json={"id": "tap-1", "kind": "walked_away", "data": {"style": None, "sitters": 1, "ready_by": None}},
            headers=key,
        )

    assert (page.status_code, page.get_data(as_text=True)) == (503, crowd.FULL)
    assert page.headers["Refresh"] == page.headers["Retry-After"]
    assert tap.status_code == 200
    assert web.client.get("/quay/wall").status_code == 200


def test_who_sends_slowly_keeps_nobody_from_their_page(web: Web, monkeypatch: pytest.MonkeyPatch):
    stranger = {"REMOTE_ADDR": "192.168.4.66"}
    monkeypatch.setattr(crowd, "MOST_BODIES_OF_ONE", 1)
    with sending(web, monkeypatch, stranger):
        page = web.client.get("/quay/wall")
        one_more = web.client.post("/sign-in", data={"passphrase": "x"}, environ_base=stranger)
        of_another = web.client.post("/sign-in", data={"passphrase": "x"}, environ_base={"REMOTE_ADDR": "192.168.4.67"})
        tap = web.client.post("/api/v1/booths/quay/commands", json={}, headers=web.key(), environ_base=stranger)

    assert (page.status_code, one_more.status_code, of_another.status_code, tap.status_code) == (200, 503, 401, 422)
    assert web.client.post("/sign-in", data={"passphrase": "x"}, environ_base=stranger).status_code == 401


@contextmanager
def sending(web: Web, monkeypatch: pytest.MonkeyPatch, who: dict[str, str]) -> Iterator[None]:
    """Somebody's form is still on its way."""
    monkeypatch.setattr(crowd, "MOST_AT_ONCE", 2)
    with in_hand(web, "devices.used", "/pair/ABCD", method="POST", data={"a": "b"}, environ_base=who):
        yield


def test_one_who_asks_for_news_many_times_at_once_takes_no_more_than_their_share(small: tuple[Web, str]):
    """A poll waits half a minute, and its session may be asked for again meanwhile."""
    web, address = small
    opened = requests.get(f"{address}/socket.io/?EIO=4&transport=polling", timeout=A_WHILE_S).text
    poll = f"{address}/socket.io/?EIO=4&transport=polling&sid={json.loads(opened[1:])['sid']}"
    door = web.app.extensions["portraitq-crowd"]
    waiting = [threading.Thread(target=requests.get, args=(poll,), kwargs={"timeout": 90}) for _ in range(2)]
    for one in waiting:
        one.start()
    while door._held < 2:
        time.sleep(0.01)

    assert requests.get(poll, timeout=A_WHILE_S).status_code == 503
    with connected(address, headers=web.key(), view="counter", booth="quay") as counter:
        assert counter.view()
    web.app.extensions["socketio"].server.eio.disconnect()
    for one in waiting:
        one.join(90)


def test_a_head_that_is_refused_has_no_body(web: Web, monkeypatch: pytest.MonkeyPatch):
    """RFC 9110 §9.3.2; on a line that is kept open it would be taken for the next answer."""
    with busy(web, monkeypatch):
        answer = web.client.head("/quay/wall")

    assert (answer.status_code, answer.data) == (503, b"")


def test_a_request_that_breaks_does_not_stay_in_hand(web: Web, monkeypatch: pytest.MonkeyPatch):
    monkeypatch.setattr(crowd, "MOST_AT_ONCE", 1)
    web.app.config["PROPAGATE_EXCEPTIONS"] = False
    web.app.view_functions["start.index"] = lambda: 1 / 0

    for _ in range(3):
        assert web.client.get("/").status_code == 500


def test_a_photo_too_many_is_refused_before_it_is_read_and_the_next_one_taken(
    web: Web, monkeypatch: pytest.MonkeyPatch
):
    monkeypatch.setattr(crowd, "MOST_UPLOADS", 0)
    full = create_app(web.desks, address="http://192.168.4.1:8750")
    client = full.test_client()
    key = {**web.key(), "Accept": "application/json"}

    refused = client.post("/api/v1/booths/quay/orders", data=b"x", headers=key)

    assert refused.status_code == 503
    assert refused.headers["Retry-After"]
    assert refused.get_json()["detail"] == crowd.UPLOADS
    full.extensions["portraitq-live"].close()


def test_photos_that_were_taken_make_room_for_more(web: Web):
    key = web.key()
    for n in range(crowd.MOST_UPLOADS + 1):
        answer = web.client.post(
            "/api/v1/booths/quay/orders",
            data={"order": f'{{"id": "o{n}", "style": "nothing", "sitters": 1}}'},
            headers=key,
        )

        assert answer.status_code != 503

"""Nobody keeps the booth busy by asking fast; its own people are never told to wait.

RFC 6585 §4 (429), RFC 9110 §10.2.3 (Retry-After); OWASP ASVS 5.0 V2.4.1 (anti-automation), V15.2.2; from memory.
"""

from __future__ import annotations

import pytest

from portraitq.web import haste
from portraitq.web.haste import ALL, HALL, PHONE, Askers
from tests.web.conftest import Web

STRANGER = {"REMOTE_ADDR": "192.168.4.66"}


class Clock:
    now_s = 1000.0

    def __call__(self) -> float:
        return self.now_s


@pytest.fixture
def clock() -> Clock:
    return Clock()


@pytest.fixture
def askers(clock: Clock) -> Askers:
    return Askers(clock)


def test_a_hall_behind_one_router_may_all_come_at_once_and_then_as_fast_as_its_phones_ask(askers: Askers, clock: Clock):
    assert sum(askers.may_ask("router") for _ in range(2 * HALL.at_once)) == HALL.at_once

    clock.now_s += 1

    assert sum(askers.may_ask("router") for _ in range(2 * HALL.at_once)) == HALL.per_s


def test_a_phone_that_asks_every_fifteen_seconds_is_never_told_to_wait_although_strangers_ask_all_that_there_is(
    askers: Askers, clock: Clock
):
    for _ in range(40):
        for n in range(30):
            while askers.may_ask(f"stranger {n}"):
                pass
        assert askers.may_ask("phone")
        clock.now_s += 15


def test_strangers_with_many_addresses_get_no_more_than_all_may_ask_and_what_a_phone_needs(
    askers: Askers, clock: Clock
):
    names = [f"stranger {n}" for n in range(50)]
    for name in names * (2 * HALL.at_once):
        askers.may_ask(name)

    clock.now_s += 10
    taken = sum(askers.may_ask(name) for name in names * 100)

    assert taken <= 10 * (ALL.per_s + PHONE.per_s * len(names))


def test_who_rested_may_ask_again_as_at_first_and_is_forgotten_among_many(
    askers: Askers, clock: Clock, monkeypatch: pytest.MonkeyPatch
):
    monkeypatch.setattr(haste, "MOST_ADDRESSES", 3)
    while askers.may_ask("router"):
        pass
    clock.now_s += HALL.at_once / HALL.per_s

    assert sum(askers.may_ask("router") for _ in range(2 * HALL.at_once)) == HALL.at_once
    for n in range(5):
        askers.may_ask(f"phone {n}")
    assert len(askers._as_hall._over_at_s) == 3


@pytest.fixture
def web_in_haste(web: Web, askers: Askers, monkeypatch: pytest.MonkeyPatch) -> tuple[Web, list[float]]:
    """A booth at which the stranger's address has asked all that it may; and for how long it was held."""
    held: list[float] = []
    gate = web.app.extensions["portraitq-haste"]
    monkeypatch.setattr(gate, "_askers", askers)
    monkeypatch.setattr(gate, "_rest", held.append)
    while gate._askers.may_ask(STRANGER["REMOTE_ADDR"]):
        pass
    return web, held


def test_who_asks_too_fast_is_told_when_to_come_back_a_little_late(web_in_haste: tuple[Web, list[float]]):
    web, held = web_in_haste

    answers = [
        web.client.get(path, headers=headers, environ_base=STRANGER)
        for path in ("/quay/wall", "/t/ABCDEFGHJKMN", "/socket.io/?EIO=4&transport=polling", "/static/js/live.js")
        for headers in ({}, {"Host": "evil.example"}, {"Authorization": "Bearer nonsense"}, {"Cookie": "session=x"})
    ]

    assert {(answer.status_code, answer.text, answer.headers["Retry-After"]) for answer in answers} == {
        (429, haste.TOO_FAST, str(haste.AGAIN_S))
    }
    assert held == [haste.HOLD_S] * len(answers)
    assert web.client.get("/quay/wall", environ_base={"REMOTE_ADDR": "192.168.4.67"}).status_code == 200


def test_the_booths_own_people_are_let_in_from_the_same_address(web_in_haste: tuple[Web, list[float]]):
    web, held = web_in_haste

    by_key = web.client.get("/quay/counter", headers=web.key(), environ_base=STRANGER)
    web.sign_in()
    by_cookie = web.client.get("/quay/counter", environ_base=STRANGER)

    assert (by_key.status_code, by_cookie.status_code, held) == (200, 200, [])


def test_when_more_are_too_fast_than_there_is_room_for_they_are_told_at_once(
    web_in_haste: tuple[Web, list[float]], monkeypatch: pytest.MonkeyPatch
):
    web, held = web_in_haste
    for _ in range(haste.MOST_HELD):
        web.app.extensions["portraitq-haste"]._places.acquire()

    assert web.client.head("/quay/wall", environ_base=STRANGER).status_code == 429
    assert held == []


def test_who_sends_what_is_no_request_is_slowed_as_well(askers: Askers, web_in_haste: tuple[Web, list[float]]):
    web, held = web_in_haste
    gate = web.app.extensions["portraitq-haste"]

    gate.count("192.168.4.67")
    gate.count(STRANGER["REMOTE_ADDR"])
    gate.count("127.0.0.1")

    assert held == [haste.HOLD_S]

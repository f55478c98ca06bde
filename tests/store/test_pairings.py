"""Invitations to pair a device: a code that works once, for ten minutes, and is kept as a hash alone.

OWASP ASVS 5.0: 6.5.1 (once), 6.5.4 (at least 20 bits), 6.5.5 (at most ten minutes).
"""

from __future__ import annotations

import threading
from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path

import pytest

from portraitq.store import devices, pairings
from portraitq.store.store import FILE_NAME, Store, open_store
from tests.builders import instant

NINE = instant("09:00")


@pytest.fixture
def store(where: Path | str) -> Iterator[Store]:
    opened = open_store(where)
    yield opened
    opened.close()


def invited(store: Store, name: str = "tablet", role: str = devices.STAFF) -> tuple[pairings.Pairing, str]:
    with store.writing() as connection:
        return pairings.invite(connection, name, role, NINE)


def used(store: Store, code: str, minutes: float = 1) -> tuple[str, devices.Device] | None:
    with store.writing() as connection:
        return pairings.use(connection, code, NINE + timedelta(minutes=minutes))


def test_a_code_makes_a_device_of_the_name_and_role_that_were_chosen(store: Store) -> None:
    made, code = invited(store, "easel tablet")

    key, device = used(store, code) or ("", None)

    assert device is not None
    assert (device.name, device.role) == ("easel tablet", devices.STAFF)
    with store.reading() as connection:
        assert devices.find(connection, key) == device
        assert (pairings.by_id(connection, made.id) or made).device == device.id
        assert pairings.waiting(connection, NINE) == []


def test_a_code_works_once(store: Store) -> None:
    _, code = invited(store)

    assert used(store, code) is not None
    assert used(store, code) is None


def test_of_many_who_use_a_code_at_once_one_is_let_in(store: Store) -> None:
    _, code = invited(store)
    let_in: list[object] = []
    hands = [threading.Thread(target=lambda: let_in.append(used(store, code))) for _ in range(8)]

    for hand in hands:
        hand.start()
    for hand in hands:
        hand.join()

    assert sum(one is not None for one in let_in) == 1


def test_looking_at_a_code_does_not_use_it_up(store: Store) -> None:
    made, code = invited(store)

    with store.reading() as connection:
        assert pairings.by_code(connection, code, NINE) == made
        assert pairings.by_code(connection, code, NINE) == made


@pytest.mark.parametrize(("minutes", "works"), [(9.9, True), (10, False), (-1, False)])
def test_a_code_works_for_ten_minutes(store: Store, minutes: float, works: bool) -> None:
    _, code = invited(store)

    assert (used(store, code, minutes) is not None) == works


def test_a_code_that_was_taken_back_works_no_more(store: Store) -> None:
    made, code = invited(store)

    with store.writing() as connection:
        assert pairings.cancel(connection, made.id)

    assert used(store, code) is None


def test_a_code_stands_nowhere_in_the_store(store: Store, tmp_path: Path) -> None:
    _, code = invited(store)

    assert not any(code.encode() in file.read_bytes() for file in tmp_path.glob(f"{FILE_NAME}*"))


def test_a_code_is_long_enough_and_another_each_time(store: Store) -> None:
    codes = {invited(store)[1] for _ in range(5)}

    assert len(codes) == 5
    assert 32**pairings.CODE_SYMBOLS >= 2**20
    assert {len(code) for code in codes} == {pairings.CODE_SYMBOLS}


def test_forgotten_invitations_do_not_pile_up(store: Store) -> None:
    first, _ = invited(store)
    for _ in range(pairings.MOST_WAITING):
        invited(store)

    with store.reading() as connection:
        assert len(pairings.waiting(connection, NINE)) == pairings.MOST_WAITING
        assert pairings.by_id(connection, first.id) is None


@pytest.mark.parametrize(("typed", "read"), [("abcd efgh", "ABCDEFGH"), ("O1-il 0000", "01110000"), ("ABCD", None),
                                             ("ABCDEFGU", None), ("é" * 8, None), ("A" * 500, None)])  # fmt: skip
def test_a_code_is_typed_as_one_likes(typed: str, read: str | None) -> None:
    assert pairings.normalise(typed) == read

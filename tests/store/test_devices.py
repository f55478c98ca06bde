"""Devices of the booth: let in by a key that is kept nowhere, in a role, until they are withdrawn."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from portraitq.store import devices
from portraitq.store.store import FILE_NAME, Store, open_store
from tests.builders import instant


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    opened = open_store(tmp_path)
    yield opened
    opened.close()


def test_a_device_is_let_in_by_its_key_until_it_is_withdrawn(store: Store) -> None:
    with store.writing() as connection:
        key = devices.add(connection, "tablet at the easel", instant("09:00"), devices.STAFF)
        device = devices.find(connection, key)
        assert device is not None
        devices.seen(connection, [device.id], instant("09:05"))

        assert (device.name, device.role, device.seen_at) == ("tablet at the easel", "staff", None)
        assert devices.find(connection, key + "x") is None
        assert [one.seen_at for one in devices.listed(connection)] == ["2026-06-06T09:05:00.000Z"]
        assert devices.roles(connection, [device.id, "none"]) == {device.id: "staff"}
        assert devices.withdraw(connection, device.id, instant("09:10"))
        assert devices.find(connection, key) is None
        assert devices.roles(connection, [device.id]) == {}
        assert not devices.withdraw(connection, device.id, instant("09:11"))


def test_a_key_is_the_owners_unless_something_else_is_said(store: Store) -> None:
    with store.writing() as connection:
        device = devices.find(connection, devices.add(connection, "board", instant("09:00")))

    assert device is not None
    assert device.role == devices.OWNER


def test_there_are_no_other_roles(store: Store) -> None:
    with store.writing() as connection, pytest.raises(ValueError, match="staff, owner"):
        devices.add(connection, "board", instant("09:00"), "king")


def test_a_key_stands_nowhere_in_the_store(store: Store, tmp_path: Path) -> None:
    with store.writing() as connection:
        key = devices.add(connection, "board", instant("09:00"))

    assert not any(key.encode() in file.read_bytes() for file in tmp_path.glob(f"{FILE_NAME}*"))

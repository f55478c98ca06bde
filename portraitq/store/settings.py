"""Small things that the whole service keeps: the key that signs cookies, the passphrase's hash."""

from __future__ import annotations

import hashlib

from sqlalchemy import Connection, bindparam, insert, select, update

from portraitq.store import schema

LONGEST_KEY = 64
_VALUE = select(schema.settings.c.value).where(schema.settings.c.key == bindparam("key"))  # built once, asked often


def key(what: str, booth: str) -> str:
    """What is kept for that booth stands under this key; a long name is shortened without meeting another's."""
    whole = f"{what}:{booth}"
    return whole if len(whole) <= LONGEST_KEY else f"{what}:{hashlib.sha256(booth.encode()).hexdigest()[:32]}"


def get(connection: Connection, key: str) -> str | None:
    """The value kept under `key`, or None."""
    return connection.execute(_VALUE, {"key": key}).scalar()


def put(connection: Connection, key: str, value: str) -> None:
    """Keep `value` under `key`, replacing what stood there."""
    table = schema.settings
    if not connection.execute(update(table).where(table.c.key == key).values(value=value)).rowcount:
        connection.execute(insert(table).values(key=key, value=value))

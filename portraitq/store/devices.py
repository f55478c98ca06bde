"""Devices that belong to the booth, each by a key of its own and in a role. Only a key's hash is kept.

A board or script sends its key; a paired tablet has it in its cookie. `pairings.py` says how one is paired.
"""

from __future__ import annotations

import hashlib
import secrets
from collections.abc import Collection
from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import Connection, bindparam, insert, select, update

from portraitq.core.events import print_instant
from portraitq.store import schema

KEY_BYTES = 24  # 192 bits: too many to guess, so a plain hash is enough
OWNER = "owner"  # may everything
STAFF = "staff"  # takes orders, draws, hands over
ROLES = (STAFF, OWNER)


@dataclass(frozen=True, slots=True)
class Device:
    """A device as the list shows it; instants in the journal's form."""

    id: str
    name: str
    added_at: str
    seen_at: str | None
    withdrawn_at: str | None
    role: str


_COLUMNS = tuple(schema.devices.c[name] for name in Device.__slots__)
_STILL_IN = select(*_COLUMNS).where(  # built once, for every tap asks it
    schema.devices.c.key_sha256 == bindparam("key_sha256"), schema.devices.c.withdrawn_at.is_(None)
)


def _hash(key: str) -> str:
    return hashlib.sha256(key.encode()).hexdigest()


def add(connection: Connection, name: str, now: datetime, role: str = OWNER) -> str:
    """Let one more device in; its key, which is shown this once and kept nowhere. ValueError for an unknown role."""
    if role not in ROLES:
        raise ValueError(f"role must be one of {', '.join(ROLES)}, not {role!r}")
    key = secrets.token_urlsafe(KEY_BYTES)
    connection.execute(
        insert(schema.devices).values(
            id=secrets.token_hex(4), name=name, key_sha256=_hash(key), added_at=print_instant(now), role=role
        )
    )
    return key


def find(connection: Connection, key: str) -> Device | None:
    """The device that has this key, unless it was withdrawn."""
    row = connection.execute(_STILL_IN, {"key_sha256": _hash(key)}).first()
    return Device(*row) if row else None


def listed(connection: Connection) -> list[Device]:
    """Every device, withdrawn ones too, oldest first."""
    return [Device(*row) for row in connection.execute(select(*_COLUMNS).order_by(schema.devices.c.added_at))]


def roles(connection: Connection, ids: Collection[str]) -> dict[str, str]:
    """The roles of those of these devices that were not withdrawn, by id."""
    table = schema.devices
    found = connection.execute(
        select(table.c.id, table.c.role).where(table.c.id.in_(list(ids)), table.c.withdrawn_at.is_(None))
    )
    return {row.id: row.role for row in found}


def withdraw(connection: Connection, id: str, now: datetime) -> bool:
    """Shut a device out; whether there was one of that id still in."""
    table = schema.devices
    return bool(
        connection.execute(
            update(table)
            .where(table.c.id == id, table.c.withdrawn_at.is_(None))
            .values(withdrawn_at=print_instant(now))
        ).rowcount
    )


def seen(connection: Connection, ids: Collection[str], now: datetime) -> None:
    """Note that these devices were here."""
    table = schema.devices
    connection.execute(update(table).where(table.c.id.in_(list(ids))).values(seen_at=print_instant(now)))

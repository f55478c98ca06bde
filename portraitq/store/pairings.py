"""Invitations to pair one device: each has a name, a role and a code that works once and for ten minutes.

The code is eight symbols of Crockford's alphabet, 40 bits from the operating system's random source. Only its hash is
kept; whoever could read that has the whole database before them, and the code is over in ten minutes.
(OWASP ASVS 5.0: 6.5.1 once, 6.5.3 random, 6.5.4 at least 20 bits, 6.5.5 at most ten minutes, 6.6.3 guesses limited,
which is the web's part.)
"""

from __future__ import annotations

import hashlib
import secrets
from dataclasses import dataclass
from datetime import datetime, timedelta

from sqlalchemy import Connection, delete, func, insert, select, update

from portraitq.core.events import parse_instant, print_instant
from portraitq.store import devices, schema
from portraitq.ticket.codes import SYMBOLS, plain

CODE_SYMBOLS = 8
HALF = CODE_SYMBOLS // 2
LASTS = timedelta(minutes=10)
MOST_WAITING = 20  # somebody prepares a whole booth; more are forgotten taps


@dataclass(frozen=True, slots=True)
class Pairing:
    """One invitation; instants in the journal's form. `device` is what it became, empty while it waits."""

    id: str
    name: str
    role: str
    made_at: str
    until_at: str
    device: str


_COLUMNS = tuple(schema.pairings.c[name] for name in Pairing.__slots__)


def normalise(typed: str) -> str | None:
    """The code that somebody typed, in its stored form; None when it is none.

    >>> normalise("abcd-efg1"), normalise("abcd")
    ('ABCDEFG1', None)
    """
    code = plain(typed[: 4 * CODE_SYMBOLS])
    return code if len(code) == CODE_SYMBOLS and set(code) <= set(SYMBOLS) else None


def shown(code: str) -> str:
    """`code` in two halves, for reading.

    >>> shown("ABCDEFG1")
    'ABCD-EFG1'
    """
    return f"{code[:HALF]}-{code[HALF:]}"


def invite(connection: Connection, name: str, role: str, now: datetime) -> tuple[Pairing, str]:
    """Make an invitation; it and its code, which is shown this once. Those that are over are forgotten.

    Raises ValueError for an unknown role.
    """
    if role not in devices.ROLES:
        raise ValueError(f"role must be one of {', '.join(devices.ROLES)}, not {role!r}")
    _forget(connection, now)
    code = "".join(secrets.choice(SYMBOLS) for _ in range(CODE_SYMBOLS))
    made = Pairing(secrets.token_hex(8), name, role, print_instant(now), print_instant(now + LASTS), "")
    fields = {key: getattr(made, key) for key in Pairing.__slots__}
    connection.execute(insert(schema.pairings).values(code_sha256=_hash(code), **fields))
    return made, code


def by_code(connection: Connection, code: str, now: datetime) -> Pairing | None:
    """The invitation of that code that still waits, or None. Reading does not use it up."""
    table = schema.pairings
    row = connection.execute(select(*_COLUMNS).where(table.c.code_sha256 == _hash(code), table.c.device == "")).first()
    return Pairing(*row) if row and _is_on(Pairing(*row), now) else None


def by_id(connection: Connection, id: str) -> Pairing | None:
    """The invitation of that id, or None when it was cancelled or is long over."""
    row = connection.execute(select(*_COLUMNS).where(schema.pairings.c.id == id)).first()
    return Pairing(*row) if row else None


def waiting(connection: Connection, now: datetime) -> list[Pairing]:
    """The invitations that can still be used, oldest first."""
    table = schema.pairings
    rows = connection.execute(select(*_COLUMNS).where(table.c.device == "").order_by(table.c.made_at))
    return [one for row in rows if _is_on(one := Pairing(*row), now)]


def use(connection: Connection, code: str, now: datetime) -> tuple[str, devices.Device] | None:
    """Use up the invitation of that code: the key of the new device and the device. None when there is none (any more).

    Two that try at once are ordered by the store: one writes at a time, and the second finds it used.
    """
    found = by_code(connection, code, now)
    if found is None:
        return None
    key = devices.add(connection, found.name, now, found.role)
    device = devices.find(connection, key)
    assert device is not None
    table = schema.pairings
    taken = update(table).where(table.c.id == found.id, table.c.device == "").values(device=device.id)
    if not connection.execute(taken).rowcount:
        raise RuntimeError("an invitation was used twice")  # undone with its transaction
    return key, device


def cancel(connection: Connection, id: str) -> bool:
    """Take an invitation back; whether it still waited."""
    table = schema.pairings
    return bool(connection.execute(delete(table).where(table.c.id == id, table.c.device == "")).rowcount)


def _forget(connection: Connection, now: datetime) -> None:
    """Drop what is over since ten minutes, and the oldest of too many."""
    table = schema.pairings
    connection.execute(delete(table).where(table.c.until_at < print_instant(now - LASTS)))
    connection.execute(delete(table).where(table.c.made_at > print_instant(now)))  # of a clock that was wrong
    count: int = connection.execute(select(func.count()).select_from(table)).scalar_one()
    if count >= MOST_WAITING:
        oldest = select(table.c.id).order_by(table.c.made_at).limit(count - MOST_WAITING + 1)
        connection.execute(delete(table).where(table.c.id.in_([row.id for row in connection.execute(oldest)])))


def _is_on(pairing: Pairing, now: datetime) -> bool:
    return parse_instant(pairing.made_at) <= now < parse_instant(pairing.until_at)


def _hash(code: str) -> str:
    return hashlib.sha256(b"pairing " + code.encode()).hexdigest()

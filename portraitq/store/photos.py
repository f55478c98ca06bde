"""Reference photos: whole and small, several a ticket, in the database so that one file holds the booth."""

from __future__ import annotations

import secrets
from collections import defaultdict
from collections.abc import Collection
from dataclasses import dataclass
from typing import Protocol

from sqlalchemy import Connection, delete, func, insert, select

from portraitq.store import schema

ID_BYTES = 16  # 128 bits: an address nobody guesses


class Picture(Protocol):
    """A photo that was taken in: `portraitq.photo.intake.Photo`."""

    @property
    def jpeg(self) -> bytes: ...  # noqa: D102
    @property
    def small_jpeg(self) -> bytes: ...  # noqa: D102
    @property
    def width_px(self) -> int: ...  # noqa: D102
    @property
    def height_px(self) -> int: ...  # noqa: D102


@dataclass(frozen=True, slots=True)
class PhotoRef:
    """Which photo, and how large; the picture itself stays in the database."""

    id: str
    width_px: int
    height_px: int


@dataclass(frozen=True, slots=True)
class StoredPhoto:
    """A photo with its picture."""

    id: str
    booth: str
    ticket: str
    jpeg: bytes
    small_jpeg: bytes
    width_px: int
    height_px: int


def add(connection: Connection, booth: str, ticket: str, picture: Picture) -> str:
    """Keep one more photo of a ticket, after those it has; its id."""
    table, id = schema.photos, secrets.token_urlsafe(ID_BYTES)
    last = connection.execute(
        select(func.max(table.c.place)).where(table.c.booth == booth, table.c.ticket == ticket)
    ).scalar()
    connection.execute(
        insert(table).values(
            id=id,
            booth=booth,
            ticket=ticket,
            place=(last or 0) + 1,
            width_px=picture.width_px,
            height_px=picture.height_px,
            jpeg=picture.jpeg,
            small_jpeg=picture.small_jpeg,
        )
    )
    return id


def photo(connection: Connection, id: str) -> StoredPhoto | None:
    """The photo of that id with its pictures, or None."""
    table = schema.photos
    row = connection.execute(select(*(table.c[name] for name in StoredPhoto.__slots__)).where(table.c.id == id)).first()
    return StoredPhoto(*row) if row else None


def of_tickets(connection: Connection, booth: str, tickets: Collection[str]) -> dict[str, list[PhotoRef]]:
    """The photos of those tickets in their order, by ticket."""
    table, found = schema.photos, defaultdict[str, list[PhotoRef]](list)
    asked = select(table.c.ticket, table.c.id, table.c.width_px, table.c.height_px).where(
        table.c.booth == booth, table.c.ticket.in_(list(tickets))
    )
    for row in connection.execute(asked.order_by(table.c.ticket, table.c.place)):
        found[row.ticket].append(PhotoRef(row.id, row.width_px, row.height_px))
    return dict(found)


def remove(connection: Connection, booth: str, ticket: str, id: str) -> bool:
    """Delete one photo of a ticket; whether there was one."""
    table = schema.photos
    return bool(
        connection.execute(
            delete(table).where(table.c.id == id, table.c.booth == booth, table.c.ticket == ticket)
        ).rowcount
    )

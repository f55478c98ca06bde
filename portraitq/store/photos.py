"""Reference photos: whole and small, several a ticket, in the database so that one file holds the booth.

A photo comes in while its order is still being taken; until the order claims it, it is loose and belongs to no ticket.
What was made of a photo to draw from is kept beside it and goes with it.
"""

from __future__ import annotations

import secrets
from collections import defaultdict
from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace
from typing import Protocol

from sqlalchemy import ColumnElement, Connection, bindparam, delete, func, insert, or_, select, update

from portraitq.store import schema

ID_BYTES = 16  # 128 bits: an address nobody guesses
LOOSE = ""  # the ticket of a photo that no order has claimed yet
NEVER = "9999"  # after every instant as printed
# SQLite keeps the first bytes of a row on a page that it shares with others, and leaves copies there when it moves rows
# about, which secure_delete does not find. What stands on pages of its own it overwrites. So a picture is kept behind
# empty bytes (https://www.sqlite.org/fileformat2.html, "B-tree Cell Format": at most a page less 35 bytes).
_SHELTER = bytes(4096)


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
    """Which photo, how large, and where its faces are; the picture itself stays in the database."""

    id: str
    width_px: int
    height_px: int
    faces: str = ""


_OF_TICKETS = (  # built once: every push asks it for several screens
    select(schema.photos.c.ticket, *(schema.photos.c[name] for name in PhotoRef.__slots__))
    .where(schema.photos.c.booth == bindparam("booth"))
    .where(schema.photos.c.ticket.in_(bindparam("tickets", expanding=True)))
    .order_by(schema.photos.c.ticket, schema.photos.c.place)
)


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
    faces: str


def add(
    connection: Connection,
    booth: str,
    ticket: str,
    picture: Picture,
    *,
    id: str = "",
    instead_of: str = "",
    faces: str = "",
    came_at: str = "",
) -> str:
    """Keep one more photo of a ticket, after those it has; its id. With the ticket `LOOSE` it waits to be claimed.

    id           one that the sender made and nobody guesses; made here where it is left out
    instead_of   the photo of the same ticket whose place it takes, and which is deleted
    """
    table, id = schema.photos, id or secrets.token_urlsafe(ID_BYTES)
    before = (table.c.id == instead_of, table.c.booth == booth, table.c.ticket == ticket)
    place = connection.execute(select(table.c.place).where(*before)).scalar() if instead_of else None
    connection.execute(
        insert(table).values(
            id=id,
            booth=booth,
            ticket=ticket,
            place=_last_place(connection, booth, ticket) + 1 if place is None else place,
            width_px=picture.width_px,
            height_px=picture.height_px,
            jpeg=_SHELTER + picture.jpeg,
            small_jpeg=picture.small_jpeg,
            faces=faces,
            came_at=came_at,
        )
    )
    if place is not None:
        connection.execute(delete(table).where(*before))
    return id


def claim(connection: Connection, booth: str, ticket: str, ids: Sequence[str]) -> list[str]:
    """Give loose photos to a ticket, in this order and after those it has; the ids of those that are not loose."""
    table, place, missing = schema.photos, _last_place(connection, booth, ticket), []
    for id in ids:
        place += 1
        loose = (table.c.id == id, table.c.booth == booth, table.c.ticket == LOOSE)
        if not connection.execute(update(table).where(*loose).values(ticket=ticket, place=place)).rowcount:
            missing.append(id)
    return missing


def has_loose(connection: Connection, booth: str, came_before: str, came_after: str = NEVER) -> bool:
    """Whether there are loose photos that came before or after those instants, as printed.

    What came after now came while the clock was wrong, and would never grow old.
    """
    loose = select(schema.photos.c.id).where(*_loose(booth, came_before, came_after)).limit(1)
    return connection.execute(loose).scalar() is not None


def remove_loose(connection: Connection, booth: str, came_before: str, came_after: str = NEVER) -> int:
    """Delete the loose photos that came before or after those instants, as printed; how many there were."""
    return connection.execute(delete(schema.photos).where(*_loose(booth, came_before, came_after))).rowcount


def mark_faces(connection: Connection, booth: str, id: str, faces: str) -> bool:
    """Say anew where the faces are on a photo, and forget what was made of it by the old marks; whether it is there."""
    table, views = schema.photos, schema.photo_views
    found = connection.execute(update(table).where(table.c.id == id, table.c.booth == booth).values(faces=faces))
    if found.rowcount:
        connection.execute(delete(views).where(views.c.photo == id))
    return bool(found.rowcount)


def view(connection: Connection, id: str, name: str) -> bytes | None:
    """What was made of a photo under that name, or None."""
    table = schema.photo_views
    content = connection.execute(select(table.c.content).where(table.c.photo == id, table.c.name == name)).scalar()
    return None if content is None else taken_out(content)


def keep_view(connection: Connection, id: str, name: str, content: bytes, faces: str | None = None) -> None:
    """Keep what was made of a photo, in the place of what stood there; nothing where the photo is gone meanwhile.

    `faces` are the marks it was made by: where they are others now, it is not kept. None: it was made by no marks.
    """
    table, photos = schema.photo_views, schema.photos
    found = connection.execute(select(photos.c.faces).where(photos.c.id == id).with_for_update()).first()
    if found is None or (faces is not None and found.faces != faces):
        return
    connection.execute(delete(table).where(table.c.photo == id, table.c.name == name))
    connection.execute(insert(table).values(photo=id, name=name, content=_SHELTER + content))


def ref(connection: Connection, booth: str, id: str) -> PhotoRef | None:
    """The photo of that id at that booth without its pictures, or None."""
    table = schema.photos
    row = connection.execute(
        select(*(table.c[name] for name in PhotoRef.__slots__)).where(table.c.id == id, table.c.booth == booth)
    ).first()
    return PhotoRef(*row) if row else None


def photo(connection: Connection, id: str) -> StoredPhoto | None:
    """The photo of that id with its pictures, or None."""
    table = schema.photos
    row = connection.execute(select(*(table.c[name] for name in StoredPhoto.__slots__)).where(table.c.id == id)).first()
    if row is None:
        return None
    found = StoredPhoto(*row)
    return replace(found, jpeg=taken_out(found.jpeg))


def of_tickets(connection: Connection, booth: str, tickets: Collection[str]) -> dict[str, list[PhotoRef]]:
    """The photos of those tickets in their order, by ticket."""
    found = defaultdict[str, list[PhotoRef]](list)
    for ticket, *shown in connection.execute(_OF_TICKETS, {"booth": booth, "tickets": list(tickets)}):
        found[ticket].append(PhotoRef(*shown))
    return dict(found)


def remove(connection: Connection, booth: str, ticket: str, id: str) -> bool:
    """Delete one photo of a ticket; whether there was one."""
    table = schema.photos
    return bool(
        connection.execute(
            delete(table).where(table.c.id == id, table.c.booth == booth, table.c.ticket == ticket)
        ).rowcount
    )


def taken_out(stored: bytes) -> bytes:
    """A picture as it came; one that an older portraitq kept has no shelter before it."""
    return stored.removeprefix(_SHELTER)


def _loose(booth: str, came_before: str, came_after: str) -> tuple[ColumnElement[bool], ...]:
    table = schema.photos
    due = or_(table.c.came_at < came_before, table.c.came_at > came_after)
    return (table.c.booth == booth, table.c.ticket == LOOSE, due)


def _last_place(connection: Connection, booth: str, ticket: str) -> int:
    table = schema.photos
    last = select(func.max(table.c.place)).where(table.c.booth == booth, table.c.ticket == ticket)
    return connection.execute(last).scalar() or 0

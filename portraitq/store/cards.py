"""A ticket's card: its code, and what is known of the person. Erasing it leaves the journal whole."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from typing import Any

from sqlalchemy import Connection, bindparam, delete, insert, or_, select, update

from portraitq.store import schema
from portraitq.store.photos import LOOSE

PERSONAL: dict[str, Any] = {"name": "", "contact": "", "note": "", "consent_by": "", "is_child": False}


@dataclass(frozen=True, slots=True)
class Card:
    """What stands beside a ticket; `code` is what its QR leads to."""

    code: str
    name: str = ""
    contact: str = ""
    note: str = ""
    is_child: bool = False
    consent_by: str = ""
    is_erased: bool = False


_OF_BOOTH = (  # built once: every push asks it for several screens
    select(schema.cards.c.ticket, *(schema.cards.c[name] for name in Card.__slots__))
    .where(schema.cards.c.booth == bindparam("booth"))
    .where(schema.cards.c.ticket.in_(bindparam("tickets", expanding=True)))
)


def put(connection: Connection, booth: str, ticket: str, card: Card) -> None:
    """Write a new ticket's card."""
    fields = {name: getattr(card, name) for name in Card.__slots__}
    connection.execute(insert(schema.cards).values(booth=booth, ticket=ticket, **fields))


def of_ticket(connection: Connection, booth: str, ticket: str) -> Card | None:
    """The card of one ticket, or None."""
    return of_booth(connection, booth, [ticket]).get(ticket)


def of_booth(connection: Connection, booth: str, tickets: Collection[str]) -> dict[str, Card]:
    """The cards of those tickets, by ticket; a ticket without a card is left out."""
    found = connection.execute(_OF_BOOTH, {"booth": booth, "tickets": list(tickets)})
    return {ticket: Card(*fields) for ticket, *fields in found}


def by_code(connection: Connection, code: str) -> tuple[str, str] | None:
    """The booth and ticket that `code` stands for, or None. `code` is in its normal form."""
    table = schema.cards
    row = connection.execute(select(table.c.booth, table.c.ticket).where(table.c.code == code)).one_or_none()
    return (row.booth, row.ticket) if row else None


def change(connection: Connection, booth: str, ticket: str, **fields: Any) -> None:
    """Set some of a card's fields; an erased card stays erased."""
    if unknown := set(fields) - set(PERSONAL):
        raise TypeError(f"a card has no {', '.join(sorted(unknown))}")
    table = schema.cards
    connection.execute(
        update(table)
        .where(table.c.booth == booth, table.c.ticket == ticket, table.c.is_erased.is_(False))
        .values(**fields)
    )


def personal(connection: Connection, booth: str) -> set[str]:
    """The tickets of which something personal is still kept: a field of the card, or a photo."""
    table = schema.cards
    said = or_(table.c.is_child, *(table.c[name] != "" for name in PERSONAL if name != "is_child"))
    written = connection.execute(select(table.c.ticket).where(table.c.booth == booth, said)).scalars()
    pictured = connection.execute(select(schema.photos.c.ticket).where(schema.photos.c.booth == booth)).scalars()
    return {*written, *pictured} - {LOOSE}


def erase(connection: Connection, booth: str, ticket: str) -> None:
    """Delete a ticket's personal data, photos included; its code stays, so that its holder still finds the ticket."""
    table = schema.cards
    connection.execute(
        update(table).where(table.c.booth == booth, table.c.ticket == ticket).values(is_erased=True, **PERSONAL)
    )
    connection.execute(delete(schema.photos).where(schema.photos.c.booth == booth, schema.photos.c.ticket == ticket))


def rewrite(connection: Connection) -> None:
    """Write every card anew on fresh pages, for SQLite leaves copies of rows behind when it moves them about.

    Whatever page a card stood on is overwritten (secure_delete). Other databases clean up in their own ways.
    """
    if connection.dialect.name == "sqlite":
        names = ", ".join(column.name for column in schema.cards.c)
        connection.exec_driver_sql(f"CREATE TEMP TABLE cards_anew AS SELECT {names} FROM cards")
        connection.exec_driver_sql("DELETE FROM cards")
        connection.exec_driver_sql(f"INSERT INTO cards ({names}) SELECT {names} FROM cards_anew")
        connection.exec_driver_sql("DROP TABLE cards_anew")

"""The tables, their version, and the way from an older one to this one.

The journal is a table of lines, byte for byte as `export` prints them. Personal data stand apart, keyed by ticket, so
that erasing them leaves the journal whole.
"""

from __future__ import annotations

from collections.abc import Callable

from sqlalchemy import (
    Boolean,
    Column,
    Connection,
    ForeignKey,
    Index,
    Integer,
    LargeBinary,
    MetaData,
    String,
    Table,
    Text,
    insert,
    inspect,
    select,
    update,
)

VERSION = 4

metadata = MetaData()

schema = Table("portraitq_schema", metadata, Column("version", Integer, nullable=False))

journal = Table(
    "journal",
    metadata,
    Column("booth", String(64), primary_key=True),
    Column("seq", Integer, primary_key=True, autoincrement=False),
    Column("line", Text, nullable=False),
)

commands = Table(
    "commands",
    metadata,
    Column("booth", String(64), primary_key=True),
    Column("id", String(64), primary_key=True),
    Column("first_seq", Integer, nullable=False),
    Column("last_seq", Integer, nullable=False),
)

cards = Table(
    "cards",
    metadata,
    Column("booth", String(64), primary_key=True),
    Column("ticket", String(32), primary_key=True),
    Column("code", String(32), nullable=False, unique=True),
    Column("name", Text, nullable=False, default=""),
    Column("contact", Text, nullable=False, default=""),
    Column("note", Text, nullable=False, default=""),
    Column("is_child", Boolean, nullable=False, default=False),
    Column("consent_by", Text, nullable=False, default=""),
    Column("is_erased", Boolean, nullable=False, default=False),
)

photos = Table(
    "photos",
    metadata,
    Column("id", String(32), primary_key=True),
    Column("booth", String(64), nullable=False),
    Column("ticket", String(32), nullable=False),  # empty while the order that it belongs to is still being taken
    Column("place", Integer, nullable=False),
    Column("width_px", Integer, nullable=False),
    Column("height_px", Integer, nullable=False),
    Column("jpeg", LargeBinary, nullable=False),
    Column("small_jpeg", LargeBinary, nullable=False),
    Column("faces", Text, nullable=False, server_default=""),  # as `photo/face.py` prints them
    Column("came_at", String(32), nullable=False, server_default=""),
    Index("photos_of_ticket", "booth", "ticket", "place"),
)

# What was made of a photo to draw from, kept so that it is made once. It goes when its photo goes.
photo_views = Table(
    "photo_views",
    metadata,
    Column("photo", String(32), ForeignKey("photos.id", ondelete="CASCADE"), primary_key=True),
    Column("name", String(32), primary_key=True),
    Column("content", LargeBinary, nullable=False),
)

# What a season needs of a closed day, reckoned once: `daybook/day_summary.py` prints it, and `seq` is the last line of
# the journal that it knows of. Nothing stands here that cannot be reckoned anew, and nothing of any person.
closed_days = Table(
    "closed_days",
    metadata,
    Column("booth", String(64), primary_key=True),
    Column("day", String(10), primary_key=True),
    Column("version", Integer, nullable=False),  # of the summary, not of the tables
    Column("seq", Integer, nullable=False),
    Column("summary", Text, nullable=False),
)

devices = Table(
    "devices",
    metadata,
    Column("id", String(16), primary_key=True),
    Column("name", Text, nullable=False),
    Column("key_sha256", String(64), nullable=False, unique=True),
    Column("added_at", String(32), nullable=False),
    Column("seen_at", String(32)),
    Column("withdrawn_at", String(32)),
    Column("role", String(8), nullable=False, server_default="owner"),  # keys of before there were roles open all
)

# An invitation to pair one device, used up once. Of its code only the hash is kept.
pairings = Table(
    "pairings",
    metadata,
    Column("id", String(16), primary_key=True),
    Column("code_sha256", String(64), nullable=False, unique=True),
    Column("name", Text, nullable=False),
    Column("role", String(8), nullable=False),
    Column("made_at", String(32), nullable=False),
    Column("until_at", String(32), nullable=False),
    Column("device", String(16), nullable=False, server_default=""),  # that it became; empty while it waits
)

settings = Table(
    "settings",
    metadata,
    Column("key", String(64), primary_key=True),
    Column("value", Text, nullable=False),
)


def _views_and_faces(connection: Connection) -> None:
    """Version 2: where the faces are on a photo, when it came, and what was made of it to draw from."""
    for column in ("faces TEXT", "came_at VARCHAR(32)"):
        connection.exec_driver_sql(f"ALTER TABLE photos ADD COLUMN {column} DEFAULT '' NOT NULL")
    photo_views.create(connection)


def _closed_days(connection: Connection) -> None:
    """Version 3: what a season needs of each closed day."""
    closed_days.create(connection, checkfirst=True)


def _roles_and_pairings(connection: Connection) -> None:
    """Version 4: what a device may, and invitations to pair one."""
    connection.exec_driver_sql("ALTER TABLE devices ADD COLUMN role VARCHAR(8) DEFAULT 'owner' NOT NULL")
    pairings.create(connection, checkfirst=True)


# STEPS[n] turns version n into n + 1 inside the transaction it is given.
STEPS: dict[int, Callable[[Connection], None]] = {1: _views_and_faces, 2: _closed_days, 3: _roles_and_pairings}


class TooNew(ValueError):
    """The database was written by a newer portraitq than this one."""


def bring_up_to_date(connection: Connection, steps: dict[int, Callable[[Connection], None]] = STEPS) -> int:
    """Make the tables in an empty database, or take an older one forward; the version now in force.

    Raises TooNew when the database is of a later version; nothing is changed then.
    """
    if not inspect(connection).has_table(schema.name):
        metadata.create_all(connection)
        connection.execute(insert(schema).values(version=VERSION))
        return VERSION
    found: int = connection.execute(select(schema.c.version)).scalar_one()
    if found > VERSION:
        raise TooNew(
            f"The database is of version {found} and this portraitq knows versions up to {VERSION}: "
            "update portraitq, or choose another folder with --data. Nothing was changed."
        )
    for version in range(found, VERSION):
        steps[version](connection)
        connection.execute(update(schema).values(version=version + 1))
    return VERSION

"""A store taken back to what an older portraitq would have left."""

from __future__ import annotations

from sqlalchemy import update

from portraitq.store import schema
from portraitq.store.store import Store

# What the step to that version added, in the order in which it is taken away again.
ADDED = {
    4: ("DROP TABLE pairings", "ALTER TABLE devices DROP COLUMN role"),
    3: ("DROP TABLE closed_days",),
    2: ("DROP TABLE photo_views", "ALTER TABLE photos DROP COLUMN faces", "ALTER TABLE photos DROP COLUMN came_at"),
}


def make_older(store: Store, version: int) -> None:
    """Leave `store` as a portraitq of that version did."""
    assert max(ADDED) == schema.VERSION, "say here what the newest step adds"
    with store.writing() as connection:
        for step in range(schema.VERSION, version, -1):
            for statement in ADDED[step]:
                connection.exec_driver_sql(statement)
        connection.execute(update(schema.schema).values(version=version))

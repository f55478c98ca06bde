"""What was reckoned of closed days, kept so that a season is not reckoned again. All of it may be thrown away.

A summary holds for the journal up to its `seq`; whether a later line moves it is `daybook/touched.py`'s to say. What it
says and how it is printed is `daybook/day_summary.py`'s; here it is text with a version.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass

from sqlalchemy import Connection, delete, insert, select, update
from sqlalchemy.exc import IntegrityError

from portraitq.store import schema
from portraitq.store.journal import OvertakenError


@dataclass(frozen=True, slots=True)
class KeptDay:
    """One day's summary as it is kept, and up to which line of the journal it is known to hold."""

    day: str
    seq: int
    summary: str


def kept(connection: Connection, booth: str, version: int, first: str, last: str) -> list[KeptDay]:
    """The days of that booth from `first` to `last` that are kept in that version, in order."""
    table = schema.closed_days
    asked = select(table.c.day, table.c.seq, table.c.summary).where(
        table.c.booth == booth, table.c.version == version, table.c.day.between(first, last)
    )
    return [KeptDay(*row) for row in connection.execute(asked.order_by(table.c.day))]


def keep(connection: Connection, booth: str, version: int, seq: int, summaries: Mapping[str, str]) -> None:
    """Keep the summaries of these days, each in the place of what was kept of that day; all hold up to `seq`.

    OvertakenError when another server kept one of them at the same moment; nothing is kept then.
    """
    if not summaries:
        return
    table = schema.closed_days
    forget(connection, booth, summaries)
    rows = [
        {"booth": booth, "day": day, "version": version, "seq": seq, "summary": text} for day, text in summaries.items()
    ]
    try:
        connection.execute(insert(table), rows)
    except IntegrityError as taken:
        raise OvertakenError(f"a day of {booth} was kept by somebody else at the same moment") from taken


def still_hold(connection: Connection, booth: str, days: Iterable[str], seq: int) -> None:
    """The summaries of these days were seen to hold up to `seq` as well; what is known to hold longer stays so."""
    table = schema.closed_days
    connection.execute(
        update(table).where(table.c.booth == booth, table.c.day.in_(list(days)), table.c.seq < seq).values(seq=seq)
    )


def forget(connection: Connection, booth: str, days: Collection[str] | None = None) -> None:
    """Throw away what is kept of these days, or of all; they are reckoned anew when somebody asks."""
    table = schema.closed_days
    those = [table.c.booth == booth] + ([table.c.day.in_(list(days))] if days is not None else [])
    connection.execute(delete(table).where(*those))

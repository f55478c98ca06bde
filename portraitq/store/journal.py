"""The journal's lines in the database: appended only where they belong, read in order.

A writer says after which `seq` it appends; if somebody else was quicker it hears so and nothing is written. A command's
id is written once for ever, so a command sent twice finds what it did the first time.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import groupby

from sqlalchemy import Connection, bindparam, func, insert, select
from sqlalchemy.exc import IntegrityError

from portraitq.core.events import Event, parse_line, print_line
from portraitq.store import schema

ROWS_AT_ONCE = 5_000
# Built once, for every tap asks them: building a statement takes longer than it takes SQLite to answer it.
_HEAD = select(func.max(schema.journal.c.seq)).where(schema.journal.c.booth == bindparam("booth"))
_SEQS = select(schema.commands.c.first_seq, schema.commands.c.last_seq).where(
    schema.commands.c.booth == bindparam("booth"), schema.commands.c.id == bindparam("id")
)


class OvertakenError(RuntimeError):
    """Somebody else appended first; fold what they wrote and decide again."""


def booths(connection: Connection) -> list[str]:
    """The booths that have a journal, by name."""
    return list(
        connection.execute(select(schema.journal.c.booth).distinct().order_by(schema.journal.c.booth)).scalars()
    )


def head(connection: Connection, booth: str) -> int:
    """The last `seq` of that booth's journal, 0 when it is empty."""
    return int(connection.execute(_HEAD, {"booth": booth}).scalar() or 0)


def lines(connection: Connection, booth: str, after: int = 0) -> list[str]:
    """The journal's lines after `seq` `after`, as `export` prints them, without line breaks."""
    table = schema.journal
    asked = select(table.c.line).where(table.c.booth == booth, table.c.seq > after).order_by(table.c.seq)
    return list(connection.execute(asked).scalars())


def events(connection: Connection, booth: str, after: int = 0) -> list[Event]:
    """The journal's events after `seq` `after`."""
    return [parse_line(line) for line in lines(connection, booth, after)]


def of_no_ticket(connection: Connection, booth: str) -> list[Event]:
    """The journal's events that are of no ticket: set-ups, days, who came and went, who asked and left."""
    table = schema.journal
    asked = select(table.c.line).where(table.c.booth == booth, table.c.line.not_like('%"ticket":%'))
    return [parse_line(line) for line in connection.execute(asked.order_by(table.c.seq)).scalars()]


def of_command(connection: Connection, booth: str, id: str) -> list[Event]:
    """What the command of that id did at that booth; empty when it was never carried out."""
    found = connection.execute(_SEQS, {"booth": booth, "id": id}).one_or_none()
    if found is None:
        return []
    rows = select(schema.journal.c.line).where(
        schema.journal.c.booth == booth, schema.journal.c.seq.between(found.first_seq, found.last_seq)
    )
    return [parse_line(line) for line in connection.execute(rows.order_by(schema.journal.c.seq)).scalars()]


def append(connection: Connection, booth: str, new: Sequence[Event]) -> None:
    """Write `new` right after the last line; OvertakenError when that is not where they belong.

    Runs inside the caller's transaction, which must be a writing one.
    """
    if not new:
        return
    if head(connection, booth) != new[0].seq - 1:
        raise OvertakenError(f"seq {new[0].seq} of {booth} was written by somebody else")
    rows = [{"booth": booth, "seq": event.seq, "line": print_line(event)} for event in new]
    ids = []
    for id, group in groupby(new, key=lambda event: event.id):
        caused = list(group)
        ids.append({"booth": booth, "id": id, "first_seq": caused[0].seq, "last_seq": caused[-1].seq})
    try:
        for table, wanted in ((schema.commands, ids), (schema.journal, rows)):
            for first in range(0, len(wanted), ROWS_AT_ONCE):
                connection.execute(insert(table), wanted[first : first + ROWS_AT_ONCE])
    except IntegrityError as taken:
        raise OvertakenError(f"seq {new[0].seq} of {booth}, or its command, was written by somebody else") from taken

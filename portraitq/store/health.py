"""Whether a store is whole: journals without gaps that fold, and a sound database."""

from __future__ import annotations

from sqlalchemy import Connection, text

from portraitq.core.booth import import_lines
from portraitq.core.errors import RefusedLine
from portraitq.store import journal


def faults_of(connection: Connection) -> dict[str, tuple[int, str]]:
    """Each booth with the number of its lines and what is wrong with them, "" where nothing is."""
    found = {}
    for booth in journal.booths(connection):
        lines = journal.lines(connection, booth)
        try:
            import_lines(lines)
            fault = ""
        except RefusedLine as wrong:
            fault = str(wrong)
        found[booth] = (len(lines), fault)
    return found


def soundness(connection: Connection) -> str:
    """What the database finds wrong with itself, "" where nothing is (SQLite: PRAGMA integrity_check)."""
    if connection.dialect.name != "sqlite":
        return ""
    said = [str(row[0]) for row in connection.execute(text("PRAGMA integrity_check"))]
    return "" if said == ["ok"] else "; ".join(said[:5])

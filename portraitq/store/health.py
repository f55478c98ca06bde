"""Whether a store, or a back-up of one, is whole: each check says what it found, and what is wrong.

Nothing is changed. What needs the day book or the disk to be judged is `checking.py`'s.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from itertools import groupby
from typing import Any

from sqlalchemy import Connection, Table, func, select, text

from portraitq.core.booth import Booth, import_lines
from portraitq.core.errors import RefusedLine
from portraitq.core.events import Event, parse_instant
from portraitq.store import devices, journal, postgresql, schema
from portraitq.store.cards import PERSONAL
from portraitq.store.photos import LOOSE, taken_out

FAULTS_TOLD = 5  # of each kind; the rest are counted
SOI, EOI = b"\xff\xd8", b"\xff\xd9"  # how a JPEG begins and ends (ITU-T T.81, table B.1)
WITHOUT_LENGTH = {0x01, *range(0xD0, 0xD8)}
FRAMES = {*range(0xC0, 0xD0)} - {0xC4, 0xC8, 0xCC}  # start of frame: it says the size (ITU-T T.81, B.2.2)
Progress = Callable[[int, int], None]


@dataclass(frozen=True, slots=True)
class Finding:
    """What one check found; it is as it should be when there are no `faults`."""

    name: str
    said: str
    faults: tuple[str, ...] = ()


def look_through(
    connection: Connection, *, is_back_up: bool = False, progress: Progress = lambda done, of: None
) -> Iterator[Finding]:
    """Every check of a store, in order; `connection` sees one state throughout.

    is_back_up   what was erased since it was made is erased in it, and its journal does not know of that yet
    progress     is told how many lines and photos of how many were looked at
    """
    yield _database(connection)
    of = _count(connection, schema.journal) + _count(connection, schema.photos)
    booths, done = dict[str, Booth](), 0
    for slug in journal.booths(connection):
        found, booth, events = _journal(connection, slug)
        yield found
        done += journal.head(connection, slug)
        progress(done, of)
        if booth is not None:
            booths[slug] = booth
            yield _commands(connection, slug, events)
    yield _cards(connection, booths, is_back_up)
    lines = done
    yield _photos(connection, booths, lambda seen: progress(lines + seen, of))
    yield _devices(connection)


def _database(connection: Connection) -> Finding:
    """SQLite's own look at every page, row, index and reference (https://sqlite.org/pragma.html, integrity_check)."""
    if connection.dialect.name != "sqlite":
        return Finding("database", postgresql.said_of(connection))
    said = [str(row[0]) for row in connection.execute(text(f"PRAGMA integrity_check({FAULTS_TOLD})"))]
    faults = [] if said == ["ok"] else said
    faults += [f"a row of {row[0]} belongs to none" for row in connection.execute(text("PRAGMA foreign_key_check"))]
    return Finding("database", "sound", _few(faults))


def _journal(connection: Connection, slug: str) -> tuple[Finding, Booth | None, list[Event]]:
    """A journal has no gap, folds, and its `at` never goes back: `import_lines` judges all three."""
    name, lines = f"journal of {slug}", journal.lines(connection, slug)
    try:
        booth, events = import_lines(lines)
    except RefusedLine as wrong:
        return Finding(name, f"{len(lines)} lines", (str(wrong),)), None, []
    return Finding(name, f"{len(lines)} lines fold without a gap"), booth, events


def _commands(connection: Connection, slug: str, events: list[Event]) -> Finding:
    """The list by which a command that is sent twice is known says of each which lines it caused."""
    caused = {id: [event.seq for event in group] for id, group in groupby(events, key=lambda event: event.id)}
    expected = {id: (seqs[0], seqs[-1]) for id, seqs in caused.items()}
    table = schema.commands
    asked = select(table.c.id, table.c.first_seq, table.c.last_seq).where(table.c.booth == slug)
    found = {row.id: (row.first_seq, row.last_seq) for row in connection.execute(asked)}
    faults = [
        f"{id} stands for lines {found.get(id, 'none')}, the journal has {expected.get(id, 'none')}"
        for id in sorted({*expected, *found})
        if expected.get(id) != found.get(id)
    ]
    return Finding(f"commands of {slug}", f"{len(expected)}, each with its lines", _few(faults))


def _cards(connection: Connection, booths: dict[str, Booth], is_back_up: bool) -> Finding:
    """Each ticket has one card and one code; what is erased holds nothing."""
    table = schema.cards
    rows = list(connection.execute(select(table)))
    faults = [f"code of {n} cards at once" for code, n in Counter(row.code for row in rows).items() if n > 1]
    known = {(slug, id) for slug, booth in booths.items() for id in booth.tickets}
    faults += [f"{id} of {slug} has no card" for slug, id in sorted(known - {(row.booth, row.ticket) for row in rows})]
    for row in rows:
        booth, whose = booths.get(row.booth), f"{row.ticket} of {row.booth}"
        if booth is None:  # its journal does not fold, which is told already
            faults += [] if journal.head(connection, row.booth) else [f"a card of {whose}, a booth without a journal"]
        elif row.ticket not in booth.tickets:
            faults.append(f"a card of {whose}, which the journal does not know")
        else:
            faults += _erased_faults(row, booth.tickets[row.ticket].is_erased, whose, is_back_up)
    return Finding("cards", f"{len(rows)}, one for each ticket", _few(faults))


def _erased_faults(row: Any, is_erased: bool, whose: str, is_back_up: bool) -> list[str]:
    if is_erased and not row.is_erased:
        return [f"{whose} was erased and its card was not"]
    if row.is_erased and not is_erased and not is_back_up:
        return [f"the card of {whose} was erased and the journal does not say so"]
    if row.is_erased and any(getattr(row, name) for name in PERSONAL):
        return [f"{whose} was erased and its card still says something"]
    return []


def _photos(connection: Connection, booths: dict[str, Booth], seen: Callable[[int], None]) -> Finding:
    """Each photo is of a ticket that is not erased, or of none yet, and is a whole JPEG of the size that is noted."""
    table, faults, loose, count = schema.photos, list[str](), 0, 0
    rows = connection.execution_options(stream_results=True, yield_per=4).execute(select(table))
    for count, row in enumerate(rows, start=1):
        seen(count)
        booth, what = booths.get(row.booth), f"a photo of {row.ticket or 'no ticket'} of {row.booth}"
        loose += row.ticket == LOOSE
        if row.ticket != LOOSE and booth is not None:
            if row.ticket not in booth.tickets:
                faults.append(f"{what}, which the journal does not know")
            elif booth.tickets[row.ticket].is_erased:
                faults.append(f"{what}, which was erased: the service erases it when it runs")
        if jpeg_size_px(taken_out(_picture(row.jpeg))) != (row.width_px, row.height_px):
            faults.append(f"{what} is no whole picture of {row.width_px} × {row.height_px} px")
        if jpeg_size_px(_picture(row.small_jpeg)) is None:
            faults.append(f"{what} is no whole picture where it is small")
    waiting = f", {loose} of them for orders that are not finished" if loose else ""
    return Finding("photos", f"{count}{waiting}", _few(faults))


def _devices(connection: Connection) -> Finding:
    """Each device has a name, a key's hash, a role that is known, and instants that can be read."""
    faults = []
    rows = list(connection.execute(select(schema.devices)))
    for row in rows:
        if not row.name.strip() or not re.fullmatch("[0-9a-f]{64}", row.key_sha256) or row.role not in devices.ROLES:
            faults.append(f"device {row.id} has no name, no key or no role")
        try:
            for at in (row.added_at, row.seen_at, row.withdrawn_at):
                parse_instant(at) if at is not None else None
        except ValueError as wrong:
            faults.append(f"device {row.id}: {wrong}")
    still_in = sum(row.withdrawn_at is None for row in rows)
    return Finding("devices", f"{still_in} let in, {len(rows) - still_in} withdrawn", _few(faults))


def _picture(stored: object) -> bytes:
    """What stands where a picture should; nothing where a damaged file holds something else there."""
    return stored if isinstance(stored, bytes) else b""


def jpeg_size_px(content: bytes) -> tuple[int, int] | None:
    """Width and height as the first frame header of a JPEG says; None where it is no JPEG, or not to its end."""
    if content[:2] != SOI or content[-2:] != EOI:
        return None
    at = 2
    while at + 9 <= len(content) and content[at] == 0xFF:
        marker = content[at + 1]
        if marker in FRAMES:
            height, width = (int.from_bytes(content[at + n : at + n + 2]) for n in (5, 7))
            return width, height
        at += 2 if marker in WITHOUT_LENGTH else 2 + int.from_bytes(content[at + 2 : at + 4])
    return None


def _count(connection: Connection, table: Table) -> int:
    return connection.execute(select(func.count()).select_from(table)).scalar_one()


def _few(faults: list[str]) -> tuple[str, ...]:
    more = len(faults) - FAULTS_TOLD
    return (*faults[:FAULTS_TOLD], *([f"and {more} more of this kind"] if more > 0 else []))

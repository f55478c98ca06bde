"""What is known of a person in a back-up is what the store knows now: what was erased there is erased here too.

The journal of a back-up stays as it was. A ticket is the same one where its code is, for codes are drawn by chance; a
ticket that the store does not know (it was put back to an earlier day since) keeps what the back-up has of it.
"""

from __future__ import annotations

import os
import sqlite3
from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from portraitq.store.photos import LOOSE
from portraitq.store.read_only import raw_reading, version_of
from portraitq.store.schema import cards as card_table
from portraitq.store.store import StoreError

AT_ONCE = 500  # SQLite binds at most 999 values a statement in old builds
WAIT_MS = 500  # somebody who reads a back-up is not waited for long; the next round tries again
SHELTER_BYTES = 4096  # what `photos` keeps before a picture
PERSON = tuple(c.name for c in card_table.c if c.name not in ("booth", "ticket", "code"))


@dataclass(frozen=True, slots=True)
class Differences:
    """What a back-up has otherwise than the store: cards as the store has them, and photos that it has no more.

    cards   (booth, ticket, *fields), the fields being `fields`
    """

    fields: tuple[str, ...]
    cards: tuple[tuple[Any, ...], ...]
    photos: tuple[str, ...]

    def __bool__(self) -> bool:
        return bool(self.cards or self.photos)


def erase(file: Path, source: Path) -> int:
    """Make the cards and photos in the back-up `file` those that `source` has, to the last byte; how many differed.

    When it was made stays to be seen at the file. Raises StoreError when it could not be done; it can be tried again.
    """
    try:
        made_at_ns = file.stat().st_mtime_ns
    except OSError as wrong:
        raise StoreError(f"{file} cannot be read ({wrong.strerror}).") from wrong
    if Path(f"{file}-journal").exists():
        with changing(file):  # whoever was killed in the middle of this left it; SQLite takes back what they began
            pass
    with raw_reading(file) as raw, raw_reading(source, trades=True) as live:
        found = differences(raw, live)
    if not found:
        return 0
    with changing(file) as raw:
        raw.execute("BEGIN IMMEDIATE")
        has_bare = _remove_photos(raw, found.photos)
        _put_cards(raw, found)
        raw.execute("COMMIT")
        if has_bare:
            raw.execute("VACUUM")
    with suppress(FileNotFoundError):  # whoever took it away wants it no more
        os.utime(file, ns=(made_at_ns, made_at_ns))
    return len(found.cards) + len(found.photos)


def differences(raw: sqlite3.Connection, live: sqlite3.Connection) -> Differences:
    """What `raw`, a back-up, has otherwise than `live`; both may be of different versions."""
    fields = tuple(name for name in PERSON if name in _columns(raw) and name in _columns(live))
    asked = f"SELECT code, booth, ticket, {', '.join(fields)} FROM cards"
    theirs = {row[0]: row[1:] for row in live.execute(asked)}
    same, other = set[tuple[str, str]](), []
    for code, *mine in raw.execute(asked):
        now = theirs.get(code)
        if now is None or now[:2] != tuple(mine[:2]):
            continue
        same.add((mine[0], mine[1]))
        if now != tuple(mine):
            other.append(now)
    kept = {id for (id,) in live.execute("SELECT id FROM photos")}
    gone = [
        id
        for id, booth, ticket in raw.execute("SELECT id, booth, ticket FROM photos")
        if id not in kept and (ticket == LOOSE or (booth, ticket) in same)
    ]
    return Differences(fields, tuple(other), tuple(gone))


def _columns(raw: sqlite3.Connection) -> list[str]:
    return [row[1] for row in raw.execute("PRAGMA table_info(cards)")]


@contextmanager
def changing(file: Path) -> Iterator[sqlite3.Connection]:
    """The back-up opened to be changed: what is deleted is overwritten, and whoever breaks off leaves it as it was."""
    raw = sqlite3.connect(f"{file.resolve().as_uri()}?mode=rw", uri=True, isolation_level=None)
    try:
        for pragma in (
            f"busy_timeout={WAIT_MS}",
            "trusted_schema=OFF",
            "journal_mode=DELETE",
            "synchronous=FULL",
            "secure_delete=ON",
            "temp_store=MEMORY",
            "foreign_keys=ON",
        ):
            raw.execute(f"PRAGMA {pragma}").close()
        version_of(raw, file)
        yield raw
    except sqlite3.Error as wrong:
        raise StoreError(f"{file} could not be changed ({wrong}).") from wrong
    finally:
        raw.close()


def _remove_photos(raw: sqlite3.Connection, ids: Sequence[str]) -> bool:
    """Delete these photos and their views; whether one stood there without its shelter, as older versions kept them."""
    has_bare = False
    for some in _parts(ids):
        marks = ", ".join("?" * len(some))
        bare = f"substr(jpeg, 1, {SHELTER_BYTES}) != zeroblob({SHELTER_BYTES})"
        found = raw.execute(f"SELECT 1 FROM photos WHERE id IN ({marks}) AND {bare}", some).fetchone()
        has_bare = has_bare or found is not None
        raw.execute(f"DELETE FROM photos WHERE id IN ({marks})", some)
    return has_bare


def _parts(ids: Sequence[str]) -> Iterable[Sequence[str]]:
    return (ids[first : first + AT_ONCE] for first in range(0, len(ids), AT_ONCE))


def _put_cards(raw: sqlite3.Connection, found: Differences) -> None:
    """Write those cards as the store has them, then all anew on fresh pages (see `cards.rewrite`)."""
    if not found.cards:
        return
    values = ", ".join(f"{name} = ?" for name in found.fields)
    raw.executemany(
        f"UPDATE cards SET {values} WHERE booth = ? AND ticket = ?", [(*row[2:], *row[:2]) for row in found.cards]
    )
    for anew in (
        "CREATE TEMP TABLE cards_anew AS SELECT * FROM cards",
        "DELETE FROM cards",
        "INSERT INTO cards SELECT * FROM cards_anew",
        "DROP TABLE cards_anew",
    ):
        raw.execute(anew)

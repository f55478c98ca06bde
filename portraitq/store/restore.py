"""A back-up put in the place of the store: all of it, or nothing.

Everything is made ready in a file of its own, looked through, and then takes the store's name in one step; whoever is
killed before has the store of before, and after it the new one. The journal is the back-up's. Of what the store of now
knows better, nothing goes back: who may come in, and what is known of each person whom both know; so no erased photo,
no withdrawn device and no old passphrase returns.
"""

from __future__ import annotations

import os
import shutil
import sqlite3
from collections.abc import Callable
from contextlib import closing
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from sqlalchemy import Connection, delete, select

from portraitq.clock import FARTHEST
from portraitq.core.booth import Booth, fold, import_lines
from portraitq.core.commands import Command, decide
from portraitq.core.events import SYSTEM, Erased, print_instant
from portraitq.store import backup, cards, erased_too, journal, schema
from portraitq.store.backup import ENDING, FOLDER, UNREADY, Held, on_disk, remove, with_logs
from portraitq.store.erased_too import changing
from portraitq.store.health import look_through
from portraitq.store.lock import alone_in
from portraitq.store.photos import LOOSE
from portraitq.store.read_only import NoStore, connected, raw_reading, reading_only
from portraitq.store.schema import bring_up_to_date
from portraitq.store.store import FILE_NAME, StoreError

SIGN_INS = ("secret_key", "signed_out")  # what vouches for browsers that are signed in
WHO_MAY_COME_IN = (*SIGN_INS, "passphrase")  # how such settings begin


@dataclass(frozen=True, slots=True)
class Restored:
    """What was put in place.

    last_at      of the last line of its journals, in the journal's form
    aside        where the store of before lies now, None where there was none
    erased       how many tickets were erased in it, because they were erased since it was made
    left_out     the booths of the store of before that are not in it
    keeps_doors  whether passphrase, devices and sign-ins are those of the store of before
    """

    held: Held
    last_at: str
    aside: Path | None
    erased: int
    left_out: tuple[str, ...]
    keeps_doors: bool


def restore(
    file: Path,
    folder: Path,
    now: datetime,
    *,
    replace: bool = False,
    progress: Callable[[int, int], None] = lambda done, of: None,
) -> Restored:
    """Put the back-up `file` in the place of the store in `folder`.

    replace   whether a store that is there gives way; it is put aside first
    progress  is told how many bytes of about how many are copied
    Raises StoreError with a sentence, and nothing is changed, when the file is not whole or none of ours, when a
    store is there and was not to give way, and when a service runs on it.
    """
    target = folder / FILE_NAME
    is_there = target.exists() and target.stat().st_size > 0
    if is_there and not replace:
        raise StoreError(
            f"There is a store in {folder} already: --replace puts this back-up in its place and keeps it beside, "
            "or choose another folder with --data. Nothing was changed."
        )
    if is_there and file.exists() and file.samefile(target):
        raise StoreError(f"{file} is the store itself: give a back-up of it. Nothing was changed.")
    _must_be_whole(file)
    with alone_in(folder), backup.in_turn(folder / FOLDER):
        half = _where_it_is_made_ready(folder)
        try:
            done = _made_ready(file, half, target if is_there else None, now, progress)
            _must_be_whole(half)
            on_disk(half)
            aside = _put_aside(target, now) if is_there else None
            _no_log_stays(target)
            os.replace(half, target)
        except OSError as wrong:
            raise StoreError(f"{target} could not be written ({wrong.strerror}). It is as it was.") from wrong
        finally:
            remove(half)
        on_disk(folder)
    return Restored(done.held, done.last_at, aside, done.erased, done.left_out, done.keeps_doors)


def _where_it_is_made_ready(folder: Path) -> Path:
    """Among the back-ups; beside the store where those lie on another disk, for a file takes a name on its own only."""
    among, beside = folder / FOLDER / UNREADY, folder / UNREADY
    return among if among.parent.stat().st_dev == folder.stat().st_dev else beside


def _must_be_whole(file: Path) -> None:
    with reading_only(file) as connection:
        faults = [fault for found in look_through(connection, is_back_up=True) for fault in found.faults]
    if faults:
        more = f", and {len(faults) - 1} more like it" if len(faults) > 1 else ""
        raise StoreError(f"{file} is not whole ({faults[0]}{more}). Nothing was changed.")


def _made_ready(
    file: Path, half: Path, present: Path | None, now: datetime, progress: Callable[[int, int], None]
) -> Restored:
    """The store as it is to be, in the file `half`."""
    remove(half)
    if no_room := backup.room(file, half.parent, 1):
        raise StoreError(no_room)
    with raw_reading(file) as raw:
        backup.copy_out(raw, half, progress)
    with changing(half) as raw, connected(raw) as connection:
        bring_up_to_date(connection)
        connection.execute(delete(schema.photos).where(schema.photos.c.ticket == LOOSE))
        connection.execute(delete(schema.pairings))
        connection.commit()
    left_out = _as_known_now(half, present) if present is not None else None
    with changing(half) as raw, connected(raw) as connection:
        if left_out is None:
            for key in SIGN_INS:
                connection.execute(delete(schema.settings).where(schema.settings.c.key == key))
        erased, last_at = _say_erased(connection, now), _last_at(connection)
        cards.rewrite(connection)
        connection.commit()
        held = backup.held_by(raw)
    return Restored(held, last_at, None, erased, left_out or (), left_out is not None)


def _as_known_now(half: Path, present: Path) -> tuple[str, ...] | None:
    """Take over from the store of now whom to let in, and what is known of persons whom both know.

    The booths of now that the back-up does not have; None where the store of now is too damaged to say anything.
    """
    try:
        with raw_reading(present, trades=True) as raw:
            tables = {name for (name,) in raw.execute("SELECT name FROM sqlite_master WHERE type = 'table'")}
        erased_too.erase(half, present)
    except NoStore:
        return None
    with changing(half) as raw:
        raw.execute("ATTACH ? AS now", (f"{present.resolve().as_uri()}?mode=rw",))
        raw.execute("BEGIN IMMEDIATE")
        fields = _fields_of_both(raw, "photos")
        raw.execute(
            f"INSERT INTO main.photos ({fields}) SELECT {fields} FROM now.photos AS p "
            "WHERE id NOT IN (SELECT id FROM main.photos) AND EXISTS (SELECT 1 FROM main.cards AS mine "
            "JOIN now.cards AS theirs USING (code, booth, ticket) WHERE booth = p.booth AND ticket = p.ticket)"
        )
        for begins in WHO_MAY_COME_IN:
            raw.execute("DELETE FROM main.settings WHERE substr(key, 1, ?) = ?", (len(begins), begins))
            raw.execute(
                "INSERT OR REPLACE INTO main.settings SELECT * FROM now.settings WHERE substr(key, 1, ?) = ?",
                (len(begins), begins),
            )
        if "devices" in tables:
            fields = _fields_of_both(raw, "devices")
            raw.execute("DELETE FROM main.devices")
            raw.execute(f"INSERT INTO main.devices ({fields}) SELECT {fields} FROM now.devices")
        asked = "SELECT DISTINCT booth FROM now.journal EXCEPT SELECT DISTINCT booth FROM main.journal ORDER BY 1"
        left_out = tuple(booth for (booth,) in raw.execute(asked).fetchall())
        raw.execute("COMMIT")
        raw.execute("DETACH now")
    return left_out


def _fields_of_both(raw: sqlite3.Connection, table: str) -> str:
    ours, theirs = ([row[1] for row in raw.execute(f"PRAGMA {name}.table_info({table})")] for name in ("main", "now"))
    return ", ".join(name for name in ours if name in theirs)


def _say_erased(connection: Connection, now: datetime) -> int:
    """Write into the journals which tickets were erased since the back-up was made; how many."""
    table, count = schema.cards, 0
    for slug in journal.booths(connection):
        booth, _ = import_lines(journal.lines(connection, slug))
        asked = select(table.c.ticket).where(table.c.booth == slug, table.c.is_erased)
        for ticket in sorted(connection.execute(asked).scalars()):
            if ticket not in booth.tickets or booth.tickets[ticket].is_erased:
                continue
            command = Command(f"erase-{ticket}-restored-{booth.seq}", Erased(ticket=ticket), SYSTEM)
            events = decide(booth, command, _if_it_can_be(now, booth))
            journal.append(connection, slug, events)
            booth, count = fold(booth, events), count + 1
    return count


def _if_it_can_be(now: datetime, booth: Booth) -> datetime:
    """Now; by a clock that cannot be right the booth's last line, for a line of 2099 would stop its time until then."""
    return now if booth.last_at is None or now <= booth.last_at + FARTHEST else booth.last_at


def _last_at(connection: Connection) -> str:
    last = [
        journal.events(connection, slug, after=journal.head(connection, slug) - 1)[-1].at
        for slug in journal.booths(connection)
    ]
    return print_instant(max(last)) if last else ""


def _put_aside(target: Path, now: datetime) -> Path:
    """Keep the store of before among the back-ups; where it is damaged, its files as they are."""
    stamp = now.strftime("%Y-%m-%d-%H%M%S")
    aside = target.parent / FOLDER / f"before-restore-{stamp}{ENDING}"
    try:
        return backup.write(target, aside, replace=True, folds=False).file
    except StoreError:
        damaged = target.parent / FOLDER / f"damaged-{stamp}"
        damaged.mkdir(mode=0o700)
        for one in with_logs(target):
            if one.exists():
                shutil.copy2(one, damaged / one.name)
                on_disk(damaged / one.name)
        on_disk(damaged)
        return damaged


def _no_log_stays(target: Path) -> None:
    """Empty the log of the store of before into it: beside another database it would be taken for that one's log.

    (https://sqlite.org/howtocorrupt.html, "Unlinking or renaming a database file while in use" and "Mispairing".)
    """
    log = Path(f"{target}-wal")
    if log.exists():
        try:
            with closing(sqlite3.connect(target, isolation_level=None)) as raw:
                raw.execute("PRAGMA wal_checkpoint(TRUNCATE)")
        except sqlite3.Error:
            remove_logs = True  # too damaged to be emptied; a copy of it lies aside
        else:
            remove_logs = not log.exists() or log.stat().st_size == 0
        if not remove_logs:
            raise StoreError(f"Somebody still reads {target}: stop every other portraitq. Nothing was changed.")
    for one in with_logs(target)[1:]:
        one.unlink(missing_ok=True)

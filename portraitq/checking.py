"""Everything that can be said of a store's health: its own checks, its kept days against a fresh reckoning, its disk.

Nothing is changed, not even on a disk that may not be written; a service may run meanwhile.
"""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path

from sqlalchemy import Connection

from portraitq import back_ups, kept_days
from portraitq.core.booth import import_lines
from portraitq.core.errors import RefusedLine
from portraitq.store import backup, journal
from portraitq.store.health import Finding, Progress, look_through
from portraitq.store.read_only import reading_only
from portraitq.store.store import FILE_NAME, StoreError, open_store


def examined(where: Path | str, file: Path | None, now: datetime, progress: Progress) -> Iterator[Finding]:
    """What each check found, in order: of the back-up `file`, else of the store at `where`.

    Raises StoreError where there is none, or it cannot be read at all.
    """
    if file is not None:
        with reading_only(file) as connection:
            yield from _looked_through(connection, True, now, progress)
        return
    with _store_at(where) as connection:
        yield from _looked_through(connection, False, now, progress)
    if not isinstance(where, str):
        yield _disk(where)
        yield _last_back_up(where)


@contextmanager
def _store_at(where: Path | str) -> Iterator[Connection]:
    if isinstance(where, str):
        store = open_store(where)
        try:
            with store.reading() as connection:
                yield connection
        finally:
            store.close()
        return
    if not (where / FILE_NAME).exists():
        raise StoreError(f"There is no store in {where}: give the folder of one with --data.")
    with reading_only(where / FILE_NAME) as connection:
        yield connection


def _looked_through(connection: Connection, is_back_up: bool, now: datetime, progress: Progress) -> Iterator[Finding]:
    yield from look_through(connection, is_back_up=is_back_up, progress=progress)
    count, wrong = 0, list[str]()
    for slug in journal.booths(connection):
        try:
            booth, events = import_lines(journal.lines(connection, slug))
        except RefusedLine:
            continue  # the journal's own check tells of it
        days, differ = kept_days.compared(connection, slug, booth, events, now)
        count += days
        wrong += [f"{day} of {slug} is kept otherwise than the journal has it" for day in differ]
    yield Finding("closed days", f"{count} kept, as a fresh reckoning has them", tuple(wrong))


def _disk(folder: Path) -> Finding:
    free = backup.megabytes(shutil.disk_usage(folder).free)
    low = backup.room(folder / FILE_NAME, folder, back_ups.TIMES_FREE)
    return Finding("disk", f"{free} free{', which is too little for a daily back-up' if low else ''}")


def _last_back_up(folder: Path) -> Finding:
    found = back_ups.in_folder(folder / backup.FOLDER)
    if not found:
        return Finding("last back-up", "none yet")
    last = found[0]
    made = last.made_at.astimezone(UTC).strftime("%Y-%m-%d %H:%M UTC")
    return Finding("last back-up", f"{last.name}, made {made}, {backup.megabytes(last.size_bytes)}")

"""One file that holds all booths of a store as they stood at one moment, written while they trade.

Written by `VACUUM INTO` (https://sqlite.org/lang_vacuum.html): the copy is a consistent snapshot, as small as can be,
and "all deleted content is purged from the backup, leaving behind no forensic traces", which the page-by-page backup
API does not promise; that one would copy along what `Store.scrub` has still to clean. What SQLite leaves to the caller
is done here: the file is written under another name, bit by bit put on disk so that no tap waits behind one large
write, looked through, and only then given its name. What was erased meanwhile is erased in it before that.
"""

from __future__ import annotations

import hashlib
import os
import shutil
import sqlite3
import time
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass
from pathlib import Path

from filelock import FileLock, Timeout

from portraitq.core.booth import import_lines
from portraitq.core.errors import RefusedLine
from portraitq.store import erased_too
from portraitq.store.read_only import raw_reading
from portraitq.store.store import StoreError

FOLDER = "backups"  # inside the data folder
ENDING = ".sqlite3"
WRITING = ".writing-"  # how a file begins that is not whole yet
UNREADY = f"{WRITING}restored{ENDING}"  # what `restore` makes ready
LOCK = "backups.lock"
TURN_WAIT_S = 120.0  # a back-up of a large store onto a slow card
STEP_INSTRUCTIONS = 20  # of SQLite between two looks: three rows or so, and a photo is a row of 400 KB
STEP_BYTES = 4 * 2**20  # so much is put on disk at once; a slow card takes it in half a second
REST_S = 0.01  # a tap that came meanwhile goes first
Progress = Callable[[int, int], None]


class Unwanted(StoreError):
    """The back-up was given up half way because the service stops."""


@dataclass(frozen=True, slots=True)
class Held:
    """What a store or a back-up holds: booth -> its number of lines, and how many cards and photos."""

    lines: dict[str, int]
    cards: int
    photos: int


@dataclass(frozen=True, slots=True)
class Written:
    """A back-up that was written and looked through."""

    file: Path
    held: Held
    size_bytes: int
    sha256: str


def write(
    source: Path,
    target: Path,
    *,
    replace: bool = False,
    folds: bool = True,
    progress: Progress | None = None,
    is_wanted: Callable[[], bool] = lambda: True,
) -> Written:
    """Write all that the store `source` holds to the new file `target`, for its owner alone to read.

    replace    whether a `target` that is there already gives way, once the new one is whole
    folds      whether its journals must fold; what is put aside before a change is kept as it is
    progress   is told how many bytes of about how many are written
    is_wanted  asked now and then; once it says no, the back-up is given up
    Raises StoreError with a sentence when it could not be written, or is not whole; then no `target` was touched.
    """
    if _is_the_stores_own(target, source):
        raise StoreError(f"{target} is the store's own: give a back-up another name. Nothing was changed.")
    if target.exists() and not replace:
        raise StoreError(f"{target} is there already: give another name, or --replace to put the new one in its place.")
    try:
        half = target.with_name(f"{WRITING}{target.name}")
        try:
            held = _copied(source, half, folds, progress or (lambda done, of: None), is_wanted)
            on_disk(half)
            written = Written(target, held, half.stat().st_size, _sha256(half))
            os.replace(half, target)
        finally:
            remove(half)
        on_disk(target.parent)
    except OSError as wrong:
        raise StoreError(f"{target} could not be written ({wrong.strerror}). The store is as it was.") from wrong
    return written


def write_among(
    source: Path,
    name: str,
    *,
    times_free: float = 1,
    folds: bool = True,
    progress: Progress | None = None,
    is_wanted: Callable[[], bool] = lambda: True,
) -> Written:
    """As `write`, into the folder of back-ups beside the store, in the place of one of that name.

    times_free   how often the store's size must be free on the disk for it to be tried
    """
    folder = source.parent / FOLDER
    with in_turn(folder):
        if no_room := room(source, folder, times_free):
            raise StoreError(no_room)
        return write(source, folder / name, replace=True, folds=folds, progress=progress, is_wanted=is_wanted)


def write_anywhere(source: Path, target: Path, *, replace: bool, progress: Progress) -> Written:
    """As `write`; into the folder of back-ups beside the store it is written in turn, so that erasing misses none."""
    with ExitStack() as turn:
        if target.parent.resolve() == (source.parent / FOLDER).resolve() and source.exists():
            turn.enter_context(in_turn(source.parent / FOLDER))
        return write(source, target, replace=replace, progress=progress)


@contextmanager
def in_turn(folder: Path) -> Iterator[None]:
    """While the block runs, nobody else writes in this folder of back-ups, which is made where it is not there.

    What a try that was killed left behind goes first. StoreError when the folder cannot be written, or others are long.
    """
    with ExitStack() as turn:
        try:
            folder.mkdir(mode=0o700, exist_ok=True)
            lock = FileLock(folder / LOCK, TURN_WAIT_S, 0o600, thread_local=False, preserve_lock_file=True)
            turn.enter_context(lock)
            for left in folder.glob(f"{WRITING}*"):
                left.unlink(missing_ok=True)
            remove(folder.parent / UNREADY)  # there where the back-ups lie on another disk
        except Timeout as long:
            raise StoreError(f"Another portraitq writes in {folder} just now: try again in a minute.") from long
        except OSError as wrong:
            raise StoreError(f"{folder} cannot be written ({wrong.strerror}): make it writable.") from wrong
        yield


def copy_out(
    raw: sqlite3.Connection, file: Path, progress: Progress, is_wanted: Callable[[], bool] = lambda: True
) -> None:
    """Copy a database as it stands at this moment into the new file `file`, without holding others up."""
    with _new_file(file) as descriptor, _at_ease(raw, descriptor, progress, is_wanted):
        raw.execute("VACUUM INTO ?", (str(file),))


def room(source: Path, folder: Path, times: float) -> str:
    """Why there is no room in `folder` for so many times the size of the store, "" when there is."""
    wanted = times * sum(file.stat().st_size for file in with_logs(source) if file.exists())
    free = shutil.disk_usage(folder).free
    if free >= wanted:
        return ""
    return f"{folder} has {megabytes(free)} free, and {megabytes(wanted)} are wanted for a back-up: make room."


def held_by(raw: sqlite3.Connection) -> Held:
    """What a store or back-up holds now."""
    lines = dict(raw.execute("SELECT booth, count(*) FROM journal GROUP BY booth ORDER BY booth"))
    cards, photos = raw.execute("SELECT (SELECT count(*) FROM cards), (SELECT count(*) FROM photos)").fetchone()
    return Held(lines, cards, photos)


def with_logs(file: Path) -> tuple[Path, ...]:
    """A file of SQLite and those that may stand beside it."""
    return (file, *(Path(f"{file}{end}") for end in ("-wal", "-shm", "-journal")))


def remove(file: Path) -> None:
    """Take a file of SQLite away with what stands beside it, as far as it is there."""
    for one in with_logs(file):
        one.unlink(missing_ok=True)


def megabytes(size_bytes: float) -> str:
    """`12.3 MB`."""
    return f"{size_bytes / 1e6:.1f} MB"


def _is_the_stores_own(target: Path, source: Path) -> bool:
    """Whether that is the store, its log or its lock; a served one that is replaced loses what comes from then on."""
    if target.exists() and source.exists() and target.samefile(source):
        return True
    same_folder = target.parent.resolve() == source.parent.resolve()
    return same_folder and target.name.casefold().startswith(f"{source.stem}.".casefold())


def _copied(source: Path, half: Path, folds: bool, progress: Progress, is_wanted: Callable[[], bool]) -> Held:
    """The copy under its passing name; what it holds, once it was compared with the store."""
    if not source.exists():
        raise StoreError(f"There is no store in {source.parent}: give the folder of one with --data.")
    remove(half)  # one of an earlier try that was killed
    if no_room := room(source, half.parent, 1):
        raise StoreError(no_room)
    with raw_reading(source, trades=True) as raw:
        before = _promised(raw)
        try:
            copy_out(raw, half, progress, is_wanted)
        except sqlite3.OperationalError as wrong:
            if not is_wanted():
                raise Unwanted("The back-up was given up, for the service stops.") from wrong
            raise StoreError(f"The back-up could not be written ({wrong}). The store is as it was.") from wrong
        erased_too.erase(half, source)
        with raw_reading(half) as copy:
            held = held_by(copy)
            if folds and (fault := _unfolded(copy)):
                raise StoreError(
                    f"A journal in this store is damaged ({fault}), so no back-up was made of it: `portraitq check` "
                    "says more; keep a copy of the whole data folder."
                )
            if fault := _unsound(copy) or _kept_promise(raw, before, copy):
                raise StoreError(f"The back-up is not what the store holds ({fault}), so it was thrown away.")
    return held


@contextmanager
def _new_file(file: Path) -> Iterator[int]:
    """A new file that only its owner may read, as a descriptor by which it is put on disk."""
    descriptor = os.open(file, os.O_RDWR | os.O_CREAT | os.O_EXCL, 0o600)
    try:
        yield descriptor
    finally:
        os.close(descriptor)


@contextmanager
def _at_ease(
    raw: sqlite3.Connection, descriptor: int, progress: Progress, is_wanted: Callable[[], bool]
) -> Iterator[None]:
    """While the block writes the copy, put it on disk in small parts, let others go first, and say how far it is."""
    pages, free, page_bytes = (
        raw.execute(f"PRAGMA {name}").fetchone()[0] for name in ("page_count", "freelist_count", "page_size")
    )
    about_bytes, synced_bytes = max((pages - free) * page_bytes, 1), 0
    failed: list[Exception] = []

    def stepped() -> int:
        nonlocal synced_bytes
        try:
            written_bytes = os.fstat(descriptor).st_size
            if written_bytes - synced_bytes >= STEP_BYTES:
                os.fsync(descriptor)
                synced_bytes = written_bytes
                progress(min(written_bytes, about_bytes), about_bytes)
                time.sleep(REST_S)
        except Exception as wrong:  # noqa: BLE001  SQLite would swallow it; it is raised once SQLite has stopped
            failed.append(wrong)
        return 1 if failed or not is_wanted() else 0

    raw.set_progress_handler(stepped, STEP_INSTRUCTIONS)
    try:
        yield
    except sqlite3.OperationalError:
        if failed:
            raise failed[0] from None
        raise
    finally:
        raw.set_progress_handler(None, 0)
    progress(about_bytes, about_bytes)


@dataclass(frozen=True, slots=True)
class _Promised:
    heads: dict[str, int]
    cards: set[tuple[str, str]]
    photos: dict[str, int]


def _promised(raw: sqlite3.Connection) -> _Promised:
    """What the store had before the copy was begun: so much at least must be in it."""
    raw.execute("BEGIN")
    try:
        return _Promised(
            dict(raw.execute("SELECT booth, max(seq) FROM journal GROUP BY booth")),
            set(raw.execute("SELECT booth, ticket FROM cards")),
            dict(raw.execute("SELECT id, length(jpeg) FROM photos")),
        )
    finally:
        raw.execute("COMMIT")


def _unsound(copy: sqlite3.Connection) -> str:
    """What SQLite finds wrong with the copy, "" for nothing."""
    said = [str(row[0]) for row in copy.execute("PRAGMA integrity_check(5)")]
    if said != ["ok"]:
        return "; ".join(said)
    if copy.execute("PRAGMA foreign_key_check").fetchone() is not None:
        return "a view of a photo that is not there"
    return ""


def _unfolded(copy: sqlite3.Connection) -> str:
    """The first line of a journal that cannot have happened, "" when all fold without a gap."""
    for (booth,) in copy.execute("SELECT DISTINCT booth FROM journal").fetchall():
        lines = (line for (line,) in copy.execute("SELECT line FROM journal WHERE booth = ? ORDER BY seq", (booth,)))
        try:
            import_lines(lines)
        except RefusedLine as wrong:
            return f"{booth}, {wrong}"
    return ""


def _kept_promise(raw: sqlite3.Connection, before: _Promised, copy: sqlite3.Connection) -> str:
    """What the store holds and the copy does not, "" for nothing.

    Lines and cards are never deleted, so the copy has at least those of before, and each line as the store has it now.
    Photos may go meanwhile: one that was there before and is there now is in the copy, of the same length.
    """
    after = _promised(raw)
    for booth, head in before.heads.items():
        theirs = copy.execute("SELECT line FROM journal WHERE booth = ? ORDER BY seq", (booth,))
        ours = raw.execute("SELECT line FROM journal WHERE booth = ? ORDER BY seq", (booth,))
        count = 0
        for count, (line,) in enumerate(theirs, start=1):
            if ours.fetchone() != (line,):
                return f"line {count} of {booth} differs"
        ours.close()
        if count < head:
            return f"{booth} has {count} lines, {head} were expected"
    found = _promised(copy)
    if missing := before.cards - found.cards:
        return f"{len(missing)} cards are missing"
    stayed = {id: length for id, length in before.photos.items() if after.photos.get(id) == length}
    if missing_photos := [id for id, length in stayed.items() if found.photos.get(id) != length]:
        return f"{len(missing_photos)} photos are missing"
    return ""


def on_disk(file: Path) -> None:
    """Put a file, or the names in a folder, on disk (https://sqlite.org/atomiccommit.html says why the folder too)."""
    if os.name == "nt" and file.is_dir():
        return  # Windows opens no folders; it keeps names in its own journal
    descriptor = os.open(file, os.O_RDONLY if os.name != "nt" else os.O_RDWR)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)


def _sha256(file: Path) -> str:
    with file.open("rb") as opened:
        return hashlib.file_digest(opened, "sha256").hexdigest()

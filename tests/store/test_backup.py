"""A back-up is the whole store of one moment in one file; what is erased later is erased in it to the last byte.

What is relied on of SQLite: `VACUUM INTO` makes a consistent snapshot without forensic traces and leaves writing it to
the disk to the caller (https://sqlite.org/lang_vacuum.html, from memory); a reader in WAL holds no writer up
(https://sqlite.org/wal.html, "Concurrency", from memory).
"""

from __future__ import annotations

import os
import random
import shutil
import sqlite3
import stat
import threading
import time
from contextlib import closing
from pathlib import Path

import pytest

from portraitq.core.events import Event
from portraitq.store import backup, cards, erased_too, journal, photos, schema, trouble
from portraitq.store.cards import Card
from portraitq.store.read_only import NoStore
from portraitq.store.store import FILE_NAME, Store, StoreError, open_store
from tests.builders import a_booth
from tests.store.older import make_older
from tests.store.picture import Picture

PATIENCE_S = 60


@pytest.fixture
def store(tmp_path: Path):
    """A store with one booth, three tickets, their cards and photos."""
    made = open_store(tmp_path / "data")
    lines: list[Event] = list(a_booth().ordered("T1").ordered("T2").ordered("T3").events)
    with made.writing() as connection:
        journal.append(connection, "quay", lines)
        for n in (1, 2, 3):
            cards.put(connection, "quay", f"T{n}", Card(f"CODE{n}", name=f"NAME-OF-{n}", note=f"NOTE-OF-{n}" * 40))
            content = f"PICTURE-OF-{n}".encode() + random.Random(n).randbytes(30_000) + f"END-OF-{n}".encode()
            id = photos.add(connection, "quay", f"T{n}", Picture(content, f"SMALL-OF-{n}".encode() * 9), id=f"p{n}")
            photos.keep_view(connection, id, "grey", f"VIEW-OF-{n}".encode() * 900)
    yield made
    made.close()


def source(store: Store) -> Path:
    return Path(store.engine.url.database or "")


def marks_in(file: Path, n: int) -> list[str]:
    """What of ticket `n` can be told by the bytes of a file."""
    content = file.read_bytes()
    marks = (f"{what}-OF-{n}" for what in ("NAME", "NOTE", "PICTURE", "END", "SMALL", "VIEW"))
    return [mark for mark in marks if mark.encode() in content]


def test_a_back_up_is_one_file_with_everything_that_only_its_owner_may_read(store: Store, tmp_path: Path):
    told: list[tuple[int, int]] = []

    made = backup.write(source(store), tmp_path / "b.sqlite3", progress=lambda *one: told.append(one))

    assert made.held == backup.Held({"quay": len(_lines(source(store)))}, cards=3, photos=3)
    assert _rows(made.file) == _rows(source(store))
    assert [file.name for file in tmp_path.iterdir() if file.is_file()] == ["b.sqlite3"]  # no log, nothing half
    assert made.size_bytes == made.file.stat().st_size
    assert told[-1][0] == told[-1][1] > 0
    if os.name != "nt":
        assert stat.S_IMODE(made.file.stat().st_mode) == 0o600


def test_a_file_that_is_there_is_not_overwritten_unless_it_is_said(store: Store, tmp_path: Path):
    target = tmp_path / "b.sqlite3"
    target.write_text("a drawing")

    with pytest.raises(StoreError, match=r"is there already: .*--replace"):
        backup.write(source(store), target)
    assert target.read_text() == "a drawing"

    backup.write(source(store), target, replace=True)
    assert _rows(target) == _rows(source(store))


@pytest.mark.parametrize("name", [FILE_NAME, f"{FILE_NAME}-wal", "portraitq.lock", "a-link"])
def test_the_store_and_what_belongs_to_it_is_never_overwritten(store: Store, name: str):
    target = source(store).with_name(name)
    if name == "a-link":
        target.symlink_to(source(store))
    before = trouble.identity(source(store))

    with pytest.raises(StoreError, match=r"is the store's own: give a back-up another name"):
        backup.write_anywhere(source(store), target, replace=True, progress=lambda done, of: None)

    assert trouble.identity(source(store)) == before
    store.ping()


def test_one_written_by_hand_among_the_services_waits_for_its_turn(store: Store):
    folder = source(store).parent / backup.FOLDER
    with backup.in_turn(folder):
        writing = threading.Thread(
            target=backup.write_anywhere,
            args=(source(store), folder / "mine.sqlite3"),
            kwargs={"replace": False, "progress": lambda done, of: None},
        )
        writing.start()
        time.sleep(0.1)
        assert [file.name for file in folder.iterdir()] == [backup.LOCK]
    writing.join(PATIENCE_S)

    assert marks_in(folder / "mine.sqlite3", 1)


def test_orders_that_come_while_it_is_written_wait_for_nothing_and_it_is_of_one_moment(store: Store, tmp_path: Path):
    with store.writing() as connection:
        for _ in range(40):
            photos.add(connection, "quay", "T1", Picture(os.urandom(300_000)))
    written, between, stop = list[int](), list[int](), threading.Event()

    def trade() -> None:
        while not stop.is_set():
            with store.writing() as connection:  # a card and its photo together, or neither
                n = 100 + len(written)
                cards.put(connection, "pier", f"T{n}", Card(f"PIER{n}"))
                photos.add(connection, "pier", f"T{n}", Picture(), id=f"pier-{n}")
            written.append(n)

    def two_more_orders(done: int, of: int) -> None:
        """The back-up goes on once two were taken; would they wait for it, this would never end."""
        before, until_s = len(written), time.monotonic() + PATIENCE_S
        while done < of and len(written) < before + 2:
            assert time.monotonic() < until_s, "no order was taken while the back-up was written"
            time.sleep(0.001)
        between.append(len(written) - before)

    trading = threading.Thread(target=trade)
    trading.start()
    try:
        made = backup.write(source(store), tmp_path / "b.sqlite3", progress=two_more_orders)
    finally:
        stop.set()
        trading.join()

    with closing(sqlite3.connect(made.file)) as copy:
        taken = {ticket for (ticket,) in copy.execute("SELECT ticket FROM cards WHERE booth = 'pier'")}
        pictured = {ticket for (ticket,) in copy.execute("SELECT ticket FROM photos WHERE booth = 'pier'")}
    assert len([orders for orders in between if orders >= 2]) >= 2  # it was written in several parts
    assert taken == pictured == {f"T{n}" for n in range(100, 100 + len(taken))}
    assert len(taken) < len(written)


def test_what_is_erased_while_it_is_written_is_not_in_it(store: Store, tmp_path: Path):
    with store.writing() as connection:
        for _ in range(30):
            photos.add(connection, "quay", "T3", Picture(os.urandom(300_000)))
    erased = list[int]()

    def erase_the_first(done: int, of: int) -> None:
        if not erased:
            erased.append(done)
            with store.writing() as connection:
                cards.erase(connection, "quay", "T1")

    made = backup.write(source(store), tmp_path / "b.sqlite3", progress=erase_the_first)

    assert 0 < erased[0] < made.size_bytes
    assert marks_in(made.file, 1) == []
    assert len(marks_in(made.file, 2)) == 6


def test_one_that_is_no_longer_wanted_leaves_nothing(store: Store, tmp_path: Path):
    with pytest.raises(backup.Unwanted):
        backup.write(source(store), tmp_path / "b.sqlite3", is_wanted=lambda: False)

    assert [file for file in tmp_path.iterdir() if file.is_file()] == []


def test_no_back_up_is_made_of_a_journal_that_does_not_fold(store: Store, tmp_path: Path):
    with store.writing() as connection:
        connection.exec_driver_sql("DELETE FROM journal WHERE seq = 3")

    with pytest.raises(StoreError, match=r"A journal in this store is damaged \(quay, line 3: .*`portraitq check`"):
        backup.write(source(store), tmp_path / "b.sqlite3")

    assert not (tmp_path / "b.sqlite3").exists()


def test_a_disk_that_cannot_be_written_leaves_an_earlier_back_up_as_it_was(
    store: Store, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
):
    made = backup.write(source(store), tmp_path / "b.sqlite3")
    before = made.file.read_bytes()

    def full(descriptor: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(StoreError, match=r"could not be written \(No space left on device\)"):
        backup.write(source(store), made.file, replace=True)

    assert made.file.read_bytes() == before
    assert [file for file in tmp_path.iterdir() if file.is_file()] == [made.file]


def test_without_room_it_is_not_begun(store: Store, tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    monkeypatch.setattr(shutil, "disk_usage", lambda folder: shutil._ntuple_diskusage(10, 9, 1000))  # type: ignore[attr-defined]

    with pytest.raises(StoreError, match=r"has 0\.0 MB free, and 0\.\d MB are wanted"):
        backup.write_among(source(store), "portraitq-2026-06-06.sqlite3", times_free=2)

    assert list((source(store).parent / backup.FOLDER).glob("*.sqlite3")) == []


def test_what_a_killed_try_left_goes_with_the_next(store: Store):
    folder = source(store).parent / backup.FOLDER
    folder.mkdir()
    (folder / f"{backup.WRITING}portraitq-2026-06-05.sqlite3").write_bytes(b"NAME-OF-1")

    backup.write_among(source(store), "portraitq-2026-06-06.sqlite3")

    assert sorted(file.name for file in folder.iterdir()) == [backup.LOCK, "portraitq-2026-06-06.sqlite3"]


# Erasing


def test_what_is_erased_leaves_the_back_up_to_the_last_byte_and_nothing_else_does(store: Store, tmp_path: Path):
    made = backup.write(source(store), tmp_path / "b.sqlite3")
    os.utime(made.file, (1_750_000_000, 1_750_000_000))
    with store.writing() as connection:
        cards.erase(connection, "quay", "T1")
        cards.erase(connection, "quay", "T3")

    count = erased_too.erase(made.file, source(store))

    assert count == 4  # two cards, two photos
    assert (marks_in(made.file, 1), marks_in(made.file, 3)) == ([], [])
    assert len(marks_in(made.file, 2)) == 6
    assert _lines(made.file) == _lines(source(store))
    assert made.file.stat().st_mtime == 1_750_000_000  # it is still of that day
    assert erased_too.erase(made.file, source(store)) == 0


def test_what_was_changed_on_a_card_or_removed_of_several_photos_leaves_it_as_well(store: Store, tmp_path: Path):
    with store.writing() as connection:
        photos.add(
            connection, "quay", photos.LOOSE, Picture(b"LOOSE-PICTURE" * 999), came_at="2026-06-06T09:00:00.000Z"
        )
    made = backup.write(source(store), tmp_path / "b.sqlite3")
    with store.writing() as connection:
        cards.change(connection, "quay", "T1", name="")
        photos.remove(connection, "quay", "T1", "p1")
        photos.remove_loose(connection, "quay", "2026-06-06T10:00:00.000Z")

    erased_too.erase(made.file, source(store))

    assert marks_in(made.file, 1) == ["NOTE-OF-1"]
    assert b"LOOSE-PICTURE" not in made.file.read_bytes()


@pytest.mark.parametrize("seed", [3, 8])
def test_whatever_comes_and_goes_the_back_ups_hold_nothing_that_the_store_has_not(tmp_path: Path, seed: int):
    store, chance = open_store(tmp_path), random.Random(seed)
    live, gone, files = dict[str, list[bytes]](), list[bytes](), list[Path]()
    for n in range(60):
        with store.writing() as connection:
            if chance.random() < 0.6 or not live:
                name, whole = (f"MARK-{chance.random():.15f}".encode() for _ in range(2))
                cards.put(
                    connection, "q", f"T{n}", Card(f"C{n}", name=name.decode() + "x" * chance.choice((0, 400, 5000)))
                )
                size = chance.choice((10, 500, 4000, 4096, 9000, 60_000))
                photos.add(connection, "q", f"T{n}", Picture(whole + chance.randbytes(size) + whole))
                live[f"T{n}"] = [name, whole]
            else:
                ticket = chance.choice(list(live))
                cards.erase(connection, "q", ticket)
                gone += live.pop(ticket)
        if n % 12 == 11:
            files.append(backup.write_among(tmp_path / FILE_NAME, f"portraitq-2026-06-{n:02}.sqlite3").file)
            for file in files:
                erased_too.erase(file, tmp_path / FILE_NAME)
                content = file.read_bytes()
                assert [mark for mark in gone if mark in content] == []
    assert all(mark in files[-1].read_bytes() for marks in live.values() for mark in marks)  # it would be seen
    store.close()


def test_a_picture_that_an_old_version_kept_without_shelter_is_erased_to_the_last_byte(store: Store, tmp_path: Path):
    with store.writing() as connection:
        for n in range(30):
            photos.add(connection, "quay", "T2", Picture(b"BARE-PICTURE" * 40), id=f"bare-{n}")
        connection.exec_driver_sql("UPDATE photos SET jpeg = substr(jpeg, 4097) WHERE id LIKE 'bare-%'")
    made = backup.write(source(store), tmp_path / "b.sqlite3")
    with store.writing() as connection:
        cards.erase(connection, "quay", "T2")

    erased_too.erase(made.file, source(store))

    assert b"BARE-PICTURE" not in made.file.read_bytes()


def test_a_ticket_that_the_store_does_not_know_keeps_what_the_back_up_has_of_it(store: Store, tmp_path: Path):
    made = backup.write(source(store), tmp_path / "b.sqlite3")
    with (
        store.writing() as connection
    ):  # the same id at another day of the same booth, after an older back-up was restored
        connection.exec_driver_sql("UPDATE cards SET code = 'ANOTHER', name = '' WHERE ticket = 'T1'")
        connection.exec_driver_sql("DELETE FROM photos WHERE ticket = 'T1'")

    assert erased_too.erase(made.file, source(store)) == 0
    assert len(marks_in(made.file, 1)) == 6


def test_an_erasing_that_was_killed_half_way_is_taken_back_and_done_again(store: Store, tmp_path: Path):
    made = backup.write(source(store), tmp_path / "b.sqlite3")
    with store.writing() as connection:
        cards.erase(connection, "quay", "T1")
    with closing(sqlite3.connect(made.file, isolation_level=None)) as raw:  # what a process leaves that is killed
        raw.execute("PRAGMA cache_size=1")
        raw.execute("BEGIN IMMEDIATE")
        raw.execute("UPDATE photos SET jpeg = zeroblob(40000)")
        shutil.copy(made.file, tmp_path / "killed.sqlite3")
        shutil.copy(f"{made.file}-journal", tmp_path / "killed.sqlite3-journal")

    erased_too.erase(tmp_path / "killed.sqlite3", source(store))

    assert marks_in(tmp_path / "killed.sqlite3", 1) == []
    assert len(marks_in(tmp_path / "killed.sqlite3", 2)) == 6
    assert not (tmp_path / "killed.sqlite3-journal").exists()


# An upgrade


@pytest.mark.parametrize("version", range(1, schema.VERSION))
def test_before_a_store_is_taken_forward_it_is_backed_up_as_it_was(store: Store, version: int):
    make_older(store, version)
    before = _rows(source(store))
    store.close()

    open_store(source(store).parent).close()

    aside = source(store).parent / backup.FOLDER / f"before-version-{schema.VERSION}.sqlite3"
    assert _rows(aside) == before
    with closing(sqlite3.connect(aside)) as raw:
        assert raw.execute("SELECT version FROM portraitq_schema").fetchone() == (version,)


def test_a_store_that_cannot_be_backed_up_is_not_taken_forward(store: Store):
    make_older(store, 1)
    store.close()
    (source(store).parent / backup.FOLDER).write_text("in the way")
    before = _rows(source(store))

    with pytest.raises(StoreError, match=r"of version 1 .* no back-up could be made before: .* Nothing was changed\.$"):
        open_store(source(store).parent)

    assert _rows(source(store)) == before


def test_a_step_that_fails_half_way_leaves_the_older_store_as_it_was(store: Store, monkeypatch: pytest.MonkeyPatch):
    make_older(store, 1)
    store.close()
    before = _rows(source(store))

    def breaks(connection: object) -> None:
        schema.closed_days.create(connection, checkfirst=True)  # type: ignore[arg-type]
        raise StoreError("the pencil broke")

    monkeypatch.setitem(schema.STEPS, 2, breaks)
    with pytest.raises(StoreError, match="the pencil broke"):
        open_store(source(store).parent)

    assert _rows(source(store)) == before
    monkeypatch.undo()
    open_store(source(store).parent).close()  # and it can be tried again


# Files that are none


@pytest.mark.parametrize("content", [b"", b"a shopping list", b"SQLite format 3\0", b"SQLite format 3\0" + bytes(4080)])
def test_a_file_that_is_no_store_is_told_in_one_sentence_and_left_alone(store: Store, tmp_path: Path, content: bytes):
    file = tmp_path / "odd.sqlite3"
    file.write_bytes(content)

    with pytest.raises(NoStore, match=r"odd\.sqlite3 .*\.$"):
        erased_too.erase(file, source(store))

    assert file.read_bytes() == content
    assert sorted(one.name for one in tmp_path.iterdir()) == ["data", "odd.sqlite3"]


def _rows(file: Path) -> list[object]:
    with closing(sqlite3.connect(file)) as raw:
        tables = sorted(name for (name,) in raw.execute("SELECT name FROM sqlite_master WHERE type = 'table'"))
        return [(table, sorted(map(repr, raw.execute(f"SELECT * FROM {table}")))) for table in tables]


def _lines(file: Path) -> list[str]:
    with closing(sqlite3.connect(file)) as raw:
        return [line for (line,) in raw.execute("SELECT line FROM journal ORDER BY booth, seq")]

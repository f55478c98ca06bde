"""A back-up takes the store's place whole or not at all; what was erased, withdrawn or changed does not return."""

from __future__ import annotations

import os
import shutil
import signal
import sqlite3
import subprocess
import sys
from contextlib import closing
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest

from portraitq import passphrase
from portraitq.core.booth import import_lines
from portraitq.core.events import Erased, print_instant
from portraitq.store import backup, cards, devices, journal, photos, restore, settings
from portraitq.store.cards import Card
from portraitq.store.health import look_through
from portraitq.store.lock import InUse, alone_in
from portraitq.store.read_only import reading_only
from portraitq.store.restore import Restored
from portraitq.store.store import FILE_NAME, Store, StoreError, open_store
from tests.builders import Told, a_booth
from tests.store.older import make_older
from tests.store.picture import Picture
from tests.web.conftest import jpeg

ROOT = Path(__file__).resolve().parent.parent.parent
NOW = datetime(2026, 6, 8, 9, 0, tzinfo=UTC)
WHOLE = jpeg()
OWN_WORDS = "my own few words"


def picture(mark: str) -> Picture:
    """A whole picture by whose bytes it can be told: a comment stands in it (COM, ITU-T T.81)."""
    told = mark.encode() * 800
    return Picture(
        WHOLE[:2] + b"\xff\xfe" + (len(told) + 2).to_bytes(2) + told + WHOLE[2:], WHOLE, width_px=320, height_px=400
    )


def told() -> Told:
    return a_booth().ordered("T1").ordered("T2")


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A store of two tickets with photos, a device, a passphrase, and a back-up of it in `b.sqlite3`."""
    store = open_store(tmp_path / "data")
    with store.writing() as connection:
        journal.append(connection, "quay", told().events)
        for n in (1, 2):
            cards.put(connection, "quay", f"T{n}", Card(f"CODE{n}", name=f"NAME-OF-{n}"))
            photos.add(connection, "quay", f"T{n}", picture(f"PICTURE-OF-{n}"), id=f"p{n}")
        devices.add(connection, "easel tablet", NOW)
        settings.put(connection, "secret_key", "of the day")
    passphrase.set_passphrase(store, OWN_WORDS)
    store.close()
    backup.write(tmp_path / "data" / FILE_NAME, tmp_path / "b.sqlite3")
    return tmp_path / "data"


def put_back(folder: Path, **more: bool) -> Restored:
    return restore.restore(folder.parent / "b.sqlite3", folder, NOW, **more)


def content(folder: Path) -> dict[str, bytes]:
    """Every file of the data folder, apart from locks and folders."""
    return {str(file): file.read_bytes() for file in folder.rglob("*") if file.is_file() and file.suffix != ".lock"}


def test_an_empty_folder_gets_the_store_with_all_that_was_in_it(folder: Path, tmp_path: Path):
    done = restore.restore(tmp_path / "b.sqlite3", tmp_path / "new", NOW)

    store = open_store(tmp_path / "new")
    with store.reading() as connection:
        assert journal.lines(connection, "quay") == told().lines
        assert cards.of_ticket(connection, "quay", "T1") == Card("CODE1", name="NAME-OF-1")
        kept = photos.photo(connection, "p2")
        assert kept is not None
        assert kept.jpeg == picture("PICTURE-OF-2").jpeg
        assert settings.get(connection, "secret_key") is None  # every browser signs in again
    assert passphrase.is_right(store, OWN_WORDS)
    store.close()
    assert (done.aside, done.erased, done.keeps_doors) == (None, 0, False)
    assert done.held == backup.Held({"quay": len(told().lines)}, cards=2, photos=2)


def test_a_store_that_is_there_is_left_alone_unless_it_is_said(folder: Path):
    before = content(folder)

    with pytest.raises(StoreError, match=r"There is a store in .* already: --replace .* Nothing was changed\.$"):
        put_back(folder)

    assert content(folder) == before


def test_the_store_of_before_is_put_aside_whole_and_can_be_put_back(folder: Path):
    _one_more_order(folder)

    done = put_back(folder, replace=True)

    assert done.aside is not None
    assert done.aside.parent == folder / backup.FOLDER
    assert _tickets(folder) == ["T1", "T2"]
    restore.restore(done.aside, folder, NOW + timedelta(hours=1), replace=True)
    assert _tickets(folder) == ["T1", "T2", "T3"]


def test_what_was_erased_since_is_erased_in_it_too_and_its_journal_says_so(folder: Path):
    store = open_store(folder)
    with store.writing() as connection:
        journal.append(connection, "quay", told().erased("T1").events[len(told().events) :])
        cards.erase(connection, "quay", "T1")
        cards.rewrite(connection)
    store.scrub()
    store.close()

    done = put_back(folder, replace=True)

    everything = b"".join(content(folder).values())
    assert done.erased == 1
    assert [mark for mark in (b"NAME-OF-1", b"PICTURE-OF-1") if mark in everything] == []
    assert b"PICTURE-OF-2" in everything  # it would be seen
    store = open_store(folder)
    with store.reading() as connection:
        booth, events = import_lines(journal.lines(connection, "quay"))
    store.close()
    assert booth.tickets["T1"].is_erased
    assert [event.data for event in events[len(told().events) :]] == [Erased(ticket="T1")]


@pytest.mark.parametrize("wrong", [datetime(1970, 1, 1, tzinfo=UTC), datetime(2099, 1, 1, tzinfo=UTC)])
def test_a_clock_that_cannot_be_right_writes_no_line_by_its_time(folder: Path, wrong: datetime):
    store = open_store(folder)
    with store.writing() as connection:
        journal.append(connection, "quay", told().erased("T1").events[len(told().events) :])
        cards.erase(connection, "quay", "T1")
    store.close()

    done = restore.restore(folder.parent / "b.sqlite3", folder, wrong, replace=True)

    assert (done.erased, done.last_at) == (1, print_instant(told().events[-1].at))


def test_what_was_changed_or_came_on_a_card_since_stays_as_it_is_now(folder: Path):
    store = open_store(folder)
    with store.writing() as connection:
        cards.change(connection, "quay", "T1", name="")
        photos.remove(connection, "quay", "T1", "p1")
        photos.add(connection, "quay", "T2", picture("LATER"), id="p3")
    store.close()

    put_back(folder, replace=True)

    store = open_store(folder)
    with store.reading() as connection:
        assert cards.of_ticket(connection, "quay", "T1") == Card("CODE1")
        assert {
            id: [one.id for one in refs] for id, refs in photos.of_tickets(connection, "quay", ["T1", "T2"]).items()
        } == {"T2": ["p2", "p3"]}
    store.close()


def test_no_withdrawn_device_and_no_old_passphrase_returns(folder: Path):
    store = open_store(folder)
    with store.writing() as connection:
        [tablet] = devices.listed(connection)
        devices.withdraw(connection, tablet.id, NOW)
        settings.put(connection, "secret_key", "of now")
    passphrase.set_passphrase(store, "quite other words")
    epoch = passphrase.epoch(store)
    store.close()

    done = put_back(folder, replace=True)

    store = open_store(folder)
    with store.reading() as connection:
        assert [one.withdrawn_at is not None for one in devices.listed(connection)] == [True]
        assert settings.get(connection, "secret_key") == "of now"
    assert (passphrase.is_right(store, OWN_WORDS), passphrase.is_right(store, "quite other words")) == (False, True)
    assert passphrase.epoch(store) == epoch
    store.close()
    assert done.keeps_doors


def test_a_booth_that_is_not_in_it_is_named(folder: Path):
    store = open_store(folder)
    with store.writing() as connection:
        journal.append(connection, "pier", a_booth().events)
    store.close()

    assert put_back(folder, replace=True).left_out == ("pier",)


def test_photos_of_orders_that_were_never_finished_are_not_brought_back(folder: Path, tmp_path: Path):
    store = open_store(folder)
    with store.writing() as connection:
        photos.add(connection, "quay", photos.LOOSE, picture("LOOSE"), came_at="2026-06-06T09:00:00.000Z")
    store.close()
    backup.write(folder / FILE_NAME, tmp_path / "b.sqlite3", replace=True)

    restore.restore(tmp_path / "b.sqlite3", tmp_path / "new", NOW)

    assert b"LOOSE" not in b"".join(content(tmp_path / "new").values())


@pytest.mark.parametrize("version", [1, 2, 3])
def test_a_back_up_of_an_older_version_is_brought_up_to_date(folder: Path, tmp_path: Path, version: int):
    store = open_store(folder)
    make_older(store, version)
    store.close()
    backup.write(folder / FILE_NAME, tmp_path / "b.sqlite3", replace=True)
    before = (tmp_path / "b.sqlite3").read_bytes()

    restore.restore(tmp_path / "b.sqlite3", tmp_path / "new", NOW)

    assert _tickets(tmp_path / "new") == ["T1", "T2"]
    assert (tmp_path / "b.sqlite3").read_bytes() == before


def test_what_a_store_of_now_of_an_older_version_knows_is_taken_over_too(folder: Path):
    store = open_store(folder)
    with store.writing() as connection:
        cards.change(connection, "quay", "T1", name="")
        photos.remove(connection, "quay", "T1", "p1")
        [tablet] = devices.listed(connection)
        devices.withdraw(connection, tablet.id, NOW)
    make_older(store, 1)
    store.close()

    done = put_back(folder, replace=True)

    store = open_store(folder)
    with store.reading() as connection:
        assert cards.of_ticket(connection, "quay", "T1") == Card("CODE1")
        assert list(photos.of_tickets(connection, "quay", ["T1", "T2"])) == ["T2"]
        assert [one.withdrawn_at is not None for one in devices.listed(connection)] == [True]
    store.close()
    assert done.keeps_doors


def test_a_store_of_now_of_a_newer_version_is_left_alone(folder: Path):
    _newer(folder / FILE_NAME)
    before = content(folder)

    with pytest.raises(StoreError, match=r"of version 999 .*: update portraitq\. Nothing was changed\.$"):
        put_back(folder, replace=True)

    assert content(folder) == before


def test_a_store_of_now_that_is_damaged_gives_way_as_well(folder: Path):
    (folder / FILE_NAME).write_bytes(b"chalk dust " * 5000)

    done = put_back(folder, replace=True)

    assert done.aside is not None
    assert (done.aside / FILE_NAME).read_bytes() == b"chalk dust " * 5000
    assert not done.keeps_doors
    assert _tickets(folder) == ["T1", "T2"]


def _newer(file: Path) -> None:
    with closing(sqlite3.connect(file)) as raw, raw:
        raw.execute("UPDATE portraitq_schema SET version = 999")


def _gap(file: Path) -> None:
    with closing(sqlite3.connect(file)) as raw, raw:
        raw.execute("DELETE FROM journal WHERE seq = 2")


def _half_a_photo(file: Path) -> None:
    with closing(sqlite3.connect(file)) as raw, raw:
        raw.execute("UPDATE photos SET jpeg = substr(jpeg, 1, 5000)")


def _trigger(file: Path) -> None:
    with closing(sqlite3.connect(file)) as raw, raw:
        raw.execute("CREATE TRIGGER gotcha AFTER DELETE ON cards BEGIN DELETE FROM journal; END")


def _cut(file: Path) -> None:
    file.write_bytes(file.read_bytes()[:20_000])


def _other_program(file: Path) -> None:
    file.unlink()
    with closing(sqlite3.connect(file)) as raw, raw:
        raw.execute("CREATE TABLE shopping (what TEXT)")


def _prose(file: Path) -> None:
    file.write_text("Dear customer,")


def _noise(file: Path) -> None:
    content = bytearray(file.read_bytes())
    content[4096:40_000] = os.urandom(40_000 - 4096)
    file.write_bytes(content)


@pytest.mark.parametrize(
    "spoil", [_newer, _gap, _half_a_photo, _trigger, _cut, _other_program, _prose, _noise, Path.unlink]
)
def test_a_file_that_is_not_whole_or_none_of_ours_is_refused_and_nothing_is_changed(folder: Path, spoil):
    spoil(folder.parent / "b.sqlite3")
    before = content(folder)

    with pytest.raises(StoreError) as refused:
        put_back(folder, replace=True)

    assert str(refused.value).endswith(".")
    assert "b.sqlite3" in str(refused.value)
    assert content(folder) == before
    assert not list(folder.rglob(f"{backup.WRITING}*"))


def test_a_folder_that_is_served_is_left_alone(folder: Path, monkeypatch: pytest.MonkeyPatch):
    monkeypatch.setattr(restore, "alone_in", lambda folder: alone_in(folder, wait_s=0.1))
    before = content(folder)

    with alone_in(folder), pytest.raises(InUse, match="is served already"):
        put_back(folder, replace=True)

    assert {name: one for name, one in content(folder).items() if "lock" not in name} == before


def test_the_store_itself_is_no_back_up_of_itself(folder: Path):
    with pytest.raises(StoreError, match="is the store itself"):
        restore.restore(folder / FILE_NAME, folder, NOW, replace=True)


@pytest.mark.parametrize("step", ["_made_ready", "_put_aside", "_no_log_stays", "os.replace"])
def test_whoever_is_killed_in_the_middle_has_the_store_of_before(
    folder: Path, step: str, monkeypatch: pytest.MonkeyPatch
):
    _one_more_order(folder)
    wanted = restore.os if step == "os.replace" else restore
    name = step.removeprefix("os.")

    def killed(*given: object, **named: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr(wanted, name, killed)
    with pytest.raises(KeyboardInterrupt):
        put_back(folder, replace=True)

    assert _tickets(folder) == ["T1", "T2", "T3"]


KILLED = """
import os, signal, sys
from datetime import UTC, datetime
from pathlib import Path
from portraitq.store import restore

def killed(*given):
    os.kill(os.getpid(), signal.SIGKILL)

def at_the_folder(file):
    if file == folder:
        killed()

file, folder, where = Path(sys.argv[1]), Path(sys.argv[2]), sys.argv[3]
if where == "before":
    restore.os.replace = killed
else:
    restore.on_disk = at_the_folder
restore.restore(file, folder, datetime(2026, 6, 8, 9, 0, tzinfo=UTC), replace=True)
"""


@pytest.mark.skipif(os.name == "nt", reason="Windows has no SIGKILL")
@pytest.mark.parametrize(("where", "tickets"), [("before", ["T1", "T2", "T3"]), ("after", ["T1", "T2"])])
def test_a_process_that_is_killed_leaves_the_old_store_or_the_new_one(folder: Path, where: str, tickets: list[str]):
    """Renaming is atomic (POSIX rename), and the log of the old store is empty by then."""
    _one_more_order(folder)

    ended = subprocess.run(
        [sys.executable, "-c", KILLED, str(folder.parent / "b.sqlite3"), str(folder), where], cwd=ROOT
    )

    assert ended.returncode == -signal.SIGKILL
    assert _tickets(folder) == tickets
    assert _faults(folder) == []
    assert put_back(folder, replace=True).aside is not None  # nothing that was left behind is in the way
    assert not list(folder.rglob(f"{backup.WRITING}*"))


def _faults(folder: Path) -> list[str]:
    with reading_only(folder / FILE_NAME) as connection:
        return [fault for found in look_through(connection, is_back_up=True) for fault in found.faults]


def test_a_log_of_the_store_of_before_never_meets_the_restored_one(folder: Path, tmp_path: Path):
    store = open_store(folder)
    with store.writing() as connection:
        settings.put(connection, "late", "in the log alone")
    for end in ("", "-wal"):  # as a killed service leaves it; https://sqlite.org/howtocorrupt.html (from memory)
        shutil.copy(f"{folder / FILE_NAME}{end}", f"{tmp_path / FILE_NAME}{end}")
    store.close()
    for end in ("", "-wal"):
        shutil.move(f"{tmp_path / FILE_NAME}{end}", f"{folder / FILE_NAME}{end}")

    done = put_back(folder, replace=True)

    assert not Path(f"{folder / FILE_NAME}-wal").exists()
    assert done.aside is not None
    with closing(sqlite3.connect(done.aside)) as raw:
        assert raw.execute("SELECT value FROM settings WHERE key = 'late'").fetchone() == ("in the log alone",)
    store = open_store(folder)
    with store.reading() as connection:
        assert settings.get(connection, "late") is None
    store.close()


def test_back_ups_kept_on_another_disk_stop_no_restore(folder: Path, monkeypatch: pytest.MonkeyPatch):
    def of_its_folder(file: Path, **how: Any) -> os.stat_result:
        found = list(os.stat(file, **how))
        found[2] += file.name == backup.FOLDER  # st_dev
        return os.stat_result(found)

    def on_one_disk(one: Path, other: Path) -> None:
        assert backup.FOLDER not in (one.parent.name, other.parent.name) or one.parent == other.parent, "EXDEV"
        os.rename(one, other)

    monkeypatch.setattr(Path, "stat", of_its_folder)
    monkeypatch.setattr(os, "replace", on_one_disk)
    (folder / backup.UNREADY).write_bytes(b"left by one that was killed")

    done = put_back(folder, replace=True)

    assert done.aside is not None
    assert not list(folder.rglob(f"{backup.WRITING}*"))


def test_a_store_of_another_program_in_the_folder_does_not_stop_it(folder: Path):
    _other_program(folder / FILE_NAME)

    done = put_back(folder, replace=True)

    assert (done.keeps_doors, _tickets(folder)) == (False, ["T1", "T2"])


def _one_more_order(folder: Path) -> None:
    store: Store = open_store(folder)
    with store.writing() as connection:
        journal.append(connection, "quay", told().ordered("T3").events[len(told().events) :])
        cards.put(connection, "quay", "T3", Card("CODE3"))
    store.close()


def _tickets(folder: Path) -> list[str]:
    store = open_store(folder)
    try:
        with store.reading() as connection:
            return sorted(import_lines(journal.lines(connection, "quay"))[0].tickets)
    finally:
        store.close()

"""Each thing that can be wrong in a store is found by its own check, and what is right is not called wrong."""

from __future__ import annotations

import re
import sqlite3
from contextlib import closing
from pathlib import Path

import pytest

from portraitq.store import cards, devices, health, journal, photos
from portraitq.store.cards import Card
from portraitq.store.read_only import reading_only
from portraitq.store.store import FILE_NAME, open_store
from tests.builders import a_booth, instant
from tests.store.picture import Picture
from tests.web.conftest import jpeg

WHOLE = Picture(jpeg(300, 420), jpeg(30, 42), 300, 420)


@pytest.fixture
def file(tmp_path: Path) -> Path:
    """A store of three tickets, the last of them erased."""
    told = a_booth().ordered("T1").ordered("T2").ordered("T3").erased("T3")
    store = open_store(tmp_path)
    with store.writing() as connection:
        journal.append(connection, "quay", told.events)
        for n in (1, 2, 3):
            cards.put(connection, "quay", f"T{n}", Card(f"CODE{n}", name="Ana"))
            photos.add(connection, "quay", f"T{n}", WHOLE, id=f"p{n}")
        cards.erase(connection, "quay", "T3")
        photos.add(connection, "quay", photos.LOOSE, WHOLE, came_at="2026-06-06T09:00:00.000Z")
        devices.add(connection, "easel tablet", instant("09:00"))
    store.close()
    return tmp_path / FILE_NAME


def found(file: Path, is_back_up: bool = False) -> list[health.Finding]:
    with reading_only(file) as connection:
        return list(health.look_through(connection, is_back_up=is_back_up))


def faults(file: Path, is_back_up: bool = False) -> dict[str, tuple[str, ...]]:
    return {one.name: one.faults for one in found(file, is_back_up) if one.faults}


def test_a_whole_store_has_no_fault_and_each_check_says_what_it_saw(file: Path):
    said = {one.name: one.said for one in found(file)}

    assert faults(file) == {}
    assert said["journal of quay"].endswith("lines fold without a gap")
    assert said["cards"] == "3, one for each ticket"
    assert said["photos"] == "3, 1 of them for orders that are not finished"
    assert said["devices"] == "1 let in, 0 withdrawn"


SPOILT = [
    (
        "UPDATE photos SET jpeg = 'words' WHERE id = 'p1'",
        "photos",
        "a photo of T1 of quay is no whole picture of 300 × 420",
    ),
    ("DELETE FROM journal WHERE seq = 3", "journal of quay", "line 3: .*seq 3 was expected"),
    (
        "UPDATE journal SET line = replace(line, '2026-06-06', '2025-06-06') WHERE seq = 3",
        "journal of quay",
        "line 3: ",
    ),
    ("DELETE FROM commands WHERE first_seq = 2", "commands of quay", "stands for lines none"),
    ("UPDATE commands SET last_seq = 9 WHERE first_seq = 1", "commands of quay", r"stands for lines \(1, 9\)"),
    ("DELETE FROM cards WHERE ticket = 'T2'", "cards", "T2 of quay has no card"),
    ("INSERT INTO cards VALUES ('quay', 'T9', 'X', '', '', '', 0, '', 0)", "cards", "T9 of quay, which the journal"),
    ("INSERT INTO cards VALUES ('pier', 'T1', 'X', '', '', '', 0, '', 0)", "cards", "a booth without a journal"),
    ("UPDATE cards SET is_erased = 0 WHERE ticket = 'T3'", "cards", "T3 of quay was erased and its card was not"),
    ("UPDATE cards SET note = 'tall' WHERE ticket = 'T3'", "cards", "T3 of quay was erased and its card still says"),
    ("UPDATE cards SET is_erased = 1, name = '' WHERE ticket = 'T1'", "cards", "T1 was erased|journal does not say so"),
    ("UPDATE photos SET ticket = 'T9' WHERE id = 'p1'", "photos", "T9 of quay, which the journal does not know"),
    ("UPDATE photos SET ticket = 'T3' WHERE id = 'p1'", "photos", "T3 of quay, which was erased"),
    ("UPDATE photos SET width_px = 1 WHERE id = 'p1'", "photos", "no whole picture of 1 × 420 px"),
    ("UPDATE photos SET jpeg = substr(jpeg, 1, 4500) WHERE id = 'p1'", "photos", "no whole picture"),
    ("UPDATE photos SET small_jpeg = X'FFD8' WHERE id = 'p1'", "photos", "no whole picture where it is small"),
    ("INSERT INTO photo_views VALUES ('p9', 'grey', X'00')", "database", "a row of photo_views belongs to none"),
    ("UPDATE devices SET key_sha256 = 'open'", "devices", "no name, no key or no role"),
    ("UPDATE devices SET seen_at = 'yesterday'", "devices", "device .*yesterday"),
]


@pytest.mark.parametrize(("change", "check", "said"), SPOILT, ids=[one[0][:60] for one in SPOILT])
def test_what_is_wrong_is_found_by_the_check_of_its_name_alone(file: Path, change: str, check: str, said: str):
    with closing(sqlite3.connect(file)) as raw, raw:
        raw.execute(change)

    wrong = faults(file)

    assert list(wrong) == [check]
    assert len(wrong[check]) == 1
    assert re.search(said, wrong[check][0])


def test_a_damaged_page_is_found(file: Path):
    """SQLite's integrity_check looks at every page, index and row (https://sqlite.org/pragma.html, from memory)."""
    with closing(sqlite3.connect(file)) as raw, raw:
        (root,) = raw.execute("SELECT rootpage FROM sqlite_master WHERE name = 'sqlite_autoindex_cards_1'").fetchone()
    content = bytearray(file.read_bytes())
    content[4096 * (root - 1) + 3 : 4096 * (root - 1) + 5] = b"\0\1"  # the number of its entries
    file.write_bytes(content)

    assert "database" in faults(file)


def test_in_a_back_up_a_card_may_be_erased_that_its_journal_does_not_know_of(file: Path):
    with closing(sqlite3.connect(file)) as raw, raw:
        raw.execute("UPDATE cards SET is_erased = 1, name = '' WHERE ticket = 'T1'")

    assert faults(file, is_back_up=True) == {}


def test_of_many_faults_of_a_kind_five_are_told_and_the_rest_counted(tmp_path: Path):
    told = a_booth()
    for n in range(1, 9):
        told = told.ordered(f"T{n}")
    store = open_store(tmp_path)
    with store.writing() as connection:
        journal.append(connection, "quay", told.events)
    store.close()

    wrong = faults(tmp_path / FILE_NAME)["cards"]

    assert len(wrong) == 6
    assert wrong[-1] == "and 3 more of this kind"


def test_looking_leaves_no_byte_and_no_file_behind(file: Path):
    before = {one.name: one.read_bytes() for one in file.parent.iterdir()}

    found(file)

    assert {one.name: one.read_bytes() for one in file.parent.iterdir()} == before


def test_a_folder_that_may_not_be_written_is_looked_at_as_well(file: Path):
    file.parent.chmod(0o500)
    file.chmod(0o400)
    try:
        assert faults(file) == {}
    finally:
        file.parent.chmod(0o700)


def test_it_looks_while_others_write_and_sees_one_moment(file: Path):
    store = open_store(file.parent)
    seen = []
    with reading_only(file) as connection:
        for one in health.look_through(connection):
            seen.append(one)
            with store.writing() as writer:
                cards.put(writer, "quay", f"T{90 + len(seen)}", Card(f"LATE{len(seen)}"))
    store.close()

    assert [one.faults for one in seen if one.faults] == []


@pytest.mark.parametrize("size_px", [(1, 1), (320, 400), (1600, 40)])
def test_the_size_of_a_jpeg_is_read_off_its_frame_as_pillow_wrote_it(size_px: tuple[int, int]):
    assert health.jpeg_size_px(jpeg(*size_px)) == size_px


@pytest.mark.parametrize(
    "content",
    [
        b"",
        b"\xff\xd8",
        b"\xff\xd8\xff\xd9",
        b"GIF89a",
        jpeg()[:-2],
        jpeg()[2:],
        b"\xff\xd8\xff\xe0\0\0" * 9 + b"\xff\xd9",
    ],
)
def test_what_is_no_whole_jpeg_has_no_size(content: bytes):
    assert health.jpeg_size_px(content) is None

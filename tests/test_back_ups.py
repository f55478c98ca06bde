"""The service backs itself up once a day, keeps few, follows every erasing, and says what is in the way."""

from __future__ import annotations

import logging
import os
import time
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from portraitq import back_ups
from portraitq.back_ups import BackUps, is_due
from portraitq.core.booth import Booth
from portraitq.store import backup, cards, erased_too, journal
from portraitq.store.cards import Card
from portraitq.store.store import Store, StoreError, open_store
from tests.builders import a_booth

NOW = datetime(2026, 6, 8, 19, 30, tzinfo=UTC)
PATIENCE_S = 60


@pytest.mark.parametrize(
    ("made_at", "closed_at", "due"),
    [
        (None, None, True),
        (NOW - timedelta(hours=23), None, False),
        (NOW - timedelta(hours=24), None, True),
        (NOW - timedelta(hours=9), NOW - timedelta(minutes=5), True),  # the day was closed since
        (NOW - timedelta(hours=9), NOW - timedelta(minutes=1), False),  # and is being erased just now
        (NOW - timedelta(minutes=1), NOW - timedelta(minutes=5), False),
        (NOW - timedelta(hours=9), NOW - timedelta(hours=20), False),
        (NOW + timedelta(days=900), None, True),  # made by a clock that was wrong
        (NOW + timedelta(minutes=1), None, False),
    ],
)
def test_one_is_due_each_day_soon_after_the_close(made_at: datetime | None, closed_at: datetime | None, due: bool):
    assert is_due(made_at, closed_at, NOW) == due


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    made = open_store(tmp_path)
    with made.writing() as connection:
        journal.append(connection, "quay", a_booth().ordered("T1").events)
        cards.put(connection, "quay", "T1", Card("CODE1", name="NAME-OF-THE-CUSTOMER"))
    yield made
    made.close()


def of(store: Store, now: datetime = NOW) -> BackUps:
    return BackUps(store, lambda: now, lambda: [a_booth().booth])


def test_the_name_is_the_date_at_the_booth_and_the_time_is_that_of_the_booths_clock(store: Store):
    found = of(store, datetime(2026, 6, 8, 23, 30, tzinfo=UTC))  # half past midnight in Lisbon

    found.make()

    [one] = found.listed()
    assert (one.name, one.made_at) == ("portraitq-2026-06-09.sqlite3", datetime(2026, 6, 8, 23, 30, tzinfo=UTC))


def test_the_last_seven_stay_and_what_was_put_aside_stays_a_week(store: Store, tmp_path: Path):
    folder = tmp_path / backup.FOLDER
    folder.mkdir()
    for name, age in (("before-version-4", 8), ("before-restore-a", 6), ("before-restore-b", 5), ("mine", 400)):
        (folder / f"{name}.sqlite3").write_bytes(b"")
        at_s = (NOW + timedelta(days=10) - timedelta(days=age)).timestamp()
        os.utime(folder / f"{name}.sqlite3", (at_s, at_s))

    for day in range(11):
        of(store, NOW + timedelta(days=day)).make()

    names = sorted(file.stem for file in folder.glob("*.sqlite3"))
    assert names == [
        "before-restore-a",
        "before-restore-b",
        "mine",
        *(f"portraitq-2026-06-{day:02}" for day in range(12, 19)),
    ]


def test_the_thread_makes_one_at_once_where_there_is_none_and_follows_an_erasing(store: Store, tmp_path: Path):
    found = of(store)
    found.start()
    until(lambda: found.listed())
    [one] = found.listed()
    assert b"NAME-OF-THE-CUSTOMER" in one.file.read_bytes()

    with store.writing() as connection:
        cards.erase(connection, "quay", "T1")
        cards.rewrite(connection)
    store.scrub()

    until(lambda: b"NAME-OF-THE-CUSTOMER" not in one.file.read_bytes())
    found.close()
    assert found.trouble == ""
    assert b"NAME-OF-THE-CUSTOMER" not in b"".join(file.read_bytes() for file in tmp_path.rglob("*") if file.is_file())


def test_a_demo_makes_none_by_itself_and_erases_in_one_that_was_asked_for(store: Store):
    found = of(store)
    made = found.make()
    found.start(daily=False)
    with store.writing() as connection:
        cards.erase(connection, "quay", "T1")
    store.scrub()

    until(lambda: b"NAME-OF-THE-CUSTOMER" not in made.file.read_bytes())
    found.close()

    assert [one.made_at for one in found.listed()] == [NOW]


def test_what_fails_is_told_in_a_sentence_logged_once_and_right_again_when_the_cause_is_gone(
    store: Store, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
):
    tries = list[float]()

    def full(*given: object, **named: object) -> str:
        tries.append(time.monotonic())
        return "There is 1.0 MB free, and 9.0 MB are wanted for a back-up: make room." if len(tries) < 4 else ""

    monkeypatch.setattr(back_ups, "TRY_AGAIN_S", 0.0)
    monkeypatch.setattr(back_ups, "LOOK_EVERY_S", 0.01)
    monkeypatch.setattr(backup, "room", full)
    found = of(store)
    with caplog.at_level(logging.ERROR):
        found.start()
        until(lambda: found.listed())
    found.close()

    assert len(tries) >= 4
    assert [record.getMessage().count("9.0 MB are wanted") for record in caplog.records] == [1]
    assert found.trouble == ""


def test_a_back_up_that_cannot_be_read_is_told_and_the_others_are_erased_all_the_same(store: Store, tmp_path: Path):
    found = of(store)
    made = found.make()
    (made.file.parent / "an-odd-one.sqlite3").write_bytes(b"Dear customer,")
    with store.writing() as connection:
        cards.erase(connection, "quay", "T1")

    with pytest.raises(StoreError, match=r"may still stand in a back-up: .*an-odd-one\.sqlite3 is no database"):
        found.erase_too()

    assert b"NAME-OF-THE-CUSTOMER" not in made.file.read_bytes()
    assert "an-odd-one" in found.trouble
    (made.file.parent / "an-odd-one.sqlite3").unlink()
    found.erase_too()
    assert found.trouble == ""


def test_one_that_somebody_takes_away_meanwhile_is_no_trouble(store: Store, monkeypatch: pytest.MonkeyPatch):
    found = of(store)
    made = found.make()
    erase = erased_too.erase

    def after_it_went(file: Path, source: Path) -> int:
        made.file.unlink()
        return erase(file, source)

    monkeypatch.setattr(erased_too, "erase", after_it_went)
    found.erase_too()

    assert found.trouble == ""


def test_by_a_clock_that_is_wrong_none_is_made_again_and_again(store: Store, monkeypatch: pytest.MonkeyPatch):
    tries = list[datetime]()
    monkeypatch.setattr(back_ups, "LOOK_EVERY_S", 0.01)
    monkeypatch.setattr(back_ups, "is_due", lambda made_at, closed_at, now: True)
    found = of(store)
    monkeypatch.setattr(found, "make", lambda: tries.append(NOW))
    found.start()
    until(lambda: tries)
    time.sleep(0.1)
    found.close()

    assert tries == [NOW]


def test_those_made_by_a_clock_that_was_ahead_make_way_for_those_of_the_right_time(store: Store):
    for day in range(back_ups.DAYS_KEPT):
        of(store, NOW + timedelta(days=30 + day)).make()
    found = of(store)
    assert found._is_due()

    made = found.make()

    assert found.listed()[0].file == made.file
    assert len(found.listed()) == back_ups.DAYS_KEPT
    assert not found._is_due()


def test_a_copy_to_send_stays_as_it_is_while_the_file_is_changed(store: Store, tmp_path: Path):
    found = of(store)
    made = found.make()
    before = made.file.read_bytes()

    with found.opened(made.file.name) as copy:
        made.file.write_bytes(b"")
        assert copy.read() == before
    with pytest.raises(LookupError):
        found.opened("portraitq-2026-01-01.sqlite3")


def test_stopping_gives_up_one_that_is_being_written_and_leaves_nothing_half(store: Store, tmp_path: Path):
    found = of(store)
    found.close()

    with pytest.raises(backup.Unwanted):
        found.make()

    assert [file.name for file in (tmp_path / backup.FOLDER).iterdir()] == [backup.LOCK]
    assert found.trouble == ""


def test_a_store_without_a_booth_is_not_backed_up_by_itself(tmp_path: Path):
    store = open_store(tmp_path)
    found = BackUps(store, lambda: NOW, lambda: list[Booth]())
    found.start()
    until(lambda: not store.erased.is_set())
    found.close()
    store.close()

    assert found.listed() == []


def until(is_so: object) -> None:
    """Wait for what another thread does; a busy machine may take its time."""
    until_s = time.monotonic() + PATIENCE_S
    while not is_so():  # type: ignore[operator]
        assert time.monotonic() < until_s, "it did not come about"
        time.sleep(0.02)

"""What was erased stands in no byte of any file of the data folder, wherever the database had moved it meanwhile.

SQLite's secure_delete overwrites what is deleted, but not the copies that it leaves behind when it moves rows from page
to page (https://www.sqlite.org/pragma.html#pragma_secure_delete says nothing of them). Without the measures of
`photos._SHELTER` and `cards.rewrite` these tests find such copies.
"""

from __future__ import annotations

import logging
import random
import secrets
from pathlib import Path

import pytest
from sqlalchemy import text

from portraitq.store import cards, photos
from portraitq.store.cards import Card
from portraitq.store.store import Store, open_store
from tests.store.picture import Picture

SIZES = (10, 500, 4000, 4096, 9000, 60_000)  # in a row, over its edge, on pages of their own


def _bytes(folder: Path) -> bytes:
    return b"".join(file.read_bytes() for file in folder.iterdir())


def _scrubbed(store: Store) -> bool:
    with store.writing() as connection:
        cards.rewrite(connection)
    return store.scrub()


class _Booth:
    """Tickets come and go; `live` and `gone` hold what can be told of each by its bytes."""

    def __init__(self, store: Store, seed: int) -> None:
        self.store, self.chance = store, random.Random(seed)
        self.live: dict[str, list[bytes]] = {}
        self.gone: list[bytes] = []

    def _mark(self) -> str:
        return f"MARK-{self.chance.random():.15f}"

    def _content(self, mark: str) -> bytes:
        """Marked at its beginning and at its end."""
        filling = self.chance.randbytes(self.chance.choice(SIZES))
        return mark.encode() + filling + mark.encode()

    def comes(self, ticket: str) -> None:
        name, contact, note, consent = (self._mark() for _ in range(4))
        long_note = note + "x" * self.chance.choice((0, 300, 5000))
        marks = [name, contact, note, consent]
        with self.store.writing() as connection:
            cards.put(connection, "quay", ticket, Card(f"CODE-{ticket}", name, contact, long_note, False, consent))
            for _ in range(self.chance.choice((0, 1, 2))):
                whole, small, grey = (self._mark() for _ in range(3))
                picture = Picture(self._content(whole), self._content(small))
                id = photos.add(connection, "quay", ticket, picture)
                photos.keep_view(connection, id, "grey", self._content(grey))
                marks += [whole, small, grey]
        self.live[ticket] = [mark.encode() for mark in marks]

    def goes(self) -> None:
        ticket = self.chance.choice(list(self.live))
        with self.store.writing() as connection:
            cards.erase(connection, "quay", ticket)
        self.gone += self.live.pop(ticket)


@pytest.mark.parametrize("seed", [2, 25])  # with these, copies are left where pictures have no shelter
def test_nothing_is_left_of_pictures_however_rows_were_moved_between_pages(
    tmp_path: Path, seed: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    ids = random.Random(-seed)
    monkeypatch.setattr(secrets, "token_urlsafe", lambda n: ids.randbytes(n).hex()[:22])  # the same pages on every run
    store = open_store(tmp_path)
    booth = _Booth(store, seed)

    for n in range(160):
        booth.comes(f"T{n}") if not booth.live or booth.chance.random() < 0.55 else booth.goes()
        if n % 40 == 39:
            assert _scrubbed(store)
            found = _bytes(tmp_path)
            assert [mark for mark in booth.gone if mark in found] == []
            assert all(mark in found for marks in booth.live.values() for mark in marks)  # it would be seen
    store.close()


@pytest.mark.parametrize("seed", [11, 21])  # with these, copies are left where cards are not written anew
def test_nothing_is_left_of_names_and_notes_that_were_changed_or_erased(tmp_path: Path, seed: int) -> None:
    store, chance = open_store(tmp_path), random.Random(seed)
    live, gone = dict[str, list[str]](), list[str]()
    for n in range(300):
        what = chance.random()
        with store.writing() as connection:
            if what < 0.4 or not live:
                name = f"MARK-{chance.random():.15f}"
                cards.put(connection, "q", f"T{n}", Card(f"C{n}", name=name))
                live[f"T{n}"] = [name]
            elif what < 0.75:
                ticket, note = chance.choice(list(live)), f"MARK-{chance.random():.15f}"
                cards.change(connection, "q", ticket, note=note + "x" * chance.choice([0, 50, 300, 900, 3000]) + note)
                gone += live[ticket][1:]
                live[ticket][1:] = [note]
            else:
                ticket = chance.choice(list(live))
                cards.erase(connection, "q", ticket)
                gone += live.pop(ticket)

    assert _scrubbed(store)

    found = _bytes(tmp_path)
    assert [mark for mark in gone if mark.encode() in found] == []
    assert all(mark.encode() in found for marks in live.values() for mark in marks)
    store.close()


def test_a_reader_that_stays_holds_the_log_until_it_goes_and_that_is_told(
    tmp_path: Path, caplog: pytest.LogCaptureFixture
) -> None:
    store, beside = open_store(tmp_path), open_store(tmp_path)
    booth = _Booth(store, 1)
    booth.comes("T1")

    with beside.reading() as reader:
        reader.execute(text("SELECT name FROM cards")).all()
        booth.goes()
        with caplog.at_level(logging.WARNING):
            was_scrubbed = _scrubbed(store)
        assert not was_scrubbed
        assert not store.is_scrubbed
        assert "tried again" in caplog.text
        with store.writing() as connection:  # nobody else is stopped by that
            cards.put(connection, "quay", "T2", Card("CODE-T2"))

    assert _scrubbed(store)
    assert store.is_scrubbed
    assert not any(mark in _bytes(tmp_path) for mark in booth.gone)
    store.close()
    beside.close()


def test_a_connection_that_stays_open_without_reading_holds_nothing(tmp_path: Path) -> None:
    store, beside = open_store(tmp_path), open_store(tmp_path)
    with beside.reading() as reader:
        reader.execute(text("SELECT name FROM cards")).all()
    booth = _Booth(store, 2)
    booth.comes("T1")
    booth.goes()

    assert _scrubbed(store)

    assert not any(mark in _bytes(tmp_path) for mark in booth.gone)
    store.close()
    beside.close()


def test_a_picture_kept_by_an_older_portraitq_is_read_as_it_is(tmp_path: Path) -> None:
    store = open_store(tmp_path)
    with store.writing() as connection:
        id = photos.add(connection, "quay", "T1", Picture())
        connection.execute(text("UPDATE photos SET jpeg = :jpeg"), {"jpeg": Picture.jpeg})

    with store.reading() as connection:
        found = photos.photo(connection, id)

    assert found is not None
    assert found.jpeg == Picture.jpeg
    store.close()

"""The journal in the database: appended only where it belongs, byte for byte what export prints."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from portraitq.core.events import Event, WalkedAway
from portraitq.store import journal
from portraitq.store.store import Store, open_store
from tests.builders import Told, a_booth


@pytest.fixture
def store(where: Path | str) -> Iterator[Store]:
    opened = open_store(where)
    yield opened
    opened.close()


@pytest.fixture
def day() -> Told:
    return a_booth().ordered("T1").started("T1").taps("layout 09:12:00")


def _written(store: Store, events: tuple[Event, ...], booth: str = "quayside") -> None:
    with store.writing() as connection:
        journal.append(connection, booth, events)


def test_what_is_written_is_read_back_line_for_line(store: Store, day: Told) -> None:
    _written(store, day.events)

    with store.reading() as connection:
        assert journal.lines(connection, "quayside") == day.lines
        assert journal.events(connection, "quayside") == list(day.events)
        assert journal.events(connection, "quayside", after=2) == list(day.events[2:])


def test_two_booths_of_one_store_keep_their_journals_apart(store: Store, day: Told) -> None:
    _written(store, day.events)
    _written(store, day.events[:1], booth="arcade")

    with store.reading() as connection:
        assert journal.booths(connection) == ["arcade", "quayside"]
        assert journal.head(connection, "arcade") == 1


def test_of_two_writers_at_the_same_place_only_one_wins(store: Store, day: Told) -> None:
    _written(store, day.events[:-1])
    _written(store, day.events[-1:])

    with pytest.raises(journal.OvertakenError):
        _written(store, day.events[-1:])

    with store.reading() as connection:
        assert journal.lines(connection, "quayside") == day.lines


def test_a_line_after_a_gap_is_not_written(store: Store, day: Told) -> None:
    with pytest.raises(journal.OvertakenError):
        _written(store, day.events[1:])

    with store.reading() as connection:
        assert journal.head(connection, "quayside") == 0


def test_a_commands_id_is_written_once_for_ever(store: Store, day: Told) -> None:
    _written(store, day.events)
    again = day.says(WalkedAway(style=None, sitters=1, ready_by=None), command=day.events[0].id)

    with pytest.raises(journal.OvertakenError):
        _written(store, again.events[len(day.events) :])

    with store.reading() as connection:
        assert journal.lines(connection, "quayside") == day.lines


def test_what_a_command_did_is_found_by_its_id(store: Store, day: Told) -> None:
    _written(store, day.events)
    asked = day.events[-1]

    with store.reading() as connection:
        assert journal.of_command(connection, "quayside", asked.id) == [asked]
        assert journal.of_command(connection, "quayside", "never-sent") == []
        assert journal.of_command(connection, "arcade", asked.id) == []

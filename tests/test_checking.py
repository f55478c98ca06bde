"""The whole look at a store: beside its own checks its kept days, its disk, its last back-up."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path

import pytest

from portraitq import kept_days
from portraitq.back_ups import BackUps
from portraitq.checking import examined
from portraitq.daybook.attendance import attendances
from portraitq.store import cards, closed_days, journal
from portraitq.store.cards import Card
from portraitq.store.health import Finding
from portraitq.store.store import Store, StoreError, open_store
from tests.builders import Told, a_booth

NOW = datetime(2026, 6, 20, 9, 0, tzinfo=UTC)


def two_days() -> Told:
    """A day with one portrait, and the next one."""
    told = a_booth().ordered("T1").started("T1").drawn("T1").collected("T1").day_closed()
    return told.day_opened("2026-06-07").ordered("T2")


@pytest.fixture
def store(tmp_path: Path):
    made = open_store(tmp_path)
    yield made
    made.close()


def looked(folder: Path, file: Path | None = None) -> dict[str, Finding]:
    return {one.name: one for one in examined(folder, file, NOW, lambda done, of: None)}


def keep_the_first_day(store: Store, told: Told) -> None:
    """As a look at the season does."""
    with store.writing() as connection:
        journal.append(connection, "quay", told.events)
        for ticket in ("T1", "T2"):
            cards.put(connection, "quay", ticket, Card(f"CODE-{ticket}"))
    attended = attendances(told.events)
    kept_days.summaries(store, "quay", told.booth, "2026-01-01", "2026-12-31", lambda: attended, NOW)


def test_a_whole_store_is_whole_and_says_what_is_kept_beside_it(store: Store, tmp_path: Path):
    keep_the_first_day(store, two_days())
    before = looked(tmp_path)["last back-up"].said
    made = BackUps(store, lambda: NOW, lambda: [two_days().booth]).make()

    found = looked(tmp_path)

    assert [one for one in found.values() if one.faults] == []
    assert found["closed days"].said == "1 kept, as a fresh reckoning has them"
    assert before == "none yet"
    assert found["last back-up"].said.startswith("portraitq-2026-06-20.sqlite3, made 2026-06-20 09:00 UTC, 0.")
    assert found["disk"].said.endswith("MB free")
    assert [one for one in looked(tmp_path, made.file).values() if one.faults] == []


def test_a_kept_day_that_the_journal_has_otherwise_is_found(store: Store, tmp_path: Path):
    keep_the_first_day(store, two_days())
    with store.writing() as connection:
        [kept] = closed_days.kept(connection, "quay", kept_days.VERSION, "2026-01-01", "2026-12-31")
        wrong = kept.summary.replace('"collected":1', '"collected":2')
        assert wrong != kept.summary
        closed_days.keep(connection, "quay", kept_days.VERSION, kept.seq, {kept.day: wrong})

    found = looked(tmp_path)

    assert found["closed days"].faults == ("2026-06-06 of quay is kept otherwise than the journal has it",)


def test_a_kept_day_that_a_later_line_moved_is_no_fault_for_it_is_reckoned_anew(store: Store, tmp_path: Path):
    told = two_days()
    keep_the_first_day(store, told)
    later = told.paid("T1", 500)
    with store.writing() as connection:
        journal.append(connection, "quay", later.events[len(told.events) :])

    assert looked(tmp_path)["closed days"] == Finding("closed days", "0 kept, as a fresh reckoning has them")


def test_where_there_is_no_store_that_is_said_and_none_is_made(tmp_path: Path):
    with pytest.raises(StoreError, match="There is no store in"):
        looked(tmp_path)

    assert list(tmp_path.iterdir()) == []


def test_how_far_it_is_is_told_up_to_the_end(store: Store, tmp_path: Path):
    keep_the_first_day(store, two_days())
    told = list[tuple[int, int]]()

    list(examined(tmp_path, None, NOW, lambda *one: told.append(one)))

    assert [done for done, _ in told] == sorted(done for done, _ in told)
    assert told[-1][0] == told[-1][1] > 0

"""What is kept of closed days: replaced day by day, and missed by nobody when it is thrown away."""

from __future__ import annotations

from pathlib import Path

from sqlalchemy import inspect

from portraitq.store import closed_days
from portraitq.store.closed_days import KeptDay
from portraitq.store.store import open_store
from tests.store.older import make_older

FIRST, LAST = "2026-06-01", "2026-06-30"


def test_a_day_kept_again_takes_the_place_of_what_was_kept_of_it(tmp_path: Path) -> None:
    store = open_store(tmp_path)

    with store.writing() as connection:
        closed_days.keep(connection, "quay", 1, 100, {"2026-06-06": "old", "2026-06-07": "stays"})
        closed_days.keep(connection, "quay", 1, 120, {"2026-06-06": "new"})

    with store.reading() as connection:
        found = closed_days.kept(connection, "quay", 1, FIRST, LAST)
    assert found == [KeptDay("2026-06-06", 120, "new"), KeptDay("2026-06-07", 100, "stays")]
    store.close()


def test_only_that_booth_that_version_and_those_days_are_found(tmp_path: Path) -> None:
    store = open_store(tmp_path)

    with store.writing() as connection:
        closed_days.keep(connection, "quay", 1, 9, {"2026-05-31": "before", "2026-06-06": "within"})
        closed_days.keep(connection, "quay", 2, 9, {"2026-06-07": "of a newer portraitq"})
        closed_days.keep(connection, "arcade", 1, 9, {"2026-06-08": "elsewhere"})

    with store.reading() as connection:
        assert closed_days.kept(connection, "quay", 1, FIRST, LAST) == [KeptDay("2026-06-06", 9, "within")]
    store.close()


def test_a_summary_that_is_known_to_hold_longer_is_not_taken_back(tmp_path: Path) -> None:
    store = open_store(tmp_path)

    with store.writing() as connection:
        closed_days.keep(connection, "quay", 1, 100, {"2026-06-06": "a"})
        closed_days.keep(connection, "quay", 1, 300, {"2026-06-07": "b"})
        closed_days.still_hold(connection, "quay", ["2026-06-06", "2026-06-07"], 200)

    with store.reading() as connection:
        assert [one.seq for one in closed_days.kept(connection, "quay", 1, FIRST, LAST)] == [200, 300]
    store.close()


def test_what_is_thrown_away_is_gone_for_that_booth_alone(tmp_path: Path) -> None:
    store = open_store(tmp_path)

    with store.writing() as connection:
        closed_days.keep(connection, "quay", 1, 9, {"2026-06-06": "a"})
        closed_days.keep(connection, "arcade", 1, 9, {"2026-06-06": "b"})
        closed_days.forget(connection, "quay")

    with store.reading() as connection:
        assert closed_days.kept(connection, "quay", 1, FIRST, LAST) == []
        assert len(closed_days.kept(connection, "arcade", 1, FIRST, LAST)) == 1
    store.close()


def test_a_store_of_the_second_version_gets_the_table(tmp_path: Path) -> None:
    store = open_store(tmp_path)
    make_older(store, 2)
    store.close()

    store = open_store(tmp_path)

    with store.writing() as connection:
        assert inspect(connection).has_table("closed_days")
        closed_days.keep(connection, "quay", 1, 9, {"2026-06-06": "a"})
    store.close()

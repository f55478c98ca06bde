"""Suggestions that were put away: for the season, and no longer."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from portraitq import put_away
from portraitq.store.store import Store, open_store

SPRING = ["2026-04-04", "2026-05-02", "2026-06-06"]


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    opened = open_store(tmp_path)
    yield opened
    opened.close()


def kept(store: Store, days: list[str], booth: str = "quay") -> set[str]:
    with store.reading() as connection:
        return set(put_away.of(connection, booth, days))


def put(store: Store, key: str, day: str) -> None:
    with store.writing() as connection:
        put_away.put(connection, "quay", key, day)


def test_what_was_put_away_stays_so_for_the_season_of_that_booth(store: Store):
    put(store, "counter", "2026-04-04")

    assert kept(store, SPRING) == {"counter"}
    assert kept(store, SPRING, "pier") == set()


@pytest.mark.parametrize(("next_day", "is_away"), [("2026-08-05", True), ("2026-08-06", False)])
def test_after_sixty_days_without_a_market_another_season_begins(store: Store, next_day: str, is_away: bool):
    put(store, "counter", "2026-06-06")

    assert (kept(store, [*SPRING, next_day]) == {"counter"}) is is_away


def test_everything_can_be_taken_out_again(store: Store):
    put(store, "counter", "2026-06-06")
    with store.writing() as connection:
        put_away.take_out(connection, "quay")

    assert kept(store, SPRING) == set()


def test_no_more_is_kept_than_anybody_could_have_put_away(store: Store):
    for number in range(put_away.MOST_KEPT + 5):
        put(store, f"closing:style-{number}", "2026-06-06")

    found = kept(store, SPRING)
    assert len(found) == put_away.MOST_KEPT
    assert "closing:style-4" not in found

"""The cash counts beside the journal: the last one of each day stands, each booth has its own."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path

import pytest

from portraitq import cash_counts
from portraitq.daybook.cash import CashCount
from portraitq.store import settings
from portraitq.store.store import Store, open_store

AT = datetime(2026, 6, 6, 18, 5, tzinfo=UTC)


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    opened = open_store(tmp_path)
    yield opened
    opened.close()


def a_count(counted: int, note: str = "") -> CashCount:
    return CashCount(began_with=10_000, counted=counted, recorded=4800, at=AT, note=note)


def test_a_count_is_kept_by_booth_and_day_and_the_last_one_stands(store: Store):
    with store.writing() as connection:
        cash_counts.put(connection, "quay", "2026-06-06", a_count(14_000, "short of a note"))
        cash_counts.put(connection, "quay", "2026-06-06", a_count(14_800))

    with store.reading() as connection:
        assert cash_counts.of_day(connection, "quay", "2026-06-06") == a_count(14_800)
        assert cash_counts.of_day(connection, "quay", "2026-06-07") is None
        assert cash_counts.of_day(connection, "pier", "2026-06-06") is None


def test_the_float_of_the_last_count_is_remembered(store: Store):
    with store.writing() as connection:
        assert cash_counts.last_float(connection, "quay") is None
        cash_counts.put(connection, "quay", "2026-06-06", a_count(14_000))

    with store.reading() as connection:
        assert cash_counts.last_float(connection, "quay") == 10_000


def test_booths_of_long_names_that_begin_alike_do_not_share_a_box(store: Store):
    one, other = "q" * 63 + "a", "q" * 63 + "b"
    with store.writing() as connection:
        cash_counts.put(connection, one, "2026-06-06", a_count(14_000))

    with store.reading() as connection:
        assert cash_counts.of_day(connection, one, "2026-06-06") == a_count(14_000)
        assert cash_counts.of_day(connection, other, "2026-06-06") is None


def test_a_count_that_cannot_be_read_is_left_out_and_logged(store: Store, caplog: pytest.LogCaptureFixture):
    with store.writing() as connection:
        settings.put(connection, settings.key("cash:2026-06-06", "quay"), '{"counted": "?"}')

    with store.reading() as connection:
        assert cash_counts.of_day(connection, "quay", "2026-06-06") is None
    assert "cannot be read" in caplog.text

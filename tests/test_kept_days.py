"""A season out of kept days: reckoned once, the same as reckoned anew, and moved by whatever touches a day later."""

from __future__ import annotations

import json
import logging
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from pathlib import Path
from tempfile import TemporaryDirectory

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from sqlalchemy import event

from portraitq import kept_days
from portraitq.core.booth import Booth, fold
from portraitq.core.errors import Refused
from portraitq.core.events import (
    ArtistIn,
    Cancelled,
    Collected,
    Data,
    DayClosed,
    DayOpened,
    Event,
    Paid,
    TouchedUp,
    WalkedAway,
)
from portraitq.daybook.attendance import attendances
from portraitq.daybook.day_summary import DaySummary, summary_of
from portraitq.daybook.days import days_of
from portraitq.store import cards, closed_days, journal
from portraitq.store.cards import Card
from portraitq.store.store import Store, open_store
from tests.builders import Told, a_set_up
from tests.daybook.quick_season import a_season

EVER = ("0000-00-00", "9999-99-99")


@dataclass
class Quay:
    """A booth of one store; `reckoned` are the days that were reckoned since it was last emptied."""

    store: Store
    events: list[Event]
    now: datetime
    reckoned: list[str] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.booth = fold(Booth(), self.events)
        with self.store.writing() as connection:
            journal.append(connection, "quay", self.events)

    def say(self, data: Data, ago_s: float = 0.0, later: timedelta = timedelta(minutes=1)) -> None:
        """One more line, `later` than now."""
        self.now += later
        new = Event(self.booth.seq + 1, f"c{self.booth.seq + 1}", self.now, "counter", data, ago_s)
        self.booth = fold(self.booth, [new])
        self.events = [*self.events, new]
        with self.store.writing() as connection:
            journal.append(connection, "quay", [new])

    def look(self) -> tuple[DaySummary, ...]:
        return kept_days.summaries(self.store, "quay", self.booth, *EVER, lambda: attendances(self.events), self.now)

    def fresh(self) -> tuple[DaySummary, ...]:
        """Every day reckoned out of the journal, from every ticket."""
        here, tickets = attendances(self.events), self.booth.tickets.values()
        return tuple(summary_of(self.booth, day, tickets, here, self.now) for day in days_of(self.booth))


@contextmanager
def quay(folder: Path, events: list[Event], now: datetime, monkeypatch: pytest.MonkeyPatch) -> Iterator[Quay]:
    made = Quay(open_store(folder), events, now)

    def counted(booth: Booth, day, *rest) -> DaySummary:
        made.reckoned.append(day.day)
        return summary_of(booth, day, *rest)

    monkeypatch.setattr(kept_days, "summary_of", counted)
    yield made
    made.store.close()


def test_a_season_of_200_days_is_reckoned_once(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    season = a_season(200, portraits=2)
    with quay(tmp_path, season.events, season.at + timedelta(days=1), monkeypatch) as booth:
        first = booth.look()
        assert len(booth.reckoned) == 200
        booth.reckoned.clear()

        second = booth.look()

        assert booth.reckoned == [first[-1].day]  # no day followed it yet, so time may still change it
        assert second == first
        with booth.store.writing() as connection:
            closed_days.forget(connection, "quay")
        assert second == booth.look()


def test_once_another_day_is_open_nothing_of_the_past_is_reckoned(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    season = a_season(5)
    with quay(tmp_path, season.events, season.at + timedelta(days=1), monkeypatch) as booth:
        last = days_of(booth.booth)[-1].day
        booth.look()
        booth.reckoned.clear()

        found = kept_days.summaries(booth.store, "quay", booth.booth, "2026-04-01", "2026-04-04", list, booth.now)

        assert booth.reckoned == []
        assert [one.day for one in found] == [f"2026-04-0{n}" for n in range(1, 5)]
        assert last == "2026-04-05"


def test_a_restart_reckons_nothing_again(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    season = a_season(6)
    with quay(tmp_path, season.events, season.at + timedelta(days=1), monkeypatch) as booth:
        before = booth.look()
        booth.reckoned.clear()
        booth.store.close()

        booth.store = open_store(tmp_path)

        assert booth.look() == before
        assert booth.reckoned == [before[-1].day]


def test_what_was_kept_may_be_thrown_away(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    season = a_season(4)
    with quay(tmp_path, season.events, season.at + timedelta(days=1), monkeypatch) as booth:
        before = booth.look()

        with booth.store.writing() as connection:
            closed_days.forget(connection, "quay")

        assert booth.look() == before


def test_a_line_that_touches_a_past_day_has_that_day_reckoned_anew_and_no_other(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
):
    season = a_season(8)
    with quay(tmp_path, season.events, season.at + timedelta(days=1), monkeypatch) as booth:
        booth.look()
        booth.reckoned.clear()
        ticket = next(one for one in booth.booth.tickets.values() if one.day == "2026-04-03")

        booth.say(Paid(ticket=ticket.id, amount=-500, how="cash"))

        assert booth.look() == booth.fresh()
        assert booth.reckoned == ["2026-04-03", "2026-04-08"]


def test_a_promise_still_to_come_is_not_kept_for_time_alone_breaks_it(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    told = Told().set_up(at="08:00").day_opened().artist_in("a1").ordered("T1")
    told = told.promised("T1", told.at("09:00") + timedelta(days=4)).day_closed(at="18:00")
    told = told.day_opened(day="2026-06-07").day_closed().day_opened(day="2026-06-08").day_closed()
    with quay(tmp_path, list(told.events), told.at(), monkeypatch) as booth:
        booth.look()
        booth.now += timedelta(days=30)

        assert booth.look() == booth.fresh()
        assert [one.became for one in booth.look()[0].asked] == ["unfinished"]


def test_another_zone_moves_every_day(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    season = a_season(3)
    with quay(tmp_path, season.events, season.at + timedelta(days=1), monkeypatch) as booth:
        booth.look()

        booth.say(a_set_up(zone="Asia/Tokyo"))

        assert booth.look() == booth.fresh()
        assert {one.zone for one in booth.look()} == {"Asia/Tokyo"}


def test_a_row_that_cannot_be_read_is_reckoned_anew_and_told(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
):
    season = a_season(3)
    with quay(tmp_path, season.events, season.at + timedelta(days=1), monkeypatch) as booth:
        before = booth.look()
        with booth.store.writing() as connection:
            closed_days.keep(connection, "quay", kept_days.VERSION, booth.booth.seq, {"2026-04-01": "{chalk"})

        with caplog.at_level(logging.WARNING):
            assert booth.look() == before

        assert "What was kept of 2026-04-01 at quay cannot be read" in caplog.text
        caplog.clear()
        booth.look()
        assert caplog.text == ""


def test_a_store_that_cannot_be_written_still_shows_the_season(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
):
    season = a_season(3)
    with quay(tmp_path, season.events, season.at + timedelta(days=1), monkeypatch) as booth:

        @event.listens_for(booth.store.engine, "connect")
        def read_only(raw, _record) -> None:
            raw.execute("PRAGMA query_only=ON").close()

        booth.store.engine.dispose()

        with caplog.at_level(logging.WARNING):
            assert booth.look() == booth.fresh()

        assert "could not be kept for the next look" in caplog.text


def test_a_day_that_another_server_keeps_at_the_same_moment_is_shown_all_the_same(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
):
    season = a_season(3)
    with quay(tmp_path, season.events, season.at + timedelta(days=1), monkeypatch) as booth:
        with booth.store.writing() as connection:
            closed_days.keep(connection, "quay", 99, 1, {"2026-04-01": "of another version, and so not found"})
        monkeypatch.setattr(closed_days, "forget", lambda *_: None)  # as if it came between forgetting and keeping

        with caplog.at_level(logging.WARNING):
            assert booth.look() == booth.fresh()

        assert "was kept by somebody else at the same moment" in caplog.text


def test_nothing_of_any_person_is_kept(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    season = a_season(3)
    with quay(tmp_path, season.events, season.at + timedelta(days=1), monkeypatch) as booth:
        with booth.store.writing() as connection:
            for ticket in booth.booth.tickets:
                cards.put(connection, "quay", ticket, Card(f"CODE-{ticket}", "Maya", "555 0100", "the red scarf"))
        booth.look()

        with booth.store.reading() as connection:
            rows = closed_days.kept(connection, "quay", kept_days.VERSION, *EVER)

        said = " ".join(row.summary for row in rows)
        assert rows
        assert not [word for word in ("Maya", "555", "scarf", "CODE", *booth.booth.tickets) if word in said]
        assert {type(json.loads(row.summary)) for row in rows} == {dict}


# Whatever comes later

A_SEASON = a_season(6, portraits=3, seed=7)
TICKETS = sorted({one.data.ticket for one in A_SEASON.events if one.kind == "ordered"})  # type: ignore[attr-defined]


CLOSES_AT = A_SEASON.at + timedelta(days=200)
DAYS_AND_HANDS = [
    DayClosed(),
    *(ArtistIn(artist=artist) for artist in ("a1", "a2")),
    *(DayOpened(day=day, closes_at=CLOSES_AT, breaks=()) for day in ("2026-04-06", "2026-05-01", "2026-05-02")),
]


def later_lines():
    ticket, artist = st.sampled_from(TICKETS), st.sampled_from(["a1", "a2"])
    line = st.one_of(
        st.builds(Paid, ticket=ticket, amount=st.integers(-900, 900).filter(bool), how=st.just("card")),
        st.builds(Collected, ticket=ticket),
        st.builds(Cancelled, ticket=ticket, why=st.just("no_show")),
        st.builds(TouchedUp, ticket=ticket, artist=artist),
        st.builds(WalkedAway, style=st.just(None), sitters=st.just(1), ready_by=st.just(None)),
        st.sampled_from(DAYS_AND_HANDS),
    )
    return st.tuples(line, st.sampled_from([0.0, 30.0, 90_000.0, 300_000.0]), st.booleans())


@settings(max_examples=12, deadline=None)
@given(st.lists(later_lines(), min_size=1, max_size=8))
def test_kept_is_what_is_reckoned_whatever_comes_later(lines):
    with TemporaryDirectory() as folder:
        booth = Quay(open_store(Path(folder)), list(A_SEASON.events), A_SEASON.at + timedelta(days=20))
        booth.look()
        for data, ago_s, looks in lines:
            try:
                booth.say(data, ago_s)
            except Refused:
                continue  # that cannot have happened, and changed nothing
            if looks:
                assert booth.look() == booth.fresh()
        assert booth.look() == booth.fresh()
        booth.store.close()

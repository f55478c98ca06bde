"""Nights of 23, 25 and 24½ hours with the booth open over the change; midnight; a zone changed while a day is open.

When clocks change is the IANA time zone database's; its rules are named beside each night (from memory), and the first
test fails where the release that is installed says otherwise.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta
from functools import cache
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest
from icalendar import Calendar

from portraitq import passphrase
from portraitq.clock import Clock
from portraitq.core.commands import Command, Order
from portraitq.core.events import Ordered, Promised, SetUp, parse_instant
from portraitq.core.timing import stage_times
from portraitq.daybook.by_hour import Taken, by_hour
from portraitq.desk import Desks
from portraitq.store.store import open_store
from portraitq.ticket.calendar import calendar_file
from portraitq.web.app import create_app
from portraitq.web.day_form import next_at
from portraitq.web.said import clock_time
from tests.builders import Told, a_booth, a_set_up
from tests.web.conftest import PASSPHRASE, Web

EVERY = timedelta(minutes=30)
FIRST_ORDER = timedelta(minutes=5)


@dataclass(frozen=True)
class Night:
    """One night of trading, by the clocks of `zone`: `back_h` hours are shown twice where it is above 0."""

    zone: str
    day: str
    opens: str
    closes: str
    changes: str
    back_h: float

    def __str__(self) -> str:
        return f"{self.zone} {self.day}"


NIGHTS = (
    Night("Europe/Lisbon", "2026-10-24", "2026-10-24T20:00", "2026-10-25T03:00", "2026-10-25T01:00", 1),  # rule EU
    Night("Europe/Lisbon", "2026-03-28", "2026-03-28T20:00", "2026-03-29T03:00", "2026-03-29T01:00", -1),  # rule EU
    Night("America/Santiago", "2026-09-05", "2026-09-06T00:00", "2026-09-06T07:00", "2026-09-06T04:00", -1),  # Chile
    Night("America/Santiago", "2026-04-04", "2026-04-05T00:00", "2026-04-05T07:00", "2026-04-05T03:00", 1),  # Chile
    Night("Australia/Lord_Howe", "2026-04-04", "2026-04-04T10:00", "2026-04-04T17:00", "2026-04-04T15:00", 0.5),  # LH
    Night("Australia/Lord_Howe", "2026-10-03", "2026-10-03T10:00", "2026-10-03T18:00", "2026-10-03T15:30", -0.5),  # LH
)
over_every_night = pytest.mark.parametrize("night", NIGHTS, ids=str)


def at(text: str) -> datetime:
    return parse_instant(f"{text}:00.000Z")


@cache
def traded(night: Night) -> Told:
    """An order every half hour, drawn at once in ten minutes."""
    told = a_booth(
        a_set_up(zone=night.zone), night.day, f"{night.opens}:00.000Z", f"{night.closes}:00.000Z"
    )  # fmt: skip
    ordered_at, number = at(night.opens) + FIRST_ORDER, 0
    while ordered_at + EVERY < at(night.closes):
        number += 1
        id = f"N{number}"
        told = told.ordered(id, at=ordered_at).started(id, "a1", at=ordered_at)
        for stage, after_s in (("layout", 100), ("likeness", 480), ("finish", 600)):
            told = told.stage_done(id, stage, at=ordered_at + timedelta(seconds=after_s))
        told = told.finished(id, at=ordered_at + timedelta(seconds=600))
        ordered_at += EVERY
    return told


@over_every_night
def test_the_clocks_change_when_the_database_says_so(night: Night):
    zone, changes_at = ZoneInfo(night.zone), at(night.changes)

    before, after = ((changes_at + timedelta(seconds=s)).astimezone(zone).utcoffset() for s in (-1, 0))

    assert before - after == timedelta(hours=night.back_h)  # type: ignore[operator]


@over_every_night
def test_stages_are_measured_as_long_as_they_took(night: Night):
    told = traded(night)

    for ticket in told.booth.tickets.values():
        assert [time.total_s for time in stage_times(ticket, told.booth.days)] == [100, 380, 120]


@over_every_night
def test_every_order_stands_in_one_hour_of_the_clock_and_no_two_hours_are_called_alike(night: Night):
    zone, tickets = ZoneInfo(night.zone), traded(night).booth.tickets

    hours = by_hour([Taken(one.id, one.ordered_at, 0.0, 600.0) for one in tickets.values()], zone)

    assert [id for hour in hours for id in hour.tickets] == list(tickets)
    assert len({hour.name(zone) for hour in hours}) == len(hours)


@over_every_night
def test_numbers_go_on_past_midnight_and_over_the_change(night: Night):
    numbers = [event.data.number for event in traded(night).events if isinstance(event.data, Ordered)]

    assert numbers == list(range(1, len(numbers) + 1))
    assert len(numbers) > 10


@over_every_night
def test_the_closing_time_that_is_typed_is_the_one_that_is_shown(night: Night):
    zone, closes_at = ZoneInfo(night.zone), at(night.closes)

    assert next_at(clock_time(closes_at, zone), zone, at(night.opens)) == closes_at


@over_every_night
def test_a_calendar_file_rings_at_the_same_instant(night: Night):
    """RFC 5545, section 3.3.5, form 2: a date with UTC time is no clock's to move."""
    ready_by = at(night.changes) + timedelta(minutes=10)
    file = calendar_file(
        code="ABCD",
        number=1,
        booth="Quay",
        ready_by=ready_by,
        address="http://x/t/ABCD",
        now=at(night.opens),
        sequence=0,
    )

    (event,) = Calendar.from_ical(file).walk("VEVENT")
    assert event["DTSTART"].dt == ready_by
    assert b"Z\r\n" in next(line + b"\r\n" for line in file.split(b"\r\n") if line.startswith(b"DTSTART"))


@pytest.fixture(scope="module", params=[NIGHTS[4]], ids=str)
def shown(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[Night, Web]]:
    """A booth in the middle of such a night, ten minutes before its clocks change."""
    night: Night = request.param
    now, told = at(night.changes) - timedelta(minutes=10), traded(night)
    folder: Path = tmp_path_factory.mktemp("night")
    store = open_store(folder)
    desks = Desks(store, Clock(start_at=now))
    desks.import_journal("quay", [line for line, event in zip(told.lines, told.events, strict=True) if event.at <= now])
    passphrase.set_passphrase(store, PASSPHRASE)
    web = Web(desks, create_app(desks, address="http://192.168.4.1:8750"))
    web.sign_in()
    yield night, web
    web.app.extensions["portraitq-live"].close()
    desks.close()


def test_every_page_of_such_a_night_is_shown(shown: tuple[Night, Web]):
    night, web = shown
    of_the_day = (f"daybook?day={night.day}", f"daybook/replay?day={night.day}", "daybook/close", "daybook/season")
    pages = [f"/quay/{page}" for page in ("counter", "wall", "easel/a1", "set-up", "daybook/plan", *of_the_day)]

    answers = {page: web.client.get(page, follow_redirects=True).status_code for page in pages}

    assert answers == dict.fromkeys(pages, 200)


def test_a_promise_over_the_change_is_kept_to_the_minutes_that_go_by(shown: tuple[Night, Web]):
    night, web = shown
    now = web.desk.clock.now()

    outcome = web.desk.carry_out(Command("o", Order(style="ink-head", sitters=1)))
    promise = next(event.data for event in outcome.events if isinstance(event.data, Promised))

    assert timedelta(minutes=5) < promise.ready_by - now < timedelta(minutes=60)
    assert clock_time(promise.ready_by, ZoneInfo(night.zone)) in web.client.get(
        f"/t/{web.code('T' + str(len(web.desk.standing(10).booth.tickets)))}?public=1"
    ).get_data(as_text=True)


def test_a_zone_changed_while_the_day_is_open_moves_what_is_shown_and_nothing_that_happened(
    shown: tuple[Night, Web],
):
    night, web = shown
    before = web.desk.standing(10).booth
    changed = before.set_up.model_dump(by_alias=True)  # type: ignore[union-attr]
    changed["booth"]["zone"] = "Asia/Tokyo"

    web.desk.carry_out(Command("zone", SetUp.model_validate(changed)))
    after = web.desk.standing(10).booth
    wall = web.client.get("/quay/wall").get_data(as_text=True)

    assert (after.day, after.last_number, after.queue) == (before.day, before.last_number, before.queue)
    assert {id: ticket.history for id, ticket in after.tickets.items()} == {
        id: ticket.history for id, ticket in before.tickets.items()
    }
    assert clock_time(before.day.closes_at, ZoneInfo("Asia/Tokyo")) in wall  # type: ignore[union-attr]
    assert web.client.get(f"/quay/daybook?day={night.day}").status_code == 200

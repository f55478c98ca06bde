"""Opening and closing a day at the counter."""

from __future__ import annotations

from datetime import UTC, datetime
from zoneinfo import ZoneInfo

import pytest

from portraitq.core.booth import fold
from portraitq.core.commands import decide
from portraitq.core.errors import Malformed
from portraitq.core.events import DayOpened, print_instant
from portraitq.web.day_form import day_end, day_form, next_at, read_day
from tests.builders import a_booth, a_journal, instant

LISBON = ZoneInfo("Europe/Lisbon")
CLOSED = a_journal().set_up(at="08:00")


def opened(form: dict[str, str], now: str = "09:00") -> DayOpened:
    data = read_day(form, CLOSED.booth, instant(now), "counter")[0].data
    assert isinstance(data, DayOpened)
    return data


def test_a_closing_time_is_the_next_one_on_the_booths_clock():
    assert print_instant(opened({"closes": "19:00"}).closes_at) == "2026-06-06T18:00:00.000Z"  # Lisbon is an hour ahead


def test_a_closing_after_midnight_is_tomorrows():
    assert print_instant(opened({"closes": "01:30"}, "20:00").closes_at) == "2026-06-07T00:30:00.000Z"


def test_a_closing_time_that_has_just_passed_is_not_taken_for_tomorrows():
    with pytest.raises(Malformed, match="09:30 has passed today") as no:
        opened({"closes": "09:30"}, "09:00")  # 10:00 in Lisbon

    assert no.value.field == "closes"


def test_a_day_opened_at_night_may_close_in_its_evening():
    assert print_instant(opened({"closes": "23:00"}, "00:30").closes_at) == "2026-06-06T22:00:00.000Z"


def test_the_night_when_clocks_go_back_counts_the_hour_that_is_meant():
    # Lisbon leaves summer time on 2026-10-25 at 02:00, which is 01:00 UTC (tz database, rules of the EU).
    evening = datetime(2026, 10, 24, 20, 0, tzinfo=UTC)

    assert next_at("03:00", LISBON, evening) == datetime(2026, 10, 25, 3, 0, tzinfo=UTC)


def test_breaks_and_artists_come_with_the_day():
    form = {"id": "d1", "closes": "19:00", "from-a1": "13:00", "to-a1": "13:30", "in-a2": "on"}

    first, second = read_day(form, CLOSED.booth, instant("09:00"), "counter")

    assert isinstance(first.data, DayOpened)
    planned = first.data.breaks[0]
    assert (planned.artist, print_instant(planned.begins_at)) == ("a1", "2026-06-06T12:00:00.000Z")
    assert (second.id, second.kind, second.by) == ("d1-in-1", "artist_in", "easel:a2")


def test_the_commands_of_a_form_fold():
    booth = CLOSED.booth

    for command in read_day({"closes": "19:00", "in-a1": "on", "in-a2": "on"}, booth, instant("09:00"), "counter"):
        booth = fold(booth, decide(booth, command, instant("09:00")))

    assert sorted(booth.here_since) == ["a1", "a2"]


@pytest.mark.parametrize(
    ("form", "field"),
    [
        ({}, "closes"),
        ({"closes": "25:00"}, "closes"),
        ({"closes": "19:00", "from-a1": "13:00"}, "to-a1"),
        ({"closes": "19:00", "from-a1": "13:00", "to-a1": "12:00"}, "to-a1"),
    ],
)
def test_a_time_that_is_none_names_its_field(form, field):
    with pytest.raises(Malformed) as no:
        read_day(form, CLOSED.booth, instant("09:00"), "counter")

    assert no.value.field == field


def test_the_day_closes_when_the_last_one_did():
    told = a_booth(closes="18:00").ordered("T1").day_closed(at="18:00")

    form = day_form(told.booth, instant("2026-06-07T08:00:00.000Z"))

    assert form.closes == "19:00"
    assert form.carried == "1 portrait carries over from before."


def test_closing_says_what_stays_open():
    told = a_booth().ordered("T1", "T2", "T3", "T4").drawn("T1").started("T2", "a1").drawn("T3")

    end = day_end(told.collected("T3").paid("T1").booth)

    assert end is not None
    assert end.carries == (
        "1 waiting portrait carries over, in order.",
        "Number 2 is still on an easel and stays there.",
        "1 ready portrait stays on the rack.",
    )
    assert (end.drawn, end.collected, end.paid) == (2, 1, "€18.00")


def test_what_was_ordered_the_day_before_counts_where_it_was_handed_over_and_paid():
    told = a_booth().ordered("T1").drawn("T1").paid("T1", 1000).day_closed()
    told = told.day_opened("2026-06-07").paid("T1", 800).collected("T1")

    end = day_end(told.booth)

    assert end is not None
    assert (end.drawn, end.collected, end.paid) == (0, 1, "€8.00")

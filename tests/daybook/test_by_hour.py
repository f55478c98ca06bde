"""Waiting and flow times by the hour of the order, on the booth's clock."""

from __future__ import annotations

from zoneinfo import ZoneInfo

from portraitq.core.events import parse_instant
from portraitq.daybook.by_hour import Taken, by_hour


def taken(*at: str) -> list[Taken]:
    return [Taken(f"T{place}", parse_instant(f"{one}:00.000Z"), 60.0 * place, None) for place, one in enumerate(at)]


def test_hours_are_those_on_the_booths_clock():
    (hour,) = by_hour(taken("2026-06-06T03:40", "2026-06-06T04:20"), ZoneInfo("Asia/Kolkata"))  # 5 h 30 min ahead

    assert (hour.tickets, hour.name(ZoneInfo("Asia/Kolkata"))) == (("T0", "T1"), "hour-06T09")
    assert hour.waiting is not None
    assert (hour.waiting.n, hour.waiting.median_s) == (2, 30)


def test_an_hour_that_an_october_night_has_twice_is_two():
    lisbon = ZoneInfo("Europe/Lisbon")  # 2026-10-25 01:30 is 00:30Z and 01:30Z (tzdata)

    hours = by_hour(taken("2026-10-25T00:30", "2026-10-25T01:30"), lisbon)

    assert [one.name(lisbon) for one in hours] == ["hour-25T01", "hour-25T01b"]
    assert [one.tickets for one in hours] == [("T0",), ("T1",)]


def test_an_hour_in_which_nobody_ordered_stands_between_the_others():
    hours = by_hour(taken("2026-06-06T09:10", "2026-06-06T11:50"), ZoneInfo("UTC"))

    assert [(one.begins_at.hour, one.waiting and one.waiting.n) for one in hours] == [(9, 1), (10, None), (11, 1)]


def test_a_day_that_lasted_for_weeks_tells_only_of_hours_with_orders():
    assert len(by_hour(taken("2026-06-06T09:10", "2026-06-26T11:50"), ZoneInfo("UTC"))) == 2


def test_a_day_without_orders_has_no_hours():
    assert by_hour([], ZoneInfo("UTC")) == ()

"""Which day something belongs to."""

from __future__ import annotations

from dataclasses import replace

from portraitq.core.booth import Booth
from portraitq.daybook.attendance import Attendance, attendances
from portraitq.daybook.days import days_of
from tests.builders import Told, instant


def test_a_booth_that_never_opened_has_no_days():
    assert days_of(Booth()) == ()


def test_a_night_market_belongs_to_the_day_it_opened_on():
    told = (
        Told()
        .set_up(at="08:00")
        .day_opened(opens="18:00", closes="23:59")
        .day_closed(at=instant("02:30", "2026-06-07"))
    )
    told = told.day_opened("2026-06-07", opens="18:00", closes="23:59")

    friday, saturday = days_of(told.booth)

    assert friday.holds(instant("02:00", "2026-06-07"))
    assert friday.holds(instant("09:00", "2026-06-07"))  # handed over the next morning, before anything opened
    assert saturday.holds(instant("18:00", "2026-06-07"))
    assert not friday.holds(instant("18:00", "2026-06-07"))


def test_a_day_closed_and_opened_again_is_one_day():
    told = (
        Told().set_up(at="08:00").day_opened().day_closed(at="12:00").day_opened(opens="13:00").day_closed(at="18:00")
    )

    (day,) = days_of(told.booth)

    assert len(day.sessions) == 2
    assert day.trading(instant("18:00")) == [
        (instant("09:00"), instant("12:00")),
        (instant("13:00"), instant("18:00")),
    ]


def test_time_in_which_two_sessions_overlap_is_traded_once():
    told = Told().set_up(at="08:00").day_opened().day_closed(at="12:00").day_opened(opens="13:00")
    opened = told.events[-1]
    told = Told().tell(*told.events[:-1], replace(opened, ago_s=3600 + 600)).day_closed(at="18:00")

    (day,) = days_of(told.booth)

    assert day.trading(instant("18:00")) == [(instant("09:00"), instant("18:00"))]


def test_closing_the_day_sends_everybody_out():
    told = Told().set_up(at="08:00").day_opened().artist_in("a1", "a2", at="09:05").artist_out("a2", at="10:00")
    told = told.day_closed(at="18:00").day_opened("2026-06-07").artist_in("a2", at=instant("09:10", "2026-06-07"))

    found = attendances(told.events)

    assert found == (
        Attendance("a1", instant("09:05"), instant("18:00")),
        Attendance("a2", instant("09:05"), instant("10:00")),
        Attendance("a2", instant("09:10", "2026-06-07"), None),
    )

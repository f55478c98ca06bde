"""Which tickets concern which day."""

from __future__ import annotations

from portraitq.daybook.by_day import by_day
from portraitq.daybook.days import days_of
from tests.builders import Told, instant


def on(told: Told) -> dict[str, list[str]]:
    days = days_of(told.booth)
    found = by_day(told.booth, days)
    return {day.day[-2:]: [ticket.id for ticket in found.of(day)] for day in days}


def opened(told: Told, day: str) -> Told:
    return told.day_opened(day).artist_in("a1")


def test_a_ticket_concerns_its_day_and_every_day_until_it_is_over():
    told = opened(Told().set_up(at="08:00"), "2026-06-06").ordered("T1", "T2", "T3").cancelled("T1").day_closed()
    told = opened(told, "2026-06-07").ordered("T4").drawn("T2").collected("T2").day_closed()
    told = opened(told, "2026-06-08")

    assert on(told) == {"06": ["T1", "T2", "T3"], "07": ["T2", "T3", "T4"], "08": ["T3", "T4"]}


def test_what_happens_to_it_later_brings_it_back_for_that_day_alone():
    told = opened(Told().set_up(at="08:00"), "2026-06-06").ordered("T1").paid("T1").drawn("T1").collected("T1")
    told = opened(told.day_closed(), "2026-06-07").day_closed()
    told = opened(told, "2026-06-08").paid("T1", -500).day_closed()
    told = opened(told, "2026-06-09").erased("T1")

    assert on(told) == {"06": ["T1"], "07": [], "08": ["T1"], "09": []}  # erasing is no business of a day


def test_a_tap_that_came_late_belongs_to_the_day_on_which_it_was_made():
    told = opened(Told().set_up(at="08:00"), "2026-06-06").ordered("T1").drawn("T1").day_closed(at="18:00")
    told = opened(told, "2026-06-07")
    late = told.next_event(told.collected("T1").events[-1].data, at=instant("09:30", "2026-06-07"), ago_s=16 * 3600)

    assert on(told.tell(late)) == {"06": ["T1"], "07": []}


def test_money_that_claims_to_be_older_than_its_order_is_lost_on_no_day():
    told = opened(opened(Told().set_up(at="08:00"), "2026-06-06").day_closed(at="18:00"), "2026-06-07").ordered("T1")
    paid = told.next_event(told.paid("T1").events[-1].data, at=instant("09:30", "2026-06-07"), ago_s=16 * 3600)

    assert on(told.tell(paid)) == {"06": ["T1"], "07": ["T1"]}


def test_a_booth_without_a_day_has_none():
    booth = Told().set_up(at="08:00").booth

    assert by_day(booth, days_of(booth)).days == ()

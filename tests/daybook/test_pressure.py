"""How far the easels were used while somebody waited."""

from __future__ import annotations

from portraitq.daybook.pressure import Easel, able_to_begin, pressure
from tests.builders import a_booth, instant


def test_a_portrait_that_is_held_asks_for_no_easel():
    told = a_booth().ordered("T1", at="09:10").held("T1", at="09:20").released("T1", at="09:40")
    told = told.started("T1", at="09:50").put_back("T1", at="10:00").cancelled("T1", at="10:05")

    spans = able_to_begin(told.ticket("T1"), instant("18:00"))

    assert spans == [
        (instant("09:10"), instant("09:20")),
        (instant("09:40"), instant("09:50")),
        (instant("10:00"), instant("10:05")),
    ]


def test_two_who_wait_at_once_are_one_time_of_waiting():
    told = a_booth().ordered("T1", at="09:00").ordered("T2", at="09:30")
    day = [(instant("09:00"), instant("10:00"))]

    easel = Easel(day, [(instant("09:45"), instant("10:00"))], lambda ticket: True)

    found = pressure(told.booth.tickets.values(), day, [easel], instant("10:00"))

    assert (found.waited, found.drawn, found.tickets) == (1.0, 0.25, ("T1", "T2"))


def test_an_easel_that_may_not_draw_what_waits_is_not_called_idle():
    day = [(instant("09:00"), instant("10:00"))]
    told = a_booth().ordered("T1", at="09:00").ordered("T2", at="09:30").started("T2", at="09:40")
    full, beside = Easel(day, day, lambda ticket: True), Easel(day, [], lambda ticket: ticket.id == "T2")

    found = pressure(told.booth.tickets.values(), day, [full, beside], instant("10:00"))

    # T1 waits all the hour for the first, who draws all the while; T2 ten minutes for either
    assert (found.easel_s, found.drawn_s) == (3600 + 600, 3600)


def test_where_nobody_waited_there_is_no_share_drawn():
    day = [(instant("09:00"), instant("10:00"))]

    found = pressure([], day, [Easel(day, day, lambda ticket: True)], instant("10:00"))

    assert (found.waited, found.drawn) == (0.0, None)
    assert pressure([], [], [], instant("10:00")).waited is None

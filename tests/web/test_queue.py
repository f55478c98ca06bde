"""The queue as the counter sees it, built from told days without a server."""

from __future__ import annotations

import re

from portraitq.core.life import READY
from portraitq.desk import Standing
from portraitq.forecast.pace import pace_of
from portraitq.forecast.quotes import forecast
from portraitq.forecast.slip_watch import NO_SLIPS, watch
from portraitq.store.cards import Card
from portraitq.store.photos import PhotoRef
from portraitq.web.queue import CounterView, counter_view
from tests.builders import Told, a_booth, a_journal, a_set_up, artist


def standing(told: Told, now: str | None = None) -> Standing:
    at, pace = told.at(now), pace_of(told.booth)
    quotes = forecast(told.booth, pace, at)
    return Standing("quay", told.booth, quotes, pace, at, watch(NO_SLIPS, told.booth, quotes))


def counter(told: Told, now: str | None = None, **cards: Card) -> CounterView:
    return counter_view(standing(told, now), cards, {})


def test_what_waits_is_drawn_and_hangs_stands_in_its_own_place():
    told = a_booth().ordered("T1", "T2", "T3", "T4").drawn("T1").started("T2", "a1").held("T4")

    seen = counter(told)

    assert [row.number for row in seen.waiting] == [3, 4]
    assert [artist.row and artist.row.number for artist in seen.artists] == [2, None]
    assert [row.number for row in seen.ready] == [1]
    assert seen.headline.startswith("2 waiting · 1 on the rack")


def test_a_row_says_who_what_for_whom_and_how_much_is_due():
    told = a_booth().ordered("T1", sitters=2, artist="a2", price=3600).paid("T1", 1000)
    card = Card("00000000000011", name="Anouk", note="freckles", is_child=True)

    row = counter(told, T1=card).waiting[0]

    assert (row.name, row.style, row.sitters, row.asked_of) == ("Anouk", "Ink head", "2 sitters", "asked for Easel a2")
    assert (row.due, row.is_due, row.is_child, row.has_note) == ("€26.00 due", True, True, True)


def test_a_row_without_a_card_or_photo_says_nothing_of_anybody():
    row = counter(a_booth().ordered("T1")).waiting[0]

    assert (row.name, row.code, row.thumb) == ("", "", "")


def test_the_first_photo_is_the_one_in_the_row():
    told = a_booth().ordered("T1")

    seen = counter_view(standing(told), {}, {"T1": [PhotoRef("first", 3, 4), PhotoRef("second", 3, 4)]})

    assert seen.waiting[0].thumb == "first"


def test_a_promise_that_is_far_away_holds():
    told = a_booth().ordered("T1", at="09:10").promised("T1", "12:00")

    holding = counter(told, "09:11").waiting[0].holding

    assert holding is not None
    assert (holding.promise, holding.said, holding.is_in_danger) == ("13:00", "holds so far", False)


def test_a_promise_that_went_by_is_late_and_says_about_when_instead():
    told = a_booth().ordered("T1", at="09:10").promised("T1", "09:12")

    holding = counter(told, "09:20").waiting[0].holding

    assert holding is not None
    assert holding.promise == "10:12"
    assert re.fullmatch(r"late: now about 10:\d\d", holding.said)
    assert holding.is_in_danger
    assert holding.mark, "told by a mark and words, not by colour alone"


def test_a_promise_that_will_probably_be_broken_is_likely_late_before_it_is():
    told = a_booth().ordered("T1", at="09:10").promised("T1", "09:15")

    holding = counter(told, "09:11").waiting[0].holding

    assert holding is not None
    assert holding.promise == "10:15"
    assert re.fullmatch(r"likely late: now about 10:\d\d", holding.said)
    assert holding.is_in_danger


def test_a_held_ticket_is_never_late():
    told = a_booth().ordered("T1", at="09:10").promised("T1", "09:12").held("T1", "customer")

    holding = counter(told, "09:20").waiting[0].holding

    assert holding is not None
    assert (holding.promise, holding.said, holding.is_in_danger) == ("10:12", "no time while it is held", False)


def test_promises_in_danger_are_counted():
    told = a_booth().ordered("T1", "T2").promised("T1", "09:05").promised("T2", "17:00")

    seen = counter(told, "09:30")

    assert seen.at_risk == 1
    assert "1 late or at risk" in seen.headline


def test_one_that_is_ready_says_where_it_hangs_and_since_when():
    told = a_booth().ordered("T1").promised("T1", "12:00").drawn("T1", "A4", at="09:30")

    row = counter(told, "10:00").ready[0]

    assert row.place == READY
    assert row.place_said == "ready · rack A4"
    assert row.holding is not None
    assert row.holding.said == "since 10:30"


def test_one_that_was_ready_too_late_says_what_was_promised():
    told = a_booth().ordered("T1").promised("T1", "09:20").drawn("T1", at="09:30")

    row = counter(told, "10:00").ready[0]

    assert row.holding is not None
    assert row.holding.said == "since 10:30, promised for 10:20"


def test_a_pause_and_a_hold_say_why():
    told = a_booth().ordered("T1", "T2").started("T1", "a1").paused("T1", "break").held("T2", "photo")

    seen = counter(told)

    assert seen.artists[0].row is not None
    assert seen.artists[0].row.place_said == "stage 1 of 3: Layout · paused: a break"
    assert seen.waiting[0].place_said == "held: the photo is to be taken again"


def test_a_ticket_carried_over_says_its_day():
    told = a_booth().ordered("T1").day_closed(at="18:00")
    told = told.day_opened("2026-06-07").ordered("T2")

    seen = counter(told)

    assert [row.from_day for row in seen.waiting] == ["Sat", ""]


def test_a_ticket_that_nobody_draws_says_so_and_names_no_time_of_next_year():
    told = a_booth().ordered("T1", style="chalk-half").ordered("T2", style="chalk-half").promised("T2", "12:00")
    told = told.set_up(a_set_up(artists=[artist("a1", "ink-head")]))

    untold, promised = (row.holding for row in counter(told, "09:30").waiting)

    assert untold
    assert promised
    assert (untold.promise, untold.said) == ("", "no time told, nobody here draws this today")
    assert (promised.promise, promised.said) == ("13:00", "nobody here draws this today")
    assert (untold.is_in_danger, promised.is_in_danger) == (True, True)


def test_a_day_that_is_not_open_says_so_and_keeps_the_queue():
    seen = counter(a_booth().ordered("T1").day_closed(at="18:00"))

    assert not seen.is_open
    assert [row.number for row in seen.waiting] == [1]


def test_a_booth_without_a_set_up_is_calm():
    assert counter(a_journal(), "09:00").headline == "The booth is not set up yet."


def test_an_artist_comes_in_and_goes_out_by_the_command_beside_the_name():
    told = a_booth(a_set_up()).artist_out("a2")

    first, second = counter(told).artists

    assert first.command == {"kind": "artist_out", "data": {"artist": "a1"}}
    assert second.command == {"kind": "artist_in", "data": {"artist": "a2"}}
    assert (first.said, second.said) == ("free", "not in")


def test_where_nobody_is_in_it_is_said_once_the_day_is_open():
    one_out, all_out = a_booth().artist_out("a2"), a_booth().artist_out("a1").artist_out("a2")

    assert [counter(told).is_nobody_in for told in (one_out, all_out, all_out.day_closed(at="18:00"))] == [
        False,
        True,
        False,
    ]

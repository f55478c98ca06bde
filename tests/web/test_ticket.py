"""The ticket page: what a customer is told, and that nobody else is told anything."""

from __future__ import annotations

import re
from datetime import datetime, timedelta

import pytest
from icalendar import Calendar

from portraitq.core.commands import Command, Order
from portraitq.core.events import print_instant
from portraitq.core.life import LIFE
from portraitq.desk import NewCard
from portraitq.photo.intake import take_in
from portraitq.ticket import codes
from portraitq.web.ticket import TicketView, ticket_view
from tests.builders import Told, a_booth, a_set_up, artist
from tests.web.conftest import Web, jpeg
from tests.web.test_queue import standing

CODE = "00000000000011"


def view(told: Told, id: str = "T1", now: str | None = None) -> TicketView:
    return ticket_view(standing(told, now), told.ticket(id), CODE)


def page(web: Web, address: str) -> str:
    return web.client.get(address).get_data(as_text=True)


# What is told


def test_one_that_waits_says_between_when_and_when_and_when_to_be_back():
    told = a_booth().ordered("T1", at="09:10").promised("T1", "12:00")

    seen = view(told, now="09:11")

    assert re.fullmatch(r"10:\d[05]", seen.ready_from)
    assert re.fullmatch(r"10:\d[05]", seen.ready_to)
    assert seen.be_back == "13:00"
    assert seen.late == ""
    assert seen.has_alarm


def test_one_that_nobody_draws_any_more_names_no_time_and_sends_to_the_booth():
    told = a_booth().ordered("T1", style="chalk-half", at="09:10").promised("T1", "12:00")
    told = told.set_up(a_set_up(artists=[artist("a1", "ink-head")]))

    seen = view(told, now="09:30")

    assert (seen.ready_from, seen.be_back, seen.told, seen.has_alarm) == ("", "", "", False)
    assert seen.late == "We said 13:00, but nobody here draws this today. We are sorry. Please ask at the booth."
    assert seen.happening == "It keeps its place in the queue."


def test_one_that_was_carried_over_says_its_day_beside_its_number():
    told = a_booth().ordered("T1").day_closed(at="18:00").day_opened("2026-06-07")

    assert view(told).day == "Sat"


def test_the_rack_is_said_once():
    told = a_booth().ordered("T1").drawn("T1", "A4")

    seen = view(told)

    assert (seen.rack, seen.happening) == ("A4", "Come to the booth to see it.")


def test_how_many_are_before_it_is_told():
    told = a_booth().ordered("T1", "T2", "T3", "T4", style="chalk-half")

    assert view(told, "T1").happening == "It is the next one to be drawn."
    assert view(told, "T4").happening == "3 portraits are drawn before it."


def test_one_on_the_easel_says_its_stage():
    seen = view(a_booth().ordered("T1").started("T1", "a1").stage_done("T1"))

    assert seen.headline == "It is being drawn"
    assert seen.happening == "Stage 2 of 3: Likeness."
    assert [state for _, state in seen.steps] == ["done", "now", "to come"]


def test_one_that_is_ready_says_where_it_hangs_and_what_is_due_and_no_time():
    seen = view(a_booth().ordered("T1").promised("T1", "12:00").drawn("T1", "A4"))

    assert (seen.headline, seen.rack) == ("It is ready", "A4")
    assert seen.money == "€18.00 to pay at the booth"
    assert (seen.be_back, seen.ready_from, seen.late) == ("", "", "")


def test_a_promise_that_slips_is_told_with_the_new_time():
    told = a_booth().ordered("T1", at="09:10").promised("T1", "09:15")

    seen = view(told, now="09:11")

    assert seen.told == "10:15"
    assert seen.be_back > "10:15"
    said = f"This is taking longer than we said: about {seen.be_back} instead of 10:15. We are sorry."
    assert seen.late == said
    assert seen.ready_to <= seen.be_back


@pytest.mark.parametrize("level", [0.5, 0.6, 0.9])
def test_a_promise_that_holds_more_likely_than_not_stands_without_a_word(level):
    told = a_booth().ordered("T1", at="09:10")
    quote = standing(told, "09:11").forecast.tickets["T1"]
    told = told.promised("T1", quote.ready_at_quantiles[level], at="09:11")

    seen = view(told, now="09:11")

    assert (seen.late, seen.told) == ("", "")
    assert seen.be_back_at == print_instant(quote.ready_at_quantiles[level])


def test_one_that_is_held_asks_its_customer_to_come():
    seen = view(a_booth().ordered("T1").promised("T1", "12:00").held("T1", "photo"))

    assert seen.happening == "We need another photo of you: please come to the booth."
    assert (seen.be_back, seen.ready_from) == ("", "")


def test_a_closed_booth_keeps_the_portrait():
    assert "kept for you" in view(a_booth().ordered("T1").day_closed(at="18:00")).hours


@pytest.mark.parametrize("place", LIFE)
def test_every_place_of_a_ticket_has_its_words(place):
    seen = view(a_booth().brought_to(place))

    assert seen.headline
    assert seen.happening


# The page


def order(web: Web) -> tuple[str, str]:
    card = NewCard("Anouk Secret", "+351 912 000 111", "a very private note", True, "her mother")
    taken = web.desk.take_order(Command("o1", Order(style="pencil-head", sitters=1)), card, [take_in(jpeg())])
    return taken.ticket, taken.code


def test_the_page_is_found_however_the_code_is_typed(web):
    _, code = order(web)

    for typed in (code, code.lower(), codes.shown(code), code.replace("0", "o").replace("1", "l")):
        for way in ("t", "T"):
            assert web.client.get(f"/{way}/{typed}").status_code == 200


def test_nothing_about_anybody_stands_on_it(web):
    ticket, code = order(web)

    seen = page(web, f"/t/{code}") + page(web, f"/t/{code}?fragment=1") + page(web, f"/t/{code}/alarm.ics")

    photo = web.desk.photo_refs([ticket])[ticket][0].id
    for secret in ("Anouk", "912 000", "private", "mother", photo, "photos/"):
        assert secret not in seen


def test_the_page_renews_itself_without_scripts(web):
    _, code = order(web)

    assert '<noscript><meta http-equiv="refresh" content="30"></noscript>' in page(web, f"/t/{code}")


@pytest.mark.parametrize("typed", ["00000000000011", "nonsense", "%00", "A" * 200])
def test_a_code_that_is_none_is_told_calmly(web, typed):
    answer = web.client.get(f"/t/{typed}")

    assert answer.status_code == 404
    assert "There is no ticket of that code" in answer.get_data(as_text=True)
    assert 'href="/t/">Type the code again' in answer.get_data(as_text=True)


def test_a_typed_code_leads_to_its_page(web):
    _, code = order(web)

    assert web.client.get(f"/t?code={codes.shown(code).lower()}").headers["Location"] == f"/t/{code}"
    assert "There is no ticket" in page(web, "/t?code=wrong")


def test_the_alarm_is_set_for_the_time_to_be_back(web):
    ticket, code = order(web)

    file = Calendar.from_ical(web.client.get(f"/t/{code}/alarm.ics").get_data())

    event = file.walk("VEVENT")[0]
    promise = web.desk.ticket(ticket).promise
    assert promise is not None
    assert event.decoded("dtstart") == promise.ready_by.replace(microsecond=0)
    assert event.walk("VALARM")[0].decoded("trigger") < timedelta(0)


def test_the_alarm_of_a_promise_that_slips_is_set_for_the_new_time_and_replaces_the_one_before(web):
    """RFC 5546 §2.1.5: of two entries with one UID the higher SEQUENCE counts."""
    ticket, code = order(web)
    before = Calendar.from_ical(web.client.get(f"/t/{code}/alarm.ics").get_data()).walk("VEVENT")[0]

    slip = web.after(minutes=600).slips[ticket]
    after = Calendar.from_ical(web.client.get(f"/t/{code}/alarm.ics").get_data()).walk("VEVENT")[0]

    assert slip.new_ready_by > slip.ready_by
    assert after.decoded("dtstart") == slip.new_ready_by
    assert (after["uid"], after["sequence"] > before["sequence"]) == (before["uid"], True)


def test_what_is_ready_has_no_alarm(web):
    ticket, code = order(web)
    web.do("started", ticket=ticket, artist="a1")
    while web.desk.ticket(ticket).stage_in_hand:
        web.do("stage_done", ticket=ticket, stage=web.desk.ticket(ticket).stage_in_hand.id)
    web.desk.standing(5)

    assert web.client.get(f"/t/{code}/alarm.ics").status_code == 404


def test_on_a_device_of_the_booth_the_address_is_the_hand_over_and_the_public_page_stays_reachable(web):
    _, code = order(web)
    web.sign_in()

    assert "Anouk Secret" in page(web, f"/t/{code}")
    assert "Anouk" not in page(web, f"/t/{code}?public=1")


def test_the_new_time_reaches_the_page(web):
    ticket, code = order(web)
    later = datetime.fromisoformat("2030-01-01T12:00:00.000Z")
    web.do(
        "promised",
        ticket=ticket,
        ready_by=later.isoformat(timespec="milliseconds").replace("+00:00", "Z"),
        confidence=0.85,
    )
    web.desk.standing(5)

    assert "12:00" in page(web, f"/t/{code}")

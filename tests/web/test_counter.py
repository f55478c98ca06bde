"""The counter through the application: orders, their quotes, what is done with tickets, the day."""

from __future__ import annotations

import io
import re
from datetime import timedelta
from typing import Any

import pytest
from werkzeug.test import TestResponse

from portraitq.core.events import Paid, WalkedAway, print_instant
from portraitq.store import settings
from portraitq.web.hand_over import NETWORK_NAME
from tests.web.conftest import Web, jpeg


@pytest.fixture
def counter(web: Web) -> Web:
    web.sign_in()
    return web


def post(web: Web, way: str, **form: Any) -> TestResponse:
    """A form sent by our own script."""
    headers = {"X-Portraitq-Token": web.token(), "Accept": "text/html, application/problem+json"}
    return web.client.post(f"/quay/counter/{way}", data=form, headers=headers)


def order(web: Web, **form: Any) -> TestResponse:
    return post(web, "orders", **{"id": "order-1", "style": "pencil-head", **form})


def said(answer: TestResponse) -> tuple[int, str]:
    return answer.status_code, answer.get_json()["field"]


def page(web: Web, way: str = "") -> str:
    return web.client.get(f"/quay/counter{way}").get_data(as_text=True)


def photo(name: str = "face.jpg", content: bytes | None = None) -> tuple[io.BytesIO, str]:
    return io.BytesIO(jpeg() if content is None else content), name


# Quotes


def test_every_style_has_its_quote_before_anything_is_chosen(counter):
    seen = page(counter)

    styles = counter.desk.standing().booth.set_up.styles
    assert len(re.findall(r"ready <b class=\"tabular\">about \d\d:\d\d", seen)) == len(styles)
    assert len(re.findall(r"promise <b class=\"tabular\">\d\d:\d\d</b></span>\s*</span>", seen)) == len(styles)


def test_more_sitters_are_quoted_later_and_nothing_is_written(counter):
    before = counter.desk.standing(5).seq

    one, five = (re.findall(r'data-ready-by="([^"]+)"', page(counter, f"/quotes?sitters={n}")) for n in (1, 5))

    assert all(few < many for few, many in zip(one, five, strict=True))
    assert counter.desk.standing(5).seq == before


@pytest.mark.parametrize("way", ["quotes?sitters=1&artist=", "why?style=pencil-head&sitters=1&artist="])
def test_what_can_be_no_artist_is_asked_about_in_vain(counter, way):
    for odd in ("9" * 300, "%FF", "A%20name", "%00"):
        answer = counter.client.get(f"/quay/counter/{way}{odd}")

        assert answer.status_code == 422


def test_a_style_that_the_asked_artist_does_not_draw_says_so_instead_of_a_time(counter):
    set_up = counter.desk.standing().booth.set_up
    artist = next((one for one in set_up.artists if len(one.styles) < len(set_up.styles)), None)
    if artist is None:
        changed = set_up.model_dump(mode="json", by_alias=True)
        changed["artists"][0]["styles"] = [set_up.styles[0].id]
        counter.do("set_up", **changed)
        artist = counter.desk.standing(5).booth.set_up.artists[0]

    seen = page(counter, f"/quotes?artist={artist.id}")

    assert "does not draw" in seen or "No artist" in seen


def test_a_number_of_sitters_that_is_none_is_refused(counter):
    assert counter.client.get("/quay/counter/quotes?sitters=0").status_code == 422


# Orders


def test_an_order_gives_a_number_a_promise_and_a_qr(counter):
    answer = order(counter, price="20", how="cash", photo=photo())

    seen = answer.get_data(as_text=True)
    assert answer.status_code == 201
    assert '<b class="number">1</b>' in seen
    assert re.search(r"Be back at <b class=\"tabular\">\d\d:\d\d</b>", seen)
    assert 'class="qr"' in seen
    assert "€20.00 paid" in seen


def test_the_network_to_join_is_at_hand_when_it_is_set(counter):
    with counter.desk.store.writing() as connection:
        settings.put(connection, NETWORK_NAME, "Quayside")

    seen = order(counter).get_data(as_text=True)

    assert "in the network <b>Quayside</b>" in seen
    assert seen.count('class="qr"') == 2


def test_an_order_sent_twice_is_one_order_and_one_payment(counter):
    first, second = (order(counter, how="cash", photo=photo()) for _ in range(2))

    assert first.get_data() == second.get_data()
    ticket = counter.desk.ticket("T1")
    assert [type(event.data) for event in ticket.history].count(Paid) == 1
    assert ticket.due == 0
    assert len(counter.desk.photo_refs(["T1"])["T1"]) == 1
    assert "T2" not in counter.desk.standing().booth.tickets


def test_an_order_without_a_photo_is_drawn_from_life_at_the_same_price(counter):
    from_life, drawn_from_it = order(counter), order(counter, id="another-order", photo=photo())

    assert "no photo: drawn from life" in from_life.get_data(as_text=True)
    assert "no photo" not in drawn_from_it.get_data(as_text=True)
    one, other = (counter.desk.ticket(id) for id in ("T1", "T2"))
    assert (one.style, one.price) == (other.style, other.price)
    assert one.promise is not None


def test_the_card_is_kept_beside_the_ticket(counter):
    order(counter, name="Anouk", contact="x@example.org", note="freckles", is_child="on", consent_by="her mother")

    card = counter.desk.cards(["T1"])["T1"]
    assert (card.name, card.contact, card.note) == ("Anouk", "x@example.org", "freckles")
    assert (card.is_child, card.consent_by) == (True, "her mother")


@pytest.mark.parametrize(
    ("form", "field"),
    [
        ({"style": ""}, "style"),
        ({"sitters": "0"}, "sitters"),
        ({"price": "x"}, "price"),
        ({"is_child": "on"}, "consent_by"),
        ({"photo": (io.BytesIO(b"Dear customer"), "face.jpg")}, "photo.0"),
        ({"photo": (io.BytesIO(b""), "empty.jpg")}, "photo.0"),
    ],
)
def test_what_is_wrong_with_an_order_is_told_by_field_and_nothing_is_taken(counter, form, field):
    before = counter.desk.standing(5).seq

    answer = order(counter, **form)

    assert said(answer) == (422, field)
    assert answer.get_json()["detail"].endswith(".")
    assert counter.desk.standing(5).seq == before


def test_an_unknown_style_is_refused_with_a_sentence(counter):
    answer = order(counter, style="fresco")

    assert answer.status_code == 409
    assert "fresco" in answer.get_json()["detail"]


def test_a_promise_that_no_longer_holds_is_moved_and_said_aloud(counter):
    told = print_instant(counter.desk.clock.now() + timedelta(minutes=1))

    seen = order(counter, ready_by=told).get_data(as_text=True)

    assert "This is later than the " in seen
    assert "tell them" in seen


def test_a_promise_that_still_holds_is_kept_to_the_minute(counter):
    told = print_instant(counter.desk.quote("pencil-head", 1).promise_at)

    seen = order(counter, ready_by=told).get_data(as_text=True)

    assert "tell them" not in seen
    assert print_instant(counter.desk.ticket("T1").promise.ready_by) == told


def test_without_scripts_an_order_leads_to_the_page_that_shows_its_ticket(counter):
    form = {"token": counter.token(), "id": "order-1", "style": "pencil-head"}

    answer = counter.client.post("/quay/counter/orders", data=form)

    assert answer.status_code == 303
    assert '<b class="number">1</b>' in counter.client.get(answer.headers["Location"]).get_data(as_text=True)


def test_asked_and_left_is_written_with_the_time_that_was_shown(counter):
    told = print_instant(counter.desk.quote("pencil-head", 2).promise_at)

    for _ in range(2):  # a second tap of the same id is the same tap
        assert (
            post(counter, "walked-away", id="left-1", style="pencil-head", sitters="2", ready_by=told).status_code
            == 200
        )

    gone = counter.desk.standing(5).booth.walked_away
    assert [event.data for event in gone] == [
        WalkedAway.model_validate({"style": "pencil-head", "sitters": 2, "ready_by": told})
    ]


# One ticket


def test_a_payment_is_taken_from_the_sheet_and_a_refund_given(counter):
    order(counter)
    due = counter.desk.ticket("T1").due

    post(counter, "tickets/T1/pay", id="p1", amount="10", how="cash")
    post(counter, "tickets/T1/pay", id="p1", amount="10", how="cash")
    post(counter, "tickets/T1/pay", id="p2", amount="3", how="cash", refund="1")

    assert counter.desk.ticket("T1").due == due - 700


def test_more_than_was_paid_is_not_given_back(counter):
    order(counter)

    answer = post(counter, "tickets/T1/pay", id="p1", amount="3", how="cash", refund="1")

    assert answer.status_code == 409
    assert "less than is to be given back" in answer.get_json()["detail"]


def test_a_photo_is_added_and_removed(counter):
    order(counter)

    assert post(counter, "tickets/T1/photos", photo=photo()).status_code == 200
    kept = counter.desk.photo_refs(["T1"])["T1"][0].id
    assert f"/quay/photos/{kept}" in page(counter, "/tickets/T1?sheet=1")
    post(counter, f"tickets/T1/photos/{kept}/remove")

    assert counter.desk.photo_refs(["T1"]) == {}


def test_a_photo_that_is_none_is_refused_in_the_sheet(counter):
    order(counter)

    assert said(post(counter, "tickets/T1/photos", photo=photo(content=b"no"))) == (422, "photo.0")
    assert said(post(counter, "tickets/T1/photos")) == (422, "photo")


def test_a_card_is_changed(counter):
    order(counter, name="Anouk")

    post(counter, "tickets/T1/card", name="Bram", contact="", note="")

    assert counter.desk.cards(["T1"])["T1"].name == "Bram"


def test_what_is_over_is_found_again(counter):
    order(counter, name="Anouk")
    counter.do("cancelled", ticket="T1", why="customer")
    counter.desk.standing(5)

    assert "Anouk" in page(counter, "/over?sheet=1")


def test_a_ticket_that_does_not_exist_is_not_there(counter):
    assert counter.client.get("/quay/counter/tickets/T99").status_code == 404
    assert post(counter, "tickets/T99/pay", amount="1", how="cash").status_code == 404


# The day


def test_a_closed_day_is_opened_with_one_form(counter):
    counter.do("day_closed")
    counter.desk.standing(5)
    assert 'id="day-panel">' in page(counter)

    closes = (counter.desk.clock.now() + timedelta(hours=3)).astimezone(counter.desk.standing().booth.zone)
    assert post(counter, "day", id="d9", closes=closes.strftime("%H:%M"), **{"in-a1": "on"}).status_code == 200

    booth = counter.desk.standing(5).booth
    assert booth.day is not None
    assert list(booth.here_since) == ["a1"]
    assert 'id="day-panel" hidden>' in page(counter)


def test_while_no_day_is_open_an_order_is_refused_with_what_to_do(counter):
    counter.do("day_closed")

    answer = order(counter)

    assert answer.status_code == 409
    assert "open the day before taking an order" in answer.get_json()["detail"]


def test_closing_the_day_says_what_carries_over(counter):
    order(counter)
    counter.desk.standing(5)

    assert "1 waiting portrait carries over, in order." in page(counter, "/day?sheet=1")


# Who may


@pytest.mark.parametrize("way", ["", "/quotes", "/day", "/over", "/tickets/T1"])
def test_the_counter_is_for_the_booths_people(web, way):
    assert web.client.get(f"/quay/counter{way}").status_code == 303


@pytest.mark.parametrize("way", ["orders", "walked-away", "day", "tickets/T1/pay", "tickets/T1/photos"])
def test_nothing_is_taken_without_the_pages_token(counter, way):
    assert counter.client.post(f"/quay/counter/{way}", data={"style": "pencil-head"}).status_code == 403


def test_a_booth_that_does_not_exist_is_not_there(counter):
    assert counter.client.get("/elsewhere/counter").status_code == 404


def test_the_live_part_is_the_same_as_in_the_page(counter):
    order(counter, name="Anouk")

    fragment = counter.client.get("/quay/counter?fragment=1").get_json()["html"]

    assert "Anouk" in fragment
    assert fragment in page(counter)

"""The hand-over page, the slip, and the photos that only the booth's people see."""

from __future__ import annotations

import re

import pytest

from portraitq.core.commands import Command, Order
from portraitq.desk import NewCard
from portraitq.photo.intake import take_in
from portraitq.store import settings
from portraitq.web.hand_over import NETWORK_NAME, NETWORK_PASSWORD
from tests.web.conftest import Web, jpeg


def order(web: Web, *, ready: bool = True, paid: int = 0) -> tuple[str, str]:
    card = NewCard("Anouk", "+351 912 000 111", "freckles")
    taken = web.desk.take_order(Command("o1", Order(style="pencil-head", sitters=1)), card, [take_in(jpeg())])
    if ready:
        web.do("started", ticket=taken.ticket, artist="a1")
        while stage := web.desk.ticket(taken.ticket).stage_in_hand:
            web.do("stage_done", ticket=taken.ticket, stage=stage.id)
    if paid:
        web.do("paid", ticket=taken.ticket, amount=paid, how="cash")
    return taken.ticket, taken.code


def page(web: Web, address: str) -> str:
    return web.client.get(address).get_data(as_text=True)


def test_the_page_shows_who_it_is_for_and_what_is_due(web):
    _, code = order(web)
    web.sign_in()

    seen = page(web, f"/t/{code}")

    for told in ("Anouk", "912", "freckles", "due", "Hand over unpaid", "/quay/photos/"):
        assert told in seen


def test_what_is_not_paid_is_warned_of_and_never_kept_back(web):
    ticket, code = order(web)
    web.sign_in()
    assert "Not settled yet" in page(web, f"/t/{code}")

    web.do("collected", ticket=ticket)
    web.desk.standing(5)

    assert web.desk.ticket(ticket).was_collected
    assert "Next customer" in page(web, f"/t/{code}")


def test_what_is_paid_is_handed_over_without_a_warning(web):
    ticket, code = order(web)
    web.do("paid", ticket=ticket, amount=web.desk.ticket(ticket).due, how="card")
    web.sign_in()

    seen = page(web, f"/t/{code}")

    assert "Not settled yet" not in seen
    assert "Hand over unpaid" not in seen


def test_one_that_is_still_drawn_cannot_be_handed_over_here(web):
    _, code = order(web, ready=False)
    web.sign_in()

    assert "It is not ready to be handed over yet." in page(web, f"/t/{code}")


def test_the_page_is_kept_by_no_cache(web):
    _, code = order(web)
    web.sign_in()

    assert web.client.get(f"/t/{code}").headers["Cache-Control"] == "no-store"


# Photos


@pytest.mark.parametrize("size", ["", "/small"])
def test_a_photo_is_for_the_booths_people_alone(web, size):
    ticket, _ = order(web)
    address = f"/quay/photos/{web.desk.photo_refs([ticket])[ticket][0].id}{size}"
    assert web.client.get(address).status_code == 303  # to the sign-in

    web.sign_in()
    answer = web.client.get(address)

    assert answer.mimetype == "image/jpeg"
    assert answer.get_data().startswith(b"\xff\xd8\xff")
    assert answer.headers["Cache-Control"] == "private, no-store"


def test_a_photo_that_was_erased_is_gone(web):
    ticket, _ = order(web)
    address = f"/quay/photos/{web.desk.photo_refs([ticket])[ticket][0].id}"
    web.sign_in()

    web.do("erased", ticket=ticket)

    assert web.client.get(address).status_code == 404


# The slip


def test_the_slip_has_all_that_a_customer_needs(web):
    ticket, code = order(web, ready=False)
    web.sign_in()

    seen = page(web, f"/quay/slip/{ticket}")

    assert f"{code[:5]}-{code[5:10]}-{code[10:]}" in seen
    assert "be back at" in seen
    assert 'class="qr"' in seen
    assert "192.168.4.1:8750/t/" in seen
    assert "Anouk" not in seen, "slips are lost"


def test_each_paper_has_its_own_sheet_and_is_remembered(web):
    ticket, _ = order(web, ready=False)
    web.sign_in()
    assert "slip-80.css" in page(web, f"/quay/slip/{ticket}")

    assert "slip-a6.css" in page(web, f"/quay/slip/{ticket}?paper=a6")

    assert "slip-a6.css" in page(web, f"/quay/slip/{ticket}")


def test_a_paper_that_is_none_is_refused(web):
    ticket, _ = order(web, ready=False)
    web.sign_in()

    assert web.client.get(f"/quay/slip/{ticket}?paper=a0").status_code == 422


def test_the_network_to_join_stands_on_the_slip_when_it_is_set(web):
    ticket, _ = order(web, ready=False)
    web.sign_in()
    assert "network" not in re.sub("<link[^>]*>", "", page(web, f"/quay/slip/{ticket}"))

    with web.desk.store.writing() as connection:
        settings.put(connection, NETWORK_NAME, "Quayside")
        settings.put(connection, NETWORK_PASSWORD, "lantern-quay")

    assert "First join our network <b>Quayside</b>" in page(web, f"/quay/slip/{ticket}")


def test_a_slip_is_not_for_everybody(web):
    ticket, _ = order(web, ready=False)

    assert web.client.get(f"/quay/slip/{ticket}").status_code == 303
    web.sign_in()
    assert web.client.get("/quay/slip/T99").status_code == 404

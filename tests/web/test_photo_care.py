"""Photos are for signed-in devices alone, stay in nobody's cache, and leave every screen when they are removed."""

from __future__ import annotations

import base64
import threading
from typing import Any

import pytest
from flask import Flask
from werkzeug.routing import Rule
from werkzeug.test import TestResponse

from portraitq.core.commands import Command, Order
from portraitq.desk import NewCard
from portraitq.house_rules import HouseRules
from portraitq.photo.intake import take_in
from portraitq.store import devices, photos
from portraitq.store.photos import LOOSE
from tests.web.conftest import Web, jpeg

VALUES = {"booth": "quay", "name": "grey"}
CHILD = NewCard("Anouk", "+351 912 000 111", "freckles", is_child=True, consent_by="her mother")


def _order(web: Web) -> tuple[str, str, str]:
    """A ticket with a child's photo: its id, its code, the photo's id."""
    taken = web.desk.take_order(Command("o1", Order(style="pencil-head", sitters=1)), CHILD, [take_in(jpeg())])
    return taken.ticket, taken.code, web.desk.photo_refs([taken.ticket])[taken.ticket][0].id


def _photo_rules(app: Flask) -> list[Rule]:
    """Every way that leads to a photo or to what was made of it, now and later."""
    return [rule for rule in app.url_map.iter_rules() if rule.endpoint.split(".")[0] == "photos"]


def _addresses(web: Web, photo: str, methods: str = "GET") -> list[str]:
    adapter = web.app.url_map.bind("")
    found = []
    for rule in _photo_rules(web.app):
        if methods in (rule.methods or ()):
            values: dict[str, Any] = {name: VALUES.get(name, photo) for name in rule.arguments}
            found.append(adapter.build(rule.endpoint, values))
    return found


def _is_turned_away(answer: TestResponse) -> bool:
    is_sent_to_sign_in = answer.status_code == 303 and answer.location.startswith("/sign-in")
    return answer.status_code in (401, 403) or is_sent_to_sign_in


def test_every_way_to_a_photo_is_known_to_these_tests(web: Web) -> None:
    _, _, photo = _order(web)

    addresses = _addresses(web, photo)

    assert {f"/quay/photos/{photo}", f"/quay/photos/{photo}/small", f"/quay/photos/{photo}/views/grey"} <= set(
        addresses
    )
    assert all(photo in address for address in addresses)


def test_strangers_get_no_photo_by_any_way(web: Web) -> None:
    _, _, photo = _order(web)

    answers = {address: web.client.get(address) for address in _addresses(web, photo)}
    scripts = {address: web.client.get(address, headers={"Accept": "application/json"}) for address in answers}

    assert [address for address, answer in answers.items() if not _is_turned_away(answer)] == []
    assert {answer.status_code for answer in scripts.values()} == {401}


def test_a_session_that_was_signed_out_gets_none_though_somebody_kept_its_cookie(web: Web) -> None:
    _, _, photo = _order(web)
    web.sign_in()
    name = web.app.config["SESSION_COOKIE_NAME"]
    kept = web.client.get_cookie(name)
    assert kept is not None
    assert web.client.get(f"/quay/photos/{photo}").status_code == 200

    web.client.post("/sign-out", data={"token": web.token()})
    web.client.set_cookie(name, kept.value)

    assert [one for one in _addresses(web, photo) if not _is_turned_away(web.client.get(one))] == []


def test_a_device_that_was_shut_out_gets_none(web: Web) -> None:
    _, _, photo = _order(web)
    key = web.key()
    key["Accept"] = "application/json"
    before = {web.client.get(one, headers=key).status_code for one in _addresses(web, photo)}

    with web.desks.store.writing() as connection:
        for device in devices.listed(connection):
            devices.withdraw(connection, device.id, web.desks.clock.now())
    after = {web.client.get(one, headers=key).status_code for one in _addresses(web, photo)}

    assert (before, after) == ({200}, {401})


def test_the_customer_who_holds_the_ticket_gets_none(web: Web) -> None:
    _, code, photo = _order(web)

    page = web.client.get(f"/t/{code}").get_data(as_text=True)

    assert photo not in page
    assert "/photos/" not in page


def test_what_signed_in_devices_get_stays_in_no_cache(web: Web) -> None:
    _, _, photo = _order(web)
    web.sign_in()

    answers = {address: web.client.get(address) for address in _addresses(web, photo)}

    assert {answer.status_code for answer in answers.values()} == {200}
    assert {answer.headers["Cache-Control"] for answer in answers.values()} == {"private, no-store"}
    assert {answer.headers["X-Content-Type-Options"] for answer in answers.values()} == {"nosniff"}
    assert not any("ETag" in answer.headers or "Last-Modified" in answer.headers for answer in answers.values())


@pytest.mark.parametrize("page", ["/quay/counter", "/quay/counter/tickets/{ticket}", "/quay/easel/a1", "/t/{code}"])
def test_pages_that_show_photos_stay_in_no_cache(web: Web, page: str) -> None:
    ticket, code, photo = _order(web)
    web.sign_in()

    answer = web.client.get(page.format(ticket=ticket, code=code))

    assert photo in answer.get_data(as_text=True)
    assert "no-store" in answer.headers["Cache-Control"]


def test_a_photo_has_an_address_that_nobody_guesses(web: Web) -> None:
    with web.desks.store.writing() as connection:
        ids = [photos.add(connection, "quay", LOOSE, take_in(jpeg())) for _ in range(50)]

    assert len(set(ids)) == 50
    assert {len(base64.urlsafe_b64decode(id + "==")) * 8 for id in ids} == {128}


def test_a_photo_of_another_booth_is_not_to_be_had_by_this_ones_address(web: Web) -> None:
    with web.desks.store.writing() as connection:
        photo = photos.add(connection, "arcade", "T1", take_in(jpeg()))
    web.sign_in()

    assert {web.client.get(one).status_code for one in _addresses(web, photo)} == {404}


@pytest.mark.parametrize("how", ["removed", "erased", "erased in time"])
def test_a_photo_that_goes_leaves_every_way_and_the_easel_that_shows_it(web: Web, how: str) -> None:
    ticket, _, photo = _order(web)
    web.do("started", by="easel:a1", ticket=ticket, artist="a1")
    web.desk.standing(5)
    web.sign_in()
    addresses = _addresses(web, photo)
    assert {web.client.get(one).status_code for one in addresses} == {200}
    easel, was_told = "/quay/easel/a1?fragment=1", threading.Event()
    assert photo in web.client.get(easel).get_data(as_text=True)
    web.desks.listen(lambda *_: was_told.set())

    if how == "removed":
        assert web.desk.remove_photo(ticket, photo)
    elif how == "erased":
        web.do("erased", ticket=ticket)
    else:
        web.do("cancelled", ticket=ticket, why="customer")
        web.desk.change_house_rules(HouseRules(keep_h=1))
        web.after(minutes=61)
        web.desk.tidy()
    web.desk.standing(5)

    assert was_told.wait(timeout=5)
    assert photo not in web.client.get(easel).get_data(as_text=True)
    assert {web.client.get(one).status_code for one in addresses} == {404}


def test_who_agreed_stands_beside_the_photo_and_goes_with_it(web: Web) -> None:
    ticket, code, _ = _order(web)
    web.sign_in()
    pages = [f"/quay/counter/tickets/{ticket}?sheet=1", f"/t/{code}", "/quay/easel/a1"]
    said = "A child: her mother agrees to the photo."
    before = [said in web.client.get(page).get_data(as_text=True) for page in pages]

    fields = {"is_child": "on", "consent_by": "her uncle", "token": web.token()}
    web.client.post(f"/quay/counter/tickets/{ticket}/card", data=fields)
    changed = ["her uncle agrees" in web.client.get(page).get_data(as_text=True) for page in pages]
    web.do("erased", ticket=ticket)
    web.desk.standing(5)
    after = ["agrees" in web.client.get(page).get_data(as_text=True).split("<form")[0] for page in pages]

    assert (before, changed, after) == ([True] * 3, [True] * 3, [False] * 3)
    assert web.desk.cards([ticket])[ticket].consent_by == ""

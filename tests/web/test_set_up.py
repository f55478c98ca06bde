"""Set-up as the booth's people use it."""

from __future__ import annotations

import re
from html import unescape
from typing import Any

import pytest
from werkzeug.test import TestResponse

from tests.web.conftest import Web

PAGE = "/quay/set-up"


def fields_of(html: str) -> dict[str, Any]:
    """What a browser would send of the set-up form as it stands."""
    form = re.search(r"<form[^>]*data-set-up.*?</form>", html, re.DOTALL)
    assert form
    found: dict[str, list[str]] = {}
    for tag in re.findall(r"<input[^>]+>", form[0]):
        about = dict(re.findall(r'([\w-]+)="([^"]*)"', tag))
        if about.get("type") != "checkbox" or " checked" in tag:
            found.setdefault(about["name"], []).append(unescape(about.get("value", "")))
    return found


def page_of(web: Web) -> str:
    web.sign_in()
    return web.client.get(PAGE).get_data(as_text=True)


def post(web: Web, fields: dict[str, Any], do: str = "save", **changed: Any) -> TestResponse:
    return web.client.post(PAGE, data={**fields, **changed, "do": do})


def test_set_up_is_not_for_strangers(web: Web):
    assert web.client.get(PAGE).status_code == 303
    assert web.client.post(PAGE, data={"do": "save"}).status_code == 303


def test_a_form_that_is_not_ours_is_refused(web: Web):
    web.sign_in()

    assert web.client.post(PAGE, data={"do": "save", "token": "x"}).status_code == 403


def test_saving_writes_one_set_up(web: Web):
    fields = fields_of(page_of(web))
    before = web.desk.standing().seq

    answer = post(web, fields, **{"booth-name": "Pier 7", "booth-confidence": "90 %", "style-0-price": "21,50"})

    standing = web.desk.standing()
    assert answer.status_code == 303
    assert standing.seq == before + 1
    assert standing.booth.set_up is not None
    assert standing.booth.set_up.booth.name == "Pier 7"
    assert standing.booth.set_up.booth.confidence == 0.9
    assert standing.booth.set_up.styles[0].price == 2150


def test_saving_what_is_the_same_writes_nothing(web: Web):
    fields = fields_of(page_of(web))
    before = web.desk.standing().seq

    answer = post(web, fields)

    assert answer.headers["Location"].endswith("said=same")
    assert web.desk.standing().seq == before


def test_a_wrong_field_is_told_beside_it_and_nothing_typed_is_lost(web: Web):
    fields = fields_of(page_of(web))
    before = web.desk.standing().seq

    answer = post(web, fields, **{"booth-name": "Pier <7>", "style-0-stage-0-usual": "soon"})

    page = answer.get_data(as_text=True)
    assert answer.status_code == 422
    assert web.desk.standing().seq == before
    assert fields_of(page)["booth-name"] == ["Pier <7>"]
    assert fields_of(page)["style-0-stage-0-usual"] == ["soon"]
    assert 'aria-describedby="style-0-stage-0-usual-about"' in page
    assert 'href="#style-0-stage-0-usual"' in page


def test_a_row_is_added_without_saving_and_keeps_what_was_typed(web: Web):
    fields = fields_of(page_of(web))
    before = web.desk.standing().seq

    page = post(web, fields, do="add:style", **{"booth-name": "Half typed"}).get_data(as_text=True)

    after = fields_of(page)
    assert web.desk.standing().seq == before
    assert after["booth-name"] == ["Half typed"]
    assert after["style-3-key"] == ["+1"]
    assert after["artist-0-draws"][-1] == "+1"
    assert re.search(r'id="style-3-name"[^>]*autofocus', page)


def test_a_new_artist_is_in_the_journal_under_an_id_of_their_name(web: Web):
    fields = fields_of(post(web, fields_of(page_of(web)), do="add:artist").get_data(as_text=True))
    at = max(int(row[1]) for name in fields if (row := re.fullmatch(r"artist-(\d+)-key", name)))

    post(web, fields, **{f"artist-{at}-name": "Third easel"})

    set_up = web.desk.standing().booth.set_up
    assert set_up is not None
    assert set_up.artists[-1].id == "third-easel"
    assert set_up.artists[-1].styles == tuple(style.id for style in set_up.styles)


def test_a_style_still_to_be_drawn_is_kept_and_the_reason_told(web: Web):
    page = page_of(web)
    web.order(style="pencil-head")
    fields = fields_of(post(web, fields_of(page), do="remove:style:0").get_data(as_text=True))

    answer = post(web, fields)

    assert answer.status_code == 409
    assert "keep the style until then" in answer.get_data(as_text=True)
    assert "pencil-head" not in str(fields_of(answer.get_data(as_text=True)))  # still as it was typed


def test_the_currency_stays_once_there_is_an_order_in_it(web: Web):
    free = post(web, fields_of(page_of(web)), **{"booth-currency": "USD"})
    web.order()

    refused = post(web, fields_of(page_of(web)), **{"booth-currency": "EUR"})

    assert (free.status_code, refused.status_code) == (303, 409)
    assert "The orders of this booth are in USD: keep it." in refused.get_data(as_text=True)
    assert web.desk.standing().booth.set_up.booth.currency == "USD"


def test_two_who_edit_at_once_notice(web: Web):
    first = fields_of(page_of(web))
    post(web, first, **{"booth-name": "Theirs"})

    answer = post(web, first, **{"booth-name": "Mine"})

    assert answer.status_code == 409
    assert "Somebody else changed the set-up" in unescape(answer.get_data(as_text=True))
    again = fields_of(answer.get_data(as_text=True))
    assert post(web, again).status_code == 303
    assert web.desk.standing().booth.set_up.booth.name == "Mine"


def test_the_enter_key_saves_and_never_removes(web: Web):
    page = page_of(web)

    form = re.search(r"<form[^>]*data-set-up.*?</form>", page, re.DOTALL)

    assert form
    assert re.search(r"<button[^>]*>", form[0])[0].count('value="save"') == 1


def test_the_customers_network_gets_a_qr_that_joins_it(web: Web):
    token = fields_of(page_of(web))["token"]

    answer = web.client.post(
        f"{PAGE}/network", data={"token": token, "name": "Quayside", "password": "chalk and ink"}, follow_redirects=True
    )

    assert 'aria-label="QR to join the Wi-Fi network Quayside"' in answer.get_data(as_text=True)


@pytest.mark.parametrize(("name", "password", "where"), [("Q" * 33, "", "name"), ("Quayside", "short", "password")])
def test_a_network_that_no_phone_could_join_is_refused(web: Web, name: str, password: str, where: str):
    token = fields_of(page_of(web))["token"]

    answer = web.client.post(f"{PAGE}/network", data={"token": token, "name": name, "password": password})

    assert answer.status_code == 422
    assert f'id="network-{where}-about"' in answer.get_data(as_text=True)
    assert f'value="{name}"' in answer.get_data(as_text=True)


def test_tablets_are_led_to_every_screen(web: Web):
    page = page_of(web)

    for place in ("counter", "easel/a1", "easel/a2", "wall"):
        assert f'href="http://192.168.4.1:8750/quay/{place}"' in page

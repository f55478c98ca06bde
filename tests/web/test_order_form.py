"""How an order is read from its form."""

from __future__ import annotations

import contextlib
import io

import pytest
from hypothesis import given
from hypothesis import strategies as st
from werkzeug.datastructures import FileStorage

from portraitq.core.commands import Order
from portraitq.core.errors import Malformed
from portraitq.core.events import Paid
from portraitq.web.order_form import order_form, paid_for, read_order, read_paid, read_photos, read_sitters
from tests.builders import a_set_up, artist
from tests.web.conftest import jpeg

SET_UP = a_set_up()


def read(**form: str):
    return read_order({"id": "o1", "style": "ink-head", **form}, SET_UP, "counter")


def field_of(**form: str) -> str:
    with pytest.raises(Malformed) as no:
        read(**form)
    return no.value.field


def test_a_plain_order_needs_nothing_but_a_style():
    order = read()

    assert order.command.data == Order(style="ink-head", sitters=1)
    assert order.paid is None


def test_everything_that_was_filled_in_is_read():
    order = read(
        sitters="3", artist="a2", price="20,50", ready_by="2026-06-06T14:40:00.000Z", name="  Anouk  B ", contact="x",
        note="two\nlines", is_child="on", consent_by="her mother", how="card", amount="10",
    )  # fmt: skip

    assert isinstance(order.command.data, Order)
    assert (order.command.data.sitters, order.command.data.artist, order.command.data.price) == (3, "a2", 2050)
    assert (order.card.name, order.card.note, order.card.consent_by) == ("Anouk B", "two\nlines", "her mother")
    paid = paid_for(order, "T7")
    assert paid is not None
    assert paid.id == "o1-paid"
    assert paid.data == Paid(ticket="T7", amount=1000, how="card")


def test_paid_without_an_amount_is_all_of_the_price():
    for form, cents in (({"how": "cash"}, 1800), ({"how": "cash", "price": "15"}, 1500)):
        paid = paid_for(read(**form), "T7")

        assert paid is not None
        assert paid.data == Paid(ticket="T7", amount=cents, how="cash")


@pytest.mark.parametrize(
    ("form", "field"),
    [
        ({"style": ""}, "style"),
        ({"style": "Not an id"}, "style"),
        ({"sitters": "0"}, "sitters"),
        ({"sitters": "13"}, "sitters"),
        ({"sitters": "two"}, "sitters"),
        ({"price": "much"}, "price"),
        ({"price": "-5"}, "price"),
        ({"how": "shells"}, "how"),
        ({"how": "cash", "amount": "1.234"}, "amount"),
        ({"ready_by": "soon"}, "ready_by"),
        ({"name": "x" * 81}, "name"),
        ({"note": "x" * 1001}, "note"),
        ({"is_child": "on"}, "consent_by"),
        ({"id": "x" * 59}, "id"),
        ({"id": "no blanks"}, "id"),
    ],
)
def test_what_is_wrong_names_its_field(form, field):
    assert field_of(**form) == field


@given(st.text(max_size=20))
def test_any_number_of_sitters_is_read_or_refused_with_a_sentence(text):
    with contextlib.suppress(Malformed):
        assert 1 <= read_sitters(text) <= 12


def test_money_given_back_is_a_negative_payment():
    command = read_paid({"amount": "5", "how": "cash", "refund": "1"}, "T1", "EUR", "p1", "counter")

    assert command.data == Paid(ticket="T1", amount=-500, how="cash")


def test_a_payment_of_nothing_is_refused():
    with pytest.raises(Malformed, match="more than 0") as no:
        read_paid({"amount": "0", "how": "cash"}, "T1", "EUR", "p1", "counter")

    assert no.value.field == "amount"


def test_a_file_that_is_no_photo_says_which_one_it_was():
    files = [
        FileStorage(io.BytesIO(b""), filename=""),  # the camera's field, left empty
        FileStorage(io.BytesIO(jpeg()), filename="a.jpg"),
        FileStorage(io.BytesIO(b"Dear customer"), filename="b.jpg"),
    ]

    with pytest.raises(Malformed) as no:
        read_photos(files)

    assert no.value.field == "photo.1"


def test_the_wish_for_an_artist_is_offered_only_where_two_draw_the_same_style():
    alone = a_set_up(artists=[artist("a1", "ink-head"), artist("a2", "chalk-half")])

    assert order_form(alone).artists == ()
    assert [one[0] for one in order_form(SET_UP).artists] == ["a1", "a2"]


def test_a_style_that_nobody_draws_is_not_offered():
    form = order_form(a_set_up(artists=[artist("a1", "ink-head")]))

    assert [style.id for style in form.styles] == ["ink-head"]
    assert form.only_style == "ink-head"

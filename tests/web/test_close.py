"""The close of the day at the screen: what is open, the cash against the record, the one button."""

from __future__ import annotations

from datetime import timedelta

import pytest
from werkzeug.test import TestResponse

from portraitq import cash_counts
from portraitq.core.commands import Command, Order
from portraitq.core.errors import Malformed
from portraitq.core.events import print_instant
from portraitq.desk import NewCard
from portraitq.web.close import read_amount
from portraitq.web.here import BY_HEADER
from tests.daybook.evening import quay_day
from tests.web.conftest import ZONE, Web
from tests.web.test_daybook import text_of

PAGE = "/quay/daybook/close"


def page(web: Web, address: str = PAGE) -> str:
    return text_of(web.client.get(address).get_data(as_text=True))


def today(web: Web) -> str:
    return web.desk.standing(wait_s=10).booth.days[-1].day


def count(web: Web, address: str = PAGE, **form: str) -> TestResponse:
    return web.client.post(f"{address}/cash", data={"token": web.token(), "day": today(web), **form})


def test_the_page_is_for_the_booths_people_alone(web: Web):
    assert web.client.get(PAGE).status_code == 303


def test_what_is_open_carries_over_and_is_listed_with_its_promise(web: Web):
    web.sign_in()
    for _ in range(3):
        web.order()
    ready, on_easel, waits = web.desk.standing(wait_s=10).booth.open_ids
    web.do("started", by="easel:a1", ticket=ready, artist="a1")
    for stage in web.desk.ticket(ready).style.stages[:-1]:
        web.do("stage_done", by="easel:a1", ticket=ready, stage=stage.id)
    web.do("finished", by="easel:a1", ticket=ready, rack="A1")
    web.do("started", by="easel:a1", ticket=on_easel, artist="a1")
    tomorrow = web.desk.clock.now() + timedelta(days=1)
    web.do("promised", ticket=waits, ready_by=print_instant(tomorrow), confidence=0.85)
    web.desk.standing(wait_s=10)

    shown = page(web)

    assert "1 waiting, 1 on an easel, 1 on the rack. All of it carries over as it is, in its order." in shown
    assert "3 Pencil head study, promised for" in shown.partition("Promised for after closing")[2]


def test_the_count_is_kept_with_its_difference_and_note(web: Web):
    web.sign_in()
    ticket = web.order()
    web.do("paid", ticket=ticket, amount=2050, how="cash")
    web.do("paid", ticket=ticket, amount=500, how="card")
    web.desk.standing(wait_s=10)

    answer = count(web, began_with="100", counted="118,50", note="  a two is\nmissing ")

    assert answer.status_code == 303
    shown = page(web)
    assert "Should be in the box €120.50" in shown
    assert "Counted" in shown
    assert "€2.00 less than the record says" in shown
    assert "a two is missing" in shown
    with web.desks.store.reading() as connection:
        kept = cash_counts.of_day(connection, "quay", today(web))
    assert kept is not None
    assert (kept.began_with, kept.counted, kept.recorded) == (10_000, 11_850, 2050)


@pytest.mark.parametrize(
    ("typed", "minor"),
    [("123.45", 12_345), ("123,45", 12_345), ("1 234,50", 123_450), ("7", 700), ("€ 12", 1200), ("12 EUR", 1200)],
)
def test_amounts_are_typed_with_a_point_or_a_comma(typed: str, minor: int):
    assert read_amount(typed, "EUR", "counted") == minor


@pytest.mark.parametrize("typed", ["", "plenty", "-5", "5-", "(5)", "1.2345", "1oo"])
def test_what_is_less_than_nothing_or_no_amount_is_malformed(typed: str):
    with pytest.raises(Malformed):
        read_amount(typed, "EUR", "counted")


def test_what_is_no_amount_is_told_beside_its_field_and_keeps_what_was_typed(web: Web):
    web.sign_in()

    answer = count(web, began_with="100", counted="plenty", note="a note")

    shown = answer.get_data(as_text=True)
    assert answer.status_code == 422
    assert "For what is in the box, an amount such as 123.45 was expected." in shown
    assert 'id="counted-about"' in shown
    assert 'value="a note"' in shown
    with web.desks.store.reading() as connection:
        assert cash_counts.of_day(connection, "quay", today(web)) is None


def test_a_note_is_one_short_line_and_can_be_erased(web: Web):
    web.sign_in()
    assert count(web, began_with="0", counted="0", note="x" * 121).status_code == 422
    count(web, began_with="0", counted="0", note="about the box")
    assert "about the box" in page(web)

    count(web, do="erase-note")

    assert "about the box" not in page(web)
    assert "nothing: the box holds what the record says" in page(web)


@pytest.mark.parametrize("note", ["ציור\u200f 20", "👩\u200d👧 paid late"])
def test_a_note_may_hold_what_other_scripts_and_emoji_are_written_with(web: Web, note: str):
    web.sign_in()

    assert count(web, began_with="0", counted="0", note=note).status_code == 303
    assert note in page(web)


def test_a_note_with_what_no_keyboard_writes_is_told_so(web: Web):
    web.sign_in()

    shown = text_of(count(web, began_with="0", counted="0", note="a\x00b").get_data(as_text=True))

    assert "there is something in it that no keyboard writes" in shown
    assert "at most 120" not in shown


def test_a_device_of_a_name_that_the_journal_does_not_know_cannot_close_the_day(web: Web):
    web.sign_in()
    form = {"token": web.token(), "day": today(web)}

    answer = web.client.post(PAGE, data=form, headers={BY_HEADER: "somebody"})

    assert answer.status_code == 422
    assert web.desk.standing(wait_s=0).booth.day is not None


def test_cash_that_came_after_the_count_is_said(web: Web):
    web.sign_in()
    ticket = web.order()
    count(web, began_with="50", counted="50")
    web.do("paid", ticket=ticket, amount=2000, how="cash")
    web.desk.standing(wait_s=10)

    assert "€20.00 in cash was recorded after the count." in page(web)


def test_the_day_is_closed_by_the_one_button_and_told_of_afterwards(web: Web):
    web.sign_in()
    day = today(web)

    answer = web.client.post(PAGE, data={"token": web.token(), "day": day})

    assert answer.status_code == 303
    booth = web.desk.standing(wait_s=10).booth
    assert booth.day is None
    shown = page(web, f"{PAGE}?said=closed")
    assert "The day is closed" in shown
    assert "The day book, to read and to print" in shown


def test_a_second_tap_on_the_button_finds_the_day_closed(web: Web):
    web.sign_in()
    form = {"token": web.token(), "day": today(web)}
    web.client.post(PAGE, data=form)
    seq = web.desk.standing(wait_s=10).seq

    answer = web.client.post(PAGE, data=form)

    assert answer.status_code == 303
    assert web.desk.standing(wait_s=10).seq == seq


def test_another_day_than_the_one_shown_is_not_closed(web: Web):
    web.sign_in()

    answer = web.client.post(PAGE, data={"token": web.token(), "day": "2020-01-01"})

    assert answer.status_code == 409
    assert web.desk.standing(wait_s=10).booth.day is not None


def test_what_is_erased_at_closing_is_said_before_and_gone_after(web: Web):
    web.sign_in()
    ticket = web.order()
    web.desk.change_card(ticket, name="Maya")
    web.do("cancelled", ticket=ticket, why="customer")
    web.desk.standing(wait_s=10)
    assert "name, contact, note and photos of 1 portrait are erased for good" in page(web)

    web.client.post(PAGE, data={"token": web.token(), "day": today(web)})

    assert web.desk.cards([ticket])[ticket].name == ""


def test_the_count_stands_in_the_day_book_under_takings(web: Web):
    web.desks.import_journal("past", quay_day().lines)
    web.sign_in()
    form = {"token": web.token(), "day": "2026-06-06", "began_with": "100", "counted": "148"}
    web.client.post("/past/daybook/close/cash", data=form)

    takings = page(web, "/past/daybook").partition("Takings")[2]

    assert "Should be in the box €148.00" in takings  # €100 and the quay's €18 + €36 − €6 in cash
    assert "nothing: the box holds what the record says" in takings


def test_the_float_of_the_day_before_is_proposed(web: Web):
    web.sign_in()
    count(web, began_with="87.5", counted="87.5")

    assert 'name="began_with" value="87.50"' in web.client.get(PAGE).get_data(as_text=True)


def test_a_booth_that_never_opened_has_nothing_to_close(web: Web):
    web.desks.import_journal("fresh", quay_day().lines[:1])
    web.sign_in()

    assert "No day has been opened yet" in page(web, "/fresh/daybook/close")


def test_a_day_that_was_not_traded_on_has_no_box(web: Web):
    web.sign_in()

    assert web.client.get(f"{PAGE}?day=2020-01-01").status_code == 404


def test_what_nobody_came_for_is_named_with_the_way_to_it_while_something_personal_is_kept(web: Web):
    web.sign_in()
    card = NewCard(name="Anouk-of-the-quay")
    taken = web.desk.take_order(Command("o1", Order(style="pencil-head", sitters=1)), card, [])
    web.do("held", ticket=taken.ticket, why="customer")
    web.do("day_closed")
    web.desk.clock.skip_to(web.desk.clock.now() + timedelta(days=1))
    now = web.desk.clock.now()
    web.do(
        "day_opened", day=now.astimezone(ZONE).date().isoformat(),
        closes_at=print_instant(now + timedelta(hours=8)), breaks=[],
    )  # fmt: skip
    web.desk.standing(wait_s=10)

    named = web.client.get(PAGE).get_data(as_text=True)
    web.do("erased", ticket=taken.ticket)
    after = web.client.get(PAGE).get_data(as_text=True)

    assert "1 portrait of an earlier day is kept with name or photo, because nobody came for it." in named
    assert f'<a href="/quay/counter/tickets/{taken.ticket}">Number 1</a>' in named
    assert "held for its customer" in named
    assert "Anouk" not in named
    assert "nobody came for it." not in after

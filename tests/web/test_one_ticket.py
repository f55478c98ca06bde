"""What can be done with one ticket, and that all of it is taken by the core where it is offered."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

import pytest

from portraitq.core.commands import decide, read_command
from portraitq.core.events import print_instant
from portraitq.core.life import COLLECTED, LIFE
from portraitq.store.cards import Card
from portraitq.web.one_ticket import OneTicket, Tap, one_ticket
from tests.builders import Told, a_booth
from tests.web.test_queue import standing


def of(told: Told, id: str = "T1", card: Card | None = None) -> OneTicket:
    return one_ticket(standing(told), told.ticket(id), card, [])


def taps(one: OneTicket) -> list[Tap]:
    single = [tap for tap in (one.hand_over, one.release, one.touch_up, one.new_time, one.erase) if tap]
    return [*single, *one.holds, *one.cancels, *one.pays, *one.touch_ups]


@pytest.mark.parametrize("place", LIFE)
def test_everything_that_is_offered_is_taken(place):
    told = a_booth().ordered("T8", "T9").brought_to(place).promised("T1", "17:00")

    offered = taps(of(told))

    for tap in offered:
        command = read_command({"id": "x", **tap.command})
        assert decide(told.booth, command, told.at()), tap.said


@pytest.mark.parametrize(
    ("place", "may"),
    [("waiting", True), ("held", True), ("on the easel", False), ("ready", False), ("cancelled", False)],
)
def test_what_is_in_the_queue_can_be_moved_there(place: str, may: bool):
    assert of(a_booth().ordered("T8", "T9").brought_to(place)).can_move is may


def test_one_alone_in_the_queue_is_not_moved():
    assert not of(a_booth().ordered("T1")).can_move


def test_what_is_due_is_paid_by_one_tap():
    pays = of(a_booth().ordered("T1", price=1800).paid("T1", 500)).pays

    assert [tap.said for tap in pays] == ["€13.00 paid in cash", "€13.00 paid by card"]
    assert pays[0].command["data"] == {"ticket": "T1", "amount": 1300, "how": "cash"}


def test_the_money_of_a_cancelled_order_is_given_back_by_one_tap():
    pays = of(a_booth().ordered("T1").paid("T1", 1800).cancelled("T1")).pays

    assert pays[0].said == "€18.00 given back in cash"
    assert pays[0].command["data"]["amount"] == -1800


def test_a_cancelled_order_whose_money_went_back_has_nothing_to_pay_and_no_price():
    one = of(a_booth().ordered("T1").paid("T1", 500).paid("T1", -500).cancelled("T1"))

    assert (one.row.due, one.row.is_due, one.price, one.pays) == ("nothing to pay", False, "", ())


@pytest.mark.parametrize(
    ("paid", "due", "word"),
    [(500, "€13.00 due", "Hand over unpaid"), (1800, "paid", "Hand over"), (2000, "€2.00 over the price", "Hand over")],
)
def test_only_what_is_owed_makes_it_a_hand_over_unpaid(paid: int, due: str, word: str):
    one = of(a_booth().ordered("T1", price=1800).paid("T1", paid).drawn("T1"))

    assert one.hand_over is not None
    assert (one.row.due, one.hand_over.said, one.is_owed) == (due, word, paid < 1800)


def test_a_new_time_is_offered_only_when_it_differs_from_what_was_told():
    told = a_booth().ordered("T1", at="09:10").promised("T1", "09:12")
    late = standing(told, "09:40")
    offered = one_ticket(late, told.ticket("T1"), None, [])
    assert offered.new_time is not None

    told = told.wants(read_command({"id": "x", **offered.new_time.command}).data, at="09:40")
    again = one_ticket(standing(told, "09:40"), told.ticket("T1"), None, [])

    assert again.new_time is None


def test_a_promise_that_slips_offers_the_time_that_its_mark_shows():
    told = a_booth().ordered("T1", at="09:10").promised("T1", "09:12")
    late = standing(told, "09:20")
    shown = late.slips["T1"].new_ready_by + timedelta(seconds=300)  # since before, while quotes went a step earlier
    late = replace(late, slips={"T1": replace(late.slips["T1"], new_ready_by=shown)})

    one = one_ticket(late, told.ticket("T1"), None, [])

    clock = f"{shown.astimezone(told.booth.zone):%H:%M}"
    assert one.new_time is not None
    assert one.new_time.said == f"Tell them {clock}"
    assert one.new_time.command["data"]["ready_by"] == print_instant(shown)
    assert one.row.holding is not None
    assert one.row.holding.said == f"late: now about {clock}"


@pytest.mark.parametrize(
    ("card", "said"),
    [
        (Card("C1", is_child=True, consent_by="mother"), "A child: mother agrees to the photo."),
        (Card("C1", is_child=True), "A child: nobody wrote down which parent or guardian agrees."),
        (Card("C1", consent_by="Anouk"), "Agreed to the photo: Anouk."),
        (Card("C1", name="Anouk"), ""),
        (Card("C1", is_erased=True), ""),
        (None, ""),
    ],
)
def test_who_agreed_to_the_photo_is_said_in_one_line(card: Card | None, said: str):
    assert of(a_booth().ordered("T1"), card=card).consent_said == said


def test_payments_are_told_with_their_time():
    one = of(a_booth().ordered("T1", at="09:10").paid("T1", 1800, at="09:11").paid("T1", -300, "card", at="09:20"))

    assert one.paid == ("€18.00 paid in cash at 10:11", "€3.00 given back by card at 10:20")


def test_an_erased_ticket_offers_no_erasing_and_takes_no_photo():
    one = of(a_booth().ordered("T1").erased("T1"), card=Card("00000000000011", is_erased=True))

    assert one.erase is None
    assert not one.can_add_photo


def test_what_was_collected_can_still_be_touched_up():
    assert of(a_booth().brought_to(COLLECTED)).touch_up

"""What may happen to a ticket where: every cell of place × kind, and what the table cannot say."""

import pytest

from portraitq.core.booth import Booth, fold
from portraitq.core.errors import Refused
from portraitq.core.events import KINDS, Data, Event, OfTicket, Ordered
from portraitq.core.life import (
    ANYWHERE,
    CANCELLED,
    COLLECTED,
    DRAWING,
    HELD,
    IN_QUEUE,
    IN_WORDS,
    LIFE,
    ON_EASEL,
    OVER,
    PAUSED,
    READY,
    TOUCH_UP,
    TOUCH_UP_REST,
    WAITING,
)
from tests.builders import Told, a_booth, instant

OF_A_TICKET = [kind for kind, data in KINDS.items() if issubclass(data, OfTicket) and data is not Ordered]
CELLS = [(place, kind) for place in LIFE for kind in OF_A_TICKET]
FIELDS = {
    "promised": {"ready_by": "2026-06-06T10:00:00.000Z", "confidence": 0.85},
    "started": {"artist": "a2"},
    "stage_done": {"stage": "likeness"},
    "stage_undone": {"stage": "layout"},
    "paused": {"why": "counter"},
    "held": {"why": "photo"},
    "moved": {"before": None},
    "finished": {"rack": "A4"},
    "touched_up": {"artist": "a2"},
    "cancelled": {"why": "customer"},
    "paid": {"amount": 1800, "how": "cash"},
}


def a_ticket_in(place: str, kind: str) -> Told:
    """Ticket T1 in `place`, where nothing but the place could stand in the way of `kind`."""
    told = a_booth().brought_to(place)
    if kind == "stage_undone" and place in (DRAWING, PAUSED):
        told = a_booth().ordered("T1").started("T1").stage_done("T1")
        return told.paused("T1") if place == PAUSED else told
    if kind == "stage_done" and place == DRAWING:
        return told.stage_done("T1")
    if kind == "finished" and place == DRAWING:
        return told.stages_all_done("T1")
    return told


def of_t1(kind: str) -> Data:
    return KINDS[kind].model_validate({"ticket": "T1", **FIELDS.get(kind, {})}, strict=False)


def refused(told: Told, data: Data) -> str:
    """The sentence with which `data` is refused; the booth is as it was, all of it."""
    copy = fold(Booth(), told.events)
    with pytest.raises(Refused) as caught:
        told.says(data)
    assert told.booth == copy
    return str(caught.value)


def test_the_table_speaks_of_every_place_and_of_every_kind_that_happens_to_a_ticket():
    assert set(LIFE) == {*IN_QUEUE, *ON_EASEL, READY, *OVER}
    assert {kind for follows in LIFE.values() for kind in follows} | ANYWHERE == set(OF_A_TICKET)
    assert {place for follows in LIFE.values() for place in follows.values()} == set(LIFE)
    assert set(IN_WORDS) == set(OF_A_TICKET) - ANYWHERE


# journal.md, read row by row once more and written down apart from the code: what may follow where
CONTRACT = {
    WAITING: {"started", "held", "moved", "cancelled"},
    HELD: {"released", "moved", "cancelled"},
    DRAWING: {"stage_done", "stage_undone", "paused", "put_back", "finished", "cancelled"},
    PAUSED: {"resumed", "stage_undone", "put_back", "cancelled"},
    READY: {"collected", "touched_up", "cancelled"},
    TOUCH_UP: {"paused", "finished", "cancelled"},
    TOUCH_UP_REST: {"resumed", "cancelled"},
    COLLECTED: {"touched_up"},
    CANCELLED: set(),
}


@pytest.mark.parametrize(("place", "kind"), CELLS)
def test_what_may_happen_leads_where_the_table_says_and_the_rest_is_refused(place: str, kind: str):
    told = a_ticket_in(place, kind)
    assert told.ticket("T1").place == place

    if kind in CONTRACT[place]:
        assert told.says(of_t1(kind)).ticket("T1").place == LIFE[place][kind]
    elif kind in ("promised", "paid", "erased"):
        assert told.says(of_t1(kind)).ticket("T1").place == place
    else:
        assert refused(told, of_t1(kind)).startswith(
            f"Number 1 is {place}: it {'can be' if CONTRACT[place] else 'stays so'} "
        )


@pytest.mark.parametrize("kind", OF_A_TICKET)
def test_nothing_happens_to_a_ticket_that_nobody_ordered(kind: str):
    assert refused(a_booth(), of_t1(kind)) == 'There is no ticket "T1".'


@pytest.mark.parametrize(("place", "kind"), [cell for cell in CELLS if cell[1] in CONTRACT[cell[0]] | ANYWHERE])
def test_every_event_of_a_ticket_stands_in_its_history_in_order(place: str, kind: str):
    told = a_ticket_in(place, kind)

    told = told.says(of_t1(kind))

    of_it = [e for e in told.events if isinstance(e.data, OfTicket)]
    assert list(told.ticket("T1").history) == of_it


def test_a_refusal_says_what_could_be_done_instead():
    waiting, cancelled = a_booth().brought_to(WAITING), a_booth().brought_to(CANCELLED)

    assert refused(waiting, of_t1("paused")) == (
        "Number 1 is waiting: it can be started, held, moved or cancelled, not paused."
    )
    assert refused(cancelled, of_t1("started")) == "Number 1 is cancelled: it stays so and is not started."


# Stages one by one and by name


def done(stage: str) -> Data:
    return KINDS["stage_done"].model_validate({"ticket": "T1", "stage": stage})


def undone(stage: str) -> Data:
    return KINDS["stage_undone"].model_validate({"ticket": "T1", "stage": stage})


def test_only_the_stage_in_hand_can_be_done():
    told = a_booth().brought_to(DRAWING)

    assert refused(told, done("likeness")) == 'Number 1 is on its stage "Layout", not on "Likeness".'
    assert refused(told, done("varnish")) == 'Number 1 is on its stage "Layout", not on "varnish".'


def test_no_stage_is_done_once_all_are():
    told = a_booth().brought_to(DRAWING).stages_all_done("T1")

    assert refused(told, done("finish")) == (
        'All stages of number 1 are done, so "Finish" cannot be; it is to be finished.'
    )


def test_a_portrait_is_not_finished_before_its_last_stage():
    told = a_booth().brought_to(DRAWING).stage_done("T1")

    assert refused(told, of_t1("finished")) == (
        'The stage "Likeness" of number 1 is still to be drawn before it is finished.'
    )


def test_only_the_stage_done_last_can_be_taken_back():
    told = a_booth().brought_to(DRAWING)

    assert refused(told, undone("layout")) == 'No stage of number 1 is done yet, so "Layout" cannot be taken back.'
    assert refused(told.stage_done("T1").stage_done("T1"), undone("layout")) == (
        'The stage of number 1 that was done last is "Likeness", not "Layout".'
    )


def test_stages_are_taken_back_one_after_the_other_down_to_the_first():
    told = a_booth().brought_to(DRAWING).stages_all_done("T1")

    told = told.stage_undone("T1", "finish").stage_undone("T1", "likeness").stage_undone("T1", "layout")

    assert told.ticket("T1").stages_done == 0
    assert told.ticket("T1").stage_in_hand == told.ticket("T1").style.stages[0]


def test_a_stage_taken_back_goes_on_and_can_be_done_again():
    told = a_booth().brought_to(DRAWING).stage_done("T1").stage_undone("T1").stage_done("T1", "layout")

    assert told.ticket("T1").stages_done == 1


def test_a_stage_taken_back_in_a_pause_leaves_the_pause_and_its_reason():
    told = a_booth().brought_to(DRAWING).stage_done("T1").paused("T1", "supplies")

    told = told.stage_undone("T1", "layout")

    assert (told.ticket("T1").place, told.ticket("T1").why) == (PAUSED, "supplies")


# What is remembered of a ticket


def test_the_reason_of_a_hold_stays_while_it_is_moved_and_goes_with_its_release():
    told = a_booth().ordered("T1", "T2").held("T1", "customer")

    moved = told.moved("T1")

    assert moved.ticket("T1").why == "customer"
    assert moved.released("T1").ticket("T1").why is None


def test_ready_is_the_first_time_it_was_finished():
    told = a_booth().ordered("T1").drawn("T1", at="09:30:00")

    told = told.touched_up("T1", at="09:40:00").finished("T1", at="09:45:00")

    assert told.ticket("T1").finished_at == instant("09:30:00")


def test_a_tap_that_came_late_counts_from_when_it_was_made():
    told = a_booth().ordered("T1").started("T1").stages_all_done("T1")

    told = told.finished("T1", at="09:40:00", ago_s=600).collected("T1", at="09:41:00", ago_s=30.5)

    assert told.ticket("T1").finished_at == instant("09:30:00")
    assert told.ticket("T1").over_at == instant("09:40:29.500")


def test_a_touch_up_leaves_every_stage_done_and_the_new_rack_place_counts():
    told = a_booth().ordered("T1").drawn("T1", rack="A4").touched_up("T1").finished("T1", "B1")

    assert told.ticket("T1").stages_done == 3
    assert told.ticket("T1").rack == "B1"


def test_a_portrait_brought_back_after_it_was_collected_is_touched_up_and_collected_again():
    told = a_booth().brought_to(COLLECTED)

    back = told.touched_up("T1").paused("T1").resumed("T1").finished("T1", "A1")

    assert back.ticket("T1").place == READY
    assert back.ticket("T1").over_at is None
    assert list(back.booth.open_ids) == ["T1"]
    again = back.collected("T1", at="17:00:00")
    assert (again.ticket("T1").place, again.ticket("T1").over_at) == (COLLECTED, instant("17:00:00"))
    assert not again.booth.open_ids


def test_what_is_brought_back_stands_among_the_open_tickets_in_the_order_of_their_orders():
    told = a_booth().ordered("T1", "T2", "T3").drawn("T2").collected("T2").touched_up("T2")

    assert [ticket.id for ticket in told.booth.open_tickets()] == ["T1", "T2", "T3"]


@pytest.mark.parametrize("and_then", [(), ("paused",), ("finished",)])
def test_what_was_collected_once_can_no_longer_be_cancelled(and_then: tuple[str, ...]):
    told = a_booth().brought_to(COLLECTED).touched_up("T1", "a2")
    for kind in and_then:
        told = told.says(of_t1(kind))

    assert refused(told, of_t1("cancelled")) == (
        "Number 1 was collected, so it cannot be cancelled; give money back with a refund."
    )


@pytest.mark.parametrize("place", [place for place in LIFE if place not in OVER])
def test_a_ticket_can_be_cancelled_wherever_it_is_and_leaves_queue_and_easel(place: str):
    told = a_booth().brought_to(place)

    told = told.cancelled("T1", "no_show", at="17:00:00")

    ticket = told.ticket("T1")
    assert (ticket.place, ticket.why, ticket.over_at) == (CANCELLED, "no_show", instant("17:00:00"))
    assert not told.booth.queue
    assert not told.booth.easels
    assert not told.booth.open_ids


def test_what_is_due_is_the_price_less_what_was_paid_and_nothing_once_cancelled():
    told = a_booth().ordered("T1", price=1800).paid("T1", 1000)

    assert told.ticket("T1").due == 800
    assert told.cancelled("T1").ticket("T1").due == -1000
    assert told.cancelled("T1").paid("T1", -1000).ticket("T1").due == 0


def test_a_later_promise_replaces_the_first_and_both_are_remembered():
    told = a_booth().ordered("T1").promised("T1", "09:20").promised("T1", "09:40")

    ticket = told.ticket("T1")
    assert ticket.promise is not None
    assert ticket.promise.ready_by == instant("09:40")
    assert ticket.first_promise is not None
    assert ticket.first_promise.ready_by == instant("09:20")


@pytest.mark.parametrize("place", list(LIFE))
def test_erasing_is_remembered_and_changes_nothing_else(place: str):
    before = a_booth().brought_to(place)

    after = before.erased("T1")

    assert after.ticket("T1").is_erased
    assert (after.ticket("T1").place, after.booth.queue, after.booth.easels) == (
        place,
        before.booth.queue,
        before.booth.easels,
    )


def test_the_history_of_a_ticket_begins_with_its_order():
    told = a_booth().ordered("T1")

    first: Event = told.ticket("T1").history[0]
    assert first == told.events[-1]

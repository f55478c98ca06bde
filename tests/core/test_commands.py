"""What a command makes happen, and what a careful counter stops."""

from datetime import timedelta
from typing import Any

import pytest

from portraitq.core.booth import Booth, fold
from portraitq.core.commands import ASKED, Command, Order, PutInOrder, decide, read_command
from portraitq.core.errors import Malformed, Refused
from portraitq.core.events import (
    KINDS,
    ArtistOut,
    Cancelled,
    Data,
    Event,
    Finished,
    Held,
    Moved,
    Ordered,
    Paid,
    Promised,
    SetUp,
    StageDone,
    parse_line,
    print_line,
)
from portraitq.core.life import CANCELLED, DRAWING, LIFE, PAUSED, READY, TOUCH_UP, TOUCH_UP_REST, WAITING
from tests.builders import CHALK, INK_HEAD, Told, a_booth, a_journal, a_set_up, artist, instant, style
from tests.core.examples import GOOD


def refused(told: Told, wanted: Data, **how: Any) -> str:
    """The sentence with which it is refused; the booth is as it was, all of it."""
    copy = fold(Booth(), told.events)
    with pytest.raises(Refused) as caught:
        told.decided(wanted, **how)
    assert told.booth == copy
    return str(caught.value)


def data_of(events: list[Event]) -> list[Data]:
    return [event.data for event in events]


# Reading a command


def sent(kind: str, **data: object) -> dict[str, Any]:
    return {"id": "x1", "kind": kind, "data": data}


@pytest.mark.parametrize("kind", KINDS)
def test_every_kind_of_the_journal_can_be_asked_for(kind: str):
    command = read_command(sent(kind, **GOOD[kind]), "easel:a1")

    assert (command.id, command.kind, command.by, command.ago_s) == ("x1", kind, "easel:a1", 0)
    assert set(ASKED) == set(KINDS)


def test_an_order_may_leave_out_what_is_filled_in():
    command = read_command(sent("ordered", style="ink-head", sitters=2))

    assert command.data == Order(style="ink-head", sitters=2)


@pytest.mark.parametrize("ago_s", [0, 0.0, None, 12, 12.5, 1e-3])
def test_a_command_says_how_long_ago_it_was_tapped(ago_s: float | None):
    command = read_command({**sent("day_closed"), "ago_s": ago_s})

    assert command.ago_s == (ago_s or 0)


@pytest.mark.parametrize(
    ("wrong", "field"),
    [
        ({"kind": "painted"}, "kind"),
        ({"kind": None}, "kind"),
        ({"id": "a b"}, "id"),
        ({"id": ""}, "id"),
        ({"data": []}, "data"),
        ({"data": {"style": "ink-head"}}, "data.sitters"),
        ({"data": {"style": "ink-head", "sitters": 0}}, "data.sitters"),
        ({"data": {"style": "ink-head", "sitters": float("nan")}}, "data.sitters"),
        ({"data": {"style": "ink-head", "sitters": 1, "ready_by": "15:40"}}, "data.ready_by"),
        ({"data": {"style": "ink-head", "sitters": 1, "name": "Zoë"}}, "data.name"),
        ({"ago_s": -1}, "ago_s"),
        ({"ago_s": float("nan")}, "ago_s"),
        ({"ago_s": float("inf")}, "ago_s"),
        ({"ago_s": True}, "ago_s"),
        ({"ago_s": "0"}, "ago_s"),
        ({"seq": 1}, "seq"),
    ],
)
def test_a_malformed_command_is_refused_by_the_name_of_its_field(wrong: dict[str, object], field: str):
    with pytest.raises(Malformed) as caught:
        read_command({**sent("ordered", style="ink-head", sitters=1), **wrong})

    assert caught.value.field == field
    assert str(caught.value).startswith(f"{field}: ")
    assert str(caught.value).endswith(".")


@pytest.mark.parametrize("whole", [None, [], "ordered", 1])
def test_what_is_no_command_at_all_is_refused(whole: object):
    with pytest.raises(Malformed, match=r"^An object was expected, not .*\.$"):
        read_command(whole)


def test_a_command_from_a_device_that_does_not_exist_is_refused():
    with pytest.raises(Malformed) as caught:
        read_command(sent("day_closed"), "wall")

    assert caught.value.field == "by"


# What is filled in


def test_an_order_is_given_the_next_number_a_fresh_ticket_and_the_price_of_its_style():
    told = a_booth().ordered("T1", "T3")

    events = told.decided(Order(style="chalk-half", sitters=2))

    assert data_of(events) == [
        Ordered(ticket="T4", number=3, style="chalk-half", sitters=2, artist=None, price=3600),
    ]


def test_a_fresh_ticket_never_takes_an_id_that_is_used():
    told = a_booth().ordered("T2", "T1").ordered("T4")

    assert told.wants(Order(style="ink-head", sitters=1)).booth.queue == ("T2", "T1", "T4", "T5")


def test_the_first_order_of_a_new_day_has_number_1_and_another_ticket():
    told = a_booth().ordered("T1").day_closed().day_opened("2026-06-07")

    [order] = data_of(told.decided(Order(style="ink-head", sitters=1)))

    assert isinstance(order, Ordered)
    assert (order.ticket, order.number) == ("T2", 1)


def test_what_an_order_says_itself_is_kept():
    wanted = Order(style="ink-head", sitters=1, artist="a2", price=0, ticket="K7QX", number=1)

    [order] = data_of(a_booth().decided(wanted))

    assert order == Ordered(ticket="K7QX", number=1, style="ink-head", sitters=1, artist="a2", price=0)


def test_an_order_with_a_number_that_is_not_the_next_is_refused():
    assert refused(a_booth(), Order(style="ink-head", sitters=1, number=7)) == (
        "Number 1 comes next on 2026-06-06, not 7."
    )


def test_an_order_with_a_promise_says_both_in_one_command():
    events = a_booth().decided(Order(style="ink-head", sitters=1, ready_by=instant("09:30")))

    assert data_of(events)[1:] == [Promised(ticket="T1", ready_by=instant("09:30"), confidence=0.85)]
    assert {event.id for event in events} == {"c5"}
    assert [event.seq for event in events] == [5, 6]
    assert len({event.at for event in events}) == 1


def test_the_last_stage_done_also_finishes_the_portrait():
    told = a_booth().ordered("T1").started("T1").stage_done("T1").stage_done("T1")

    events = told.decided(StageDone(ticket="T1", stage="finish"), by="easel:a1", ago_s=2.5)

    assert data_of(events) == [StageDone(ticket="T1", stage="finish"), Finished(ticket="T1", rack=None)]
    assert {(event.id, event.by, event.ago_s) for event in events} == {("c9", "easel:a1", 2.5)}


def test_finishing_while_the_last_stage_is_in_hand_ends_that_stage_too():
    told = a_booth().ordered("T1").started("T1").stage_done("T1").stage_done("T1")

    assert data_of(told.decided(Finished(ticket="T1", rack="A4"))) == [
        StageDone(ticket="T1", stage="finish"),
        Finished(ticket="T1", rack="A4"),
    ]


def test_a_portrait_whose_stages_are_all_done_is_finished_by_finishing_alone():
    told = a_booth().ordered("T1").started("T1").stages_all_done("T1")

    assert data_of(told.decided(Finished(ticket="T1", rack="A4"))) == [Finished(ticket="T1", rack="A4")]
    assert refused(told, StageDone(ticket="T1", stage="finish")) == (
        'All stages of number 1 are done, so "Finish" cannot be; it is to be finished.'
    )


def test_finishing_with_more_than_the_last_stage_to_draw_is_refused():
    told = a_booth().ordered("T1").started("T1").stage_done("T1")

    assert refused(told, Finished(ticket="T1", rack=None)) == (
        'The stage "Likeness" of number 1 is still to be drawn before it is finished.'
    )
    assert refused(told, StageDone(ticket="T1", stage="finish")) == (
        'Number 1 is on its stage "Likeness", not on "Finish".'
    )


def test_a_touch_up_is_finished_without_any_stage():
    told = a_booth().brought_to(TOUCH_UP)

    assert data_of(told.decided(Finished(ticket="T1", rack="B1"))) == [Finished(ticket="T1", rack="B1")]


def test_a_portrait_of_one_stage_is_done_with_one_tap():
    told = a_booth(a_set_up(styles=(style("quick", (("all", 120, False),)),), artists=(artist("a1", "quick"),)))

    told = told.ordered("T1", style="quick").started("T1").wants(StageDone(ticket="T1", stage="all"))

    assert told.ticket("T1").place == READY


@pytest.mark.parametrize("place", [place for place in LIFE if place != CANCELLED])
@pytest.mark.parametrize("kind", sorted(set(KINDS) - {"ordered"}))
def test_a_command_may_do_exactly_what_a_journal_may_say_but_for_a_few_regrets(place: str, kind: str):
    told = a_booth().brought_to(place)
    data = KINDS[kind].model_validate(GOOD[kind], by_alias=True, by_name=False)
    line = told.next_event(data)

    may_say, may_do = allowed(lambda: fold(told.booth, [line])), allowed(lambda: told.decided(data, line.at))

    regrets = {"set_up", "artist_out", "paid", "promised"}
    assert may_do == may_say or (kind in regrets and may_say)


def allowed(asked: Any) -> bool:
    try:
        asked()
    except Refused:
        return False
    return True


# The clock


def test_a_clock_that_was_set_back_never_makes_the_journal_go_back():
    told = a_booth().ordered("T1", at="12:00")

    [held] = told.decided(Held(ticket="T1", why="photo"), at="11:00")

    assert held.at == instant("12:00")


def test_what_is_finer_than_a_millisecond_is_cut_off_so_that_the_line_reads_back_equal():
    told = a_booth().ordered("T1")
    now = instant("12:00:00.123") + timedelta(microseconds=456)

    [held] = told.decided(Held(ticket="T1", why="photo"), at=now)

    assert held.at == instant("12:00:00.123")
    assert parse_line(print_line(held)) == held


def test_a_tap_from_out_of_reach_is_written_when_it_comes_and_counts_from_when_it_was_made():
    told = a_booth().ordered("T1").started("T1", at="09:10:00")

    [done] = told.decided(StageDone(ticket="T1", stage="layout"), at="09:20:00", ago_s=480)

    assert (done.at, done.happened_at) == (instant("09:20:00"), instant("09:12:00"))


# What a careful counter stops, though a journal may tell of it


@pytest.mark.parametrize("wanted", ["promised", "ordered"])
def test_a_promise_in_the_past_is_not_made(wanted: str):
    told = a_booth().ordered("T1", at="09:05")
    promises: dict[str, Data] = {
        "promised": Promised(ticket="T1", ready_by=instant("09:59"), confidence=0.85),
        "ordered": Order(style="ink-head", sitters=1, ready_by=instant("09:59")),
    }

    assert refused(told, promises[wanted], at="10:00") == ("A promise cannot lie in the past: promise a later time.")
    assert told.decided(promises[wanted], at="09:59")
    assert told.decided(promises[wanted], at="10:00", ago_s=60)


def test_an_order_that_nobody_could_draw_is_not_taken():
    told = a_booth(a_set_up(artists=(artist("a2", "ink-head"),)))

    assert refused(told, Order(style="chalk-half", sitters=1)) == (
        'No artist of this booth draws "Chalk half": say in the set-up who does.'
    )


def test_nothing_paid_is_no_payment_and_no_more_is_given_back_than_was_paid():
    told = a_booth().ordered("T1").paid("T1", 1000)

    assert refused(told, Paid(ticket="T1", amount=0, how="cash")) == (
        "An amount of 0 is nothing paid: give the amount that changed hands."
    )
    assert refused(told, Paid(ticket="T1", amount=-1001, how="cash")) == (
        "Number 1 has paid less than is to be given back."
    )
    assert told.decided(Paid(ticket="T1", amount=-1000, how="cash"))


def test_an_artist_does_not_go_while_a_stage_runs_on_their_easel():
    drawing, touching_up = a_booth().brought_to(DRAWING), a_booth().brought_to(TOUCH_UP)

    assert refused(drawing, ArtistOut(artist="a1")) == (
        "Number 1 is on the easel: pause it, finish it or put it back before going."
    )
    assert refused(touching_up, ArtistOut(artist="a1")) == (
        "Number 1 is on the easel: pause or finish it before going."
    )


@pytest.mark.parametrize("place", [WAITING, PAUSED, READY, TOUCH_UP_REST])
def test_an_artist_goes_when_no_stage_runs_on_their_easel(place: str):
    assert a_booth().brought_to(place).decided(ArtistOut(artist="a1"))


def only(style_ids: tuple[str, ...], *artists: dict[str, Any]) -> SetUp:
    return a_set_up(styles=[one for one in (INK_HEAD, CHALK) if one["id"] in style_ids], artists=artists)


def test_a_set_up_keeps_what_is_still_to_be_drawn_and_who_draws_it():
    on_easel = a_booth().ordered("T1").started("T1", "a2")
    waiting = a_booth().ordered("T1", style="chalk-half")

    assert refused(on_easel, only(("ink-head", "chalk-half"), artist("a1", "ink-head", "chalk-half"))) == (
        '"Easel a2" has number 1 on the easel: keep them in the set-up until it is done.'
    )
    assert refused(waiting, only(("ink-head",), artist("a1", "ink-head"))) == (
        '"Chalk half" is still to be drawn for number 1: keep the style until then.'
    )
    assert refused(waiting, only(("ink-head", "chalk-half"), artist("a1", "ink-head"))) == (
        'Nobody would draw "Chalk half" for number 1: keep an artist who does until then.'
    )


def test_a_set_up_may_drop_what_is_drawn_and_racked():
    told = a_booth().ordered("T1", style="chalk-half").drawn("T1")

    assert told.decided(only(("ink-head",), artist("a2", "ink-head")))


def test_a_set_up_may_leave_stuck_what_was_stuck_before():
    told = a_booth(only(("ink-head", "chalk-half"), artist("a1", "ink-head"))).ordered("T1", style="chalk-half")

    assert told.decided(only(("ink-head", "chalk-half"), artist("a1", "ink-head")))


def test_a_journal_may_tell_of_all_that_the_counter_would_have_stopped():
    told = a_booth().ordered("T1").promised("T1", "09:00:30").paid("T1", 0).paid("T1", -500)

    told = told.started("T1", "a1").artist_out("a1").set_up(only(("chalk-half",), artist("a2", "chalk-half")))

    assert told.ticket("T1").place == DRAWING


# Every command is decided by the rule of the fold


def test_a_command_on_an_empty_journal_asks_for_the_set_up_first():
    assert refused(a_journal(), Order(style="ink-head", sitters=1)) == (
        "The booth has no set-up yet: set_up was expected first, not ordered."
    )


def test_an_order_before_the_day_is_open_is_refused():
    assert refused(a_journal().set_up(), Order(style="ink-head", sitters=1)) == (
        "No day is open: open the day before taking an order."
    )


def test_what_was_decided_continues_the_journal():
    told = a_booth().ordered("T1")

    events = decide(told.booth, Command("once", Cancelled(ticket="T1", why="customer")), told.at("10:00"))

    assert [(event.seq, event.id, event.by) for event in events] == [(6, "once", "counter")]
    assert fold(told.booth, events).tickets["T1"].place == CANCELLED


@pytest.mark.parametrize("day", ["2026-06-04", "2026-06-08", "2027-06-06"])
def test_a_day_that_is_not_today_is_not_opened_since_it_would_bar_those_before_it(day: str) -> None:
    booth = a_journal().set_up(at=instant("08:00"))

    with pytest.raises(Refused, match=f"The day {day} is not today: open 2026-06-06"):
        booth.asks("day_opened", at="09:00", day=day, closes_at=f"{day[:4]}-06-09T18:00:00.000Z", breaks=[])


def test_past_midnight_the_night_before_can_still_be_opened() -> None:
    booth = a_journal().set_up(at=instant("08:00"))

    opened = booth.asks("day_opened", at="09:00", day="2026-06-05", closes_at="2026-06-06T18:00:00.000Z", breaks=[])

    assert opened.booth.day is not None
    assert opened.booth.day.day == "2026-06-05"


# A tap that comes late from an easel that has the portrait no more


def test_what_is_on_another_easel_by_now_is_not_moved_by_a_late_tap():
    told = a_booth().ordered("T1").started("T1", "a1").put_back("T1").started("T1", "a2")
    done = StageDone(ticket="T1", stage="layout")

    with pytest.raises(Refused, match='on the easel of "Easel a2" now'):
        told.decided(done, by="easel:a1", ago_s=600)

    assert data_of(told.decided(done, by="easel:a2")) == [done]
    assert data_of(told.decided(done, by="counter")) == [done]


def test_the_same_stage_said_on_two_tablets_counts_once_and_never_takes_the_next():
    told = a_booth().ordered("T1").started("T1", "a1")
    done = StageDone(ticket="T1", stage="layout")

    told = told.wants(done, by="easel:a1", ago_s=30)

    with pytest.raises(Refused, match="not on"):
        told.decided(done, by="easel:a1", ago_s=20)
    assert told.ticket("T1").stages_done == 1


def test_the_queue_is_put_in_order_as_a_whole_or_not_at_all():
    told = a_booth().ordered("T1", "T2", "T3")
    moves = Moved(ticket="T3", before="T1"), Moved(ticket="T1", before=None)
    wanted = PutInOrder(queue=("T1", "T2", "T3"), moves=moves)

    assert data_of(told.decided(wanted)) == list(moves)
    assert told.wants(wanted).booth.queue == ("T3", "T2", "T1")
    with pytest.raises(Refused, match="nothing was moved"):
        told.ordered("T4").decided(wanted)

"""Who could touch a portrait up: one tap in the usual case, and what to wait for otherwise."""

from __future__ import annotations

import pytest

from portraitq.core.commands import decide, read_command
from portraitq.core.life import COLLECTED, DRAWING, READY, TOUCH_UP, WAITING
from portraitq.web.one_ticket import OneTicket, one_ticket
from portraitq.web.touching_up import NOBODY_IN, hands_for
from tests.builders import CHALK, INK_HEAD, Told, a_booth, a_set_up, artist
from tests.web.test_queue import standing

THREE = a_set_up(artists=[artist("a1", "ink-head", "chalk-half"), artist("a2", "ink-head"), artist("a3", "ink-head")])


def _of(told: Told, id: str = "T1", at: str | None = None) -> OneTicket:
    return one_ticket(standing(told, at), told.ticket(id), None, [])


def _drawn_by(who: str) -> Told:
    return a_booth().ordered("T1", "T2").started("T1", who).drawn("T1", "A4")


@pytest.mark.parametrize("who", ["a1", "a2"])
def test_it_goes_back_to_the_artist_who_drew_it_by_one_tap_and_the_others_stand_behind(who: str) -> None:
    one = _of(_drawn_by(who))

    assert one.touch_up is not None
    assert one.touch_up.said == f"Touch up: back to Easel {who}"
    assert one.touch_up.command["data"] == {"ticket": "T1", "artist": who}
    assert [tap.said for tap in one.touch_ups] == [f"Touch up: to Easel {({'a1', 'a2'} - {who}).pop()}"]
    assert one.no_touch_up == ""


def test_a_touch_up_by_another_does_not_change_to_whom_it_goes_back() -> None:
    told = _drawn_by("a2").touched_up("T1", "a1").finished("T1", "A4")

    one = _of(told)

    assert one.touch_up is not None
    assert one.touch_up.command["data"]["artist"] == "a2"


def test_it_goes_to_the_only_one_who_is_free_and_it_is_said_until_when_the_other_is_busy() -> None:
    one = _of(_drawn_by("a1").started("T2", "a1"))

    assert one.touch_up is not None
    assert one.touch_up.command["data"]["artist"] == "a2"
    assert one.touch_ups == ()
    assert one.no_touch_up.startswith("Easel a1, who drew it, is at number 2 until about ")


def test_where_several_are_free_but_not_who_drew_it_each_is_one_tap_away() -> None:
    told = (
        a_booth().set_up(THREE).artist_in("a3").ordered("T1", "T2").started("T1", "a1").drawn("T1").started("T2", "a1")
    )

    one = _of(told)

    assert one.touch_up is None
    assert [tap.command["data"]["artist"] for tap in one.touch_ups] == ["a2", "a3"]


def test_where_nobody_is_free_it_is_said_who_will_be_first_and_when() -> None:
    told = a_booth().ordered("T1", "T2").ordered("T3", style="ink-head").started("T1", "a1").drawn("T1")
    told = told.started("T2", "a2").stage_done("T2").stage_done("T2").started("T3", "a1")

    one = _of(told)

    assert (one.touch_up, one.touch_ups) == (None, ())
    first, second = one.no_touch_up.removesuffix(".").split(". ")
    assert first.startswith("Easel a2 is at number 2 until about ")  # on its last stage
    assert second.startswith("Easel a1, who drew it, is at number 3 until about ")


def test_where_nobody_is_in_it_is_said_what_to_do() -> None:
    one = _of(_drawn_by("a1").artist_out("a1").artist_out("a2"))

    assert (one.touch_up, one.touch_ups, one.no_touch_up) == (None, (), NOBODY_IN)


@pytest.mark.parametrize("place", [WAITING, DRAWING, TOUCH_UP])
def test_what_is_not_ready_is_not_touched_up(place: str) -> None:
    told = a_booth().brought_to(place)

    assert hands_for(standing(told), told.ticket("T1")) is None


@pytest.mark.parametrize("place", [READY, COLLECTED])
def test_what_is_offered_is_taken(place: str) -> None:
    told = a_booth().brought_to(place)
    one = _of(told)

    for tap in filter(None, (one.touch_up, *one.touch_ups)):
        assert decide(told.booth, read_command({"id": "x", **tap.command}), told.at())


def test_styles_do_not_matter_for_a_change() -> None:
    told = a_booth().set_up(a_set_up(styles=[INK_HEAD, CHALK])).ordered("T1", style="chalk-half").drawn("T1")

    assert [tap.command["data"]["artist"] for tap in _of(told).touch_ups] == ["a2"]

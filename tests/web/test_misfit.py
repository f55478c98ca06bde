"""What a tap that came too late is told to have said, and what happened instead."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any

import pytest

from portraitq.core.commands import read_command
from portraitq.core.events import easel
from portraitq.web.misfit import Misfit, misfit_of
from tests.builders import Told, a_booth

if TYPE_CHECKING:
    from tests.web.conftest import Web


def misfit(told: Told, kind: str, after: int, ago_s: float = 0, mine: tuple[str, ...] = (), **data: Any) -> Misfit:
    command = read_command({"id": "tap", "kind": kind, "data": data, "ago_s": ago_s}, "easel:a1")
    return misfit_of(told.booth, command, told.at(), after, mine)


def drawn() -> Told:
    return a_booth().ordered("T1", at="09:00").started("T1", "a1", at="09:01")


def test_what_was_said_at_the_counter_before_is_told_with_its_hour():
    known = drawn()
    told = known.stage_done("T1", at="13:02", by="counter")

    found = misfit(told, "stage_done", known.booth.seq, ago_s=30, ticket="T1", stage="layout")

    assert found.tapped == "“Layout done” of number 1, tapped at 14:02"
    assert found.instead == ("Layout of number 1 was said to be done at 14:02, at the counter.",)
    assert found.was_said


def test_what_the_other_tablet_of_this_easel_said_is_told_so():
    known = drawn()
    told = known.paused("T1", at="09:05", by="easel:a1")

    found = misfit(told, "paused", known.booth.seq, ticket="T1", why="break")

    assert found.tapped == "“Pause” (break) of number 1, tapped at 10:06"
    assert found.instead == ("Number 1 was paused at 10:05, at this easel.",)


def test_what_another_artist_did_is_told_by_their_name():
    known = drawn()
    told = known.put_back("T1", at="09:05").started("T1", "a2", at="09:06").stage_done("T1", at="09:09", by="easel:a2")

    found = misfit(told, "resumed", known.booth.seq, ticket="T1")

    assert found.tapped.startswith("“Go on” of number 1")
    assert found.instead == (
        "Number 1 was put back at 10:05, at the counter.",
        "Number 1 was started at 10:06, at Easel a2.",
        "Layout of number 1 was said to be done at 10:09, at Easel a2.",
    )
    assert not found.was_said


def test_what_was_said_and_taken_back_since_was_not_said_already():
    known = drawn()
    told = known.stage_done("T1", at="09:05").stage_undone("T1", at="09:06").paused("T1", at="09:07")

    found = misfit(told, "stage_done", known.booth.seq, ticket="T1", stage="layout")

    assert not found.was_said
    assert found.instead[1] == "Layout of number 1 was taken back at 10:06, at the counter."


def test_another_stage_is_another_thing():
    known = drawn()
    told = known.stage_done("T1", at="09:05")

    assert not misfit(told, "stage_done", known.booth.seq, ticket="T1", stage="finish").was_said


def test_the_tablets_own_taps_and_what_its_screen_knew_happened_not_instead():
    known = drawn().stage_done("T1", command="mine")
    told = known.stage_done("T1", command="mine-too")

    assert misfit(told, "started", known.booth.seq, mine=("mine-too",), ticket="T1", artist="a1").instead == ()


def test_a_portrait_that_was_cancelled_and_one_that_is_not_known_have_their_words():
    known = drawn()
    told = known.cancelled("T1", at="09:30")

    assert misfit(told, "put_back", known.booth.seq, ticket="T1").instead == (
        "Number 1 was cancelled at 10:30, at the counter.",
    )
    unknown = misfit(told, "finished", 0, ticket="T9", rack="A4")
    assert unknown.tapped.startswith("“At A4” of a portrait that this booth does not know, tapped at")
    assert unknown.instead == ()


def test_a_day_that_was_closed_explains_why_nobody_is_in():
    told = a_booth().day_closed(at="18:00")

    found = misfit(told, "artist_in", 0, artist="a1")

    assert (found.tapped[:11], found.instead) == ("“I am here”", ("The day was closed at 19:00.",))


def test_who_is_in_already_hears_since_when():
    found = misfit(a_booth(), "artist_in", 0, artist="a1")

    assert found.instead == ("You are in since 10:00.",)


@pytest.mark.parametrize("kind", ["started", "stage_undone", "touched_up", "finished", "artist_out"])
def test_every_tap_of_an_easel_has_its_words(kind: str):
    fields: dict[str, dict[str, Any]] = {
        "started": {"ticket": "T1", "artist": "a1"},
        "stage_undone": {"ticket": "T1", "stage": "layout"},
        "touched_up": {"ticket": "T1", "artist": "a1"},
        "finished": {"ticket": "T1", "rack": None},
        "artist_out": {"artist": "a1"},
    }

    said = misfit(drawn(), kind, 99, **fields[kind]).tapped

    assert "tapped at" in said
    assert kind not in said


def test_the_tablet_asks_for_the_words(web: Web):
    web.sign_in()
    ticket = web.order()
    seq = web.desk.standing().seq
    web.do("started", by=easel("a1"), ticket=ticket, artist="a1")
    web.desk.standing(wait_s=10)
    command = {"id": "tap", "kind": "started", "data": {"ticket": ticket, "artist": "a1"}, "ago_s": 2}

    answer = web.client.get(
        "/quay/easel/a1/instead", query_string={"command": json.dumps(command), "after": seq, "mine": ""}
    )

    assert answer.headers["Cache-Control"] == "no-store"
    assert answer.get_json()["was_said"] is True


@pytest.mark.parametrize("asked", [{}, {"command": "{}"}, {"command": '{"id":"x","kind":"resumed","data":{}}'}])
def test_what_is_no_tap_is_refused_in_one_sentence(web: Web, asked: dict[str, str]):
    web.sign_in()

    answer = web.client.get("/quay/easel/a1/instead", query_string=asked, headers={"Accept": "application/json"})

    assert answer.status_code == 422


def test_strangers_hear_nothing(web: Web):
    assert web.client.get("/quay/easel/a1/instead").status_code == 303

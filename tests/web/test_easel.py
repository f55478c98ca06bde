"""What an artist sees at the easel: view objects built from real booths, and the page they become."""

from __future__ import annotations

import html
import json
import re
from datetime import datetime
from typing import TYPE_CHECKING

import pytest
from hypothesis import given
from hypothesis import strategies as st

from portraitq.core.booth import fold
from portraitq.core.commands import decide, read_command
from portraitq.core.errors import Refused
from portraitq.desk import Standing
from portraitq.forecast.pace import pace_of
from portraitq.forecast.quotes import forecast
from portraitq.forecast.slip_watch import NO_SLIPS, watch
from portraitq.store.cards import Card
from portraitq.store.photos import PhotoRef
from portraitq.web.easel import EaselView, Tap, bar_of, easel_view, sitters_said
from portraitq.web.problems import NotThere
from tests.builders import CHALK, INK_HEAD, Told, a_booth, a_journal, a_set_up, artist

if TYPE_CHECKING:
    from tests.web.conftest import Web


def easel(told: Told, who: str = "a1", now: str | datetime | None = None, **beside: object) -> EaselView:
    at, pace = told.at(now), pace_of(told.booth)
    quotes = forecast(told.booth, pace, at)
    standing = Standing("quay", told.booth, quotes, pace, at, watch(NO_SLIPS, told.booth, quotes))
    return easel_view(standing, who, **beside)  # type: ignore[arg-type]


def is_taken(told: Told, tap: Tap) -> bool:
    """Whether the booth takes what the tap says; Refused where it does not."""
    command = read_command({"id": "tap", **tap.command}, "easel:a1")
    return bool(fold(told.booth, decide(told.booth, command, told.at())).seq)


# What is at hand


def test_without_an_open_day_nothing_can_be_drawn():
    told = a_journal().set_up()

    assert easel(told).face == "closed"


def test_an_artist_who_has_not_come_yet_says_so_by_one_touch():
    told = a_journal().set_up().day_opened().ordered("T1")

    view = easel(told)

    assert (view.face, view.here.said, is_taken(told, view.here)) == ("out", "I am here", True)


def test_one_that_was_carried_over_says_its_day_beside_its_number():
    told = a_booth().ordered("T1").day_closed(at="18:00").day_opened("2026-06-07").artist_in("a1").ordered("T2")

    assert [sketch.day for sketch in easel(told).sketches] == ["Sat", ""]


def test_where_nothing_waits_the_easel_says_what_the_others_have():
    told = a_booth().ordered("T1").started("T1", artist="a2")

    view = easel(told)

    assert (view.face, view.others) == ("nothing", ("Easel a2: number 1, layout",))


def test_the_next_ticket_is_the_first_that_this_artist_may_begin():
    told = a_booth().ordered("T1", style="chalk-half").ordered("T2").ordered("T3", artist="a1").ordered("T4")

    assert [sketch.number for sketch in easel(told, "a2").sketches] == [2, 4]


def test_the_next_ticket_is_started_by_one_touch():
    told = a_booth().ordered("T1")

    [sketch] = easel(told).sketches

    assert (sketch.state, sketch.start.said, is_taken(told, sketch.start)) == ("next", "Start number 1", True)


def test_the_next_ticket_says_its_stages_and_how_long_they_usually_take():
    [sketch] = easel(a_booth().ordered("T1")).sketches

    assert sketch.plan_said == "Layout · Likeness · Finish, usually about 10 min in all"


def test_a_ticket_that_was_put_back_says_with_what_it_goes_on():
    told = a_booth().ordered("T1").started("T1").stage_done("T1").put_back("T1")

    [sketch] = easel(told).sketches

    assert sketch.plan_said.startswith("Goes on with Likeness, usually about")


def test_what_is_on_the_easel_stands_before_what_comes_next():
    told = a_booth().ordered("T1", "T2", "T3").started("T2", artist="a1")

    assert [(sketch.number, sketch.state) for sketch in easel(told).sketches] == [(2, "drawing"), (1, "next")]


def test_an_artist_whom_the_booth_does_not_know_has_no_easel():
    with pytest.raises(NotThere, match="a1, a2"):
        easel(a_booth(), "zz")


# What the hand can say


def test_the_one_large_target_says_what_is_done():
    told = a_booth().ordered("T1").started("T1").stage_done("T1")

    [sketch] = easel(told).sketches
    step = sketch.steps[sketch.step]

    assert (step.title, step.main_said) == ("Likeness", "Likeness done")
    assert step.main is not None
    assert is_taken(told, step.main)


def test_the_last_stage_ends_by_signing_and_racking():
    told = a_booth().ordered("T1").started("T1").stage_done("T1").stage_done("T1")

    [sketch] = easel(told).sketches

    assert (sketch.steps[-1].main_said, sketch.steps[-1].main) == ("Signed: rack it", None)
    assert [rack.said for rack in sketch.racks[:2]] == ["A1", "A2"]
    assert all(is_taken(told, rack) for rack in sketch.racks)


def test_a_portrait_may_have_no_rack_place():
    [sketch] = easel(a_booth().ordered("T1").started("T1")).sketches

    assert (sketch.racks[-1].said, sketch.racks[-1].command["data"]["rack"]) == ("No rack place", None)


def test_the_last_tap_is_taken_back_by_name():
    told = a_booth().ordered("T1").started("T1").stage_done("T1")

    [sketch] = easel(told).sketches
    take_back = sketch.steps[sketch.step].take_back

    assert take_back is not None
    assert (take_back.said, is_taken(told, take_back)) == ("Take back Layout", True)
    assert sketch.steps[0].take_back is None


def test_every_step_that_the_hand_can_reach_is_at_hand_before_the_network_answers():
    told = a_booth().ordered("T1").started("T1")

    [sketch] = easel(told).sketches
    for step in sketch.steps[:-1]:
        assert step.main is not None
        told = told.wants(read_command({"id": "x", **step.main.command}).data)

    assert told.ticket("T1").stages_done == len(sketch.steps) - 1


def test_a_paused_sketch_says_since_when_and_why_and_goes_on():
    told = a_booth().ordered("T1").started("T1").paused("T1", why="supplies", at="09:30")

    [sketch] = easel(told).sketches

    assert (sketch.state, sketch.paused_said) == ("paused", "Paused since 10:30: supplies")
    assert is_taken(told, sketch.go_on)


def test_a_pause_without_a_reason_needs_no_words_for_it():
    told = a_booth().ordered("T1").started("T1").paused("T1", why="other", at="09:30")

    assert easel(told).sketches[0].paused_said == "Paused since 10:30"


def test_a_touch_up_ends_where_the_portrait_hung():
    told = a_booth().ordered("T1").drawn("T1", rack="B3").touched_up("T1")

    [sketch] = easel(told).sketches

    assert (sketch.state, sketch.steps[0].main_said, sketch.put_back) == ("touch-up", "Touched up: rack it", None)
    assert sketch.racks[0].said == "B3"
    assert all(is_taken(told, rack) for rack in sketch.racks)


def test_a_journal_from_elsewhere_may_stand_before_its_racking():
    told = a_booth().ordered("T1").started("T1").stages_all_done("T1")

    [sketch] = easel(told).sketches

    assert (sketch.steps[sketch.step].main_said, is_taken(told, sketch.racks[0])) == ("Rack it", True)


def test_the_portrait_racked_last_can_be_touched_up_by_one_touch():
    told = a_booth().ordered("T1").drawn("T1", rack="A2")

    last = easel(told).last

    assert last is not None
    assert (last.said, is_taken(told, last.touch_up)) == ("Number 1 is at A2", True)


def test_nobody_goes_home_from_a_running_sketch_but_from_a_paused_one():
    told = a_booth().ordered("T1").started("T1")

    with pytest.raises(Refused, match="pause it, finish it or put it back"):
        is_taken(told, easel(told).going)
    assert is_taken(told.paused("T1"), easel(told).going)


# What is shown


def test_photos_note_and_sitters_are_shown():
    told = a_booth().ordered("T1", sitters=2, artist="a1")

    [sketch] = easel(
        told,
        cards={"T1": Card("CODE", name="Ines", note="red scarf")},
        photos={"T1": [PhotoRef("p1", 900, 1200), PhotoRef("p2", 900, 1200)]},
    ).sketches

    assert (sketch.name, sketch.note, sketch.sitters_said) == ("Ines", "red scarf", "2 sitters")
    assert (sketch.asked_for, [photo.id for photo in sketch.photos]) == ("asked for Easel a1", ["p1", "p2"])


def test_a_promise_that_holds_asks_for_nothing():
    told = a_booth().ordered("T1", at="09:00").promised("T1", "10:00", at="09:00").started("T1", at="09:01")

    [sketch] = easel(told).sketches

    assert (sketch.promise_said, sketch.promise_state) == ("Promise 11:00 · holds so far", "holds")


def test_a_promise_that_slips_says_so_with_the_new_time():
    told = a_booth().ordered("T1", at="09:00").promised("T1", "09:11", at="09:00").started("T1", at="09:01")

    [sketch] = easel(told).sketches

    assert sketch.promise_state == "at-risk"
    assert re.fullmatch(r"Promise 10:11 · likely late: now about 10:\d\d", sketch.promise_said)


def test_the_others_that_slip_stand_in_one_line():
    told = a_booth().ordered("T1", "T2", "T3", "T4", at="09:00").artist_out("a2")
    told = told.promised("T2", "09:15").promised("T3", "17:00").promised("T4", "09:20").started("T1", "a1")

    seen = easel(told, now="09:09")

    assert seen.slipping == "Likely late behind it: 2, 4"


def test_many_that_slip_are_counted_and_another_artists_are_not_named():
    ids = [f"T{n}" for n in range(1, 8)]
    told = a_booth().ordered(*ids, at="09:00").artist_out("a1")
    for id in ids:
        told = told.promised(id, "09:10", at="09:08")

    assert easel(told, "a2", now="09:20").slipping == "Likely late behind it: 2, 3, 4, 5 and 2 more"
    assert easel(told, "a1", now="09:20").slipping == ""


def test_where_nothing_slips_nothing_is_said_of_it():
    assert easel(a_booth().ordered("T1", "T2").promised("T2", "17:00").started("T1", "a1")).slipping == ""


def test_a_break_and_the_closing_are_told_when_they_come_near():
    told = a_journal().set_up().day_opened(closes="12:40", a1=("12:00", "12:30")).artist_in("a1")

    assert easel(told, now="11:00").soon == ()
    assert easel(told, now="11:40").soon == ("Break at 13:00",)
    assert easel(told, now="12:10").soon == ("Break until 13:30", "Closing at 13:40")
    assert easel(told, now="12:45").soon == ("Past closing (13:40)",)


def test_the_usual_time_follows_the_guesses_until_something_is_measured():
    [sketch] = easel(a_booth().ordered("T1").started("T1")).sketches

    assert sketch.steps[1].usual_said == "usually about 6 min"


def test_how_many_wait_behind_is_said_without_the_one_at_hand():
    told = a_booth(a_set_up(artists=[artist("a1", INK_HEAD["id"], CHALK["id"])])).ordered("T1", "T2", "T3")

    assert easel(told).waiting_said == "2 more wait behind it"
    assert easel(told.started("T1")).waiting_said == "2 more wait behind it"


def test_one_sitter_is_one():
    assert (sitters_said(1), sitters_said(3)) == ("1 sitter", "3 sitters")


@given(ran_s=st.floats(0, 1e6), longer_s=st.floats(0, 1e5), usual_s=st.floats(1, 1e5))
def test_the_bar_never_falls_while_the_stage_runs_and_never_overflows(ran_s, longer_s, usual_s):
    before, after = bar_of(ran_s, usual_s), bar_of(ran_s + longer_s, usual_s)

    assert 0 <= before <= after <= 100


# The page


def test_strangers_do_not_see_the_easel(web: Web):
    assert web.client.get("/quay/easel/a1").status_code == 303
    assert web.client.get("/quay/easel").status_code == 303


def test_the_artist_is_chosen_from_a_list(web: Web):
    web.sign_in()

    page = web.client.get("/quay/easel").get_data(as_text=True)

    assert '/quay/easel/a1"' in page
    assert "is here" in page


def test_an_unknown_artist_is_not_there(web: Web):
    web.sign_in()

    assert web.client.get("/quay/easel/zz").status_code == 404


def test_a_push_and_the_first_load_of_the_easel_say_the_same(web: Web):
    web.sign_in()
    web.order()
    web.desk.standing()

    page = web.client.get("/quay/easel/a1").get_data(as_text=True)
    fragment = web.client.get("/quay/easel/a1?fragment=1").get_json()

    assert fragment["html"].strip() in page


def test_what_a_customer_wrote_is_shown_as_text(web: Web):
    web.sign_in()
    web.desk.change_card(web.order(), note="<script>alert(1)</script>")

    page = web.client.get("/quay/easel/a1").get_data(as_text=True)

    assert "&lt;script&gt;alert(1)&lt;/script&gt;" in page


def test_every_command_on_the_page_is_well_formed(web: Web):
    web.sign_in()
    web.order()
    page = web.client.get("/quay/easel/a1").get_data(as_text=True)

    found = [json.loads(html.unescape(text)) for text in re.findall(r'data-(?:command|finish)="([^"]+)"', page)]

    kinds = {read_command({"id": "x", **each}).kind for each in found}
    assert kinds >= {"started", "stage_done", "finished", "resumed"}


def test_a_touch_up_has_its_own_usual_time_and_its_own_bar():
    told = a_booth().ordered("T1").drawn("T1").touched_up("T1", at="10:00")

    bars = [easel(told, now=at).sketches[0].steps[0].bar for at in ("10:00", "10:02", "10:40")]

    assert bars == sorted(bars)
    assert (bars[0], bars[-1]) == (0, 100)
    assert easel(told, now="10:02").sketches[0].steps[0].usual_said.startswith("usually about")

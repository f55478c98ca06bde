"""What the wall shows: view objects built from real booths, and the page they become."""

from __future__ import annotations

import json
import re
from dataclasses import asdict
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

import pytest

from portraitq.desk import Standing
from portraitq.forecast.pace import pace_of
from portraitq.forecast.quotes import forecast
from portraitq.forecast.slip_watch import NO_SLIPS, watch
from portraitq.web.wall import MOST_LARGE, WallView, wall_view, window_in_words
from tests.builders import Told, a_booth, a_journal, a_set_up, artist, instant

if TYPE_CHECKING:
    from tests.web.conftest import Web

LISBON = ZoneInfo("Europe/Lisbon")  # an hour ahead of UTC in June


def standing(told: Told, now: str | datetime | None = None) -> Standing:
    at, pace = told.at(now), pace_of(told.booth)
    quotes = forecast(told.booth, pace, at)
    return Standing("quay", told.booth, quotes, pace, at, watch(NO_SLIPS, told.booth, quotes))


def wall(told: Told, now: str | datetime | None = None) -> WallView:
    return wall_view(standing(told, now))


def numbers(tickets: tuple[object, ...]) -> list[int]:
    return [ticket.number for ticket in tickets]  # type: ignore[attr-defined]


def test_a_number_that_slips_says_when_it_is_ready_now_and_not_that_it_is_late():
    told = a_booth().ordered("T1", at="09:05").promised("T1", "09:10")
    seen = standing(told, "09:30")

    [waits] = wall_view(seen).waiting

    assert "T1" in seen.slips
    assert re.fullmatch(r"about 10:[345]\d", waits.about)
    assert "late" not in str(waits)


def test_what_is_ready_on_the_easel_and_waiting_stands_in_its_own_place():
    told = a_booth().ordered("T1", "T2", "T3").drawn("T1").started("T2").stage_done("T2")

    view = wall(told)

    assert (numbers(view.ready), numbers(view.easels), numbers(view.waiting)) == ([1], [2], [3])


def test_the_one_that_became_ready_last_stands_first():
    told = a_booth().ordered("T1", "T2", "T3").drawn("T2").drawn("T1").drawn("T3")

    assert numbers(wall(told).ready) == [3, 1, 2]


def test_what_is_on_an_easel_says_its_stage_how_far_it_is_and_about_when_it_is_ready():
    told = a_booth().ordered("T1", at="09:00").started("T1", at="09:01").stage_done("T1", at="09:03")

    [on_easel] = wall(told, "09:03").easels

    assert (on_easel.said, on_easel.stages_done, on_easel.stages) == ("Likeness", 1, 3)
    assert on_easel.about in ("about 10:10", "about 10:15")  # about eight minutes of guesses are left; Lisbon's clocks


def test_a_touch_up_is_told_as_one_and_without_a_time():
    told = a_booth().ordered("T1").drawn("T1").touched_up("T1")

    [on_easel] = wall(told).easels

    assert (on_easel.said, on_easel.about) == ("Touch-up", "")


def test_what_is_held_is_not_called_next():
    told = a_booth().ordered("T1", "T2").held("T1")

    assert numbers(wall(told).waiting) == [2]


def test_what_was_collected_or_cancelled_is_gone():
    told = a_booth().ordered("T1", "T2").drawn("T1").collected("T1").cancelled("T2")

    view = wall(told)

    assert (view.ready, view.easels, view.waiting) == ((), (), ())


@pytest.mark.parametrize(("ready", "size"), [(0, "none"), (1, "two"), (3, "few"), (7, "some"), (13, "many")])
def test_the_fewer_are_ready_the_larger_their_numbers(ready, size):
    told = a_booth().ordered(*(f"T{n}" for n in range(ready)))
    for n in range(ready):
        told = told.drawn(f"T{n}")

    assert wall(told).size == size


def test_of_very_many_the_oldest_step_back_into_a_smaller_line():
    count = MOST_LARGE + 2
    told = a_booth().ordered(*(f"T{n}" for n in range(count)))
    for n in range(count):
        told = told.drawn(f"T{n}")

    view = wall(told)

    assert (len(view.ready), [ticket.number for ticket in view.also_ready]) == (MOST_LARGE, [2, 1])


def test_a_number_that_was_carried_over_says_its_day():
    told = a_booth().ordered("T1", "T2").drawn("T1").day_closed(at="18:00").day_opened("2026-06-07").ordered("T3")

    view = wall(told)

    assert [ticket.day for ticket in view.ready] == ["Sat"]
    assert [ticket.day for ticket in view.waiting] == ["Sat", ""]


def test_a_ticket_that_nobody_draws_has_no_time():
    told = a_booth().ordered("T1", style="chalk-half").set_up(a_set_up(artists=[artist("a1", "ink-head")]))

    assert [ticket.about for ticket in wall(told).waiting] == [""]


def test_a_long_queue_is_shown_from_its_head_and_the_rest_is_counted():
    told = a_booth().ordered(*(f"T{n}" for n in range(11)))

    view = wall(told)

    assert (numbers(view.waiting), view.waiting_more) == (list(range(1, 9)), 3)


def test_each_style_says_its_price_and_when_it_would_be_ready_if_it_were_ordered_now():
    view = wall(a_booth(), "10:00")

    assert [(style.name, style.price, style.lead) for style in view.styles] == [
        ("Ink head", "€18.00", "about"),
        ("Chalk half", "€36.00", "about"),
    ]
    assert view.styles[0].window.startswith("11:")  # ten o'clock UTC is eleven in Lisbon


def test_a_style_that_nobody_draws_is_not_offered():
    told = a_booth(a_set_up(artists=[artist("a1", "ink-head")]))

    assert [style.style for style in wall(told).styles] == ["ink-head"]


def test_where_nobody_waits_and_an_easel_is_free_the_wall_says_so():
    assert wall(a_booth()).order_now == "Nobody is waiting: a portrait ordered now is begun at once."


def test_where_somebody_waits_the_wall_promises_no_beginning_at_once():
    told = a_booth().ordered("T1", "T2", "T3")

    assert wall(told).order_now == "A portrait ordered now is ready:"


def test_the_last_hour_calls_for_last_orders():
    told = a_booth().ordered("T1", at="17:20")

    view = wall(told, "17:21")

    assert (view.hours, view.order_now) == (
        "Closing at 19:00",
        "Last orders for today. A portrait ordered now is ready:",
    )


def test_past_a_closing_at_midnight_no_portrait_is_begun_although_it_is_tomorrow_already():
    view = wall(a_booth(closes="23:00"), "23:05")  # 00:00 and 00:05 in Lisbon

    assert view.hours == "Closed for new orders since 00:00"
    assert view.order_now == "No more portraits are begun today. One ordered now is ready:"


def test_past_closing_a_portrait_ordered_now_is_ready_tomorrow():
    view = wall(a_booth(), "18:30")

    assert view.hours == "Closed for new orders since 19:00"
    assert view.order_now == "No more portraits are begun today. One ordered now is ready:"
    assert view.styles[0].lead == "tomorrow from"
    assert view.styles[0].window.startswith("10:")  # the booth opened at ten by Lisbon's clocks


def test_while_no_day_is_open_the_wall_says_what_is_drawn_here_and_no_time():
    told = a_journal().set_up()

    view = wall(told, "08:30")

    assert (view.is_open, view.order_now) == (False, "We are closed. When we open, we draw:")
    assert [(style.price, style.window) for style in view.styles] == [("€18.00", ""), ("€36.00", "")]


def test_a_booth_without_a_set_up_has_a_calm_wall():
    assert wall(a_journal(), "08:00").order_now == "This booth is not set up yet."


class Window:
    """A quote of which only the window matters."""

    def __init__(self, low: datetime, high: datetime) -> None:
        self.window = (low, high)
        self.promise_at = high + timedelta(minutes=10)


@pytest.mark.parametrize(
    ("low_h", "high_h", "said"),
    [
        (1, 2, ("about", "13:00–14:00")),
        (10, 13, ("today from", "22:00")),
        (11, 22, ("tomorrow by", "10:10")),  # today from 23:00 or only after the night: as it is promised
        (35, 47, ("Monday by", "11:10")),
        (22, 23, ("tomorrow from", "10:00")),
        (46, 47, ("Monday from", "10:00")),
        (200, 201, ("", "in more than a week")),
    ],
)
def test_a_window_is_told_by_the_day_it_is_on(low_h, high_h, said):
    now = instant("11:00")  # noon on a Saturday in Lisbon
    quote = Window(now + timedelta(hours=low_h), now + timedelta(hours=high_h))

    assert window_in_words(quote, LISBON, now) == said  # type: ignore[arg-type]


def test_a_window_that_lies_in_the_past_begins_now():
    now = datetime(2026, 6, 6, 11, 0, tzinfo=UTC)
    quote = Window(now - timedelta(minutes=20), now + timedelta(minutes=10))

    assert window_in_words(quote, LISBON, now) == ("about", "12:00–12:10")  # type: ignore[arg-type]


def test_the_view_is_plain_enough_for_json():
    told = a_booth().ordered("T1", "T2").drawn("T1").started("T2")

    assert json.loads(json.dumps(asdict(wall(told))))["ready"][0]["number"] == 1


# The page


def test_everybody_may_see_the_wall(web: Web):
    assert web.client.get("/quay/wall").status_code == 200


def test_nothing_about_a_person_is_on_the_wall(web: Web):
    ticket = web.order()
    web.desk.change_card(ticket, name="Ines Duarte", contact="ines@example.org", note="red scarf")

    page = web.client.get("/quay/wall").get_data(as_text=True)

    assert not [word for word in ("Ines", "example.org", "scarf", web.code(ticket)) if word in page]


def test_a_push_and_the_first_load_of_the_wall_say_the_same(web: Web):
    web.order()
    web.desk.standing()

    page = web.client.get("/quay/wall").get_data(as_text=True)
    fragment = web.client.get("/quay/wall?fragment=1").get_json()

    assert fragment["html"].strip() in page


def test_the_wall_that_has_not_changed_is_not_sent_again(web: Web):
    first = web.client.get("/quay/wall?fragment=1")

    again = web.client.get("/quay/wall?fragment=1", headers={"If-None-Match": first.headers["ETag"]})

    assert again.status_code == 304


def test_the_evening_wall_is_asked_for_by_its_address(web: Web):
    assert 'data-evening-wish="on"' in web.client.get("/quay/wall?evening=1").get_data(as_text=True)


def test_a_wall_of_no_booth_is_not_there(web: Web):
    assert web.client.get("/nowhere/wall").status_code == 404

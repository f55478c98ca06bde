"""Last orders in words, on the wall and beside the counter's quotes."""

from __future__ import annotations

import re
from dataclasses import replace
from datetime import timedelta
from typing import TYPE_CHECKING

import pytest

from portraitq.desk import Standing
from portraitq.forecast.pace import pace_of
from portraitq.forecast.quotes import Offer, offers
from portraitq.web.last_orders import AT_ONCE, FAR_OFF, NOT_BEFORE, NOT_SURELY, ForToday, for_today, instead
from portraitq.web.wall import wall_view
from tests.builders import Told, a_booth, a_journal, a_set_up, instant, style
from tests.web.test_wall import standing

if TYPE_CHECKING:
    from tests.web.conftest import Web

LONG = style("mural", [("all", 18_000, True)])


def seen_of(told: Told, now: str, style: str) -> tuple[ForToday, Standing]:
    seen = standing(told, now)
    return for_today(seen, seen.forecast.last_orders[style], seen.forecast.order_now[style], seen.as_of), seen


def chosen(told: Told, now: str, style: str, sitters: int = 1, artist: str | None = None) -> str:
    seen = standing(told, now)
    offered = offers(told.booth, pace_of(told.booth), seen.as_of, sitters=sitters, artist=artist)
    return instead(seen, style, offered, seen.as_of)


def test_it_is_said_from_two_hours_before_on_to_the_five_minutes_before():
    last = standing(a_booth(), "12:00").forecast.last_orders["ink-head"]  # 17:3x UTC, an hour later in Lisbon
    assert last is not None
    quote = standing(a_booth(), "12:00").forecast.order_now["ink-head"]
    seen = standing(a_booth(), "12:00")

    before, after = (for_today(seen, last, quote, last - timedelta(minutes=early)) for early in (121, 119))

    assert before == FAR_OFF
    assert after == ForToday("order until about", f"18:{last.minute // 5 * 5:02d}")


def test_in_the_last_minutes_no_time_is_said_that_has_passed():
    seen = standing(a_booth(), "17:37")
    quote = seen.forecast.order_now["ink-head"]

    assert for_today(seen, instant("17:39"), quote, instant("17:37")) == ForToday(AT_ONCE)


def test_what_may_be_ready_but_not_as_surely_as_is_promised_is_not_surely_for_today():
    said, seen = seen_of(a_booth(), "17:47", "ink-head")

    assert seen.forecast.order_now["ink-head"].window[0] < instant("18:00")
    assert said == ForToday(NOT_SURELY)


def test_what_is_only_ready_after_closing_is_not_for_today():
    assert seen_of(a_booth(), "17:58", "chalk-half")[0] == ForToday(NOT_BEFORE)


@pytest.mark.parametrize("told", [a_booth().day_closed(at="17:50"), a_booth()], ids=["day closed", "past closing"])
def test_a_booth_that_is_closed_says_nothing(told):
    seen = standing(told, "18:10")

    assert [style.today for style in wall_view(seen).styles] == [FAR_OFF, FAR_OFF]


def test_a_style_that_takes_longer_than_the_day_says_so_without_calling_last_orders():
    told = a_booth(a_set_up([style("ink-head", [("all", 600, True)]), LONG], closes_early()))

    view = wall_view(standing(told, "13:00"))

    assert view.order_now == "Nobody is waiting: a portrait ordered now is begun at once."
    assert [(one.style, one.today.said) for one in view.styles] == [("ink-head", ""), ("mural", NOT_SURELY)]


def closes_early() -> list[dict[str, object]]:
    return [{"id": "a1", "name": "Easel a1", "styles": ["ink-head", "mural"]}]


def test_last_orders_where_nobody_waits_say_both():
    view = wall_view(standing(a_booth(), "16:30"))

    assert view.order_now == "Last orders for today, and nobody is waiting. A portrait ordered now is ready:"


def test_once_nothing_can_be_promised_the_wall_says_so():
    view = wall_view(standing(a_booth().ordered("T1", "T2", at="17:50"), "17:51"))

    assert view.order_now == "Nothing more can be promised before closing. A portrait ordered now is ready:"
    assert {style.today for style in view.styles} == {FAR_OFF}  # once is enough


def test_a_style_that_fits_needs_no_other():
    assert chosen(a_booth(), "16:00", "chalk-half") == ""


def test_a_style_too_long_for_today_names_what_still_is():
    said = chosen(a_booth(), "17:25", "chalk-half")

    assert re.fullmatch(r"Not surely before closing\. Still today: Ink head \(until 18:[34][05]\)\.", said)


def test_after_the_night_it_is_said_when():
    told = a_booth().ordered(*(f"T{n}" for n in range(9)), at="17:30")

    said = chosen(told, "17:31", "ink-head")

    assert said.startswith("Not before closing: ready tomorrow about 1")


def test_fewer_sitters_and_another_artist_are_offered_first():
    told = a_booth().ordered("T1", "T2", artist="a1", at="17:20")

    fewer, anybody = chosen(told, "17:20", "ink-head", sitters=5), chosen(told, "17:20", "ink-head", artist="a1")

    assert re.search(r"Still today: (1 sitter|2 sitters) \(until 18:[23]", fewer)
    assert re.search(r"Still today: drawn by whoever is free first \(until 18:[34]", anybody)


def test_past_closing_it_says_when_that_was():
    assert chosen(a_booth(), "18:10", "ink-head").startswith("Closing was at 19:00: ready tomorrow about 10:")


def test_while_no_day_is_open_there_is_nothing_instead():
    assert chosen(a_booth().day_closed(at="18:00"), "18:10", "ink-head") == ""


def test_a_booth_that_draws_on_after_closing_says_until_when():
    told = a_booth()
    seen = standing(told, "17:50")
    seen = replace(seen, forecast=replace(seen.forecast, today_until=instant("19:30")))
    quote = seen.forecast.order_now["chalk-half"]

    said = instead(seen, "chalk-half", {"chalk-half": Offer(quote)}, seen.as_of)

    assert said == "Not surely before 20:30, as late as you draw on after closing."


def test_a_closing_past_midnight_is_told_by_the_clock_alone():
    told = a_journal().set_up().day_opened(closes="2026-06-07T01:00:00.000Z").artist_in("a1", "a2")

    said, _ = seen_of(told, "23:30", "ink-head")

    assert said.said == "order until about"
    assert said.until in ("01:35", "01:40")  # Lisbon is an hour ahead: closing is at 02:00


# The pages


def closing_soon(web: Web, minutes: float) -> None:
    day = web.desk.standing(wait_s=10).booth.day
    assert day is not None
    web.after((day.closes_at - web.desk.clock.now()).total_seconds() / 60 - minutes)


def test_wall_counter_and_api_say_the_same(web: Web):
    closing_soon(web, 60)
    web.sign_in()

    wall, counter = (web.client.get(f"/quay/{page}").get_data(as_text=True) for page in ("wall", "counter"))
    told = web.client.get("/api/v1/booths/quay/wall").get_json()

    assert [one["style"] for one in told["last_orders"]] == ["pencil-head", "chalk-half", "watercolour"]
    assert all(told["as_of"] < one["until"] < told["closes_at"] for one in told["last_orders"])
    assert told["today_until"] == told["closes_at"]
    assert wall.count("order until about") == counter.count("order until about") == 3


def test_a_closed_day_has_no_last_orders_in_the_api(web: Web):
    web.do("day_closed")

    told = web.client.get("/api/v1/booths/quay/wall").get_json()

    assert (told["last_orders"], told["today_until"]) == ([], None)


def test_the_counter_offers_what_still_fits_for_as_many_sitters(web: Web):
    closing_soon(web, 40)
    web.sign_in()

    said = web.client.get("/quay/counter/quotes?sitters=3").get_data(as_text=True)

    assert 'data-instead="Not before closing: ready ' in said
    assert "Still today: " in said

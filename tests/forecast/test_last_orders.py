"""Until when a portrait can be promised for today; worked examples are in tests/theory/test_last_orders.py."""

from datetime import datetime, timedelta

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from portraitq.forecast.last_orders import CLOSE_S
from portraitq.forecast.pace import pace_of
from portraitq.forecast.promise import promise
from portraitq.forecast.quotes import ASKED, Forecast, forecast, offers, quote_order
from portraitq.forecast.schedule import Scenarios
from tests.builders import CHALK, INK_HEAD, Told, a_booth, a_journal, a_set_up, artist

CLOSE = timedelta(seconds=CLOSE_S)
AT_ONCE = timedelta(0)


def seen(told: Told, now: str) -> Forecast:
    return forecast(told.booth, pace_of(told.booth), told.at(now))


def an_afternoon() -> Told:
    """Two artists, one of them with a break to come, one portrait on an easel, a request, and one that is held."""
    told = a_journal().set_up().day_opened(a2=("17:00", "17:15")).artist_in("a1", "a2")
    told = told.ordered("T1", at="16:00").started("T1", "a1", at="16:01").stage_done("T1", at="16:04")
    told = told.ordered("T2", style="chalk-half", at="16:05").ordered("T3", artist="a2", at="16:06")
    return told.ordered("T4", at="16:07").held("T4", at="16:08")


def test_a_booth_that_is_closed_or_not_set_up_has_no_last_orders():
    closed, empty = seen(a_booth().day_closed(at="18:00"), "18:30"), seen(a_journal(), "09:00")

    assert (dict(closed.last_orders), closed.today_until) == ({}, None)
    assert (dict(empty.last_orders), empty.today_until) == ({}, None)


def test_a_style_that_nobody_draws_has_none():
    told = a_booth(a_set_up(artists=[artist("a1", "ink-head")]))

    assert list(seen(told, "16:00").last_orders) == ["ink-head"]
    assert offers(told.booth, pace_of(told.booth), told.at("16:00"), sitters=3, artist=None)["chalk-half"].fewer is None


@pytest.mark.parametrize("now", ["16:10", "17:00", "17:20", "17:40", "17:50", "18:10"])
def test_there_is_one_exactly_as_long_as_the_promise_of_an_order_now_keeps_to_the_day(now):
    found = seen(an_afternoon(), now)

    assert found.today_until is not None
    assert {style: last is not None for style, last in found.last_orders.items()} == {
        style: quote.promise_at <= found.today_until for style, quote in found.order_now.items()
    }


def latest_by_trying(told: Told, now: str, style: str) -> datetime:
    """The last half minute at which an order is promised for today, by asking the scenarios for every one of them."""
    booth, at = told.booth, told.at(now)
    assert booth.set_up is not None
    assert booth.day is not None
    wanted = booth.set_up.style(style)
    assert wanted is not None
    scenarios, told_at = Scenarios(booth, pace_of(booth), at), at
    for in_s in range(0, int((booth.day.closes_at - at).total_seconds()), 30):
        ready_s = scenarios.asked(wanted, 1, None, ASKED, in_s=float(in_s)).ready_s
        ready_s.sort()
        if promise(ready_s, booth.set_up.booth.confidence, 300, at, booth.zone) <= booth.day.closes_at:
            told_at = at + timedelta(seconds=in_s)
    return told_at


@pytest.mark.parametrize("style", ["ink-head", "chalk-half"])
def test_it_is_the_last_of_all_instants_that_could_be_tried(style):
    told = an_afternoon()

    last = seen(told, "16:10").last_orders[style]

    assert last is not None
    assert -timedelta(seconds=30) < latest_by_trying(told, "16:10", style) - last <= CLOSE


@settings(max_examples=12)
@given(
    minutes_before=st.integers(100, 500),
    confidence=st.sampled_from([0.5, 0.85, 0.95]),
    round_to_s=st.sampled_from([60, 300, 420]),
    artists=st.integers(1, 2),
)
def test_an_order_then_is_promised_for_today_and_one_a_step_later_is_not(
    minutes_before, confidence, round_to_s, artists
):
    """Asked again when the time has come and nothing has happened since: no other order, nobody in or out."""
    hands = [artist("a1", "ink-head", "chalk-half"), artist("a2", "ink-head", "chalk-half")][:artists]
    told = a_booth(a_set_up([INK_HEAD, CHALK], hands, confidence=confidence, round_to_s=round_to_s))
    pace, now = pace_of(told.booth), told.at("18:00") - timedelta(minutes=minutes_before)
    found = forecast(told.booth, pace, now)
    step = max(timedelta(seconds=round_to_s), CLOSE + timedelta(seconds=1))

    for style, last in found.last_orders.items():
        assert last is not None
        assert found.today_until is not None
        then, later = (
            quote_order(told.booth, pace, last + after, style=style, sitters=1, artist=None).promise_at
            for after in (AT_ONCE, step)
        )
        assert then <= found.today_until < later


@settings(max_examples=10)
@given(st.lists(st.sampled_from(["ink-head", "chalk-half"]), max_size=7), st.sampled_from(["ink-head", "chalk-half"]))
def test_one_more_in_the_queue_never_makes_it_later(styles, one_more):
    told = a_booth()
    for number, style in enumerate(styles, start=1):
        told = told.ordered(f"T{number}", style=style, at="16:00")

    before, after = (seen(each, "16:01").last_orders for each in (told, told.ordered("T9", style=one_more, at="16:00")))

    at = told.at("16:01")
    assert all((after[style] or at) <= (before[style] or at) + CLOSE for style in before)


def test_the_offer_of_one_sitter_asked_of_nobody_is_that_of_the_forecast():
    told = an_afternoon()
    pace, now = pace_of(told.booth), told.at("16:10")

    offered = offers(told.booth, pace, now, sitters=1, artist=None)

    found = forecast(told.booth, pace, now)
    assert {style: (each.quote, each.last_order) for style, each in offered.items()} == {
        style: (quote, found.last_orders[style]) for style, quote in found.order_now.items()
    }


def test_asking_changes_nothing():
    told = an_afternoon()
    now = told.at("16:10")
    scenarios = Scenarios(told.booth, pace_of(told.booth), now)
    assert told.booth.set_up is not None
    style = told.booth.set_up.styles[0]
    before = scenarios.asked(style, 1, None, ASKED).ready_s.tolist()

    scenarios.asked(style, 1, None, ASKED, in_s=3600.0)

    assert scenarios.asked(style, 1, None, ASKED).ready_s.tolist() == before

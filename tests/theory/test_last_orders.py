"""Last orders by hand: portraits whose stages take what they are guessed at, so that every instant can be written down.

Guesses without a spread still have the least one, 0.02 of a stage. What is promised at 85 % (1.0364 spreads over the
usual time, standard normal table) takes, for one sitter:

    ink    100 + 380 + 110 s   590 + 1.0364 · √(2² + 7.6² + 2.2²) = 598.5 s
    chalk  200 s               200 + 1.0364 · 4                   = 204.1 s

Each answer may be up to `CLOSE_S` earlier than the last instant by hand and never later; a second is for the scenarios.
"""

from dataclasses import replace
from datetime import datetime, timedelta

import pytest

from portraitq.forecast.closing import Closing
from portraitq.forecast.last_orders import CLOSE_S
from portraitq.forecast.lognormal import LogTime
from portraitq.forecast.pace import Pace
from portraitq.forecast.quotes import forecast, offers
from tests.builders import Told, artist, instant
from tests.forecast.test_schedule import TO_THE_SECOND, a_day, holds_of, sharp_pace

EARLIER, LATER = timedelta(seconds=CLOSE_S + 1), timedelta(seconds=1)


def last_orders(told: Told, now: str, pace: Pace | None = None) -> dict[str, datetime | None]:
    return dict(forecast(told.booth, pace or sharp_pace(TO_THE_SECOND), told.at(now)).last_orders)


def agrees(found: datetime | None, by_hand: str) -> bool:
    return found is not None and instant(by_hand) - EARLIER <= found <= instant(by_hand) + LATER


def test_with_nobody_before_it_a_portrait_is_begun_its_own_time_before_closing():
    found = last_orders(a_day().artist_in("a1"), "15:00:00")

    assert agrees(found["ink"], "17:50:01.500")  # 18:00:00 − 598.5 s
    assert agrees(found["chalk"], "17:56:35.900")  # 18:00:00 − 204.1 s


def test_a_promise_is_rounded_up_so_a_closing_between_two_times_told_counts_as_the_one_before():
    found = last_orders(a_day(closes="18:04:30").artist_in("a1"), "15:00:00")

    assert agrees(found["chalk"], "17:56:35.900")  # ready by 18:00:00, else 18:05 is told


def test_the_queue_matters_only_when_it_is_not_over_before():
    told = a_day().artist_in("a1").ordered("T1", style="ink", at="17:40:00")

    found = last_orders(told, "17:40:00")

    # T1 until 17:49:50, turnaround 70 s, so the easel is free at 17:51:00
    assert agrees(found["chalk"], "17:56:35.900")
    assert found["ink"] is None  # 17:51:00 + 590 s is after closing


def test_one_more_in_the_queue_ends_it():
    told = a_day().artist_in("a1").ordered("T1", "T2", style="ink", at="17:40:00")

    assert last_orders(told, "17:40:00") == {"ink": None, "chalk": None}  # free at 18:02:00


def test_a_break_before_closing_is_begun_before_or_waited_out():
    told = a_day(a1=("17:30", "17:55")).artist_in("a1")

    found = last_orders(told, "16:30:00")

    # after the break 300 s are left. Chalk fits into them. Of ink only the finish does (110 s, not 380 s and 110 s), so
    # its likeness must be in hand when the break begins, 100 + 1.0364 · 2 = 102.1 s after it was ordered
    assert agrees(found["chalk"], "17:56:35.900")
    assert agrees(found["ink"], "17:28:17.900")


def test_where_nobody_is_in_somebody_comes_five_minutes_after_the_order():
    found = last_orders(a_day(), "15:00:00")

    assert agrees(found["chalk"], "17:51:35.900")


def test_an_artist_who_is_idle_by_then_takes_it_up_with_the_usual_lag():
    pace = sharp_pace()
    pace = replace(pace, lags=replace(pace.lags, idle=LogTime.exactly(400, 1e-9)))

    found = last_orders(a_day().artist_in("a1"), "15:00:00", pace)

    assert agrees(found["chalk"], "17:49:55.900")  # 18:00:00 − 400 s − 204.1 s


def test_what_is_held_is_drawn_first_once_it_is_released():
    told = a_day(closes="17:30").artist_in("a1").ordered("T1", style="ink", at="17:00:00").held("T1", at="17:00:00")

    found = last_orders(told, "17:00:00", holds_of(1200))

    # T1 is released at 17:20:00 and then drawn for 590 s; what is ordered sooner goes before it, what is ordered later
    # is ready at 17:29:50 + 200 s, after closing
    assert agrees(found["chalk"], "17:20:00")


def test_a_closing_past_midnight_in_the_night_when_the_clocks_go_back():
    told = (
        a_day().day_closed(at="18:00").day_opened("2026-10-24", "2026-10-24T20:00:00.000Z", "2026-10-25T02:30:00.000Z")
    )
    told = told.artist_in("a1")

    found = forecast(told.booth, sharp_pace(), instant("2026-10-24T22:00:00.000Z"))

    # Lisbon has 01:30 twice that night: at 00:30 and at 01:30 UTC; closing is at 02:30 on its clocks
    assert agrees(found.last_orders["chalk"], "2026-10-25T02:26:35.900Z")


def test_a_booth_that_is_known_to_draw_on_takes_orders_until_it_closes():
    told, closing = a_day().artist_in("a1"), Closing()
    for _ in range(60):
        closing = closing.learned(0.9, carried_over=False)
    pace = replace(sharp_pace(), closing=closing)

    found = forecast(told.booth, pace, told.at("15:00:00"))

    assert closing.draws_on > 0.85
    assert found.today_until == instant("19:30:00")
    assert dict(found.last_orders) == {"ink": instant("18:00:00"), "chalk": instant("18:00:00")}


def test_fewer_sitters_are_offered_as_far_as_they_still_fit():
    told = a_day().artist_in("a1")

    offer = offers(told.booth, sharp_pace(), told.at("17:50:00"), sitters=5, artist=None)["chalk"]

    # in the 600 s left two sit for 400 + 1.0364 · 5.7 = 405.9 s, three for 600 + 1.0364 · 6.9 = 607.2 s
    assert offer.last_order is None
    assert offer.fewer is not None
    assert offer.fewer[0] == 2
    assert agrees(offer.fewer[1], "17:53:14.100")


def test_where_the_artist_asked_for_is_busy_another_is_offered():
    told = a_day(artist("a1", "ink", "chalk"), artist("a2", "ink")).artist_in("a1", "a2")
    told = told.ordered("T1", style="ink", artist="a1", at="17:45:00")

    offered = offers(told.booth, sharp_pace(), told.at("17:45:00"), sitters=1, artist="a1")

    assert offered["ink"].last_order is None
    assert agrees(offered["ink"].of_anybody, "17:50:01.500")


@pytest.mark.parametrize("now", ["18:00:00", "18:20:00"])
def test_after_closing_nothing_is_for_today_and_nothing_else_is_offered(now):
    told = a_day().artist_in("a1")

    found = offers(told.booth, sharp_pace(), told.at(now), sitters=3, artist="a1")["chalk"]

    assert last_orders(told, now) == {"ink": None, "chalk": None}
    assert (found.last_order, found.fewer, found.of_anybody) == (None, None, None)

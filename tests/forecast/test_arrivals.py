"""How many people are expected to ask, out of what was counted."""

import math

import numpy as np
import pytest

from portraitq.forecast.arrivals import Expected, counted, hours_of, typed
from tests.builders import Told, a_journal, instant

LISBON_10 = 600  # minutes after midnight; 09:00 UTC in June


def a_day(told: Told, day: str, *orders: str, closes: str = "12:00") -> Told:
    """Open from 09:00 UTC with orders at these times."""
    told = told.day_opened(day, "09:00", closes).artist_in("a1")
    for number, at in enumerate(orders):
        told = told.ordered(f"{day[-2:]}T{number}", at=instant(at, day))
    return told.day_closed(at=instant(closes, day))


def two_days() -> Told:
    told = a_day(a_journal().set_up(), "2026-06-06", "09:10", "09:20", "10:10", "10:20", "10:30", "11:30")
    return a_day(told, "2026-06-07", "09:30", "10:15", "10:45", "11:15")


def test_a_typed_table_is_taken_as_it_stands():
    expected = typed([3, 4, 5], 2.5 * 3600)

    assert expected.mean == (3, 4, 2.5)
    assert np.array_equal(expected.draw(np.full((3, 2), 0.3), np.full(2, 0.9)), [[3, 3], [4, 4], [2.5, 2.5]])


def test_a_typed_table_must_have_a_number_for_each_hour():
    with pytest.raises(ValueError, match="8 numbers were expected, one for each hour of the day, not 2"):
        typed([3, 4], 8 * 3600)


def test_each_hour_leans_on_what_was_counted_and_on_the_whole_day():
    booth = two_days().booth

    found = counted(booth, booth.days, LISBON_10, 3 * 3600)

    # by hand: 10 people in 6 h are 5/3 an hour; gamma with 2 h of that before, so (2·5/3 + count) / (2 + 2)
    assert found is not None
    assert found.mean == pytest.approx([(10 / 3 + count) / 4 for count in (3, 5, 2)])
    assert found.weight == pytest.approx([10 / 3 + count for count in (3, 5, 2)])
    assert (found.days, found.asked) == (2, 10)


def test_an_hour_in_which_the_booth_was_never_open_is_as_the_rest_of_the_day():
    booth = two_days().booth

    found = counted(booth, booth.days, LISBON_10, 4 * 3600)

    assert found is not None
    assert found.mean[3] == pytest.approx(10 / 6)
    assert found.unseen == (3,)
    assert found.times(2).unseen == (3,)


def test_hours_that_no_day_was_open_at_teach_nothing():
    booth = two_days().booth

    assert counted(booth, booth.days, 18 * 60, 3 * 3600) is None


def test_a_day_that_was_closed_and_opened_again_is_one_day():
    told = a_day(a_journal().set_up(), "2026-06-06", "09:10", "09:40", closes="10:00")
    told = (
        told.day_opened("2026-06-06", "11:00", "12:00").artist_in("a1").ordered("T9", at="11:30").day_closed(at="12:00")
    )

    found = counted(told.booth, told.booth.days, LISBON_10, 3 * 3600)

    assert found is not None
    assert (found.days, found.asked) == (1, 3)
    # by hand: 3 people in the 2 h that it was open, and two more hours of that rate before
    assert found.mean == pytest.approx([(3 + 2) / 3, 1.5, (3 + 1) / 3])


def test_who_left_without_hearing_a_time_is_not_counted():
    told = a_journal().set_up().day_opened("2026-06-06", "09:00", "12:00").artist_in("a1")
    told = told.ordered("T1", at="09:10").walked_away(at="09:20")
    told = told.asks("walked_away", "09:30", style="ink-head", sitters=1, ready_by="2026-06-06T10:00:00.000Z")

    found = counted(told.booth, told.booth.days, LISBON_10, 3 * 3600)

    assert found is not None
    assert found.asked == 2


def test_a_gamma_rate_has_the_mean_and_the_variance_that_theory_gives_it():
    chance = (np.arange(4000) + 0.5) / 4000

    drawn = Expected((6.0,), (12.0,)).draw(chance[None, :], chance)[0]

    # gamma with shape 12 and mean 6: variance 6²/12 (Gelman et al., BDA3, appendix A)
    assert drawn.mean() == pytest.approx(6.0, rel=1e-3)
    assert drawn.var() == pytest.approx(3.0, rel=0.01)


def test_days_that_differ_more_than_chance_widen_the_plan():
    quiet, busy = (
        ["09:30", "10:30", "11:30"],
        [f"{hour}:{minute:02}" for hour in ("09", "10", "11") for minute in range(10, 50, 2)],
    )
    told = a_journal().set_up()
    for day, orders in enumerate((quiet, busy, quiet, busy, quiet, busy), start=1):
        told = a_day(told, f"2026-06-{10 + day}", *orders)

    found = counted(told.booth, told.booth.days, LISBON_10, 3 * 3600)

    # by hand: totals 3 and 60 about 31.5, so Σ((n − 31.5)² − 31.5) / Σ 31.5² = (28.5² − 31.5) / 31.5² = 0.787; five of
    # nine parts of it beside 0.1
    assert found is not None
    assert found.spread == pytest.approx((0.4 + 5 * 0.787) / 9, abs=0.01)


def test_times_one_and_a_half_keeps_the_doubt():
    found = Expected((2.0, 4.0), (3.0, math.inf), 0.1, 2, 9).times(1.5)

    assert found == Expected((3.0, 6.0), (3.0, math.inf), 0.1, 2, 9, 1.5)


def test_the_last_hour_of_a_day_may_be_short():
    assert hours_of(3 * 3600) == (0, 3600, 7200, 10800)
    assert hours_of(1800) == (0, 1800)

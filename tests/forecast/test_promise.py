"""Which time is told."""

from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from portraitq.forecast.promise import at_level, at_levels, chance_kept, promise, round_up

NOON = datetime(2026, 6, 6, 12, 0, tzinfo=UTC)
LISBON, KATHMANDU = ZoneInfo("Europe/Lisbon"), ZoneInfo("Asia/Kathmandu")


@pytest.mark.parametrize(("seconds", "told"), [(1234, 1500), (1200, 1200), (1200.001, 1500)])
def test_a_promise_is_rounded_up_to_the_grid(seconds, told):
    # exact, by hand: a grid of 300 s
    assert round_up(NOON + timedelta(seconds=seconds), 300, LISBON) == NOON + timedelta(seconds=told)


def test_the_grid_is_that_of_the_booths_own_clocks():
    at = datetime(2026, 6, 6, 12, 1, tzinfo=UTC)  # 17:46 in Kathmandu, 5 h 45 min ahead

    told = round_up(at, 1800, KATHMANDU)

    assert told.astimezone(KATHMANDU).strftime("%H:%M") == "18:00"


@given(
    st.integers(0, 31_535_999_999).map(lambda ms: datetime(2026, 1, 1, tzinfo=UTC) + timedelta(milliseconds=ms)),
    st.sampled_from([60, 300, 420, 900, 1800.0]),
)
def test_rounding_never_goes_back_and_never_as_far_as_the_next_step(at, grid):
    told = round_up(at, grid, LISBON)

    assert timedelta(0) <= told - at < timedelta(seconds=grid)


def test_a_promise_is_never_before_now():
    told = promise(np.array([-50.0, -40.0, -30.0]), 0.85, 300, NOON + timedelta(seconds=1), LISBON)

    assert told >= NOON + timedelta(seconds=1)


def test_quantiles_are_hyndman_and_fans_type_7():
    # Hyndman & Fan 1996, Am. Stat. 50:361–365; numpy's "linear"
    data = np.array([1.0, 2, 4, 7, 11, 16, 22, 29, 37, 46])

    assert [at_level(data, p) for p in (0.1, 0.25, 0.5, 0.85, 0.9)] == pytest.approx([1.9, 4.75, 13.5, 34.2, 37.9])


def test_all_levels_of_many_tickets_are_those_of_each():
    chance = np.random.default_rng(np.random.SFC64(1))
    ready_s = np.sort(chance.gamma(2, 300, (3, 500)), axis=1)
    levels = np.sort(chance.random((3, 4)), axis=1)

    at_s = at_levels(ready_s, levels)

    assert at_s.tolist() == [
        [at_level(one, level) for level in its] for one, its in zip(ready_s, levels.tolist(), strict=True)
    ]
    assert np.all(np.diff(at_s, axis=1) > 0)
    assert at_s[0] == pytest.approx(np.quantile(ready_s[0], levels[0]))


def test_the_first_and_the_last_level_are_the_earliest_and_the_latest_scenario():
    ready_s = np.array([[100.0, 200, 400], [1, 2, 3]])

    assert at_levels(ready_s, np.array([[0.0, 1.0], [0.0, 1.0]])).tolist() == [[100, 400], [1, 3]]


def test_the_chance_of_a_promise_is_the_share_of_scenarios_that_keep_it():
    ready_s = np.array([100.0, 200, 300, 400])

    assert chance_kept(ready_s, NOON + timedelta(seconds=300), NOON) == 0.75
    assert chance_kept(ready_s, NOON, NOON) == 0.0

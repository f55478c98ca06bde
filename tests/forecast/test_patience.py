"""Where people stop ordering, out of who left and who stayed."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from portraitq.forecast.patience import ENDLESS, GUESSED_HALF_S, Patience, learned, leaves, patience_of
from tests.builders import a_booth

NOBODY = np.array([])


def test_before_anybody_left_or_stayed_the_guess_stands():
    found = learned(NOBODY, NOBODY)

    assert found.half_s == pytest.approx(GUESSED_HALF_S)
    assert (found.left, found.asked) == (0, 0)


def test_many_people_teach_it():
    draw = np.random.default_rng(np.random.SFC64(5))
    told = draw.uniform(600, 9000, 4000)
    went = draw.random(4000) < leaves(told, 4800.0, 3.0)

    found = learned(told[~went], told[went])

    # the likeliest pair lies within four of its own errors of the truth that drew it
    assert abs(math.log(found.half_s / 4800)) < 4 * math.sqrt(found.covariance[0][0])
    assert abs(math.log(found.sharpness / 3)) < 4 * math.sqrt(found.covariance[1][1])
    assert found.covariance[0][0] < 0.03**2


def test_it_is_where_the_posterior_is_highest():
    stayed, left = np.array([900.0, 1500, 2400, 4000]), np.array([3600.0, 7200])

    found = learned(stayed, left)

    # on a grid of its own: prior log h ~ N(log 9000, 0.8), log k ~ N(log 2, 0.4), logistic in log time
    def height(half: float, sharp: float) -> float:
        stay, go = (sharp * (np.log(told) - math.log(half)) for told in (stayed, left))
        likely = -np.logaddexp(0, stay).sum() - np.logaddexp(0, -go).sum()
        return likely - math.log(half / 9000) ** 2 / 1.28 - math.log(sharp / 2) ** 2 / 0.32

    here = height(found.half_s, found.sharpness)
    assert all(
        height(found.half_s * by, found.sharpness * of) < here
        for by, of in ((1.02, 1), (0.98, 1), (1, 1.02), (1, 0.98), (1.02, 1.02), (0.98, 1.02))
    )


def test_without_patience_nobody_stays_for_a_wait_and_with_endless_everybody():
    told = np.array([0.0, 60.0, 1e6])

    assert Patience(0.0).chance_to_leave(told).tolist() == [0, 1, 1]
    assert ENDLESS.chance_to_leave(told).tolist() == [0, 0, 0]


@given(half=st.floats(60, 1e5), sharp=st.floats(0.3, 9), told=st.lists(st.floats(0, 2e5), min_size=2, max_size=5))
@settings(max_examples=40, deadline=None)
def test_the_longer_the_wait_the_more_leave(half, sharp, told):
    chances = leaves(np.sort(np.array(told)), half, sharp)

    assert np.all(np.diff(chances) >= 0)
    assert np.all((chances >= 0) & (chances <= 1))


def test_the_record_tells_who_heard_what():
    told = a_booth().ordered("T1", at="09:00").promised("T1", "09:30").ordered("T2", at="09:10")
    told = told.asks("walked_away", "09:20", style=None, sitters=1, ready_by="2026-06-06T11:20:00.000Z")
    told = told.walked_away(at="09:25")

    found = patience_of(told.booth)

    assert (found.left, found.asked) == (1, 2)
    assert found == learned(np.array([1800.0]), np.array([7200.0]))

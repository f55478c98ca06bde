"""Ready times of a queue whose pace is known, against 4 × 4 million plain draws made elsewhere (largest SE 0.33 s).

All ordered at once, stages log-normal with medians 100, 380, 110 s and sigmas 0.43, 0.38, 0.47, turnaround median
70 s, sigma 0.5 before every portrait but an easel's first. Tolerance: 5 standard errors of both, ours from the
binomial spread of the rank.
"""

import math

import numpy as np
import pytest

from portraitq.forecast.draws import normals
from portraitq.forecast.easels import Easels, Work
from portraitq.forecast.hand import Spreads
from portraitq.forecast.interruptions import Lags
from portraitq.forecast.lognormal import LogTime, sum_of
from portraitq.forecast.pace import known_exactly
from portraitq.forecast.schedule import Scenarios
from tests.builders import Told, a_journal, artist
from tests.forecast.test_schedule import a_style, set_up

LEVELS = (0.05, 0.1, 0.5, 0.85, 0.9, 0.95)
N = 20_000
INK = a_style("ink", (100, 0.43), (380, 0.38), (110, 0.47))
PACE = known_exactly(lags=Lags(turnaround=LogTime.exactly(70, 0.5), idle=None, met=0, unsaid_met=0))


def a_queue(easels: int, tickets: int) -> Told:
    artists = [artist(f"a{number}", "ink") for number in range(1, easels + 1)]
    told = a_journal().set_up(set_up([INK], artists)).day_opened().artist_in(*(each["id"] for each in artists))
    return told.ordered(*(f"T{number}" for number in range(1, tickets + 1)), style="ink", at="09:00:00")


def agrees(ready_s: np.ndarray, table: tuple[float, ...], own_error_s: float = 0.33) -> list[float]:
    """The levels at which the table's quantile lies outside 5 standard errors of ours; empty when all agree."""
    ordered, n, wrong = np.sort(ready_s), len(ready_s), []
    for level, expected in zip(LEVELS, table, strict=True):
        off = 5 * math.sqrt(n * level * (1 - level))
        low, high = ordered[max(int(n * level - off), 0)], ordered[min(math.ceil(n * level + off), n - 1)]
        if not low - 5 * own_error_s <= expected <= high + 5 * own_error_s:
            wrong.append(level)
    return wrong


@pytest.mark.parametrize(
    ("easels", "place", "table"),
    [
        (1, 1, (398.7, 438.3, 615.3, 817.0, 875.1, 970.2)),
        (1, 2, (991.0, 1057.4, 1334.5, 1620.8, 1698.7, 1822.7)),
        (1, 3, (1613.9, 1701.0, 2054.3, 2403.8, 2496.6, 2642.6)),
        (1, 5, (2900.6, 3021.1, 3494.4, 3942.8, 4058.9, 4239.0)),
        (2, 3, (943.9, 1002.6, 1242.4, 1484.6, 1550.3, 1655.0)),
        (2, 4, (1093.1, 1158.6, 1431.5, 1710.4, 1785.3, 1903.2)),
        (2, 6, (1778.3, 1860.4, 2189.9, 2506.6, 2588.7, 2716.1)),
    ],
)
def test_the_nth_in_the_queue(easels, place, table):
    told = a_queue(easels, place)

    found = Scenarios(told.booth, PACE, told.at("09:00:00"), N).outlooks[f"T{place}"]

    assert agrees(found.ready_s, table) == []


@pytest.mark.parametrize(
    ("ran", "table"),
    [
        ("09:06:40", (103.0, 126.5, 259.4, 443.0, 498.7, 591.4)),  # its second stage has run 300 s
        ("09:13:20", (89.9, 109.1, 219.4, 387.7, 442.2, 535.7)),  # 700 s
    ],
)
def test_what_is_left_of_the_one_on_the_easel(ran, table):
    told = a_queue(1, 1).started("T1", at="09:00:00").taps("s1 09:01:40")

    found = Scenarios(told.booth, PACE, told.at(ran), N).outlooks["T1"]

    assert agrees(found.ready_s, table) == []


def test_the_next_one_after_it():
    told = a_queue(1, 2).started("T1", at="09:00:00").taps("s1 09:01:40")

    found = Scenarios(told.booth, PACE, told.at("09:06:40"), N).outlooks["T2"]

    assert agrees(found.ready_s, (672.2, 730.3, 982.8, 1255.3, 1331.0, 1452.4)) == []


def test_two_thousand_scenarios_say_it_more_closely_than_as_many_plain_draws_would():
    found = np.array([_promise_s(f"T{number}") for number in range(40)])

    # log-normal, median 380 and sigma 0.5: √(q(1−q)/n)/f at 85 % is 10.92 s for n = 2000 plain draws
    assert found.std() < 10.92 / 2
    assert abs(found.mean() - 638.0317) < 5 * found.std() / math.sqrt(len(found)) + 0.5


def _promise_s(ticket: str) -> float:
    style = a_style("one", (380, 0.5))
    told = a_journal().set_up(set_up([style], [artist("a1", "one")])).day_opened().artist_in("a1")
    told = told.ordered(ticket, style="one", at="09:00:00")
    ready_s = Scenarios(told.booth, PACE, told.at("09:00:00")).outlooks[ticket].ready_s
    return float(np.quantile(ready_s, 0.85))


def test_the_sum_of_stages_by_fenton_and_wilkinson_is_close_in_the_middle():
    told = a_queue(1, 1)
    mu, sigma = sum_of(np.log([100, 380, 110]), np.array([0.43, 0.38, 0.47]))

    ready_s = Scenarios(told.booth, PACE, told.at("09:00:00"), N).outlooks["T1"].ready_s

    # good to 0.5 % from 50 to 95 %, by 2·10⁷ draws; 4 standard errors of ours beside it
    for level, z in ((0.5, 0.0), (0.85, 1.0364334), (0.9, 1.2815516)):
        assert np.quantile(ready_s, level) == pytest.approx(math.exp(mu + z * sigma), rel=0.005 + 0.01)


def test_a_day_that_is_slow_is_slow_for_everybody_in_the_queue():
    style = a_style("one", (600, 0.25))
    told = a_journal().set_up(set_up([style], [artist("a1", "one")])).day_opened().artist_in("a1")
    told = told.ordered(*(f"T{number}" for number in range(1, 10)), style="one", at="09:00:00")
    day_alone = Spreads(general=0, style=0, stage=0, day=0.15, sketch=0, wander=0, guess_weight=math.inf)
    pace = known_exactly(day_alone, Lags(turnaround=None, idle=None, met=0, unsaid_met=0))

    ready_s = Scenarios(told.booth, pace, told.at("09:00:00"), N).outlooks["T9"].ready_s

    # 9 × 600·e^(d+ε), d ~ N(0, 0.15²) common, ε ~ N(0, 0.25²): mean and sd exact, quantiles by Monte Carlo (SE 8)
    assert ready_s.mean() == pytest.approx(5634.45, abs=4 * 977.28 / math.sqrt(N))
    assert ready_s.std() == pytest.approx(977.28, rel=4 * 1.5 / math.sqrt(2 * N))
    for level, expected in ((0.05, 4183.6), (0.85, 6637), (0.95, 7367)):
        assert np.quantile(ready_s, level) == pytest.approx(expected, abs=60)


def test_a_slowness_of_each_sketch_evens_out_over_the_queue():
    style = a_style("one", (600, 0.25))
    told = a_journal().set_up(set_up([style], [artist("a1", "one")])).day_opened().artist_in("a1")
    told = told.ordered(*(f"T{number}" for number in range(1, 10)), style="one", at="09:00:00")
    sketch_alone = Spreads(general=0, style=0, stage=0, day=0, sketch=0.15, wander=0, guess_weight=math.inf)
    pace = known_exactly(sketch_alone, Lags(turnaround=None, idle=None, met=0, unsaid_met=0))

    ready_s = Scenarios(told.booth, pace, told.at("09:00:00"), N).outlooks["T9"].ready_s

    # the same with d drawn for each portrait: mean and sd exact, quantiles by Monte Carlo (SE 8)
    assert ready_s.mean() == pytest.approx(5634.45, abs=4 * 559.41 / math.sqrt(N))
    assert ready_s.std() == pytest.approx(559.41, rel=4 * 1.5 / math.sqrt(2 * N))
    for level, expected in ((0.05, 4765), (0.85, 6212), (0.95, 6599)):
        assert np.quantile(ready_s, level) == pytest.approx(expected, abs=50)


def test_quantiles_do_not_add():
    easel = Easels(np.zeros((1, N)), [[]])

    for portrait in range(9):
        ready_s, _, _ = easel.take([Work(600 + 120 * normals(f"T{portrait}", 1, N)[0])], np.zeros(N))

    # nine portraits of N(600, 120²): 85 % of their sum is 5773.116 s, the sum of their 85 % would be 6519.348 s
    error_s = math.sqrt(0.85 * 0.15 / N) * 360 / 0.2332  # of the quantile, by the normal density at 85 %
    assert np.quantile(ready_s, 0.85) == pytest.approx(5773.116, abs=4 * error_s)

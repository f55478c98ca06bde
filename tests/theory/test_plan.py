"""The simulator of planned days against queueing theory and another program.

The same `play` that plans a booth's day is given closed forms' customers and times. Tolerances are standard errors of
independent days, five of them where many cells are looked at.
"""

from __future__ import annotations

import math
import random
from dataclasses import replace

import numpy as np
import pytest
import simpy

from portraitq.forecast.arrivals import typed
from portraitq.forecast.easels import Easels, Work
from portraitq.forecast.interruptions import Lags
from portraitq.forecast.lognormal import LogTime, from_guesses
from portraitq.forecast.pace import known_exactly
from portraitq.forecast.patience import ENDLESS
from portraitq.forecast.plan import Plan, simulate
from portraitq.forecast.planned_days import Asks, Played, play
from portraitq.forecast.wishes import Mix, Wishes
from tests.builders import a_booth, artist
from tests.forecast.test_schedule import a_style, set_up


class Given:
    """Hands whose times were drawn beforehand, (k, n), the same for whoever draws."""

    def __init__(self, needs: np.ndarray, servers: int, turnaround: np.ndarray | None = None) -> None:
        self.needs, self.turnaround, self.may = needs, turnaround, np.ones((1, servers), np.bool_)

    def work(self, k: int, kind: np.ndarray, who: np.ndarray, begins_s: np.ndarray) -> Work:
        return Work(self.needs[k])

    def turnaround_s(self, k: int) -> np.ndarray | float:
        return 0.0 if self.turnaround is None else self.turnaround[k]

    def idle_s(self, k: int) -> float:
        return 0.0


def draws(seed: int) -> np.random.Generator:
    return np.random.default_rng(np.random.SFC64(seed))


def played(
    servers: int,
    came: np.ndarray,
    needs: np.ndarray,
    turnaround: np.ndarray | None = None,
    comes: np.ndarray | None = None,
) -> Played:
    everybody = np.ones(came.shape, np.bool_) if comes is None else comes
    nothing = np.zeros(came.shape, np.intp)
    easels = Easels(np.zeros((servers, came.shape[1])), [[] for _ in range(servers)])
    return play(Asks(came, everybody, nothing, nothing - 1), Given(needs, servers, turnaround), easels)


def near(days: np.ndarray, expected: float, other_error: float = 0.0, errors: float = 5.0) -> bool:
    error = math.hypot(days.std(ddof=1) / math.sqrt(len(days)), other_error)
    return abs(days.mean() - expected) <= errors * error


# Erlang C, Cooper 1981 (from memory): B(k) = aB/(k + aB), C = B / (1 − (a/c)(1 − B)); the mean wait is C/(c − a)
# services. The first is Bronson, Operations Research (1982), 23.16: 1/min, 45 s each, waits 2.25 min = 3 services; the
# second Render, Stair & Hanna, ch. 14, alternative example 14.3: 20/h, 2 min each at two, Lq 1/12.
@pytest.mark.parametrize(
    ("servers", "load", "chance"),
    [
        (1, 0.5, 0.5),
        (1, 0.75, 0.75),
        (2, 2 / 3, 1 / 6),
        (2, 1.0, 0.333333),
        (2, 1.5, 0.642857),
        (3, 2.0, 0.444444),
        (3, 2.5, 0.702247),
        (4, 3.0, 0.509434),
        (5, 4.0, 0.554113),
        (10, 8.0, 0.40918),
        (20, 16.0, 0.256078),
    ],
)
def test_in_the_long_run_as_many_wait_as_erlang_has_it(servers, load, chance):
    draw, shape = draws(1), (1100, 250)
    came = np.cumsum(draw.exponential(1 / load, shape), axis=0)

    found = played(servers, came, draw.exponential(1.0, shape))

    waited = (found.begins_s - came)[350:]
    assert near((waited > 0).mean(axis=0), chance)
    assert near(waited.mean(axis=0), chance / (servers - load))


# Pollaczek–Khinchine (textbook, from memory): λ 1/600, E S 480 s, variance 0 and that of the exponential
@pytest.mark.parametrize(("kind", "expected"), [("always the same", 960.0), ("exponential", 1920.0)])
def test_in_the_long_run_one_easel_waits_as_pollaczek_and_khinchine_have_it(kind, expected):
    draw, shape = draws(2), (1600, 250)
    needs = draw.exponential(480.0, shape) if kind == "exponential" else np.full(shape, 480.0)
    came = np.cumsum(draw.exponential(600.0, shape), axis=0)

    found = played(1, came, needs)

    assert near((found.begins_s - came)[500:].mean(axis=0), expected)


# 12 runs each of ciw 3.2.7 and simpy 4.1.2 from a run in: 15 min each, at two easels one customer in 10 min, at one
# easel one in 20. By formula (Erlang C; Pollaczek–Khinchine) 19.2857, 22.5 and 28.8906 min; the last one has none, and
# a Kiefer–Wolfowitz recursion written elsewhere gave 12.534 ± 0.056
@pytest.mark.parametrize(
    ("servers", "apart", "kind", "others"),
    [
        (2, 10.0, "exponential", [(19.2857, 0.0), (19.12, 0.35), (19.37, 0.32)]),
        (1, 20.0, "always the same", [(22.5, 0.0), (22.97, 0.46), (22.98, 0.46)]),
        (1, 20.0, "log-normal", [(28.8906, 0.0), (28.88, 0.51), (28.80, 0.46)]),
        (2, 10.0, "log-normal", [(12.534, 0.056), (12.71, 0.19), (12.82, 0.20)]),
    ],
)
def test_in_the_long_run_as_other_simulators_found(servers, apart, kind, others):
    draw, shape = draws(3), (1600, 250)
    came = np.cumsum(draw.exponential(apart, shape), axis=0)
    needs = {
        "exponential": lambda: draw.exponential(15.0, shape),
        "always the same": lambda: np.full(shape, 15.0),
        "log-normal": lambda: draw.lognormal(math.log(15.0) - 0.125, 0.5, shape),
    }[kind]()

    found = played(servers, came, needs)

    waited = (found.begins_s - came)[500:].mean(axis=0)
    assert [mean for mean, error in others if not near(waited, mean, error)] == []


# mean wait of the n-th customer from an empty start, exact by the embedded chain
@pytest.mark.parametrize(
    ("servers", "rate", "expected"),
    [
        (1, 0.5, {2: 0.33333333, 3: 0.51851852, 6: 0.78062287, 10: 0.90716163, 20: 0.98476066}),
        (2, 1.8, {3: 0.15225564, 4: 0.28809273, 6: 0.51145674, 10: 0.84447026, 20: 1.38996262, 30: 1.75659653}),
    ],
)
def test_a_day_that_begins_empty(servers, rate, expected):
    draw, shape = draws(4), (max(expected), 12_000)
    came = np.cumsum(draw.exponential(1 / rate, shape), axis=0)
    came = came - came[0]

    found = played(servers, came, draw.exponential(1.0, shape))

    assert {n for n, mean in expected.items() if not near((found.begins_s - came)[n - 1], mean)} == set()


# one day at two easels: 8 an hour for 6 h, stages 100, 380, 110 s; numpy with 400 000 days, simpy and ciw agree
@pytest.mark.parametrize(
    ("has_turnaround", "wait", "flow", "late"),
    [
        (True, (549.24, 0.74), (1190.21, 0.75), (0.16535, 0.00032)),
        (False, (326.46, 0.43), (967.42, 0.44), (0.07255, 0.0002)),
    ],
)
def test_one_day_at_two_easels(has_turnaround, wait, flow, late):
    draw, shape = draws(5), (90, 4000)
    came = np.cumsum(draw.exponential(450.0, shape), axis=0)
    needs = sum(draw.lognormal(math.log(m), s, shape) for m, s in ((100, 0.43), (380, 0.38), (110, 0.47)))
    turnaround = draw.lognormal(math.log(70), 0.5, shape) if has_turnaround else None

    found = played(2, came, needs, turnaround, came <= 21_600)

    for each, (mean, their_error) in (
        (found.begins_s - came, wait),
        (found.ready_s - came, flow),
        (found.ready_s - came > 1800, late),
    ):
        total, number = np.where(found.taken, each, 0.0).sum(axis=0), found.taken.sum(axis=0)
        ratio = total.sum() / number.sum()
        error = (total - ratio * number).std() / number.mean() / math.sqrt(shape[1])
        assert ratio == pytest.approx(mean, abs=5 * math.hypot(error, their_error))
    if has_turnaround:
        last = np.where(found.taken, found.ready_s, 0.0).max(axis=0)
        assert near(last, 22_477.9, 1.5)
        assert near((found.ready_s <= 21_600).sum(axis=0), 45.111, 0.009)


# Gelman et al., Bayesian Data Analysis, 3rd ed., exercise 1.9: 3 servers, 1 per 10 min for 7 h, 5 to 20 min each; the
# figures are those of 60 000 days
def test_a_whole_day_from_empty_at_three():
    draw, shape = draws(6), (80, 4000)
    came = np.cumsum(draw.exponential(10.0, shape), axis=0)

    found = played(3, came, draw.uniform(5.0, 20.0, shape), None, came <= 420.0)

    waited = np.where(found.taken, found.begins_s - came, 0.0)
    assert near(found.taken.sum(axis=0), 42.01, 0.03)
    assert near((waited > 0).sum(axis=0), 6.10, 0.02)
    last = np.where(found.taken, found.ready_s, 0.0).max(axis=0)
    assert near(np.maximum(last - 420.0, 0.0), 6.67, 0.02)


# Little 1961, Oper. Res. 9:383–387: on each day by itself, the sum of flow times is the area under the number there
def test_littles_law_holds_on_each_day():
    booth, plan = a_planned_booth()

    found = simulate(booth, EXACTLY, plan, days=40, seed=7).played

    for day in range(40):
        taken = found.taken[:, day]
        came, ready = found.asks.at_s[taken, day], found.ready_s[taken, day]
        changes = sorted([*((at, 1) for at in came), *((at, -1) for at in ready)])
        area, there, since = 0.0, 0, 0.0
        for at, step in changes:
            area, there, since = area + there * (at - since), there + step, at
        assert there == 0
        assert area == pytest.approx((ready - came).sum(), rel=1e-9)


INK, CHALK = a_style("ink", (100, 0.43), (380, 0.38), (110, 0.47)), a_style("chalk", (700, 0.4), (500, 0.3))
TURNAROUND, PEOPLE, HOURS = (70.0, 0.5), (3.0, 6.0, 7.0, 4.0), 4
EXACTLY = known_exactly(
    lags=Lags(turnaround=LogTime.exactly(*TURNAROUND), idle=None, met=0, unsaid_met=0, guessed=None)
)


def a_planned_booth():
    """Two artists, one of whom draws chalk as well; everybody waits, and closing is far away."""
    told = a_booth(set_up([INK, CHALK], [artist("a1", "ink", "chalk"), artist("a2", "ink")]))
    wishes = Wishes(
        ("ink", "chalk"),
        Mix((0.7, 0.3), is_given=True),
        {"ink": Mix((1.0,)), "chalk": Mix((1.0,))},
        {"ink": {}, "chalk": {}},
    )
    plan = Plan(
        600, HOURS * 3600.0, typed(PEOPLE, HOURS * 3600.0), wishes, ENDLESS, ("a1", "a2"), ("ink", "chalk"), 0.85
    )
    return told.booth, plan


def simpy_day(seed: int) -> tuple[int, float, float]:
    """The same plan by discrete events with Python's own chance: how many came, mean flow time, ready last."""
    draw, world = random.Random(seed), simpy.Environment()
    queue, flows, last = [], [], [0.0]
    news = {"event": world.event()}

    def tell() -> None:
        news["event"].succeed()
        news["event"] = world.event()

    def customers():
        for hour, people in enumerate(PEOPLE):
            yield world.timeout(max(hour * 3600.0 - world.now, 0.0))
            while True:
                gap = draw.expovariate(people / 3600)
                if world.now + gap >= (hour + 1) * 3600.0:
                    yield world.timeout((hour + 1) * 3600.0 - world.now)
                    break
                yield world.timeout(gap)
                queue.append((world.now, "ink" if draw.random() < 0.7 else "chalk"))
                tell()

    def hand(draws_what):
        while True:
            mine = next((one for one in queue if one[1] in draws_what), None)
            if mine is None:
                yield news["event"]
                continue
            queue.remove(mine)
            for stage in (INK if mine[1] == "ink" else CHALK)["stages"]:
                mu, sigma = from_guesses(stage["quick_s"], stage["usual_s"], stage["slow_s"])
                yield world.timeout(draw.lognormvariate(mu, sigma))
            flows.append(world.now - mine[0])
            last[0] = world.now
            yield world.timeout(draw.lognormvariate(math.log(TURNAROUND[0]), TURNAROUND[1]))

    world.process(customers())
    world.process(hand({"ink", "chalk"}))
    world.process(hand({"ink"}))
    world.run(until=200_000)
    assert not queue
    return len(flows), sum(flows), last[0]


def test_simpy_finds_the_same_days():
    booth, plan = a_planned_booth()
    days = 150

    ours = simulate(booth, EXACTLY, plan_without_closing(plan), days=1000, seed=3).played
    theirs = np.array([simpy_day(seed) for seed in range(days)])

    flow = np.where(ours.taken, ours.ready_s - ours.asks.at_s, 0.0).sum(axis=0)
    last = np.where(ours.taken, ours.ready_s, 0.0).max(axis=0)
    for our, their in ((ours.taken.sum(axis=0), theirs[:, 0]), (flow, theirs[:, 1]), (last, theirs[:, 2])):
        assert near(our, their.mean(), other_error=their.std(ddof=1) / math.sqrt(days), errors=4)


def plan_without_closing(plan: Plan) -> Plan:
    """Six more hours in which nobody comes, so that all work is done on the day."""
    lasts_s = plan.lasts_s + 6 * 3600.0
    return replace(plan, lasts_s=lasts_s, asked=typed((*PEOPLE, *(0.0,) * 6), lasts_s))

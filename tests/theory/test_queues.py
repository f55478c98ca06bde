"""The easels against queueing theory and other simulators.

Each scenario is one day: customers come at random, portraits take what they take, whoever is free first draws the
next. Mean waits are compared with closed forms, 5 standard errors between independent days apart.
"""

import math

import numpy as np
import pytest
import simpy

from portraitq.forecast.easels import Easels, Work

DRAW = np.random.default_rng(np.random.SFC64(20260606))


def waits(servers: int, arrives: np.ndarray, needs: np.ndarray, turnaround: np.ndarray | None = None) -> np.ndarray:
    """(customers, days) waiting times of a queue that is served in its order."""
    customers, days = arrives.shape
    booth = Easels(np.zeros((servers, days)), [[] for _ in range(servers)])
    found = np.empty_like(arrives)
    for k in range(customers):
        after = np.zeros(days) if turnaround is None else turnaround[k]
        _, _, begins = booth.take([Work(needs[k])] * servers, after, from_s=arrives[k])
        found[k] = begins - arrives[k]
    return found


def arrivals(rate: float, customers: int, days: int) -> np.ndarray:
    return np.cumsum(DRAW.exponential(1 / rate, (customers, days)), axis=0)


def near(sample: np.ndarray, expected: float) -> bool:
    """Whether the mean of independent days is within 5 standard errors of `expected`."""
    return bool(abs(sample.mean() - expected) <= 5 * sample.std(ddof=1) / math.sqrt(len(sample)))


# mean wait of the nth customer from an empty start: the exact embedded chain
@pytest.mark.parametrize(
    ("servers", "rate", "expected"),
    [
        (1, 0.5, {1: 0, 2: 0.33333333, 3: 0.51851852, 6: 0.78062287, 10: 0.90716163, 20: 0.98476066, 30: 0.99692247}),
        (2, 1.8, {2: 0, 3: 0.15225564, 4: 0.28809273, 6: 0.51145674, 10: 0.84447026, 20: 1.38996262, 30: 1.75659653}),
    ],
)
def test_the_nth_customer_of_a_day_waits_as_long_as_theory_says(servers, rate, expected):
    days = 20_000
    came = arrivals(rate, 30, days)
    came = came - came[0]  # the first one comes to an empty booth at once

    found = waits(servers, came, DRAW.exponential(1.0, (30, days)))

    for n, mean in expected.items():
        assert near(found[n - 1], mean) if mean else np.all(found[n - 1] == 0)


# Pollaczek–Khinchine: rate × E S² / 2(1 − ρ); one easel, one customer in 600 s, mean 480 s
@pytest.mark.parametrize(("kind", "expected"), [("always the same", 960.0), ("exponential", 1920.0)])
def test_one_easel_in_the_long_run(kind, expected):
    customers, days = 2500, 600
    needs = np.full((customers, days), 480.0) if kind == "always the same" else DRAW.exponential(480, (customers, days))

    found = waits(1, arrivals(1 / 600, customers, days), needs)

    assert near(found[500:].mean(axis=0), expected)


def test_one_easel_with_log_normal_portraits_in_the_long_run():
    customers, days = 2500, 600
    needs = DRAW.lognormal(math.log(380), 0.5, (customers, days))

    found = waits(1, arrivals(1 / 600, customers, days), needs)

    # Pollaczek–Khinchine with E S² 238075.3515: 702.6868632 s
    assert near(found[500:].mean(axis=0), 702.6868632)


# Erlang C, the chance of having to wait: Cooper 1981; B(k) = aB/(k + aB), C = B / (1 − (a/c)(1 − B))
@pytest.mark.parametrize(("servers", "load", "chance"), [(2, 1.5, 0.642857), (3, 2.0, 0.444444), (5, 4.0, 0.554113)])
def test_the_chance_of_waiting_at_several_easels(servers, load, chance):
    customers, days = 1500, 500

    found = waits(servers, arrivals(load, customers, days), DRAW.exponential(1.0, (customers, days)))

    assert near((found[400:] > 0).mean(axis=0), chance)
    mean_wait = chance / (servers - load)
    assert near(found[400:].mean(axis=0), mean_wait)


def a_day_at_two_easels(days: int) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """Poisson, 8 an hour for 6 hours; stages medians 100, 380, 110 s; turnaround median 70 s."""
    came = arrivals(8 / 3600, 90, days)
    stages = [DRAW.lognormal(math.log(m), s, came.shape) for m, s in ((100, 0.43), (380, 0.38), (110, 0.47))]
    return came, sum(stages[1:], start=stages[0]), DRAW.lognormal(math.log(70), 0.5, came.shape), came <= 21_600


def test_one_day_at_two_easels_with_turnaround():
    days = 6000
    came, needs, turnaround, counts = a_day_at_two_easels(days)

    waited = waits(2, came, needs, turnaround)

    # 400 000 days in numpy: 549.24 ± 0.74 s to the start, 1190.21 ± 0.75 s to ready, 16.535 ± 0.032 % over 30 min
    for each, expected, own_error in (
        (waited, 549.24, 0.74),
        (waited + needs, 1190.21, 0.75),
        ((waited + needs > 1800).astype(float), 0.16535, 0.00032),
    ):
        totals, numbers = (each * counts).sum(axis=0), counts.sum(axis=0)
        mean = totals.sum() / numbers.sum()
        error = (totals - mean * numbers).std() / numbers.mean() / math.sqrt(days)  # of a ratio of totals
        assert mean == pytest.approx(expected, abs=5 * math.hypot(error, own_error))


def test_a_whole_day_from_empty_at_three():
    # Gelman et al., Bayesian Data Analysis, 3rd ed., exercise 1.9, 60 000 days: 42.01 customers, 6.10 wait,
    # those for 3.88 min, the last leaves 6.67 min after closing
    days = 6000
    came = arrivals(1 / 10, 80, days)
    needs = DRAW.uniform(5, 20, came.shape)
    counts = came <= 420

    waited = waits(3, came, needs)

    must_wait = (waited > 0) & counts
    assert near(must_wait.sum(axis=0).astype(float), 6.10)
    mean_of_day = (waited * must_wait).sum(axis=0) / np.maximum(must_wait.sum(axis=0), 1)
    assert near(mean_of_day, 3.88)
    last = np.where(counts, came + waited + needs, 0).max(axis=0)
    assert near(np.maximum(last - 420, 0), 6.67)


def test_customer_by_customer_the_same_as_simpy():
    days = 12
    came, needs, turnaround, _ = a_day_at_two_easels(days)

    ours = waits(2, came, needs, turnaround)

    theirs = np.array([_simpy_day(came[:, day], needs[:, day], turnaround[:, day]) for day in range(days)]).T
    assert ours == pytest.approx(theirs, abs=1e-6)


def _simpy_day(came: np.ndarray, needs: np.ndarray, turnaround: np.ndarray) -> list[float]:
    """The same day by simpy's discrete events: an easel is held through its turnaround."""
    world, waited = simpy.Environment(), [0.0] * len(came)
    easels = simpy.Resource(world, capacity=2)

    def customer(k: int):
        yield world.timeout(came[k])
        with easels.request() as easel:
            yield easel
            waited[k] = world.now - came[k]
            yield world.timeout(needs[k] + turnaround[k])

    for k in range(len(came)):
        world.process(customer(k))
    world.run()
    return waited

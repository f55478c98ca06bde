"""The easels against queueing theory.

Each scenario is one day: customers come at random, portraits take what they take, whoever is free first draws the
next. Mean waits are compared with closed forms, 5 standard errors between independent days apart.
"""

import math

import numpy as np
import pytest

from portraitq.forecast.easels import Easels, Work

DRAW = np.random.default_rng(np.random.SFC64(20260606))
BEGINNING = DRAW.bit_generator.state


@pytest.fixture(autouse=True)
def every_test_draws_the_same_whichever_others_run():
    DRAW.bit_generator.state = BEGINNING


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


# Pollaczek–Khinchine: rate × E S² / 2(1 − ρ); one easel, one customer in 600 s, mean 480 s, variance a share of 480²
@pytest.mark.parametrize(("share", "expected"), [(0.0, 960.0), (0.15, 1104.0), (1.0, 1920.0)])
def test_one_easel_in_the_long_run(share, expected):
    customers, days = 2500, 600
    needs = _with_variance(share, (customers, days))

    found = waits(1, arrivals(1 / 600, customers, days), needs)

    assert near(found[500:].mean(axis=0), expected)


def _with_variance(share: float, shape: tuple[int, int]) -> np.ndarray:
    """Times of mean 480 s and variance `share` × 480²: gamma, which is always the same at 0 and exponential at 1."""
    return DRAW.gamma(1 / share, 480 * share, shape) if share else np.full(shape, 480.0)


def test_one_easel_with_log_normal_portraits_in_the_long_run():
    customers, days = 2500, 600
    needs = DRAW.lognormal(math.log(380), 0.5, (customers, days))

    found = waits(1, arrivals(1 / 600, customers, days), needs)

    # Pollaczek–Khinchine with E S² 238075.3515: 702.6868632 s
    assert near(found[500:].mean(axis=0), 702.6868632)


# Erlang C, the chance of having to wait: Cooper 1981; B(k) = aB/(k + aB), C = B / (1 − (a/c)(1 − B))
@pytest.mark.parametrize(
    ("servers", "load", "chance"),
    [
        (1, 0.5, 0.500000),
        (2, 1.0, 0.333333),
        (2, 1.5, 0.642857),
        (3, 2.0, 0.444444),
        (3, 2.5, 0.702247),
        (4, 3.0, 0.509434),
        (5, 4.0, 0.554113),
        (10, 8.0, 0.409180),
        (20, 16.0, 0.256078),
    ],
)
def test_the_chance_of_waiting_at_several_easels(servers, load, chance):
    customers, days = 1500, 400

    found = waits(servers, arrivals(load, customers, days), DRAW.exponential(1.0, (customers, days)))

    assert near((found[400:] > 0).mean(axis=0), chance)
    mean_wait = chance / (servers - load)
    assert near(found[400:].mean(axis=0), mean_wait)


# worked examples of textbooks, times in the unit of each: rate of arrivals, time of a service, mean wait, and the
# chance of waiting longer than some times
@pytest.mark.parametrize(
    ("servers", "rate", "service", "mean_wait", "longer"),
    [
        # Hillier & Lieberman, Introduction to Operations Research, 8th ed., ch. 17, emergency room (from memory), hours
        (1, 2.0, 1 / 3, 2 / 3, {0: 0.666667, 0.5: 0.404354, 1: 0.245253}),
        (2, 2.0, 1 / 3, 1 / 24, {0: 0.166667, 0.5: 0.022556, 1: 0.003053}),
        # Gross et al., Fundamentals of Queueing Theory, 4th ed., ch. 2, eye clinic (from memory), minutes
        (3, 0.1, 20.0, 8.8889, {0: 0.444444}),
        # Bronson, Operations Research (1982), problems 24.6 (years), 23.3 (hours), 23.14 (minutes), 23.16 (minutes)
        (3, 300.0, 1 / 182.5, 0.001175, {}),
        (1, 24.0, 1 / 30, 4 / 30, {0: 0.8}),
        (1, 0.5, 1.5, 4.5, {0: 0.75}),
        (1, 1.0, 0.75, 2.25, {0: 0.75}),
        # Render, Stair & Hanna, Quantitative Analysis for Management, ch. 14, alternative example 14.3, hours
        (2, 20.0, 2 / 60, 1 / 12 / 20, {0: 1 / 6}),
    ],
)
def test_worked_examples_of_textbooks(servers, rate, service, mean_wait, longer):
    customers, days = 1500, 400

    found = waits(servers, arrivals(rate, customers, days), DRAW.exponential(service, (customers, days)))[400:]

    assert near(found.mean(axis=0), mean_wait)
    for time, chance in longer.items():
        assert near((found > time).mean(axis=0), chance)


# one customer in 10 min, portraits of 15 min on average at two easels: Erlang C; log-normal ones (sigma 0.5) by a
# Kiefer–Wolfowitz recursion written elsewhere, 12.534 ± 0.056 min; at one easel, 20 min apart: Pollaczek–Khinchine
@pytest.mark.parametrize(
    ("servers", "apart", "kind", "expected", "own_error"),
    [
        (2, 10, "exponential", 19.2857, 0.0),
        (1, 20, "always the same", 22.5, 0.0),
        (1, 20, "log-normal", 28.8906, 0.0),
        (2, 10, "log-normal", 12.534, 0.056),
    ],
)
def test_a_quarter_of_an_hour_each_in_the_long_run(servers, apart, kind, expected, own_error):
    customers, days = 2000, 600
    needs = {
        "exponential": lambda: DRAW.exponential(15, (customers, days)),
        "always the same": lambda: np.full((customers, days), 15.0),
        "log-normal": lambda: DRAW.lognormal(math.log(15) - 0.125, 0.5, (customers, days)),
    }[kind]()

    found = waits(servers, arrivals(1 / apart, customers, days), needs)[500:].mean(axis=0)

    error = math.hypot(found.std(ddof=1) / math.sqrt(days), own_error)
    assert found.mean() == pytest.approx(expected, abs=5 * error)


def test_several_easels_are_about_as_busy_as_allen_and_cunneen_have_it():
    customers, days = 2000, 600
    sigma = math.sqrt(math.log1p(0.16))
    needs = DRAW.lognormal(math.log(800) - sigma**2 / 2, sigma, (customers, days))

    found = waits(2, arrivals(8 / 3600, customers, days), needs)[500:].mean(axis=0)

    # Allen, Probability, Statistics and Queueing Theory (1990), from memory: M/M/2's 3011.7647 s × (1 + 0.16)/2, an
    # approximation; plain simulation gave 1757.5 ± 4
    error = 5 * math.hypot(found.std(ddof=1) / math.sqrt(days), 4)
    assert found.mean() == pytest.approx(1757.5, abs=error)
    assert found.mean() == pytest.approx(1746.8235, abs=error + 0.01 * 1746.8235)


def a_day_at_two_easels(days: int) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """Poisson, 8 an hour for 6 hours; stages medians 100, 380, 110 s; turnaround median 70 s."""
    came = arrivals(8 / 3600, 90, days)
    stages = [DRAW.lognormal(math.log(m), s, came.shape) for m, s in ((100, 0.43), (380, 0.38), (110, 0.47))]
    return came, sum(stages[1:], start=stages[0]), DRAW.lognormal(math.log(70), 0.5, came.shape), came <= 21_600


def of_all_customers(each: np.ndarray, counts: np.ndarray) -> tuple[float, float]:
    """Mean over the customers of all days, and its standard error as that of a ratio of two totals."""
    totals, numbers = (each * counts).sum(axis=0), counts.sum(axis=0)
    mean = totals.sum() / numbers.sum()
    return float(mean), float((totals - mean * numbers).std() / numbers.mean() / math.sqrt(len(totals)))


# 400 000 days in numpy, simpy and ciw agree: s to the start, s to ready, share over 30 min, each with its error
@pytest.mark.parametrize(
    ("has_turnaround", "expected"),
    [
        (True, [(549.24, 0.74), (1190.21, 0.75), (0.16535, 0.00032)]),
        (False, [(326.46, 0.43), (967.42, 0.44), (0.07255, 0.00020)]),
    ],
)
def test_one_day_at_two_easels(has_turnaround, expected):
    came, needs, turnaround, counts = a_day_at_two_easels(6000)

    waited = waits(2, came, needs, turnaround if has_turnaround else None)

    found = [of_all_customers(each, counts) for each in (waited, waited + needs, waited + needs > 1800)]
    for (mean, error), (theirs, their_error) in zip(found, expected, strict=True):
        assert mean == pytest.approx(theirs, abs=5 * math.hypot(error, their_error))


def test_how_one_day_at_two_easels_ends():
    days = 6000
    came, needs, turnaround, counts = a_day_at_two_easels(days)

    waited = waits(2, came, needs, turnaround)

    # 400 000 days in numpy: the last is ready after 22477.9 ± 1.5 s, on one day of ten after 23704 s; 45.111 ± 0.009
    # of 48.005 are ready at six hours; the day's tenth customer waits 370.5 ± 0.7 s
    ready = came + waited + needs
    last = np.where(counts, ready, 0).max(axis=0)
    for each, theirs, their_error in (
        (last, 22477.9, 1.5),
        ((last > 23704).astype(float), 0.1, 0.0005),
        ((counts & (ready <= 21_600)).sum(axis=0), 45.111, 0.009),
        (waited[9][counts[9]], 370.5, 0.7),
    ):
        error = math.hypot(each.std(ddof=1) / math.sqrt(len(each)), their_error)
        assert each.mean() == pytest.approx(theirs, abs=5 * error)


def test_a_whole_day_from_empty_at_three():
    # Gelman et al., Bayesian Data Analysis, 3rd ed., exercise 1.9, 60 000 days: 42.01 customers, 6.10 wait,
    # those for 3.88 min, the last leaves 6.67 min after closing
    days = 6000
    came = arrivals(1 / 10, 80, days)
    needs = DRAW.uniform(5, 20, came.shape)
    counts = came <= 420

    waited = waits(3, came, needs)

    must_wait = (waited > 0) & counts
    assert near(counts.sum(axis=0), 42.01)
    assert near(must_wait.sum(axis=0).astype(float), 6.10)
    mean_of_day = (waited * must_wait).sum(axis=0) / np.maximum(must_wait.sum(axis=0), 1)
    assert near(mean_of_day, 3.88)
    late = np.maximum(np.where(counts, came + waited + needs, 0).max(axis=0) - 420, 0)
    assert near(late, 6.67)
    for each, quarters in ((counts.sum(axis=0), [38, 42, 46]), (must_wait.sum(axis=0), [3, 5, 8])):
        assert np.quantile(each, (0.25, 0.5, 0.75)) == pytest.approx(quarters, abs=1)
    assert np.quantile(late, (0.25, 0.5, 0.75)) == pytest.approx([0, 6.0, 11.4], abs=0.5)

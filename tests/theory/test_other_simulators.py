"""The easels beside two programs that simulate queues event by event: simpy and ciw."""

from __future__ import annotations

import math
import random
from collections.abc import Callable

import ciw
import numpy as np
import pytest
import simpy

from tests.theory.test_queues import a_day_at_two_easels, waits

CUSTOMERS, RUNS = 600, 40  # of each other program, each run from empty; ours are as many customers and more runs
OUR_RUNS = 1500


def test_customer_by_customer_the_same_as_simpy():
    days = 12
    came, needs, turnaround, _ = a_day_at_two_easels(days)

    ours = waits(2, came, needs, turnaround)

    held = needs + turnaround
    theirs = np.array([simpy_waits(2, came[:, day], held[:, day]) for day in range(days)]).T
    assert ours == pytest.approx(theirs, abs=1e-6)


def test_customer_by_customer_the_same_as_ciw():
    days = 12
    came, needs, _, _ = a_day_at_two_easels(days)

    ours = waits(2, came, needs)

    theirs = np.array([ciw_waits(2, came[:, day], needs[:, day]) for day in range(days)]).T
    assert ours == pytest.approx(theirs, abs=1e-6)


def simpy_waits(servers: int, came: np.ndarray, held: np.ndarray) -> list[float]:
    """Waiting times by simpy's discrete events: an easel is held through drawing and turnaround."""
    world, waited = simpy.Environment(), [0.0] * len(came)
    easels = simpy.Resource(world, capacity=servers)

    def customer(k: int):
        yield world.timeout(came[k])
        with easels.request() as easel:
            yield easel
            waited[k] = world.now - came[k]
            yield world.timeout(held[k])

    for k in range(len(came)):
        world.process(customer(k))
    world.run()
    return waited


def simpy_run(seed: int, servers: int, apart: float, kind: str) -> float:
    """Mean wait of one run of simpy, chance from Python's own generator."""
    draw = random.Random(1000 + seed)  # ciw's runs draw from the same generator
    came = np.cumsum([draw.expovariate(1 / apart) for _ in range(CUSTOMERS)])
    lengths: dict[str, Callable[[], float]] = {
        "exponential": lambda: draw.expovariate(1 / 15),
        "always the same": lambda: 15.0,
        "log-normal": lambda: draw.lognormvariate(math.log(15) - 0.125, 0.5),
    }
    return float(np.mean(simpy_waits(servers, came, np.array([lengths[kind]() for _ in range(CUSTOMERS)]))))


def ciw_waits(servers: int, came: np.ndarray, needs: np.ndarray) -> list[float]:
    """Waiting times by ciw of customers who come then and need so long."""
    network = ciw.create_network(
        arrival_distributions=[ciw.dists.Sequential([*np.diff(came, prepend=0.0).tolist(), math.inf])],
        service_distributions=[ciw.dists.Sequential(needs.tolist())],
        number_of_servers=[servers],
    )
    world = ciw.Simulation(network)
    world.simulate_until_max_time(float(came[-1] + needs.sum()) + 1)
    served = sorted(world.get_all_records(["service"]), key=lambda record: record.arrival_date)
    assert len(served) == len(came)
    return [record.waiting_time for record in served]


def ciw_run(seed: int, servers: int, apart: float, kind: str) -> float:
    """Mean wait of one run of ciw, with its own distributions."""
    lengths = {
        "exponential": ciw.dists.Exponential(1 / 15),
        "always the same": ciw.dists.Deterministic(15),
        "log-normal": ciw.dists.Lognormal(math.log(15) - 0.125, 0.5),
    }
    network = ciw.create_network(
        arrival_distributions=[ciw.dists.Exponential(1 / apart)],
        service_distributions=[lengths[kind]],
        number_of_servers=[servers],
    )
    ciw.seed(seed)
    world = ciw.Simulation(network)
    world.simulate_until_max_customers(CUSTOMERS + 100, method="Arrive")  # some more, so that the last ones are served
    served = sorted(world.get_all_records(["service"]), key=lambda record: record.arrival_date)[:CUSTOMERS]
    assert len(served) == CUSTOMERS
    return float(np.mean([record.waiting_time for record in served]))


def our_runs(servers: int, apart: float, kind: str) -> np.ndarray:
    """(runs,) mean wait of each run of our own easels."""
    draw, shape = np.random.default_rng(np.random.SFC64(7)), (CUSTOMERS, OUR_RUNS)
    lengths: dict[str, Callable[[], np.ndarray]] = {
        "exponential": lambda: draw.exponential(15, shape),
        "always the same": lambda: np.full(shape, 15.0),
        "log-normal": lambda: draw.lognormal(math.log(15) - 0.125, 0.5, shape),
    }
    return waits(servers, np.cumsum(draw.exponential(apart, shape), axis=0), lengths[kind]()).mean(axis=0)


# the first 600 customers of an empty booth, all three programs with chance of their own: within 5 standard errors
@pytest.mark.parametrize("run", [simpy_run, ciw_run])
@pytest.mark.parametrize(
    ("servers", "apart", "kind"),
    [(2, 10, "exponential"), (1, 20, "always the same"), (1, 20, "log-normal"), (2, 10, "log-normal")],
)
def test_on_average_the_same_wait_as_another_program_finds(run, servers, apart, kind):
    theirs = np.array([run(seed, servers, apart, kind) for seed in range(RUNS)])

    ours = our_runs(servers, apart, kind)

    error = math.hypot(theirs.std(ddof=1) / math.sqrt(RUNS), ours.std(ddof=1) / math.sqrt(OUR_RUNS))
    assert ours.mean() == pytest.approx(theirs.mean(), abs=5 * error)

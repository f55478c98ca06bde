"""Orders of work against worked examples of the books, and against every order there is.

Completion times come from the program's own easels, whose turnaround is nothing here. Jobs are numbered from 1 as in
the books. "From memory" says that the book was not at hand; each optimum was confirmed by trying all orders.
"""

import math
from itertools import permutations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from portraitq.core.booth import Booth
from portraitq.forecast.due_dates import earliest_due, fewest_late
from portraitq.forecast.easels import Easels, Work
from portraitq.forecast.interruptions import Lags
from portraitq.forecast.pace import known_exactly
from portraitq.forecast.sequence import Orders, suggest
from tests.builders import Told, a_journal, artist
from tests.forecast.test_schedule import a_style, set_up

Order = tuple[int, ...]


def completions(takes: list[int], order: Order, easels: int = 1, released: list[int] | None = None) -> dict[int, float]:
    """When each job is done if the easels take them in that order, each whichever easel is free first."""
    booth, nothing = Easels(np.zeros((easels, 1)), [[]] * easels), np.zeros(1)
    done = {}
    for job in order:
        work, from_s = Work(np.array([float(takes[job - 1])])), released[job - 1] if released else 0
        done[job] = float(booth.take([work] * easels, nothing, from_s)[0][0])
    return done


def lateness(takes: list[int], due: list[int], order: Order, released: list[int] | None = None) -> list[float]:
    done = completions(takes, order, released=released)
    return [done[job] - due[job - 1] for job in sorted(done)]


def late(takes: list[int], due: list[int], order: Order) -> int:
    return sum(each > 0 for each in lateness(takes, due, order))


def tardiness(takes: list[int], due: list[int], order: Order) -> float:
    return sum(max(each, 0) for each in lateness(takes, due, order))


def by_due_date(due: list[int]) -> Order:
    return tuple(job + 1 for job in earliest_due(due))


def by_moore(takes: list[int], due: list[int]) -> tuple[Order, Order]:
    in_time, given_up = fewest_late(takes, due)
    return tuple(job + 1 for job in in_time), tuple(job + 1 for job in given_up)


def shortest_first(takes: list[int]) -> Order:
    return tuple(sorted(range(1, len(takes) + 1), key=lambda job: takes[job - 1]))


def every_order(takes: list[int]) -> list[Order]:
    return list(permutations(range(1, len(takes) + 1)))


# Pinedo, Scheduling, §3.3: the example of Moore and Hodgson's rule (from memory)

PINEDO = [7, 8, 4, 6, 6], [9, 17, 18, 19, 21]


def test_earliest_due_date_makes_the_greatest_lateness_least():
    takes, due = PINEDO  # rule: Jackson 1955 (from memory)
    order = by_due_date(due)

    assert sorted(completions(takes, order).values()) == [7, 15, 19, 25, 31]
    assert max(lateness(takes, due, order)) == 10 == min(max(lateness(takes, due, o)) for o in every_order(takes))
    assert (late(takes, due, order), tardiness(takes, due, order)) == (3, 17)


def test_moore_and_hodgson_give_up_two_of_five():
    takes, due = PINEDO

    assert by_moore(takes, due) == ((3, 4, 5), (1, 2))
    assert late(takes, due, (3, 4, 5, 1, 2)) == 2 == min(late(takes, due, order) for order in every_order(takes))


def test_shortest_first_makes_the_mean_least_and_earliest_due_not_the_tardiness():
    takes, due = PINEDO  # rule: Smith 1956 (from memory)

    assert sum(completions(takes, shortest_first(takes)).values()) == 84
    assert min(tardiness(takes, due, order) for order in every_order(takes)) == 16


# Moore 1968, Management Science 15:102–109: his own instance (from memory)

MOORE = [10, 6, 3, 1, 4, 8, 7, 6], [35, 20, 11, 8, 6, 25, 28, 9]


def test_moores_own_instance():
    takes, due = MOORE
    order = by_due_date(due)

    assert order == (5, 4, 8, 3, 2, 6, 7, 1)
    assert list(completions(takes, order).values()) == [4, 5, 11, 14, 20, 28, 35, 45]
    assert (late(takes, due, order), max(lateness(takes, due, order)), tardiness(takes, due, order)) == (5, 10, 25)
    assert by_moore(takes, due) == ((5, 4, 3, 2, 7, 1), (8, 6))
    assert late(takes, due, (5, 4, 3, 2, 7, 1, 8, 6)) == 2
    assert sum(completions(takes, shortest_first(takes)).values()) == 154


# Pinedo, Scheduling, §3.4: total tardiness (from memory)


def test_no_rule_is_best_for_the_total_tardiness():
    takes, due = [121, 79, 147, 83, 130], [260, 266, 266, 336, 337]

    assert tardiness(takes, due, (1, 2, 4, 5, 3)) == 370 == min(tardiness(takes, due, o) for o in every_order(takes))
    assert tardiness(takes, due, by_due_date(due)) == 398
    assert tardiness(takes, due, shortest_first(takes)) == 393


# Graham 1969, SIAM J. Appl. Math. 17:416–429, instance of Pinedo §5.1; Conway, Maxwell & Miller 1967 (both from memory)


def test_longest_first_on_four_easels_is_a_quarter_too_long_at_worst():
    takes = [7, 7, 6, 6, 5, 5, 4, 4, 4]

    assert max(completions(takes, tuple(range(1, 10)), easels=4).values()) == 15  # the optimum is 12


def test_shortest_first_on_two_easels():
    takes = [2, 4, 7, 1, 3, 9, 5]

    assert sum(completions(takes, shortest_first(takes), easels=2).values()) == 53
    assert sum(completions(takes, tuple(range(1, 8)), easels=2).values()) == 59


# Heizer & Render, Operations Management, short-term scheduling (from memory)


@pytest.mark.parametrize(
    ("named", "flow", "tardy"),
    [("ABCDE", 15.4, 2.2), ("BDACE", 13.0, 1.8), ("BADCE", 13.6, 1.2), ("ECADB", 20.6, 9.6)],
    ids=["first come", "shortest", "earliest due", "longest"],
)
def test_four_rules_side_by_side(named: str, flow: float, tardy: float):
    takes, due = [6, 2, 8, 3, 9], [8, 6, 18, 15, 23]
    order = tuple("ABCDE".index(letter) + 1 for letter in named)

    assert math.isclose(sum(completions(takes, order).values()) / 5, flow)
    assert math.isclose(tardiness(takes, due, order) / 5, tardy)


def test_the_rules_find_two_of_these_orders_and_that_one_must_be_late():
    takes, due = [6, 2, 8, 3, 9], [8, 6, 18, 15, 23]

    assert "".join("ABCDE"[job - 1] for job in by_due_date(due)) == "BADCE"
    assert len(by_moore(takes, due)[1]) == 1


# Pinedo, Scheduling, §3.2: release times (from memory); all 24 orders tried


def test_with_release_times_waiting_for_a_later_one_can_be_best():
    takes, due, released = [4, 2, 6, 5], [8, 12, 11, 10], [0, 1, 3, 5]

    greatest = {order: max(lateness(takes, due, order, released)) for order in every_order(takes)}

    assert min(greatest.values()) == 5 == greatest[(1, 3, 4, 2)]
    assert greatest[by_due_date(due)] > 5


# Any jobs


jobs = st.lists(st.tuples(st.integers(1, 20), st.integers(0, 40)), min_size=1, max_size=6)


@settings(max_examples=25)
@given(jobs)
def test_no_order_of_any_jobs_does_better_than_the_two_rules(these: list[tuple[int, int]]):
    takes, due = [job[0] for job in these], [job[1] for job in these]
    all_late = [np.array(lateness(takes, due, order)) for order in every_order(takes)]
    in_time, given_up = by_moore(takes, due)

    assert max(lateness(takes, due, by_due_date(due))) == min(each.max() for each in all_late)
    assert late(takes, due, (*in_time, *given_up)) == len(given_up) == min((each > 0).sum() for each in all_late)


# The same examples as a booth's queue, in minutes: the scenarios hardly differ, so the optimum is the books'


def a_queue(takes: list[int], due: list[int]) -> Booth:
    styles = [a_style(f"s{job}", (60.0 * minutes, 0.001)) for job, minutes in enumerate(takes, start=1)]
    told: Told = a_journal().set_up(set_up(styles, [artist("a1", *(str(one["id"]) for one in styles))]))
    told = told.day_opened().artist_in("a1")
    for job in range(1, len(takes) + 1):
        told = told.ordered(f"T{job}", style=f"s{job}", at="09:00:00")
    for job, minutes in enumerate(due, start=1):
        told = told.promised(f"T{job}", f"09:{minutes:02d}:30", at="09:00:00")  # half a minute off the books' ties
    return told.booth


PACE = known_exactly(lags=Lags(turnaround=None, idle=None, met=0, unsaid_met=0))


@pytest.mark.parametrize(("example", "by_due", "fewest"), [(PINEDO, 3, 2), (MOORE, 5, 2)], ids=["Pinedo", "Moore"])
def test_the_scenarios_of_a_queue_without_chance_break_as_many_promises_as_the_books(example, by_due, fewest):
    booth = a_queue(*example)
    orders = Orders(booth, PACE, booth.last_at)
    in_time, given_up = by_moore(*example)

    assert orders.of_order([f"T{job}" for job in by_due_date(example[1])]).after.broken == pytest.approx(
        by_due, abs=0.02
    )
    fewest_broken = orders.of_order([f"T{job}" for job in (*in_time, *given_up)]).after.broken
    assert fewest_broken == pytest.approx(fewest, abs=0.02)


def test_the_suggestion_for_a_queue_without_chance_breaks_as_few_as_moore_and_hodgson():
    booth = a_queue(*PINEDO)

    found = suggest(booth, PACE, booth.last_at, passed_over_most=20)

    assert found is not None
    assert found.effect.before.broken == pytest.approx(3, abs=0.02)
    assert found.effect.after.broken == pytest.approx(2, abs=0.02)

"""Who draws what when."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from portraitq.forecast.easels import Easels, Hours, Work

NOTHING = np.zeros(1)


def exactly(*stages_s: float) -> Work:
    return Work(np.array([float(sum(stages_s))]), np.array(stages_s, dtype=float)[:, None])


def easels(*free_s: float, breaks: dict[int, list[tuple[float, float]]] | None = None, hours: Hours | None = None):
    planned = [(breaks or {}).get(artist, []) for artist in range(len(free_s))]
    return Easels([np.array([float(at)]) for at in free_s], planned, hours)


# two servers, first free, longest idle first: computed by hand in minutes
@pytest.mark.parametrize(
    ("turnaround", "starts", "ends", "servers"),
    [
        (0, [0, 0, 20, 35, 35, 45, 50, 60], [20, 35, 35, 45, 60, 50, 80, 70], None),
        (2, [0, 0, 22, 37, 39, 49, 56, 66], [20, 35, 37, 47, 64, 54, 86, 76], [0, 1, 0, 1, 0, 1, 1, 0]),
    ],
)
def test_eight_customers_at_two_easels(turnaround, starts, ends, servers):
    arrives, needs = [0, 0, 5, 10, 12, 30, 31, 60], [20, 35, 15, 10, 25, 5, 30, 10]
    two = easels(0, 0)

    done = [
        two.take([exactly(need), exactly(need)], np.array([float(turnaround)]), from_s=float(came))
        for came, need in zip(arrives, needs, strict=True)
    ]

    assert [float(begins[0]) for _, _, begins in done] == starts
    assert [float(ready[0]) for ready, _, _ in done] == ends
    if servers:
        assert [int(who[0]) for _, who, _ in done] == servers


def test_who_may_not_draw_it_is_passed_over_even_when_free():
    two = easels(500, 0)

    ready_s, who, _ = two.take([exactly(100), None], NOTHING)

    assert (ready_s[0], who[0]) == (600, 0)


def test_a_later_portrait_goes_to_a_free_easel_that_may_not_draw_the_one_before():
    two = easels(500, 0)
    two.take([exactly(100), None], NOTHING)

    ready_s, who, _ = two.take([exactly(100), exactly(100)], NOTHING)

    assert (ready_s[0], who[0]) == (100, 1)


def test_a_question_takes_nobodys_time():
    one = easels(0)

    one.end(*one.first([0]), exactly(100))

    assert one.take([exactly(50)], NOTHING)[0][0] == 50


def test_the_stage_in_hand_is_finished_before_a_break_that_still_ends_on_time():
    # by hand: stages exactly 100/380/110 s, begun 11:55:00, break 12:00–12:30 → ready 12:31:50
    from_1155 = easels(0, breaks={0: [(300, 2100)]})

    ready_s, _, _ = from_1155.take([exactly(100, 380, 110)], NOTHING)

    assert ready_s[0] == (12 * 3600 + 31 * 60 + 50) - (11 * 3600 + 55 * 60)


def test_a_stage_that_ends_as_the_break_begins_delays_nothing_but_the_next():
    one = easels(0, breaks={0: [(300, 2100)]})

    ready_s, _, _ = one.take([exactly(100, 200, 110)], NOTHING)

    assert ready_s[0] == 2100 + 110


def test_a_portrait_that_is_ready_in_the_break_is_not_delayed():
    one = easels(0, breaks={0: [(300, 2100)]})

    first, _, _ = one.take([exactly(100, 380)], NOTHING)
    second, _, _ = one.take([exactly(50)], NOTHING)

    assert (first[0], second[0]) == (480, 2150)


def test_two_breaks_are_both_kept():
    one = easels(0, breaks={0: [(100, 200), (300, 500)]})

    ready_s, _, _ = one.take([exactly(100, 100, 100)], NOTHING)

    assert ready_s[0] == 600


def test_nothing_is_begun_after_closing_but_what_is_in_hand_is_finished():
    one = easels(0, hours=Hours(((float("-inf"), 100.0), (50_000.0, 60_000.0))))

    first, _, _ = one.take([exactly(150)], NOTHING)
    second, _, _ = one.take([exactly(150)], NOTHING)

    assert (first[0], second[0]) == (150, 50_150)


def test_a_portrait_may_begin_on_the_stroke_of_closing():
    one = easels(0, hours=Hours(((float("-inf"), 100.0), (50_000.0, 60_000.0))))
    one.take([exactly(100)], NOTHING)

    ready_s, _, _ = one.take([exactly(10)], NOTHING)

    assert ready_s[0] == 110


def _by_events(free_s, jobs):
    """The rule itself, event by event: who is free first takes the first in the queue that they may draw."""
    free, left, ready = list(free_s), list(range(len(jobs))), {}
    while left:
        can = [a for a in range(len(free)) if any(a in jobs[j][1] for j in left)]
        artist = min(can, key=lambda a: (free[a], a))
        job = next(j for j in left if artist in jobs[j][1])
        left.remove(job)
        ready[job] = free[artist] + jobs[job][0]
        free[artist] = ready[job] + jobs[job][2]
    return [ready[j] for j in range(len(jobs))]


@given(
    free_s=st.lists(st.integers(0, 500), min_size=3, max_size=3, unique=True),
    jobs=st.lists(
        st.tuples(
            st.integers(1, 10_000),
            st.sets(st.integers(0, 2), min_size=1),
            st.integers(0, 97),
        ),
        max_size=12,
    ),
)
def test_in_the_order_of_the_queue_everybody_gets_what_events_would_give_them(free_s, jobs):
    # durations are made distinct so that no two easels are free at once: who takes it then is anybody's guess
    jobs = [(need + index * 1e-3 + 1e-5, may, turn) for index, (need, may, turn) in enumerate(jobs)]
    three = easels(*free_s)

    taken = [
        float(three.take([exactly(need) if a in may else None for a in range(3)], np.array([float(turn)]))[0][0])
        for need, may, turn in jobs
    ]

    assert taken == pytest.approx(_by_events(free_s, jobs))


def test_when_it_was_begun_is_not_changed_by_what_comes_after():
    one = easels(0)

    _, _, begins_s = one.take([exactly(100)], NOTHING)
    one.take([exactly(100)], NOTHING)

    assert begins_s[0] == 0


def test_a_last_stage_in_hand_is_finished_in_the_break():
    one = easels(0, breaks={0: [(300, 2100)]})

    ready_s = one.through_breaks(0, np.array([0.0]), exactly(400), is_running=True)

    assert ready_s[0] == 400


def test_pauses_are_spread_over_the_stages_when_a_break_asks_where_they_end():
    one = easels(0, breaks={0: [(300, 2100)]})

    # stages of 100 and 100 s drawn in 400 s in all: the first ends at 200, before the break, and the second in it
    ready_s, _, _ = one.take([Work(np.array([400.0]), np.array([[100.0], [100.0]]))], NOTHING)

    assert ready_s[0] == 400


def test_work_without_stages_cannot_be_divided_by_a_break():
    one = easels(0, breaks={0: [(300, 2100)]})

    with pytest.raises(ValueError, match="stages"):
        one.take([Work(np.array([400.0]))], NOTHING)


@given(
    free_s=st.lists(st.integers(0, 500), min_size=2, max_size=2),
    pauses=st.lists(st.tuples(st.integers(0, 3000), st.integers(1, 900)), max_size=3),
    jobs=st.lists(st.lists(st.integers(1, 400), min_size=1, max_size=3), max_size=8),
)
def test_nothing_is_begun_in_a_break_and_breaks_make_it_later_by_no_more_than_they_last(free_s, pauses, jobs):
    breaks = [(float(begins), float(begins + lasts)) for begins, lasts in sorted(pauses)]
    two, without = (easels(*free_s, breaks=each) for each in ({0: breaks}, None))

    for stages in jobs:
        who, begins = two.first([0, 1])
        ready = two.end(who, begins, exactly(*stages))
        two.free_again(who, ready)
        plain, _, _ = without.take([exactly(*stages)] * 2, NOTHING)
        in_a_break = who[0] == 0 and any(from_s <= begins[0] < until_s for from_s, until_s in breaks)

        assert not in_a_break
        assert sum(stages) <= ready[0] - begins[0] <= sum(stages) + sum(until - from_s for from_s, until in breaks)
        assert ready[0] >= plain[0]

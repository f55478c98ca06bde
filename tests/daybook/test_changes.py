"""Changes of a set-up that touch what they name and nothing else."""

from __future__ import annotations

import pytest

from portraitq.core.errors import Malformed, Refused
from portraitq.core.events import print_data
from portraitq.daybook.changes import CONFIDENCE, ROUNDING, TURNAROUND, Change, between, changed, standing
from tests.builders import a_set_up

LIKENESS = Change("ink-head/likeness", (190.0, 380.0, 760.0), (240.0, 455.0, 700.0))
EVERY = (
    Change(CONFIDENCE, (0.85,), (0.8,)),
    Change(ROUNDING, (300.0,), (60.0,)),
    LIKENESS,
    Change(TURNAROUND, (40.0, 70.0, 150.0), (55.0, 90.0, 200.0)),
)


def test_a_stages_guesses_are_replaced_and_the_rest_stays():
    before = a_set_up()

    after = changed(before, [LIKENESS])

    expected = print_data(before)
    expected["styles"][0]["stages"][1] |= {"quick_s": 240, "usual_s": 455, "slow_s": 700}
    assert print_data(after) == expected


@pytest.mark.parametrize("change", EVERY, ids=lambda one: one.what)
def test_each_kind_of_change_stands_afterwards_and_can_be_taken_back(change: Change):
    before = a_set_up()

    after = changed(before, [change])

    assert standing(after, change.what) == change.new
    assert changed(after, [change.back]) == before


def test_what_leads_from_one_set_up_to_another_is_found_again():
    before = a_set_up()

    assert between(before, changed(before, EVERY)) == EVERY
    assert between(before, before) == ()


def test_a_change_whose_old_value_stands_no_more_is_refused():
    meanwhile = changed(a_set_up(), [Change(LIKENESS.what, LIKENESS.old, (200.0, 400.0, 800.0))])

    with pytest.raises(Refused, match="changed since this page was shown"):
        changed(meanwhile, [LIKENESS])


def test_another_edit_in_between_is_kept():
    meanwhile = changed(a_set_up(), [EVERY[0]])

    assert changed(meanwhile, [LIKENESS]) == changed(a_set_up(), [EVERY[0], LIKENESS])


def test_the_same_change_twice_is_made_once():
    after = changed(a_set_up(), [LIKENESS])

    assert changed(after, [LIKENESS]) == after


def test_a_stage_that_is_gone_is_refused():
    with pytest.raises(Refused):
        changed(a_set_up(), [Change("ink-head/varnish", (1.0, 2.0, 3.0), (2.0, 3.0, 4.0))])


@pytest.mark.parametrize(
    "change",
    [Change(CONFIDENCE, (0.85,), (1.5,)), Change(LIKENESS.what, LIKENESS.old, (700.0, 455.0, 240.0))],
    ids=["a confidence over 1", "guesses that fall"],
)
def test_values_that_no_set_up_may_have_are_malformed(change: Change):
    with pytest.raises(Malformed):
        changed(a_set_up(), [change])

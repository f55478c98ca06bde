"""The short form of what scripts/fuzz.py walks for longer."""

from __future__ import annotations

from hypothesis import HealthCheck, settings
from hypothesis.stateful import run_state_machine_as_test

from tests.core.any_day import AnyDay


def test_whatever_is_wished_a_booth_stays_the_fold_of_its_journal_and_a_refusal_changes_nothing():
    AnyDay.steps.clear()

    run_state_machine_as_test(
        AnyDay,
        settings=settings(max_examples=12, stateful_step_count=40, suppress_health_check=list(HealthCheck)),
    )

    taken = sum(count for kind, count in AnyDay.steps.items() if kind.endswith("taken"))
    refused = sum(count for kind, count in AnyDay.steps.items() if kind.endswith("refused"))
    assert taken > 20
    assert refused > 20

"""Each idea of the forecast can be switched off, and is on again afterwards."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from functools import cache

import pytest

from portraitq.core.events import Event
from portraitq.forecast.replay import QuoteRow, replay
from tests.seasons.laws import Length
from tests.seasons.simulate import simulate
from tests.seasons.switches import IDEAS, switched_off
from tests.seasons.truths import TRUTHS


@cache
def _days() -> tuple[Sequence[Event], Sequence[QuoteRow]]:
    """Four days of everything, and their quotes."""
    truth = replace(TRUTHS["run-on-clocks"], days=4, forget_share=0.2, stop=Length(4000, 0.2), visitors_a_day=34)
    events = simulate(truth, 1).events
    return events, list(replay(events))


# what four days of one booth need not show: lasting changes, a style's guesses far off, a booth that draws on
MAY_CHANGE_NOTHING = {"doubt of wrong guesses", "drawing on after closing", "fading", "at least so long"}


@pytest.mark.parametrize("idea", IDEAS)
def test_without_an_idea_the_quotes_are_others(idea: str):
    events, with_all = _days()

    with switched_off(idea):
        without = list(replay(events))

    assert len(without) == len(with_all) > 20
    assert idea in MAY_CHANGE_NOTHING or without != with_all


def test_afterwards_all_ideas_are_on_again():
    events, with_all = _days()

    with switched_off(*IDEAS):
        pass

    assert list(replay(events)) == with_all

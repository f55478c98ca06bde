"""The ideas of the forecast, each with how to switch it off: by patches in place here, never by a flag in the product.

with switched_off("sketch effect", "fatigue"): …
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass, replace
from typing import Any
from unittest.mock import patch

import numpy as np

from portraitq.core.booth import TradingDay
from portraitq.core.life import Ticket
from portraitq.core.timing import StageTime, stage_times
from portraitq.forecast import calibration, hand, interruptions, pace, replay, schedule
from portraitq.forecast.closing import Closing
from portraitq.forecast.hand import Spreads
from portraitq.forecast.interruptions import Lags
from portraitq.forecast.learning import Learned
from portraitq.forecast.lognormal import LEAST_REST_S
from portraitq.forecast.pace import Mind, Pace


@dataclass(frozen=True)
class Off:
    """How an idea is switched off: what the first pace is turned into, and what is put in place of what.

    patches  (module or class, name of what stands there, what takes its place)
    """

    begin: Callable[[Pace], Pace] = lambda first: first
    patches: tuple[tuple[Any, str, Any], ...] = ()


@contextmanager
def switched_off(*ideas: str) -> Iterator[None]:
    """Within it the forecast does without these ideas; KeyError where there is no such idea."""
    offs = [IDEAS[idea] for idea in ideas]

    def begun() -> Learned:
        first = Pace()
        for off in offs:
            first = off.begin(first)
        return Learned(pace=first)

    with ExitStack() as stack:
        stack.enter_context(patch.object(replay, "Learned", begun))
        for off in offs:
            for where, name, instead in off.patches:
                stack.enter_context(patch.object(where, name, instead))
        yield


def _spreads(**changed: float) -> Callable[[Pace], Pace]:
    """The first pace, these spreads the same in all minds."""
    return _minds(lambda spreads: replace(spreads, **changed))


def _minds(change: Callable[[Spreads], Spreads]) -> Callable[[Pace], Pace]:
    return lambda first: replace(
        first, minds=tuple(Mind(spreads) for spreads in dict.fromkeys(change(mind.spreads) for mind in first.minds))
    )


def _shared_by_none(spreads: Spreads) -> Spreads:
    """What an artist's general pace and a style's may be off by, all of it a single stage's."""
    stage = math.hypot(spreads.general, spreads.style, spreads.stage)
    return replace(spreads, general=0.0, style=0.0, stage=stage)


def _lags(**changed: float) -> Callable[[Pace], Pace]:
    return lambda first: replace(first, lags=replace(first.lags, **changed))


Days = Sequence[TradingDay]


def _no_bursts(ticket: Ticket, days: Days = ()) -> tuple[StageTime, ...]:
    """What a burst covers is as if it had never been measured."""
    return tuple(time for time in stage_times(ticket, days) if len(time.stages) == 1)


def _split_bursts(ticket: Ticket, days: Days = ()) -> tuple[StageTime, ...]:
    """What a burst covers is shared out as the guesses are, and taken for measured."""
    return tuple(part for time in stage_times(ticket, days) for part in _shared_out(time, ticket))


def _shared_out(time: StageTime, ticket: Ticket) -> Iterator[StageTime]:
    usual_s = {
        stage.id: stage.usual_s * (ticket.sitters if stage.per_sitter else 1)
        for stage in ticket.style.stages
        if stage.id in time.stages
    }
    for stage, own_s in usual_s.items():
        share = own_s / sum(usual_s.values())
        yield replace(time, stages=(stage,), total_s=time.total_s * share, at_least_s=time.at_least_s * share)


def _less_its_age(own: Any, ticket: Ticket, stage: Any, unmoved: Any, ran_s: float, *_: Any) -> Any:
    """The stage in hand takes what it would have taken, less what it has run: that it still runs says nothing."""
    return np.maximum(np.exp(unmoved) - ran_s, LEAST_REST_S)


def _as_before(lags: Lags, *_: Any) -> Lags:
    return lags


IDEAS: dict[str, Off] = {
    "sketch effect": Off(_spreads(sketch=0.0)),
    "day effect": Off(_spreads(day=0.0)),
    "fatigue": Off(_spreads(tiring=0.0)),
    "fading": Off(_spreads(wander=0.0)),
    "several minds": Off(lambda first: replace(first, minds=first.minds[:1])),
    "pace shared by styles": Off(_minds(_shared_by_none)),
    "doubt of wrong guesses": Off(patches=((hand, "GUESS_OFF", math.inf),)),
    "heavy tails": Off(patches=((hand, "HEAVY_TAIL", 1e9),)),
    "age of the stage in hand": Off(patches=((schedule._HandWorld, "_run_on", _less_its_age),)),
    "burst repair: left out": Off(patches=((pace, "stage_times", _no_bursts), (schedule, "stage_times", _no_bursts))),
    "burst repair: split by guesses": Off(
        patches=((pace, "stage_times", _split_bursts), (schedule, "stage_times", _split_bursts))
    ),
    "taps forgotten by now": Off(patches=((Lags, "forgets", 0.0),)),
    "run-on repair": Off(patches=((hand, "RAN_ON", math.inf), (hand, "RAN_OVER_BREAK", math.inf))),
    "at least so long": Off(patches=((hand, "_at_least", lambda known, *_: known),)),
    "clocks that will run on": Off(_lags(unsaid_met=0.0), ((Lags, "with_unsaid", _as_before),)),
    "interruptions": Off(patches=((schedule, "_rate", lambda *_: None),)),
    "interruptions learned": Off(
        patches=((interruptions, "_with_pauses", _as_before), (Lags, "with_unsaid", _as_before))
    ),
    "turnaround learned": Off(patches=((interruptions, "_with_lag", _as_before),)),
    "drawing on after closing": Off(patches=((Closing, "draws_on", 0.0),)),
    "recalibration": Off(patches=((calibration, "STEP", 0.0),)),
}

"""A plan, and what it is asked at once: one more easel, without the slowest style, another price. What each would earn.

All are played with the same seed, so that what differs is the plan and not the luck.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass, replace
from typing import Any, Literal

from portraitq.core.booth import Booth
from portraitq.core.events import SetUp
from portraitq.forecast.pace import Pace
from portraitq.forecast.plan import Plan, Simulated, simulate
from portraitq.forecast.plan_figures import (
    Figure,
    Figures,
    at_price,
    difference,
    figures_of,
    slowest_style,
    with_another_easel,
    without,
)
from portraitq.forecast.planned_days import Progress

Kind = Literal["easel", "style", "price"]
STEPS = 1000  # that progress is told in
PLAYS = 4


@dataclass(frozen=True, slots=True)
class NewPrice:
    """A price to be tried: of which style, how much in minor units, and the share of people who still order it."""

    style: str
    price: int
    keep: float = 1.0


@dataclass(frozen=True, slots=True)
class Alternative:
    """Another plan: what is different in it (an artist, or a style), its figures, and what it changes day by day."""

    kind: Kind
    what: str
    plan: Plan
    figures: Figures
    change: Mapping[str, Figure]


@dataclass(frozen=True, slots=True)
class Answer:
    """The figures of a plan, and of its alternatives."""

    plan: Plan
    set_up: SetUp
    days: int
    seed: int
    figures: Figures
    alternatives: tuple[Alternative, ...]
    new_price: NewPrice | None = None


def answer(
    booth: Booth,
    pace: Pace,
    plan: Plan,
    days: int,
    seed: int,
    new_price: NewPrice | None = None,
    progress: Progress | None = None,
) -> Answer:
    """Play `plan` and its alternatives; `progress` is called with how many of STEPS are done."""

    def play(other: Plan, turn: int) -> Simulated:
        def told(done: int, of: int) -> None:
            if progress is not None:
                progress(round(STEPS * (turn + done / max(of, 1)) / PLAYS), STEPS)

        return simulate(booth, pace, other, days, seed, told)

    simulated = play(plan, 0)
    figures = figures_of(simulated)
    found = []

    def beside(kind: Kind, what: str, other: Plan, other_figures: Figures) -> None:
        found.append(Alternative(kind, what, other, other_figures, difference(figures, other_figures)))

    more = with_another_easel(plan, booth, pace)
    beside("easel", more.artists[-1], more, figures_of(play(more, 1)))
    if (slowest := slowest_style(simulated)) is not None:
        fewer = without(plan, slowest)
        beside("style", slowest, fewer, figures_of(play(fewer, 2)))
    if new_price is not None:
        priced = at_price(plan, new_price.style, new_price.price, new_price.keep)
        same_people = replace(simulated, plan=priced) if new_price.keep >= 1 else play(priced, 3)
        beside("price", new_price.style, priced, figures_of(same_people))
    if progress is not None:
        progress(STEPS, STEPS)
    return Answer(plan, simulated.set_up, days, seed, figures, tuple(found), new_price)


def as_data(answer: Answer) -> dict[str, Any]:
    """The answer as plain values for scripts: seconds after the opening, minor units, shares 0–1."""
    figures, plan = answer.figures, answer.plan

    def said(figure: Figure | None) -> dict[str, float] | None:
        return asdict(figure) if figure is not None else None

    return {
        "days": answer.days,
        "seed": answer.seed,
        "opens_min": plan.opens_min,
        "lasts_s": plan.lasts_s,
        "artists": list(plan.artists),
        "offered": list(plan.offered),
        "confidence": plan.confidence,
        "expected": list(plan.asked.mean),
        "learned": {"days": plan.asked.days, "asked": plan.asked.asked, "told": plan.patience.asked},
        "figures": {name: said(figures.of(name)) for name in figures.each},
        "kept": said(figures.kept),
        "told_s": figures.told_s,
        "drawing": {artist: said(figure) for artist, figure in figures.drawing.items()},
        "finished_of": {style: said(figure) for style, figure in figures.finished_of.items()},
        "hours": [asdict(hour) for hour in figures.hours],
        "last_orders": [asdict(each) for each in figures.last_orders],
        "alternatives": [
            {"kind": each.kind, "what": each.what, "change": {name: said(one) for name, one in each.change.items()}}
            for each in answer.alternatives
        ],
    }

"""What the simulated days of a plan say: each figure a day, hour by hour, and what another plan would change.

A figure is the mean over the days with the range of eight days of ten (from the 10 % to the 90 % quantile, Hyndman and
Fan's type 7). Each day has another pace, another rush and other luck, so that range holds what is not known and what is
chance together. Two plans that were played with the same seed are compared day by day.

asked        who asked, whether they ordered or left
left         who asked and did not order: the time told was too long, or the style is not drawn on the day
finished     ready before the next opening
takings      of those, by the day's prices and by what the record shows is asked for several sitters, in minor units
carried      ordered, and not begun on the day
overtime     from closing to when the last portrait of the day is ready, in seconds; 0 where it is ready before
kept         share of the promises of those ordered that were kept
drawing      share of an artist's hours, breaks out, with a portrait in hand; `turning`, share with turnaround
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from portraitq.core.booth import Booth
from portraitq.forecast.arrivals import hours_of
from portraitq.forecast.easels import Seconds
from portraitq.forecast.pace import Pace
from portraitq.forecast.plan import DAY_S, ONE_MORE, Plan, Simulated

LOW, HIGH = 0.1, 0.9  # eight days of ten lie between
Each = NDArray[np.float64]
DAILY = ("asked", "ordered", "left", "finished", "takings", "carried", "overtime")


@dataclass(frozen=True, slots=True)
class Figure:
    """One figure: its mean over the days, the range of eight days of ten, and the mean's standard error."""

    mean: float
    low: float
    high: float
    error: float


def figure(days: Each) -> Figure | None:
    """The figure out of one value a day; days that have none (NaN) are left out, None where none has."""
    there = days[np.isfinite(days)]
    if not len(there):
        return None
    low, high = np.quantile(there, (LOW, HIGH))
    error = float(there.std(ddof=1)) / math.sqrt(len(there)) if len(there) > 1 else math.inf
    return Figure(float(there.mean()), float(low), float(high), error)


@dataclass(frozen=True, slots=True)
class Hour:
    """The customers who asked in one hour, of all days together.

    asked, ordered    mean a day; `asked_span`, `ordered_span` the ranges of eight days of ten
    told_s, ready_s   10 %, 50 % and 90 % of what they were told to wait, and of what those who ordered waited; None
                      where nobody did
    kept              share of their promises, with the bounds of 95 % that so many simulated orders leave
    """

    from_s: float
    to_s: float
    asked: float
    asked_span: tuple[float, float]
    ordered: float
    ordered_span: tuple[float, float]
    n: int
    told_s: tuple[float, float, float] | None
    ready_s: tuple[float, float, float] | None
    kept: tuple[float, float, float] | None

    @property
    def left(self) -> float:
        """Who asked and left, mean a day."""
        return self.asked - self.ordered


@dataclass(frozen=True, slots=True)
class LastOrder:
    """Until when a style can be promised before closing, in seconds after the opening.

    safe_s   so that on nine days of ten it can; None where on more days than that it never can
    usual_s  on half of the days
    """

    style: str
    safe_s: float | None
    usual_s: float | None


@dataclass(frozen=True, slots=True)
class Figures:
    """All figures of one plan; `each` are those of DAILY, (n,) one a day, to be compared day by day."""

    days: int
    each: Mapping[str, Each]
    kept: Figure | None
    told_s: tuple[float, float, float] | None
    drawing: Mapping[str, Figure | None]
    turning: Mapping[str, Figure | None]
    finished_of: Mapping[str, Figure | None]
    hours: tuple[Hour, ...]
    last_orders: tuple[LastOrder, ...]

    def of(self, name: str) -> Figure:
        """One of DAILY."""
        found = figure(self.each[name])
        assert found is not None
        return found


def figures_of(simulated: Simulated) -> Figures:
    """The figures of days that were played."""
    plan, played, set_up = simulated.plan, simulated.played, simulated.set_up
    price = np.array(
        [
            plan.price_of(style) * plan.wishes.charged.get((style.id, sitters), 1.0)
            for id, sitters in zip(simulated.styles, simulated.sitters, strict=True)
            if (style := set_up.style(id))
        ]
    )
    taken, today = played.taken, played.taken & (played.begins_s < DAY_S)
    finished = taken & (played.ready_s < DAY_S)
    last_s = np.where(today, played.ready_s, 0.0).max(axis=0, initial=0.0)
    asked, ordered = played.asks.comes.sum(axis=0).astype(float), taken.sum(axis=0).astype(float)
    each = {
        "asked": asked,
        "ordered": ordered,
        "left": asked - ordered,
        "finished": finished.sum(axis=0).astype(float),
        "takings": np.where(finished, price[played.asks.kind], 0).sum(axis=0).astype(float),
        "carried": (taken & ~today).sum(axis=0).astype(float),
        "overtime": np.maximum(last_s - plan.lasts_s, 0.0),
    }
    kept = taken & (played.ready_s <= played.told_s)
    with np.errstate(invalid="ignore"):
        kept_share = kept.sum(axis=0) / np.where(ordered, ordered, np.nan)
    drawing, turning = _busy(simulated)
    places = {style.id: place for place, style in enumerate(set_up.styles)}
    of_style = np.array([places[id] for id in simulated.styles])[played.asks.kind]
    return Figures(
        days=simulated.days,
        each=each,
        kept=figure(kept_share),
        told_s=_three((played.told_s - played.asks.at_s)[np.isfinite(played.told_s)]),
        drawing=drawing,
        turning=turning,
        finished_of={
            each_style.id: figure((finished & (of_style == place)).sum(axis=0).astype(float))
            for place, each_style in enumerate(set_up.styles)
            if each_style.id in plan.offered
        },
        hours=_hours(simulated, kept),
        last_orders=tuple(_last_order(id, until_s) for id, until_s in simulated.last_orders.items()),
    )


def _span(days: NDArray[np.intp]) -> tuple[float, float]:
    low, high = np.quantile(days, (LOW, HIGH)).tolist()
    return low, high


def _three(values: Each) -> tuple[float, float, float] | None:
    if not len(values):
        return None
    low, middle, high = np.quantile(values, (LOW, 0.5, HIGH)).tolist()
    return low, middle, high


def _busy(simulated: Simulated) -> tuple[dict[str, Figure | None], dict[str, Figure | None]]:
    """Each artist's share of the opening hours with a portrait in hand, and with turnaround."""
    played, plan = simulated.played, simulated.plan
    drawing, turning = {}, {}
    for row, artist in enumerate(simulated.set_up.artists):
        his = played.who == row
        hours_s = max(plan.open_to_breaks_s(artist.id), 1.0)
        begins_s, ready_s, free_s = (np.where(his, at, 0.0) for at in (played.begins_s, played.ready_s, played.free_s))
        within = _within(begins_s, ready_s, plan.lasts_s) / np.maximum(ready_s - begins_s, 1.0) * played.work_s
        drawing[artist.id] = figure(within.sum(axis=0) / hours_s)
        washed = _within(ready_s, free_s, plan.lasts_s)
        for who, begins, ends in plan.breaks:
            if who == artist.id:
                washed = washed - np.clip(np.minimum(free_s, ends) - np.maximum(ready_s, begins), 0.0, None)
        turning[artist.id] = figure(np.clip(washed, 0.0, None).sum(axis=0) / hours_s)
    return drawing, turning


def _within(from_s: Seconds, until_s: Seconds, closes_s: float) -> Seconds:
    """The seconds between two moments that lie before closing."""
    return np.asarray(np.clip(np.minimum(until_s, closes_s) - np.minimum(from_s, closes_s), 0.0, None))


def _hours(simulated: Simulated, kept: NDArray[np.bool_]) -> tuple[Hour, ...]:
    played, edges = simulated.played, hours_of(simulated.plan.lasts_s)
    asks, days = played.asks, simulated.days
    found = []
    for from_s, to_s in pairwise(edges):
        here = asks.comes & (asks.at_s >= from_s) & (asks.at_s < to_s)
        ordered = here & played.taken
        heard = here & np.isfinite(played.told_s)
        found.append(
            Hour(
                from_s=from_s,
                to_s=to_s,
                asked=float(here.sum()) / days,
                asked_span=_span(here.sum(axis=0)),
                ordered=float(ordered.sum()) / days,
                ordered_span=_span(ordered.sum(axis=0)),
                n=int(ordered.sum()),
                told_s=_three((played.told_s - asks.at_s)[heard]),
                ready_s=_three((played.ready_s - asks.at_s)[ordered]),
                kept=_share((kept & here).sum(axis=0), ordered.sum(axis=0)),
            )
        )
    return tuple(found)


def _share(hits: NDArray[np.intp], of: NDArray[np.intp]) -> tuple[float, float, float] | None:
    """A share of all days together with 95 % bounds; orders of one day go together, so days are what is counted."""
    if not of.sum():
        return None
    share = hits.sum() / of.sum()
    error = math.sqrt(float(np.square(hits - share * of).sum())) / float(of.sum())
    return float(share), max(float(share - 1.96 * error), 0.0), min(float(share + 1.96 * error), 1.0)


def _last_order(style: str, until_s: Seconds) -> LastOrder:
    at = np.where(np.isfinite(until_s), until_s, -1.0)
    safe_s, usual_s = (float(each) for each in np.quantile(at, (1 - HIGH, 0.5), method="lower"))
    return LastOrder(style, safe_s if safe_s >= 0 else None, usual_s if usual_s >= 0 else None)


def difference(plan: Figures, other: Figures) -> Mapping[str, Figure]:
    """What `other` brings more than `plan` in each of DAILY, day by day; both of the same seed and as many days."""
    if plan.days != other.days:
        raise ValueError(f"plans of equally many days can be compared, not of {plan.days} and {other.days}")
    found = {name: figure(other.each[name] - plan.each[name]) for name in DAILY}
    return {name: each for name, each in found.items() if each is not None}


def with_another_easel(plan: Plan, booth: Booth, pace: Pace) -> Plan:
    """`plan` with one easel more: the next artist of the set-up who is not there, else one who draws as one there does.

    As whoever of them is known best; breaks are that one's too.
    """
    assert booth.set_up is not None
    if away := [artist.id for artist in booth.set_up.artists if artist.id not in plan.artists and artist.styles]:
        return replace(plan, artists=(*plan.artists, away[0]))
    hands = pace.hands
    known = max(plan.artists, key=lambda id: sum(hands[id].goes.values()) if id in hands else 0)
    breaks = tuple((ONE_MORE, begins_s, ends_s) for who, begins_s, ends_s in plan.breaks if who == known)
    return replace(plan, artists=(*plan.artists, ONE_MORE), like=known, breaks=(*plan.breaks, *breaks))


def slowest_style(simulated: Simulated) -> str | None:
    """The style on offer whose portraits take longest, of one sitter; None where there is no other."""
    offered = [id for id, share in zip(simulated.plan.wishes.styles, simulated.plan.wishes.mix.shares, strict=True)
               if id in simulated.plan.offered and share > 0]  # fmt: skip
    if len(offered) < 2:
        return None
    played = simulated.played
    took_s = {}
    for row, (id, sitters) in enumerate(zip(simulated.styles, simulated.sitters, strict=True)):
        drawn = played.taken & (played.asks.kind == row)
        if id in offered and sitters == 1 and drawn.any():
            took_s[id] = float(played.work_s[drawn].mean())
    return max(took_s, key=lambda id: took_s[id]) if len(took_s) > 1 else None


def without(plan: Plan, style: str) -> Plan:
    """`plan` without that style; who wants it leaves."""
    return replace(plan, offered=tuple(id for id in plan.offered if id != style))


def at_price(plan: Plan, style: str, price: int, keep: float = 1.0) -> Plan:
    """`plan` with that style at another price, at which a share of `keep` still order it."""
    return replace(plan, prices={**plan.prices, style: price}, keep={**plan.keep, style: keep})


def still_pays(old_price: int, new_price: int) -> float:
    """The share of those ordering it that must still do so for a dearer style to earn as much; 1 for a cheaper one."""
    return min(old_price / new_price, 1.0) if new_price > 0 else 1.0

"""How many people ask for a portrait on a day that has not happened, hour by hour, and how little is known of that.

Each hour's rate is gamma: what was counted in that hour on past days, pooled with the rate of the whole day as though
that had been seen for `POOLED_H` hours. Whole days differ by more than chance, too: a factor, gamma with mean 1, lifts
or lowers all hours of one day together. A typed table is taken as it stands.

Who asked is everybody who ordered, and everybody who heard a time and left; somebody who left without hearing one was
not lost to the wait and is not counted.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta

import numpy as np
from numpy.typing import NDArray
from scipy.special import gammaincinv

from portraitq.core.booth import Booth, TradingDay
from portraitq.core.events import WalkedAway

Floats = NDArray[np.float64]
HOUR_S = 3600.0
POOLED_H = 2.0  # an hour seen less often than that leans on the rest of the day
GUESSED_SPREAD, GUESSED_DAYS = 0.1, 4.0  # days differ by about a third (common practice, no source), worth four days
LEAST_SEEN_H = 0.05  # three minutes of an hour say nothing of it


@dataclass(frozen=True, slots=True)
class Expected:
    """How many people are expected to ask in each hour from the opening on; the last one may be shorter.

    mean    people in each, as expected
    weight  gamma shape of each, infinite where the number is taken as given
    spread  variance of the factor by which a whole day differs
    days, asked  how many days and people that was learned from; 0 where it was typed
    factor  by how much more or less than that
    unseen  the hours of which that record knows nothing, by their place: in these as many are expected as in the others
    """

    mean: tuple[float, ...]
    weight: tuple[float, ...]
    spread: float = 0.0
    days: int = 0
    asked: int = 0
    factor: float = 1.0
    unseen: tuple[int, ...] = ()

    @property
    def total(self) -> float:
        """People expected on the day."""
        return sum(self.mean)

    def times(self, factor: float) -> Expected:
        """As many times so many, with the same doubt about each."""
        return replace(self, mean=tuple(factor * mean for mean in self.mean), factor=factor * self.factor)

    def draw(self, chance: Floats, of_day: Floats) -> Floats:
        """(hours, n) people expected in each hour of each simulated day, from uniforms (hours, n) and (n,)."""
        found = np.empty(chance.shape)
        for row, (mean, weight) in enumerate(zip(self.mean, self.weight, strict=True)):
            found[row] = mean * _gamma(weight, chance[row])
        return np.asarray(found * _gamma(1 / self.spread if self.spread else math.inf, of_day))


def _gamma(shape: float, chance: Floats) -> Floats | float:
    """Gamma of mean 1 for each uniform."""
    return np.asarray(gammaincinv(shape, chance) / shape) if math.isfinite(shape) else 1.0


def hours_of(lasts_s: float) -> tuple[float, ...]:
    """The edges of the hours of a day that lasts so long, in seconds after its opening.

    >>> hours_of(9000)
    (0.0, 3600.0, 7200.0, 9000.0)
    """
    return (*(HOUR_S * step for step in range(math.ceil(lasts_s / HOUR_S))), float(lasts_s))


def typed(people: Sequence[float], lasts_s: float) -> Expected:
    """From a table of people an hour. The last hour counts as far as the day reaches into it."""
    edges = hours_of(lasts_s)
    if len(people) != len(edges) - 1:
        raise ValueError(f"{len(edges) - 1} numbers were expected, one for each hour of the day, not {len(people)}")
    shares = np.diff(edges) / HOUR_S
    mean = tuple(float(each * share) for each, share in zip(people, shares, strict=True))
    return Expected(mean, (math.inf,) * len(people))


def counted(booth: Booth, days: Iterable[TradingDay], opens_min: int, lasts_s: float) -> Expected | None:
    """From what was counted on `days`, at the same hours of the booth's clock; None where no hour of them fits.

    opens_min  minutes after midnight at which the planned day opens
    """
    names: dict[str, int] = {}
    edges = np.array(hours_of(lasts_s))
    sessions = [day for day in days if day.opened_at < _shut_at(day)]
    for day in sessions:
        names.setdefault(day.day, len(names))  # a day that was closed and opened again is one day
    seen, counts = np.zeros((len(names), len(edges) - 1)), np.zeros((len(names), len(edges) - 1))
    asked = np.array(sorted(at.timestamp() for at in asked_at(booth)))
    for day in sessions:
        begins = _on(day, booth, opens_min).timestamp() + edges
        low = np.maximum(begins[:-1], day.opened_at.timestamp())
        high = np.maximum(np.minimum(begins[1:], _shut_at(day).timestamp()), low)
        seen[names[day.day]] += (high - low) / HOUR_S
        counts[names[day.day]] += np.searchsorted(asked, high) - np.searchsorted(asked, low)
    if seen.sum() < LEAST_SEEN_H:
        return None
    return _pooled(counts, seen, np.diff(edges) / HOUR_S)


def _shut_at(day: TradingDay) -> datetime:
    return min(day.closes_at, day.closed_at or day.closes_at)


def _pooled(counts: Floats, seen: Floats, long: Floats) -> Expected:
    """What (days, hours) counts in so many hours seen say of hours that are so `long`."""
    rate = max(counts.sum() / seen.sum(), 0.5 / seen.sum())
    weight = POOLED_H * rate + counts.sum(axis=0)
    hourly = weight / (POOLED_H + seen.sum(axis=0))
    expected = (seen * hourly).sum(axis=1)
    totals = counts.sum(axis=1)
    days = int((seen.sum(axis=1) >= LEAST_SEEN_H).sum())
    spread = GUESSED_SPREAD
    if days > 1:
        beyond = float((np.square(totals - expected) - expected).sum() / np.square(expected).sum())
        spread = (GUESSED_SPREAD * GUESSED_DAYS + max(beyond, 0.0) * (days - 1)) / (GUESSED_DAYS + days - 1)
    unseen = tuple(np.flatnonzero(seen.sum(axis=0) < LEAST_SEEN_H).tolist())
    mean, shape = tuple((hourly * long).tolist()), tuple(weight.tolist())
    return Expected(mean, shape, spread, days, int(counts.sum()), unseen=unseen)


def asked_at(booth: Booth) -> list[datetime]:
    """When somebody asked: each order, and each who heard a time and left."""
    left = [e.happened_at for e in booth.walked_away if isinstance(e.data, WalkedAway) and e.data.ready_by is not None]
    return [*(ticket.ordered_at for ticket in booth.tickets.values()), *left]


def _on(day: TradingDay, booth: Booth, opens_min: int) -> datetime:
    """When the booth's clocks showed that on the calendar day on which `day` was opened."""
    local = day.opened_at.astimezone(booth.zone)
    midnight = local.replace(hour=0, minute=0, second=0, microsecond=0, tzinfo=None)
    return (midnight + timedelta(minutes=opens_min)).replace(tzinfo=booth.zone)

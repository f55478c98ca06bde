"""How past quotes turned out, and what that corrects in the next ones.

A quote says a whole distribution. Where in it the truth came, its place from 0 to 1, is uniform over many portraits if
the forecast is right. Each of the journal's levels is therefore read off at a level of its own, which moves up after a
portrait that came later than it said and down after one that came in time, so that in the long run every level is kept
as often as it says, whatever the forecast gets wrong and however conditions drift. Of T settled quotes the share that
came in time misses the level by at most (1 + STEP) / (STEP × T), as long as no correction meets its limit (Gibbs &
Candès 2021, Adaptive conformal inference under distribution shift, proposition 4.1); that bound holds for any sequence,
and from few quotes on the forecast's own distribution is what is told. The limit keeps a few bad hours from having
quotes read off where hardly a scenario lies.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from datetime import datetime
from types import MappingProxyType

import numpy as np
from numpy.typing import NDArray

from portraitq.forecast.promise import LEVELS, at_levels

GRID = tuple(np.linspace(0.0, 1.0, 101).tolist())  # the levels at which a quote is remembered
ENDS_AND_LEVELS = (0.0, *LEVELS, 1.0)
STEP = 0.01
REMEMBERED = 200  # settled quotes that are kept, to ask what another confidence would have told
MOST_ODDS = 5.0  # times the odds of a level, or this part of them, is where it is read off at most
_ODDS = np.array(LEVELS) / (1 - np.array(LEVELS))
LOWEST, HIGHEST = _ODDS / MOST_ODDS / (1 + _ODDS / MOST_ODDS), _ODDS * MOST_ODDS / (1 + _ODDS * MOST_ODDS)


@dataclass(frozen=True, slots=True)
class Said:
    """A quote that is not settled yet: its quantiles at GRID, in seconds after the order, before any correction.

    read_at  where each of LEVELS was read off then
    """

    ordered_at: datetime
    ready_s: tuple[float, ...]
    read_at: tuple[float, ...]
    after_closing: float = 0.0


@dataclass(frozen=True, slots=True)
class Calibration:
    """What was learned from quotes that are settled; it never changes, `said` and `came` give a new one.

    read_at   where in the forecast's distribution each of LEVELS is read off, before it is brought into order
    settled   how many quotes that comes from
    open      ticket -> what was said of it
    past      what was said of the last REMEMBERED portraits that became ready, and after how many seconds they did
    """

    read_at: tuple[float, ...] = LEVELS
    settled: int = 0
    open: Mapping[str, Said] = field(default_factory=lambda: MappingProxyType({}))
    past: tuple[tuple[Said, float], ...] = ()

    @property
    def levels(self) -> tuple[float, ...]:
        """Where in the forecast's distribution each of LEVELS is read off; in order, between 0 and 1."""
        return tuple(sorted(self.read_at))

    def level(self, level: float) -> float:
        """Where in the forecast's distribution any other level is read off: straight between LEVELS."""
        return float(np.interp(level, ENDS_AND_LEVELS, (0.0, *self.levels, 1.0)))

    def chance(self, place: float) -> float:
        """The chance that a portrait is ready by what the forecast gives the chance `place`: the inverse of `level`."""
        return float(np.interp(place, (0.0, *self.levels, 1.0), ENDS_AND_LEVELS))

    def said(
        self, ticket: str, ordered_at: datetime, ready_s: NDArray[np.float64], after_closing: float = 0.0
    ) -> Calibration:
        """With a quote just made; ready_s (n,) sorted scenarios, as forecast."""
        (at_grid,) = at_levels(ready_s[None, :], np.array([GRID])).tolist()
        said = Said(ordered_at, tuple(at_grid), self.levels, after_closing)
        return replace(self, open=MappingProxyType({**self.open, ticket: said}))

    def came(self, ticket: str, ready_at: datetime | None) -> Calibration:
        """With what came of that quote: when it was ready, or None where it never will be."""
        if ticket not in self.open:
            return self
        still = MappingProxyType({id: said for id, said in self.open.items() if id != ticket})
        if ready_at is None:
            return replace(self, open=still)
        said = self.open[ticket]
        took_s = (ready_at - said.ordered_at).total_seconds()
        place = place_in(said, took_s)
        moved = np.array(self.read_at) + STEP * (np.array(LEVELS) - (place <= np.array(said.read_at)))
        read_at = tuple(np.clip(moved, LOWEST, HIGHEST).tolist())
        past = (*self.past, (said, took_s))[-REMEMBERED:]
        return replace(self, read_at=read_at, settled=self.settled + 1, open=still, past=past)


def would_tell_s(said: Said, confidence: float) -> float:
    """After how many seconds the portrait would have been promised at `confidence`, as corrected then; not rounded."""
    level = float(np.interp(confidence, ENDS_AND_LEVELS, (0.0, *said.read_at, 1.0)))
    return max(float(np.interp(level, GRID, said.ready_s)), 0.0)


def place_in(said: Said, took_s: float) -> float:
    """Where in its quote the truth came, 0–1."""
    return float(np.interp(took_s, said.ready_s, GRID))

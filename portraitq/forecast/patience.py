"""Where people stop ordering: the chance to leave as a function of the time they were told, learned from walk-aways.

The wait at which one leaves is log-logistic: chance to leave = w^k / (w^k + h^k), with w the time told, h the wait that
half of the people do not take, and k how sharply they differ. Both are unknown; they begin at a guess that says little
and move to what the record shows (the most likely pair, and the curvature there as its doubt: Laplace's approximation).
It never falls with w. People say different waits too far to be asked, so nothing outside the times told is certain.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.special import expit

from portraitq.core.booth import Booth
from portraitq.core.events import Promised, WalkedAway

Floats = NDArray[np.floating[Any]]
GUESSED_HALF_S = 2.5 * 3600.0  # common practice, no source: most come back within an afternoon's stroll
GUESSED_SHARPNESS = 2.0
HALF_SD, SHARPNESS_SD = 0.8, 0.4  # of their logs: the guess says little
LEAST_TOLD_S = 60.0
STEPS = 60


@dataclass(frozen=True, slots=True)
class Patience:
    """What is known of it: mean and covariance of (log h, log k); `left` of `asked` people heard a time and left.

    `half_s` infinite is endless patience, 0 none at all.
    """

    half_s: float
    sharpness: float = GUESSED_SHARPNESS
    covariance: tuple[tuple[float, float], tuple[float, float]] = ((0.0, 0.0), (0.0, 0.0))
    left: int = 0
    asked: int = 0

    def chance_to_leave(self, told_s: Floats | float) -> Floats:
        """Of somebody told to wait so long, by the likeliest pair.

        >>> Patience(half_s=3600).chance_to_leave(np.array([0, 1800, 3600, 7200])).round(9).tolist()
        [0.0, 0.2, 0.5, 0.8]
        """
        return leaves(np.asarray(told_s), self.half_s, self.sharpness)

    def draw(self, chance: Floats) -> tuple[Floats, Floats]:
        """(n,) each of h and k as they may be, from standard normals (2, n)."""
        if not 0 < self.half_s < math.inf:
            return np.full(chance.shape[1], self.half_s), np.full(chance.shape[1], self.sharpness)
        root = np.linalg.cholesky(np.array(self.covariance) + 1e-12 * np.eye(2))
        off = root @ chance
        return self.half_s * np.exp(off[0]), self.sharpness * np.exp(off[1])

    def half_between(self, z: float) -> tuple[float, float]:
        """The wait that half do not take, so many spreads lower and higher."""
        sd = math.sqrt(self.covariance[0][0])
        return self.half_s * math.exp(-z * sd), self.half_s * math.exp(z * sd)


ENDLESS = Patience(math.inf)


def leaves(told_s: Floats, half_s: Floats | float, sharpness: Floats | float) -> Floats:
    """The chance to leave of each who is told `told_s`, 0 s being no wait at all."""
    half, told = np.broadcast_arrays(np.asarray(half_s, np.float64), np.asarray(told_s, np.float64))
    with np.errstate(divide="ignore", invalid="ignore"):
        found = expit(sharpness * (np.log(told) - np.log(half)))
    found = np.where(np.isinf(half), 0.0, np.where(half <= 0, 1.0, found))
    return np.asarray(np.where(told <= 0, 0.0, found))


def patience_of(booth: Booth) -> Patience:
    """What the record of `booth` teaches: who ordered after hearing a time, and who left."""
    stayed, left = [], []
    for ticket in booth.tickets.values():
        told = next((event.data.ready_by for event in ticket.history if isinstance(event.data, Promised)), None)
        if told is not None:
            stayed.append((told - ticket.ordered_at).total_seconds())
    for event in booth.walked_away:
        if isinstance(event.data, WalkedAway) and event.data.ready_by is not None:
            left.append((event.data.ready_by - event.happened_at).total_seconds())
    return learned(np.array(stayed), np.array(left))


def learned(stayed_s: Floats, left_s: Floats) -> Patience:
    """From the times told to those who ordered, and to those who left."""
    told = np.log(np.maximum(np.concatenate([stayed_s, left_s]), LEAST_TOLD_S))
    went = np.concatenate([np.zeros(len(stayed_s)), np.ones(len(left_s))])
    before = np.array([math.log(GUESSED_HALF_S), math.log(GUESSED_SHARPNESS)])
    weight = np.diag([HALF_SD**-2, SHARPNESS_SD**-2])
    at = before.copy()
    for _ in range(STEPS):
        gradient, information = _slope(at, told, went)
        step = np.linalg.solve(information + weight, gradient - weight @ (at - before))
        while _log_posterior(at + step, told, went, before, weight) < _log_posterior(at, told, went, before, weight):
            step /= 2
            if np.abs(step).max() < 1e-9:
                break
        at = at + step
        if np.abs(step).max() < 1e-9:
            break
    covariance = np.linalg.inv(_slope(at, told, went)[1] + weight)
    (a, b), (c, d) = covariance.tolist()
    return Patience(math.exp(at[0]), math.exp(at[1]), ((a, b), (c, d)), len(left_s), len(told))


def _slope(at: Floats, told: Floats, went: Floats) -> tuple[Floats, Floats]:
    """The gradient of the log likelihood, and the information expected (Fisher scoring)."""
    sharpness = math.exp(at[1])
    reach = sharpness * (told - at[0])
    chance = expit(reach)
    by = np.array([np.full(len(told), -sharpness), reach])
    return by @ (went - chance), (by * (chance * (1 - chance))) @ by.T


def _log_posterior(at: Floats, told: Floats, went: Floats, before: Floats, weight: Floats) -> float:
    reach = math.exp(at[1]) * (told - at[0])
    likely = -(np.logaddexp(0.0, reach) - went * reach).sum()
    off = at - before
    return float(likely - off @ weight @ off / 2)

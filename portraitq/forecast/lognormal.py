"""Times that are log-normal: out of three guesses, learned from measured ones, and what is left of one that runs."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.special import log_ndtr, ndtri_exp

Floats = NDArray[np.floating[Any]]
Z90 = 1.2815515655446004  # the standard normal's 90 % point: of ten goes one is slower
MOST_SIGMA = 2.5  # slow six hundred times as long as quick: what is guessed wider is no guess
LEAST_SIGMA = 0.02  # three equal guesses mean "always the same", which no hand keeps


def from_guesses(quick_s: float, usual_s: float, slow_s: float) -> tuple[float, float]:
    """The mu and sigma of log seconds behind three guesses (one of ten quicker, half, one of ten slower).

    The median is the usual time; sigma is the same on both sides of it, from quick to slow.

    >>> mu, sigma = from_guesses(60, 100, 180)
    >>> round(math.exp(mu)), round(sigma, 7)
    (100, 0.4286259)
    """
    sigma = math.log(slow_s / quick_s) / (2 * Z90)
    return math.log(usual_s), min(max(sigma, LEAST_SIGMA), MOST_SIGMA)


def mean_of_several(sigma: Floats | float, several: int) -> tuple[Any, Any]:
    """Shift of mu and the new sigma of the mean of `several` independent log-normal times.

    Fenton 1960, IRE Trans. Commun. Syst. 8:57–67: the log-normal with the sum's mean and variance.
    """
    variance = np.log1p(np.expm1(np.square(sigma)) / several)
    return (np.square(sigma) - variance) / 2, np.sqrt(variance)


def sum_of(mu: Floats, sigma: Floats) -> tuple[float, float]:
    """The mu and sigma of a log-normal with the mean and variance of a sum of independent ones (Fenton–Wilkinson).

    mu, sigma  (k,) of the log of each part

    >>> mu, sigma = sum_of(np.log([100, 380, 110]), np.array([0.43, 0.38, 0.47]))
    >>> round(math.exp(mu), 4), round(sigma, 6)
    (617.327, 0.274237)
    """
    mean = np.exp(mu + np.square(sigma) / 2)
    variance = np.sum(np.square(mean) * np.expm1(np.square(sigma)))
    total = float(mean.sum())
    squared = math.log1p(float(variance) / total**2)
    return math.log(total) - squared / 2, math.sqrt(squared)


def rest_of_stage(u: Floats, ran_s: float, mu: Floats | float, sigma: Floats | float) -> Floats:
    """How much longer a stage takes that has already run for `ran_s`.

    The whole takes T seconds, log T ~ Normal(mu, sigma²). One draw of T − ran_s given T > ran_s for each uniform in
    `u`. It works on the log of the upper tail, so a stage far past its usual time is still answered.

    u          (n,) in [0, 1), one a scenario; the same u gives the same draw, a larger u a longer rest
    ran_s      seconds so far, pauses taken out, ≥ 0
    mu, sigma  of the log of seconds, one for all or one a scenario; sigma > 0
    Returns    (n,) seconds > 0
    Raises     ValueError when ran_s or sigma is outside its range
    Source     the inversion method on the upper tail: Devroye, Non-Uniform Random Variate Generation (1986)

    >>> rest_of_stage(np.array([0.1, 0.5, 0.9]), ran_s=0, mu=math.log(380), sigma=0.4).round()
    array([228., 380., 634.])
    """
    return rest_by_log_tail(np.log1p(-np.asarray(u, dtype=np.float64)), ran_s, mu, sigma)


def rest_by_log_tail(log_tail: Floats, ran_s: float, mu: Floats | float, sigma: Floats | float) -> Floats:
    """`rest_of_stage` with the log of 1 − u in place of u, which keeps its accuracy in both tails."""
    if not ran_s >= 0:
        raise ValueError(f"ran_s must be 0 or more, not {ran_s!r}")
    if not np.all(np.asarray(sigma) > 0):
        raise ValueError(f"sigma must be above 0, not {sigma!r}")
    z_now = (math.log(ran_s) - mu) / sigma if ran_s else -np.inf
    whole = np.exp(mu - sigma * ndtri_exp(log_ndtr(-np.asarray(z_now)) + log_tail))
    rest: Floats = np.maximum(whole - ran_s, LEAST_REST_S)
    return rest


LEAST_REST_S = 0.001  # what still runs is not done: rounding in the far tail must not say so


BEYOND_DOUBT = 1e12  # goes


@dataclass(frozen=True, slots=True)
class LogTime:
    """What is known of the log of a time: normal with unknown mean and variance, normal–inverse-gamma.

    Source: Gelman et al., Bayesian Data Analysis, 3rd ed., §3.3. `kappa` and `alpha` are the weights, in goes, of what
    is known of the mean and (half) of the variance.
    """

    kappa: float
    mu: float
    alpha: float
    beta: float

    @classmethod
    def guessed(cls, quick_s: float, usual_s: float, slow_s: float, weight: float = 4.0) -> LogTime:
        """From three guesses that count as much as `weight` measured times."""
        mu, sigma = from_guesses(quick_s, usual_s, slow_s)
        alpha = 1 + weight / 2
        return cls(weight, mu, alpha, (alpha - 1) * sigma * sigma)

    @classmethod
    def exactly(cls, usual_s: float, sigma: float) -> LogTime:
        """Known without a doubt: of log seconds, the log of `usual_s` and `sigma`."""
        return cls(BEYOND_DOUBT, math.log(usual_s), BEYOND_DOUBT, sigma * sigma * BEYOND_DOUBT)

    def learn(self, log_time: float, weight: float = 1.0) -> LogTime:
        """With one more measured time, given as its log.

        >>> known = LogTime(3, math.log(380), 2, 0.30)
        >>> for seconds in (391, 352, 455, 318, 402, 371, 498, 340):
        ...     known = known.learn(math.log(seconds))
        >>> round(known.kappa), round(known.mu, 6), round(known.alpha), round(known.beta, 6)
        (11, 5.9534, 6, 0.379082)
        """
        kappa = self.kappa + weight
        off = log_time - self.mu
        return LogTime(
            kappa,
            self.mu + weight * off / kappa,
            self.alpha + weight / 2,
            self.beta + weight * self.kappa * off * off / (2 * kappa),
        )

    def fade(self, keep: float, least: float = 4.0) -> LogTime:
        """With its weight multiplied by `keep`, never under `least` goes; what it expects stays the same."""
        kappa = max(self.kappa * keep, min(self.kappa, least))
        alpha = max((self.alpha - 1) * keep, min(self.alpha - 1, least / 2)) + 1
        return replace(self, kappa=kappa, alpha=alpha, beta=self.beta * (alpha - 1) / (self.alpha - 1))

    @property
    def scale(self) -> float:
        """The scale of the Student-t with 2·alpha degrees of freedom that the log of the next time has."""
        return math.sqrt(self.beta * (self.kappa + 1) / (self.alpha * self.kappa))

    def world(self, z_mean: Floats, z_spread: Floats) -> tuple[Floats, Floats]:
        """Scenarios of the true mu and sigma: (n,) each, from two standard normals a scenario."""
        sigma = math.sqrt(self.beta / self.alpha) * spread(self.alpha, z_spread)
        return self.mu + sigma * z_mean / math.sqrt(self.kappa), sigma


LEAST_ROOT = 0.53  # of gamma / alpha, to the third: where the approximation would leave the law's lower end


def spread(alpha: float, z: Floats) -> Floats:
    """Draws of √(alpha / Gamma(alpha)), the factor on sigma when the variance is inverse-gamma.

    Wilson & Hilferty 1931: the cube root of a gamma is nearly normal (good to 1 % from alpha 2 on).
    """
    root = np.maximum((1 - 1 / (9 * alpha)) + z * (1 / (3 * math.sqrt(alpha))), LEAST_ROOT)
    factor: Floats = 1 / (root * np.sqrt(root))
    return factor

"""Laws of a stage's chance: positive, mean 1, of a given coefficient of variation.

None of them needs to be the forecast's own law. `cv` is of one sitter; several sitters are done one after the other, so
that the whole stage varies less: `of(sitters)` is the law of their mean, its coefficient divided by √sitters.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache
from typing import Literal

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import brentq
from scipy.special import gammainc, gammaincc, gammainccinv, gammaln, log_ndtr, logsumexp, ndtri, ndtri_exp

Floats = NDArray[np.float64]
LawKind = Literal["lognormal", "gamma", "weibull", "bimodal"]


@dataclass(frozen=True)
class Law:
    """`kind` of chance with coefficient of variation `cv`.

    For "bimodal" a share of the goes is hard: `times` as long as an easy one.
    """

    kind: LawKind = "lognormal"
    cv: float = 0.35
    hard_share: float = 0.3
    times: float = 1.9

    def of(self, sitters: int) -> Law:
        """The law of the mean of several sitters; how much longer a hard one takes stays as it is."""
        if sitters == 1:
            return self
        if self.kind == "bimodal":
            between = self._second_moment()
            within2 = ((1 + self.cv**2) / between - 1) / sitters
            return Law("bimodal", math.sqrt(between * (1 + within2) - 1), self.hard_share, self.times)
        return Law(self.kind, self.cv / math.sqrt(sitters))

    def draw(self, rng: np.random.Generator, size: int | tuple[int, ...] = ()) -> Floats:
        """Draws of the law."""
        if self.kind == "gamma":
            return np.asarray(rng.gamma(1 / self.cv**2, self.cv**2, size))
        if self.kind == "weibull":
            shape = weibull_shape(self.cv)
            return np.asarray(rng.weibull(shape, size) / math.gamma(1 + 1 / shape))
        if self.kind == "bimodal":
            is_hard = rng.random(size) < self.hard_share
            mu, sigma = self._easy()
            return np.asarray(np.exp(mu + np.where(is_hard, math.log(self.times), 0.0) + sigma * rng.normal(size=size)))
        mu, sigma = _log_moments(self.cv)
        return np.asarray(np.exp(mu + sigma * rng.normal(size=size)))

    def log_density(self, x: Floats) -> Floats:
        """The log of the density at x > 0."""
        x = np.asarray(x, dtype=np.float64)
        if self.kind == "gamma":
            k, theta = 1 / self.cv**2, self.cv**2
            return np.asarray((k - 1) * np.log(x) - x / theta - gammaln(k) - k * math.log(theta))
        if self.kind == "weibull":
            k = weibull_shape(self.cv)
            z = x * math.gamma(1 + 1 / k)
            return np.asarray(math.log(k) + (k - 1) * np.log(z) - z**k + gammaln(1 + 1 / k))
        return np.asarray(
            logsumexp([math.log(p) + _log_normal_density(x, mu, s) for p, mu, s in self._parts()], axis=0)
        )

    def log_tail(self, x: Floats) -> Floats:
        """The log of the chance of more than x ≥ 0."""
        x = np.maximum(np.asarray(x, dtype=np.float64), 1e-9)
        if self.kind == "gamma":
            with np.errstate(divide="ignore"):
                return np.asarray(np.maximum(np.log(gammaincc(1 / self.cv**2, x / self.cv**2)), -700.0))
        if self.kind == "weibull":
            k = weibull_shape(self.cv)
            return np.asarray(-((x * math.gamma(1 + 1 / k)) ** k))
        return np.asarray(
            logsumexp([math.log(p) + log_ndtr(-(np.log(x) - mu) / s) for p, mu, s in self._parts()], axis=0)
        )

    def beyond(self, x: Floats, rng: np.random.Generator) -> Floats:
        """One draw given that it is more than x, for each x (by inversion of the upper tail)."""
        x = np.maximum(np.asarray(x, dtype=np.float64), 1e-9)
        log_u = np.log(rng.random(x.shape))
        if self.kind == "gamma":
            k, theta = 1 / self.cv**2, self.cv**2
            tail = gammaincc(k, x / theta)
            found = theta * gammainccinv(k, np.exp(log_u) * tail)
            return np.asarray(np.where(tail > 1e-290, np.maximum(found, x), x - theta * log_u))
        if self.kind == "weibull":
            k = weibull_shape(self.cv)
            return np.asarray((-self.log_tail(x) - log_u) ** (1 / k) / math.gamma(1 + 1 / k))
        parts = self._parts()
        log_tails = np.array([math.log(p) + log_ndtr(-(np.log(x) - mu) / s) for p, mu, s in parts])
        share = np.exp(log_tails - logsumexp(log_tails, axis=0))
        chosen = np.minimum((rng.random(x.shape) > np.cumsum(share, axis=0)).sum(axis=0), len(parts) - 1)
        mus, sigmas = np.array([mu for _, mu, _ in parts])[chosen], np.array([s for _, _, s in parts])[chosen]
        log_tail = log_ndtr(-(np.log(x) - mus) / sigmas) + log_u
        return np.asarray(np.maximum(np.exp(mus - sigmas * ndtri_exp(log_tail)), x))

    def quantile(self, p: float) -> float:
        """The p quantile."""
        if self.kind == "lognormal":
            mu, sigma = _log_moments(self.cv)
            return math.exp(mu + sigma * float(ndtri(p)))
        return float(brentq(lambda x: self._below(x) - p, 1e-6, 60.0))

    def _below(self, x: float) -> float:
        if self.kind == "gamma":
            return float(gammainc(1 / self.cv**2, x / self.cv**2))
        return -math.expm1(float(self.log_tail(np.array(x))))

    def _parts(self) -> list[tuple[float, float, float]]:
        """Share, mu and sigma of the log-normal parts."""
        if self.kind == "bimodal":
            mu, sigma = self._easy()
            return [(1 - self.hard_share, mu, sigma), (self.hard_share, mu + math.log(self.times), sigma)]
        return [(1.0, *_log_moments(self.cv))]

    def _second_moment(self) -> float:
        easy = 1 / (1 - self.hard_share + self.hard_share * self.times)
        return easy**2 * (1 - self.hard_share + self.hard_share * self.times**2)

    def _easy(self) -> tuple[float, float]:
        within2 = (1 + self.cv**2) / self._second_moment() - 1
        if not within2 > 0:
            raise ValueError(f"a bimodal law of these parts varies more than {self.cv}")
        sigma2 = math.log1p(within2)
        return -math.log(1 - self.hard_share + self.hard_share * self.times) - sigma2 / 2, math.sqrt(sigma2)


def _log_moments(cv: float) -> tuple[float, float]:
    sigma2 = math.log1p(cv**2)
    return -sigma2 / 2, math.sqrt(sigma2)


def _log_normal_density(x: Floats, mu: float, sigma: float) -> Floats:
    log_x = np.log(x)
    return np.asarray(-0.5 * ((log_x - mu) / sigma) ** 2 - log_x - math.log(sigma * math.sqrt(2 * math.pi)))


@lru_cache(maxsize=256)
def weibull_shape(cv: float) -> float:
    """The shape whose Weibull law has that coefficient of variation."""

    def off(k: float) -> float:
        return math.exp(math.lgamma(1 + 2 / k) - 2 * math.lgamma(1 + 1 / k)) - 1 - cv**2

    return float(brentq(off, 0.3, 60.0))


@dataclass(frozen=True)
class Length:
    """How long something takes that is no drawing: log-normal, mean and coefficient of variation."""

    mean_s: float
    cv: float = 0.5

    def draw(self, rng: np.random.Generator, size: int | tuple[int, ...] = ()) -> Floats:
        """Draws in seconds."""
        return self.mean_s * Law("lognormal", self.cv).draw(rng, size)

    def beyond(self, age_s: Floats, rng: np.random.Generator) -> Floats:
        """Whole lengths given that each is more than its age."""
        return self.mean_s * Law("lognormal", self.cv).beyond(np.asarray(age_s) / self.mean_s, rng)

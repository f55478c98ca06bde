"""One artist's pace: what is known of the log of each stage's time, and how a measured time moves it.

The log of a stage's time is

    the guess + general pace + pace in this style + pace in this stage + the day's + the sketch's own effect
    + tiring × hours into the day + chance,

each of these normal with mean 0 at first. A finished sketch moves them all at once (a Kalman filter, one scalar
measurement a stage), so what is learned about the general pace carries over to other styles, a wrong guess for one
style is forgiven quickly, and two slow stages make the rest of the sketch and of the day expected slower. From day to
day the lasting effects may wander, so old days fade. How far effects go is given as `Spreads`; which ones fit an artist
is `pace.py`'s to find out.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray
from scipy.special import log_ndtr

from portraitq.core.events import Stage, Style
from portraitq.core.timing import StageTime
from portraitq.forecast.lognormal import from_guesses, mean_of_several

Vector = NDArray[np.float64]
GENERAL, DAY, SKETCH, TIRING = 0, 1, 2, 3  # the first effects of every hand; styles and stages follow
MIDDAY_H = 4.0  # after the opening, where tiring counts nothing


@dataclass(frozen=True, slots=True)
class Spreads:
    """How far the effects lie from 0: standard deviations of log time, all as shares that hold for any stage.

    `wander` is how far each lasting effect moves from one day to the next. `guess_weight` is how many goes a guess of
    a stage's spread counts for.
    """

    general: float = 0.25
    style: float = 0.20
    stage: float = 0.15
    day: float = 0.05
    sketch: float = 0.08
    tiring: float = 0.007
    wander: float = 0.02
    guess_weight: float = 6.0


EXACT = Spreads(0, 0, 0, 0, 0, 0, 0, math.inf)  # the guesses are the truth: for theory and for demonstrations


@dataclass(frozen=True, slots=True)
class Hand:
    """What is known of one artist's pace.

    index      ("style", id) or ("stage", style, stage) -> row of the effect
    mean, cov  (d,) and (d, d), of the effects
    base       (style, stage) -> log seconds for one sitter before any effect
    alpha, beta  (style, stage) -> inverse-gamma weight and scale of the variance of chance
    goes       (style, stage) -> how often it was measured by itself, as far as that matters
    day_index  the day of trading that the day's effect belongs to
    hours      after midday, at which the times now looked at were drawn
    """

    index: Mapping[tuple[str, ...], int]
    mean: Vector
    cov: Vector
    base: Mapping[tuple[str, str], float]
    alpha: Mapping[tuple[str, str], float]
    beta: Mapping[tuple[str, str], float]
    goes: Mapping[tuple[str, str], int] = field(default_factory=dict)
    day_index: int = 0
    hours: float = 0.0

    def rows(self, style: str, stage: str) -> tuple[int, ...]:
        """The rows of the effects that add up to that stage's, but for tiring."""
        return (GENERAL, DAY, SKETCH, self.index["style", style], self.index["stage", style, stage])

    def sigma(self, style: str, stage: str) -> float:
        """The standard deviation of chance in log time: the root of the variance's expected inverse."""
        alpha = self.alpha[style, stage]
        return math.sqrt(self.beta[style, stage] / alpha) if math.isfinite(alpha) else self.beta[style, stage]


def stranger(spreads: Spreads) -> Hand:
    """An artist of whom nothing is known but the guesses."""
    spread = [spreads.general, spreads.day, spreads.sketch, spreads.tiring]
    return Hand({}, np.zeros(len(spread)), np.diag(np.square(spread)), {}, {}, {})


def knowing(hand: Hand, style: Style, spreads: Spreads) -> Hand:
    """`hand` with rows for every stage of `style`; what was measured stays when a guess is changed later."""
    keys = [("style", style.id), *(("stage", style.id, stage.id) for stage in style.stages)]
    fresh = [key for key in keys if key not in hand.index]
    if not fresh:
        return hand
    index, d = dict(hand.index), len(hand.mean)
    index.update({key: d + step for step, key in enumerate(fresh)})
    cov = np.zeros((d + len(fresh), d + len(fresh)))
    cov[:d, :d] = hand.cov
    for key in fresh:
        cov[index[key], index[key]] = (spreads.style if key[0] == "style" else spreads.stage) ** 2
    base, alpha, beta = dict(hand.base), dict(hand.alpha), dict(hand.beta)
    for stage in style.stages:
        if (style.id, stage.id) not in base:
            mu, sigma = from_guesses(stage.quick_s, stage.usual_s, stage.slow_s)
            base[style.id, stage.id] = mu
            alpha[style.id, stage.id], beta[style.id, stage.id] = _guessed_spread(sigma, spreads)
    return replace(
        hand, index=index, mean=np.pad(hand.mean, (0, len(fresh))), cov=cov, base=base, alpha=alpha, beta=beta
    )


def _guessed_spread(sigma: float, spreads: Spreads) -> tuple[float, float]:
    """Inverse-gamma of the variance of chance: what the guess leaves once the day's and the sketch's share is out."""
    alpha = guessed_alpha(spreads)
    if math.isinf(alpha):
        return math.inf, sigma
    shared = spreads.day**2 + spreads.sketch**2
    return alpha, alpha * max(sigma * sigma - shared, 0.25 * sigma * sigma)


def guessed_alpha(spreads: Spreads) -> float:
    """The weight `alpha` of a guessed spread; each go adds a half to it."""
    return 1 + spreads.guess_weight / 2


def on_day(hand: Hand, day_index: int, spreads: Spreads) -> Hand:
    """`hand` on that day of trading: the old day's effect is gone, the lasting ones may have wandered."""
    gone = day_index - hand.day_index
    if gone <= 0:
        return hand
    mean, cov = hand.mean.copy(), hand.cov.copy()
    _reset(mean, cov, DAY, spreads.day)
    if hand.day_index:
        lasting = [GENERAL, *range(TIRING + 1, len(mean))]
        cov[lasting, lasting] += gone * spreads.wander**2
    return replace(hand, mean=mean, cov=cov, day_index=day_index)


def at_hours(hand: Hand, since_opening_h: float) -> Hand:
    """`hand` as it draws so many hours after the day's opening."""
    return replace(hand, hours=min(max(since_opening_h, 0.0), 2 * MIDDAY_H) - MIDDAY_H)


def forget_sketch(hand: Hand, spreads: Spreads) -> Hand:
    """`hand` before another sketch, of whose own effect nothing is known yet."""
    mean, cov = hand.mean.copy(), hand.cov.copy()
    _reset(mean, cov, SKETCH, spreads.sketch)
    return replace(hand, mean=mean, cov=cov)


def _reset(mean: Vector, cov: Vector, row: int, sd: float) -> None:
    mean[row], cov[row, :], cov[:, row] = 0.0, 0.0, 0.0
    cov[row, row] = sd * sd


def of_sitters(hand: Hand, style: str, stage: Stage, sitters: int) -> tuple[float, float]:
    """(mu before any effect, sigma of chance) of the log of that stage's time for all sitters together."""
    mu, sigma = hand.base[style, stage.id], hand.sigma(style, stage.id)
    if not stage.per_sitter or sitters == 1:
        return mu, sigma
    shift, narrower = mean_of_several(sigma, sitters)
    return mu + math.log(sitters) + float(shift), float(narrower)


def measured(hand: Hand, time: StageTime, style: Style) -> Hand:
    """`hand` after one measured stage, or after a burst of which only the sum is known.

    The log of a sum of stages is taken as linear in their effects around what is expected (an extended Kalman step).
    A time far off what was expected counts less, as under a Student-t law with few degrees of freedom.
    """
    parts = _parts(time, style)
    return _moved(hand, time, style.id, parts, _expected(hand, style.id, parts, time.sitters)) if parts else hand


def heard(hand: Hand, time: StageTime, style: Style, spreads: Spreads) -> tuple[Hand, float]:
    """What a measured stage teaches, `measured` or `doubted`; and how likely its time was held to be beforehand.

    That is the log of its density, Student-t like `measured`, a constant left out; 0 where the clock ran on.
    """
    parts = _parts(time, style)
    if not parts:
        return hand, 0.0
    said = _expected(hand, style.id, parts, time.sitters)
    if not time.trusted:
        return _at_least(hand, time.at_least_s, said), 0.0
    if _ran_on(hand, time, style.id, parts, said):
        return doubted(_at_least(hand, time.at_least_s, said), time, spreads), 0.0
    variance = said.doubt + said.chance
    surprise = (math.log(time.total_s) - said.log_s) ** 2 / variance
    likely = -0.5 * math.log(variance) - (HEAVY_TAIL + 1) / 2 * math.log1p(surprise / HEAVY_TAIL)
    return _moved(hand, time, style.id, parts, said), likely


def _at_least(hand: Hand, seconds: float, said: _Expected) -> Hand:
    """`hand` after stages that took at least so long: their log is the normal expected, cut off below.

    Mean and variance of a normal cut off at z: its mean rises by h = φ(z)/Φ(−z) spreads, its variance shrinks by
    h·(h − z) (Johnson, Kotz & Balakrishnan, Continuous Univariate Distributions 1, 13.10).
    """
    if seconds <= 0:
        return hand
    spread = math.sqrt(said.doubt + said.chance)
    z = (math.log(seconds) - said.log_s) / spread
    hazard = math.exp(-z * z / 2 - float(log_ndtr(-z))) / math.sqrt(2 * math.pi)
    gain = said.together / spread
    return replace(
        hand,
        mean=hand.mean + gain * hazard,
        cov=hand.cov - hazard * (hazard - z) * np.outer(gain, gain),
    )


def _parts(time: StageTime, style: Style) -> list[Stage]:
    return [stage for stage in style.stages if stage.id in time.stages]


def _moved(hand: Hand, time: StageTime, style: str, parts: Sequence[Stage], said: _Expected) -> Hand:
    off = math.log(time.total_s) - said.log_s
    beyond = off * off / GUESS_OFF - said.doubt - said.chance
    if beyond > 0 and _is_new(hand, style, parts):
        hand = _doubting_guesses(hand, style, parts, beyond)
        said = _expected(hand, style, parts, time.sitters)
    surprise = off * off / (said.doubt + said.chance)
    weight = min(1.0, (HEAVY_TAIL + 1) / (HEAVY_TAIL + surprise))
    gain = said.together / (said.doubt + said.chance / weight)
    alpha, beta, goes, key = hand.alpha, hand.beta, hand.goes, (style, parts[0].id)
    if len(parts) == 1:
        goes = {**goes, key: min(goes.get(key, 0) + 1, KNOWN_AFTER + 2)}
        if math.isfinite(alpha[key]):
            own = hand.sigma(*key) ** 2
            alpha, beta = {**alpha, key: alpha[key] + 0.5}, {**beta, key: beta[key] + 0.5 * own * min(surprise, CLIP)}
    return replace(
        hand,
        mean=hand.mean + gain * off,
        cov=hand.cov - gain[:, None] * said.together,
        alpha=alpha,
        beta=beta,
        goes=goes,
    )


def _is_new(hand: Hand, style: str, parts: Sequence[Stage]) -> bool:
    return any(hand.goes.get((style, part.id), 0) < KNOWN_AFTER for part in parts)


GUESS_OFF = 6.0  # a guess out by more than its root in spreads says that these guesses are worth less than guesses are


def _doubting_guesses(hand: Hand, style: str, parts: Sequence[Stage], beyond: float) -> Hand:
    """`hand` with so much more variance of what is guessed of these stages, half of it the style's."""
    if not any(math.isfinite(hand.alpha[style, part.id]) for part in parts):
        return hand
    cov = hand.cov.copy()
    for key in (("style", style), *(("stage", style, part.id) for part in parts)):
        cov[hand.index[key], hand.index[key]] += beyond / 2
    return replace(hand, cov=cov)


RAN_ON = 3.5  # so many spreads above what was expected the pencil was down and nobody said so
RAN_OVER_BREAK = 1.5  # where a planned break lies in the time clocked


def ran_on_s(hand: Hand, time: StageTime, style: Style) -> float:
    """By how many seconds the clock ran on while nobody drew, by the artist's own spread; 0 where it did not.

    Only where that spread is measured: a guess that is wrong by far is no clock that ran on.
    """
    parts = _parts(time, style)
    if not parts:
        return 0.0
    said = _expected(hand, style.id, parts, time.sitters)
    return time.total_s - math.exp(said.log_s) if _ran_on(hand, time, style.id, parts, said) else 0.0


def _ran_on(hand: Hand, time: StageTime, style: str, parts: Sequence[Stage], said: _Expected) -> bool:
    limit = said.log_s + (RAN_OVER_BREAK if time.over_break else RAN_ON) * math.sqrt(said.doubt + said.chance)
    return math.log(time.total_s) > limit and not _is_new(hand, style, parts)


KNOWN_AFTER = 3  # goes


def doubted(hand: Hand, time: StageTime, spreads: Spreads) -> Hand:
    """`hand` after a clock that seems to have run on: less sure of the stage, for it may be a lasting change.

    Seen a third time in a row it is believed.
    """
    cov, goes = hand.cov.copy(), dict(hand.goes)
    for stage in time.stages:
        row = hand.index["stage", time.style, stage]
        cov[row, row] += spreads.stage**2
        goes[time.style, stage] = goes.get((time.style, stage), 0) - 2
    return replace(hand, cov=cov, goes=goes)


HEAVY_TAIL = 15.0
CLIP = 9.0  # one run-on clock does not teach that every stage is wild


@dataclass(frozen=True, slots=True)
class _Expected:
    """The log of a time before it is measured: `log_s`, variance of the effects in it (`doubt`) and of `chance`.

    together  (d,) covariance of each effect with it
    """

    log_s: float
    together: Vector
    doubt: float
    chance: float


def _expected(hand: Hand, style: str, parts: Sequence[Stage], sitters: int) -> _Expected:
    """What is expected of one stage, or of the sum of several."""
    logs, rows, sigmas = [], [], []
    for part in parts:
        mu, sigma = of_sitters(hand, style, part, sitters)
        row = list(hand.rows(style, part.id))
        logs.append(mu + float(hand.mean[row].sum() + hand.hours * hand.mean[TIRING]))
        rows.append(row)
        sigmas.append(sigma)
    most = max(logs)
    total = sum(math.exp(log - most) for log in logs)
    shares = [math.exp(log - most) / total for log in logs]
    loads = np.zeros(len(hand.mean))
    loads[TIRING] = hand.hours
    for share, row in zip(shares, rows, strict=True):
        loads[row] += share
    together = hand.cov @ loads
    doubt = float(loads @ together)
    chance = sum((share * sigma) ** 2 for share, sigma in zip(shares, sigmas, strict=True))
    return _Expected(most + math.log(total), together, doubt, chance)

"""Does it grow or shrink from day to day? A straight line through days, and how little a few of them say about it.

Ordinary least squares, each day counted once; the interval is Student's, for days that scatter alike about the line and
do not hang together. Draper & Smith, Applied Regression Analysis, 3rd ed. (1998), chapter 1.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from scipy.special import stdtrit

ENOUGH_DAYS = 5  # a line through fewer has an interval so wide, or so lucky, that nothing is to be said of it
LEVEL = 0.95


def t_quantile(freedom: float, level: float = LEVEL) -> float:
    """So many standard errors to either side hold `level` of Student's t.

    >>> round(t_quantile(9), 3)  # printed in every table of t
    2.262
    """
    return float(stdtrit(freedom, 0.5 + level / 2))


@dataclass(frozen=True, slots=True)
class Trend:
    """y = intercept + slope · x through `n` points; `_sd` are standard errors, `scatter` that of a point."""

    n: int
    slope: float
    intercept: float
    slope_sd: float
    intercept_sd: float
    scatter: float
    x_mean: float
    x_square: float

    @property
    def interval(self) -> tuple[float, float]:
        """Where the slope lies, 95 %."""
        half = t_quantile(self.n - 2) * self.slope_sd
        return self.slope - half, self.slope + half

    @property
    def is_clear(self) -> bool:
        """Whether the days are enough, and the interval of the slope leaves out a level line."""
        low, high = self.interval
        return self.n >= ENOUGH_DAYS and (low > 0 or high < 0)

    def at(self, x: float) -> float:
        """The line at `x`."""
        return self.intercept + self.slope * x

    def band(self, x: float) -> tuple[float, float]:
        """Where the line itself lies at `x`, 95 %."""
        half = t_quantile(self.n - 2) * self.scatter * math.sqrt(1 / self.n + (x - self.x_mean) ** 2 / self.x_square)
        return self.at(x) - half, self.at(x) + half


def trend(xs: Sequence[float], ys: Sequence[float]) -> Trend | None:
    """The line through the points (x, y); None where fewer than three, or all at one x, leave it open.

    >>> trend([0, 1, 2, 3], [1, 3, 2, 4]).slope
    0.8
    """
    n = len(xs)
    if n != len(ys):
        raise ValueError(f"as many y as x were expected, not {len(ys)} for {n}")
    if n < 3:
        return None
    x_mean, y_mean = math.fsum(xs) / n, math.fsum(ys) / n
    x_square = math.fsum((x - x_mean) ** 2 for x in xs)
    if x_square == 0:
        return None
    slope = math.fsum((x - x_mean) * (y - y_mean) for x, y in zip(xs, ys, strict=True)) / x_square
    intercept = y_mean - slope * x_mean
    rest = math.fsum((y - intercept - slope * x) ** 2 for x, y in zip(xs, ys, strict=True))
    scatter = math.sqrt(rest / (n - 2))
    return Trend(
        n=n,
        slope=slope,
        intercept=intercept,
        slope_sd=scatter / math.sqrt(x_square),
        intercept_sd=scatter * math.sqrt(1 / n + x_mean**2 / x_square),
        scatter=scatter,
        x_mean=x_mean,
        x_square=x_square,
    )

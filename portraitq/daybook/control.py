"""Is a measured time out of the ordinary? The individuals chart: a centre, and limits three sigma from it.

Sigma is not the standard deviation, which a single odd time makes large enough to hide in, but the mean moving range
(of each time and the one before it) over d2 = 2/√π, which is what the mean range of two normal values is in sigmas.

Stage times are charted by their logarithms, and the limits are shown back in minutes. They are skewed: of log-normal
times with a sigma of 0.4 (a usual spread of a stage) a chart of the seconds calls 1.6 % of ordinary times too long
and can call none too short, for its lower limit is below zero; the chart of the logs calls 0.13 % on either side
(both reckoned in the test). Rejected: a power transform fitted to each day, which a day's few times do not determine.

Sources: NIST/SEMATECH e-Handbook 6.3.2.2 (individuals and moving range charts); d2, d3 of two normal values by their
definition, E|X − Y| = 2/√π and its standard deviation √(2 − 4/π).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

D2 = 2 / math.sqrt(math.pi)
D3 = math.sqrt(2 - 4 / math.pi)
WIDTH = 3 / D2  # tables print 2.66
RANGE_WIDTH = 1 + 3 * D3 / D2  # D4; tables print 3.267
ENOUGH = 12  # values behind the limits: from fewer the mean moving range is off by a quarter and more
ENOUGH_BEFORE = 20  # from then on the times before the day make the limits, and the day is judged by them
MOST_BEFORE = 60  # older times say less of today's hand


@dataclass(frozen=True, slots=True)
class Limits:
    """Where ordinary values lie: `lower` ≤ value ≤ `upper`. They stand on `n` values."""

    n: int
    centre: float
    lower: float
    upper: float
    mean_range: float

    @property
    def range_upper(self) -> float:
        """The upper limit of the moving range itself."""
        return RANGE_WIDTH * self.mean_range

    def holds(self, value: float) -> bool:
        """Whether `value` is within the limits."""
        return self.lower <= value <= self.upper


def limits(values: Sequence[float]) -> Limits:
    """The limits that `values`, in their order, give; ValueError for fewer than two.

    >>> found = limits([49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1])
    >>> round(found.centre, 2), round(found.mean_range, 6), round(found.lower, 2), round(found.upper, 2)
    (50.81, 1.877778, 45.82, 55.8)
    """
    if len(values) < 2:
        raise ValueError(f"limits take two values or more, not {len(values)}")
    centre = math.fsum(values) / len(values)
    ranges = [abs(after - before) for before, after in pairwise(values)]
    mean_range = math.fsum(ranges) / len(ranges)
    return Limits(len(values), centre, centre - WIDTH * mean_range, centre + WIDTH * mean_range, mean_range)


def time_limits(times_s: Sequence[float]) -> Limits:
    """The limits of skewed times in seconds, all above 0: made of their logs, given in seconds.

    The centre is the geometric mean; `mean_range` stays that of the logs, a factor and no length.
    """
    if min(times_s, default=0) <= 0:
        raise ValueError("times above 0 were expected: of others there is no logarithm")
    of_logs = limits([math.log(time_s) for time_s in times_s])
    return Limits(
        of_logs.n, math.exp(of_logs.centre), math.exp(of_logs.lower), math.exp(of_logs.upper), of_logs.mean_range
    )


@dataclass(frozen=True, slots=True)
class Judgement:
    """A day's times beside their limits. `is_from_before` says that the limits stand on the times before the day."""

    limits: Limits
    is_from_before: bool
    beyond: tuple[int, ...]  # places in the day's times


def judge_times(times_s: Sequence[float], before_s: Sequence[float]) -> Judgement | None:
    """How the times of a day, in their order, lie; None where too few are known to say.

    before_s  the same hand's times at the same stage on the days before, oldest first

    Limits out of the times before are the better judge, for a day that was odd as a whole cannot excuse itself.
    """
    is_from_before = len(before_s) >= ENOUGH_BEFORE
    if not times_s or (not is_from_before and len(times_s) < ENOUGH):
        return None
    known = time_limits(before_s[-MOST_BEFORE:] if is_from_before else times_s)
    beyond = tuple(place for place, time_s in enumerate(times_s) if not known.holds(time_s))
    return Judgement(known, is_from_before, beyond)

"""Which guesses of the set-up does the record speak against, and what was measured in their place?

Measured times are those that count as exact (`forecast/doubts.py`), of stages that the set-up has as they were when
they were drawn. Of ten goes one was quicker than the tenth percentile, half than the median, one slower than the
ninetieth: these three are what a guess means. A guess is spoken against where all of this holds:

- at least FEWEST times were measured: of fewer the outer two percentiles are little more than the extremes;
- the median is off by OFF_BY or more: a guess that is nearer is a good one;
- the 95 % interval of the median leaves the guess out. That is the wider one of two: of order statistics, for which
  each time is a draw of its own, and of the logs' mean with whole days as draws, for a slow day makes all its times
  slow. From one day or two nobody can tell a slow day from a wrong guess, so there days are taken to differ as widely
  as they usually do at most.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from portraitq.core.events import SetUp
from portraitq.core.life import Ticket
from portraitq.core.timing import Turnaround
from portraitq.daybook.changes import TURNAROUND, Change, Values, stage_named, standing
from portraitq.daybook.estimates import Estimate, median_of
from portraitq.daybook.quantiles import quantile
from portraitq.daybook.ratios import ratio
from portraitq.daybook.shares import Z_95
from portraitq.forecast.doubts import EXACT, Judged
from portraitq.forecast.interruptions import LONGEST_LAG_S

FEWEST = 15
OFF_BY = 0.15  # a guess that is off by less than this is a good guess
WIDE_DAYS = 0.12  # of log time: so far a day lies from the usual, where days are too few to tell (as in pace.MINDS)
STEP_S = 5  # guesses are typed in steps of this; finer would pretend too much


@dataclass(frozen=True, slots=True)
class MeasuredGuess:
    """A guess that the record speaks against: what it would become, and the median with its interval, in seconds."""

    change: Change
    median_s: Estimate
    days: int

    @property
    def strength(self) -> float:
        """How far the median lies from the guess, in halves of its interval on that side; over 1 it is left out."""
        guess_s = self.change.old[1]
        bound_s = self.median_s.low if self.median_s.value > guess_s else self.median_s.high
        off = abs(math.log(self.median_s.value / guess_s))
        return off / max(abs(math.log(self.median_s.value / bound_s)), 1e-3)


_Go = tuple[str, float]  # the day, and one measured time for one sitter in seconds


def guesses_spoken_against(
    set_up: SetUp,
    times: Iterable[Judged],
    turnarounds: Iterable[tuple[str, Turnaround]],
    tickets: Mapping[str, Ticket],
) -> tuple[MeasuredGuess, ...]:
    """Every such guess, in the set-up's order, the turnaround last.

    times        with their tickets in `tickets`, by id
    turnarounds  each with the day it is of
    """
    goes = _goes(set_up, times, tickets)
    goes[TURNAROUND] = [
        (day, one.lag_s) for day, one in turnarounds if one.waited and 1.0 <= one.lag_s <= LONGEST_LAG_S
    ]
    found = (_spoken_against(what, standing(set_up, what), of_it) for what, of_it in goes.items())
    return tuple(one for one in found if one is not None)


def _goes(set_up: SetUp, times: Iterable[Judged], tickets: Mapping[str, Ticket]) -> dict[str, list[_Go]]:
    goes: dict[str, list[_Go]] = {
        stage_named(style.id, stage.id): [] for style in set_up.styles for stage in style.stages
    }
    for one in times:
        ticket, time = tickets[one.time.ticket], one.time
        style = set_up.style(time.style)
        if one.counts_as != EXACT or style is None:
            continue
        stage = next(stage for stage in ticket.style.stages if stage.id == time.stages[0])
        if [(s.id, s.per_sitter) for s in style.stages] != [(s.id, s.per_sitter) for s in ticket.style.stages]:
            continue  # the style was cut up otherwise then: a stage of the same name may be other work
        sitters = ticket.sitters if stage.per_sitter else 1
        goes[stage_named(style.id, stage.id)].append((ticket.day, time.total_s / sitters))
    return goes


def _spoken_against(what: str, guess: Values | None, goes: Sequence[_Go]) -> MeasuredGuess | None:
    median = median_over_days(goes)
    if guess is None or median is None or median.n < FEWEST:
        return None
    if median.low <= guess[1] <= median.high or abs(median.value / guess[1] - 1) < OFF_BY:
        return None
    times_s = [time_s for _, time_s in goes]
    new = tuple(_stepped(each) for each in (quantile(times_s, 0.1), median.value, quantile(times_s, 0.9)))
    days = len({day for day, _ in goes})
    return MeasuredGuess(Change(what, guess, new), median, days) if new != guess else None


def median_over_days(goes: Sequence[_Go]) -> Estimate | None:
    """The median of times with the day that each is of; None of too few of them."""
    plain = median_of([time_s for _, time_s in goes])
    if plain is None or plain.low <= 0:
        return None
    off: dict[str, list[float]] = {}
    for day, time_s in goes:
        off.setdefault(day, []).append(math.log(time_s / plain.value))
    by_days = ratio([math.fsum(each) for each in off.values()], [float(len(each)) for each in off.values()])
    if by_days is not None and by_days.interval is not None:
        half = (by_days.interval[1] - by_days.interval[0]) / 2
    else:
        half = Z_95 * WIDE_DAYS / math.sqrt(len(off))
    low, high = min(plain.low, plain.value * math.exp(-half)), max(plain.high, plain.value * math.exp(half))
    return Estimate(plain.value, low, high, plain.n)


def _stepped(seconds: float) -> float:
    return float(max(math.floor(seconds / STEP_S + 0.5), 1) * STEP_S)

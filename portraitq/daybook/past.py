"""How long each stage took on the days before: what a day's times are held against beside the guesses.

One day's times are a small table by style, stage and artist, which a closed day need make only once; the past of a
day is those tables put one behind the other. Only times that count as exact are in them (`forecast/doubts.py`), for
one sitter.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field

from portraitq.core.booth import TradingDay
from portraitq.core.life import Ticket
from portraitq.daybook.days import Day
from portraitq.daybook.quantiles import Spread, spread
from portraitq.forecast.doubts import EXACT, Judged, judged
from portraitq.forecast.pace import Pace

DayTimes = Mapping[tuple[str, str, str], tuple[float, ...]]
"""Seconds for one sitter in the order in which they were tapped, by style, stage and artist."""


@dataclass(frozen=True, slots=True)
class Past:
    """The times of all days before one day, oldest first."""

    days: tuple[DayTimes, ...] = ()
    _spreads: dict[tuple[str, str, str], Spread | None] = field(default_factory=dict)

    def times_s(self, style: str, stage: str, artist: str) -> tuple[float, ...]:
        """The times of one artist at one stage of one style."""
        return tuple(time_s for day in self.days for time_s in day.get((style, stage, artist), ()))

    def spread(self, style: str, stage: str, artist: str = "") -> Spread | None:
        """Their middle and spread; of all artists together unless one is named. None when there are none."""
        asked = (style, stage, artist)
        if asked not in self._spreads:
            self._spreads[asked] = spread(
                time_s
                for day in self.days
                for key, times_s in day.items()
                if key[:2] == asked[:2] and artist in ("", key[2])
                for time_s in times_s
            )
        return self._spreads[asked]


NO_PAST = Past()


def times_of(day: Day, tickets: Iterable[Ticket], days: Sequence[TradingDay], pace: Pace) -> DayTimes:
    """The exact times that ended on `day`; `tickets` are all that concern it, `days` the booth's days of trading."""
    by_id = {ticket.id: ticket for ticket in tickets}
    found: dict[tuple[str, str, str], list[float]] = {}
    times = [
        one for one in judged(by_id.values(), days, pace) if one.counts_as == EXACT and day.holds(one.time.ended_at)
    ]
    for one in sorted(times, key=lambda one: one.time.ended_at):
        time_s = for_one_sitter(one, by_id[one.time.ticket])
        found.setdefault((one.time.style, one.time.stages[0], one.time.artist), []).append(time_s)
    return {key: tuple(times_s) for key, times_s in found.items()}


def for_one_sitter(one: Judged, ticket: Ticket) -> float:
    """The exact time of one stage in seconds, for one sitter where the stage is done once for each."""
    stage = next(stage for stage in ticket.style.stages if stage.id == one.time.stages[0])
    return one.time.total_s / (ticket.sitters if stage.per_sitter else 1)

"""How long each stage took on a day, measured against the artist's guess and against the days before.

Times are those of `core/timing.py`, ended on the day. A stage done once for each sitter is divided by the sitters, as
its guess is for one. Left out, and counted with the reason: every time that does not count as exact, which is
`forecast/doubts.py`'s to say.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime
from itertools import groupby

from portraitq.core.booth import TradingDay
from portraitq.core.events import Stage, Style
from portraitq.core.life import Ticket
from portraitq.daybook.control import Judgement, judge_times
from portraitq.daybook.days import Day
from portraitq.daybook.past import NO_PAST, Past, for_one_sitter
from portraitq.daybook.quantiles import Spread, spread
from portraitq.forecast.doubts import EXACT, Judged, judged
from portraitq.forecast.pace import Pace


@dataclass(frozen=True, slots=True)
class Timed:
    """One exact time of a stage, for one sitter where the stage is done once for each."""

    ticket: str
    artist: str
    ended_at: datetime
    time_s: float


@dataclass(frozen=True, slots=True)
class Hand:
    """One artist at one stage on one day: the times in the order in which they were tapped, and what came before.

    past     the same artist's times on all days before, None when there are none
    control  how the day's times lie beside their limits, None where too few are known
    """

    artist: str
    times: tuple[Timed, ...]
    past: Spread | None = None
    control: Judgement | None = None

    @property
    def measured(self) -> Spread | None:
        """The middle and spread of the day."""
        return spread(one.time_s for one in self.times)

    @property
    def beyond(self) -> tuple[Timed, ...]:
        """The times that lie beyond their limits."""
        return tuple(self.times[place] for place in self.control.beyond) if self.control else ()


@dataclass(frozen=True, slots=True)
class StageFigures:
    """One stage of one style on one day; `measured` is None when no time of it can be trusted.

    past   all artists' times at it on all days before, None when there are none
    hands  each artist who has an exact time of it, in the order of their ids
    """

    style: str
    style_name: str
    stage: Stage
    tickets: tuple[str, ...]
    measured: Spread | None
    set_aside: int
    past: Spread | None = None
    hands: tuple[Hand, ...] = ()

    @property
    def against_guess(self) -> float | None:
        """How much longer than the guess its median is, as a share of the guess (negative: quicker)."""
        return self.measured.median_s / self.stage.usual_s - 1 if self.measured else None

    @property
    def against_past(self) -> float | None:
        """The same beside the median of the days before."""
        return self.measured.median_s / self.past.median_s - 1 if self.measured and self.past else None


@dataclass(frozen=True, slots=True)
class DayStages:
    """Every stage that was measured on a day, by style and in the style's order; and every time, in order."""

    stages: tuple[StageFigures, ...]
    times: tuple[Judged, ...]

    @property
    def set_aside(self) -> tuple[Judged, ...]:
        """The times that the day's figures leave out, each with its reason."""
        return tuple(one for one in self.times if one.counts_as != EXACT)


def stages_of(
    day: Day, tickets: Iterable[Ticket], days: Sequence[TradingDay], pace: Pace, past: Past = NO_PAST
) -> DayStages:
    """The stages that ended on `day`; `tickets` are all that it may concern, `days` the booth's days of trading.

    `pace` is what is known of the artists, by which a clock that ran on is told; `past` the days before.
    """
    by_id = {ticket.id: ticket for ticket in tickets}
    times = [one for one in judged(by_id.values(), days, pace) if day.holds(one.time.ended_at)]
    styles = {ticket.style.id: ticket.style for ticket in (by_id[one.time.ticket] for one in times)}
    kept: dict[tuple[str, str], list[Timed]] = {}
    aside = []
    for one in times:
        if one.counts_as != EXACT:
            aside.append(one.time)
            continue
        ticket = by_id[one.time.ticket]
        timed = Timed(ticket.id, one.time.artist, one.time.ended_at, for_one_sitter(one, ticket))
        kept.setdefault((ticket.style.id, one.time.stages[0]), []).append(timed)
    figures = []
    for style in sorted(styles.values(), key=lambda one: one.name):
        for stage in _ever_drawn(style, (by_id[one.time.ticket].style for one in times)):
            measured = kept.get((style.id, stage.id), [])
            left_out = sum(time.style == style.id and stage.id in time.stages for time in aside)
            if measured or left_out:
                figures.append(
                    StageFigures(
                        style=style.id,
                        style_name=style.name,
                        stage=stage,
                        tickets=tuple(one.ticket for one in measured),
                        measured=spread(one.time_s for one in measured),
                        set_aside=left_out,
                        past=past.spread(style.id, stage.id),
                        hands=tuple(_hands(style.id, stage.id, measured, past)),
                    )
                )
    return DayStages(tuple(figures), tuple(sorted(times, key=lambda one: one.time.ended_at)))


def _hands(style: str, stage: str, measured: Iterable[Timed], past: Past) -> Iterator[Hand]:
    ordered = sorted(measured, key=lambda one: (one.artist, one.ended_at))
    for artist, own in groupby(ordered, key=lambda one: one.artist):
        times = tuple(own)
        before_s = past.times_s(style, stage, artist)
        control = judge_times([one.time_s for one in times], before_s)
        yield Hand(artist, times, spread(before_s), control)


def _ever_drawn(style: Style, as_begun: Iterable[Style]) -> Iterable[Stage]:
    """The stages of `style`, and after them those that it had when an earlier portrait of the day was begun."""
    known = {stage.id: stage for stage in style.stages}
    for earlier in as_begun:
        if earlier.id == style.id:
            for stage in earlier.stages:
                known.setdefault(stage.id, stage)
    return known.values()

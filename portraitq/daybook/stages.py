"""How long each stage took on a day, measured against the artist's guess.

Times are those of `core/timing.py`, ended on the day. A stage done once for each sitter is divided by the sitters, as
its guess is for one. Left out, and counted with the reason: every time that does not count as exact, which is
`forecast/doubts.py`'s to say.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from portraitq.core.booth import TradingDay
from portraitq.core.events import Stage, Style
from portraitq.core.life import Ticket
from portraitq.daybook.days import Day
from portraitq.daybook.quantiles import Spread, spread
from portraitq.forecast.doubts import EXACT, Judged, judged
from portraitq.forecast.pace import Pace


@dataclass(frozen=True, slots=True)
class StageFigures:
    """One stage of one style on one day; `measured` is None when no time of it can be trusted."""

    style: str
    style_name: str
    stage: Stage
    tickets: tuple[str, ...]
    measured: Spread | None
    set_aside: int

    @property
    def against_guess(self) -> float | None:
        """How much longer than the guess its median is, as a share of the guess (negative: quicker)."""
        return self.measured.median_s / self.stage.usual_s - 1 if self.measured else None


@dataclass(frozen=True, slots=True)
class DayStages:
    """Every stage that was measured on a day, by style and in the style's order; and every time, in order."""

    stages: tuple[StageFigures, ...]
    times: tuple[Judged, ...]

    @property
    def set_aside(self) -> tuple[Judged, ...]:
        """The times that the day's figures leave out, each with its reason."""
        return tuple(one for one in self.times if one.counts_as != EXACT)


def stages_of(day: Day, tickets: Iterable[Ticket], days: Sequence[TradingDay], pace: Pace) -> DayStages:
    """The stages that ended on `day`; `tickets` are all that it may concern, `days` the booth's days of trading.

    `pace` is what is known of the artists, by which a clock that ran on is told.
    """
    by_id = {ticket.id: ticket for ticket in tickets}
    times = [one for one in judged(by_id.values(), days, pace) if day.holds(one.time.ended_at)]
    styles = {ticket.style.id: ticket.style for ticket in (by_id[one.time.ticket] for one in times)}
    kept: dict[tuple[str, str], list[tuple[str, float]]] = {}
    aside = []
    for one in times:
        if one.counts_as != EXACT:
            aside.append(one.time)
            continue
        ticket = by_id[one.time.ticket]
        stage = next(stage for stage in ticket.style.stages if stage.id == one.time.stages[0])
        sitters = ticket.sitters if stage.per_sitter else 1
        kept.setdefault((ticket.style.id, stage.id), []).append((ticket.id, one.time.total_s / sitters))
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
                        tickets=tuple(id for id, _ in measured),
                        measured=spread(time_s for _, time_s in measured),
                        set_aside=left_out,
                    )
                )
    return DayStages(tuple(figures), tuple(sorted(times, key=lambda one: one.time.ended_at)))


def _ever_drawn(style: Style, as_begun: Iterable[Style]) -> Iterable[Stage]:
    """The stages of `style`, and after them those that it had when an earlier portrait of the day was begun."""
    known = {stage.id: stage for stage in style.stages}
    for earlier in as_begun:
        if earlier.id == style.id:
            for stage in earlier.stages:
                known.setdefault(stage.id, stage)
    return known.values()

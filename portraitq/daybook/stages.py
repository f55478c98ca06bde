"""How long each stage took on a day, measured against the artist's guess.

Times are those of `core/timing.py`, ended on the day. A stage done once for each sitter is divided by the sitters, as
its guess is for one. Left out, and counted with the reason: times that are not trusted, and stages of which only the
sum with others is known because they were tapped together.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from portraitq.core.booth import TradingDay
from portraitq.core.events import Stage
from portraitq.core.life import Ticket
from portraitq.core.timing import StageTime, stage_times
from portraitq.daybook.days import Day
from portraitq.daybook.quantiles import Spread, spread

IN_ONE_SUM = "tapped together with others, so that only their sum is known"


@dataclass(frozen=True, slots=True)
class SetAside:
    """A measured time that the day's figures leave out, and why."""

    time: StageTime
    why: str


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
    """Every stage that was measured on a day, by style and in the style's order, and what was set aside."""

    stages: tuple[StageFigures, ...]
    set_aside: tuple[SetAside, ...]


def stages_of(day: Day, tickets: Iterable[Ticket], days: Sequence[TradingDay]) -> DayStages:
    """The stages that ended on `day`; `tickets` are all that it may concern, `days` the booth's days of trading."""
    kept: dict[tuple[str, str], list[tuple[str, float]]] = {}
    aside: list[SetAside] = []
    styles = {}
    for ticket in tickets:
        for time in stage_times(ticket, days):
            if not day.holds(time.ended_at):
                continue
            styles[ticket.style.id] = ticket.style  # the last one begun tells what the guesses were
            if why := time.why_not or (IN_ONE_SUM if len(time.stages) > 1 else None):
                aside.append(SetAside(time, why))
                continue
            stage = next(stage for stage in ticket.style.stages if stage.id == time.stages[0])
            sitters = ticket.sitters if stage.per_sitter else 1
            kept.setdefault((ticket.style.id, stage.id), []).append((ticket.id, time.total_s / sitters))
    figures = []
    for style in sorted(styles.values(), key=lambda one: one.name):
        for stage in style.stages:
            times = kept.get((style.id, stage.id), [])
            left_out = sum(one.time.style == style.id and stage.id in one.time.stages for one in aside)
            if times or left_out:
                figures.append(
                    StageFigures(
                        style=style.id,
                        style_name=style.name,
                        stage=stage,
                        tickets=tuple(ticket for ticket, _ in times),
                        measured=spread(time_s for _, time_s in times),
                        set_aside=left_out,
                    )
                )
    return DayStages(tuple(figures), tuple(sorted(aside, key=lambda one: one.time.ended_at)))

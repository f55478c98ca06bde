"""What does each style earn for an hour on the easel?

What was paid for portraits of that style and not given back, over the hours that they kept an easel busy: drawing, the
pauses in it that are no breaks, touch-ups, and their equal share of the artist's turnarounds on the day they were
finished. Portraits that nobody paid for yet count with their hours, and so do idle hours of no style. Left out and
counted are portraits whose clock cannot be trusted. The interval is the ratio estimator's, with days as draws.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from portraitq.daybook.day_summary import Portrait
from portraitq.daybook.ratios import Ratio, ratio
from portraitq.daybook.season import Season

HOUR_S = 3600


@dataclass(frozen=True, slots=True)
class StyleEarns:
    """One style: `n` portraits on `days` days, minor units earned per easel hour, easel hours for one portrait."""

    style: str
    n: int
    left_out: int
    easel_h: float
    earned: int
    per_hour: Ratio

    @property
    def easel_h_each(self) -> float:
        """Hours on the easel for one portrait."""
        return self.easel_h / self.n


def earnings(season: Season) -> tuple[StyleEarns, ...]:
    """Every style of which a portrait counts, the one that earns most first."""
    styles = {one.style for day in season.days for one in day.portraits}
    found = (_of_style(season, style) for style in sorted(styles))
    return tuple(sorted((one for one in found if one), key=lambda one: -one.per_hour.value))


def _of_style(season: Season, style: str) -> StyleEarns | None:
    every = [[one for one in day.portraits if one.style == style] for day in season.days]
    days = [[one for one in those if one.drawn_s > 0] for those in every]
    easel_h = _sums(days, lambda one: one.easel_s / HOUR_S)
    earned = _sums(days, lambda one: one.earned)
    per_hour = ratio(earned, easel_h)
    if per_hour is None:
        return None
    n = sum(len(those) for those in days)
    left_out = sum(len(those) for those in every) - n
    return StyleEarns(style, n, left_out, sum(easel_h), round(sum(earned)), per_hour)


def _sums(days: list[list[Portrait]], of: Callable[[Portrait], float]) -> list[float]:
    return [sum(of(one) for one in those) for those in days]

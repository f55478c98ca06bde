"""What is true of a booth: every parameter from which a season is simulated, and what the oracle knows.

Seconds throughout; clock hours are UTC hours of the day. A stage of a sketch takes

    mean_s × (sitters if per_sitter) × artist's pace × affinity × change(day) × exp(day effect + sketch effect
    + fatigue × hours since opening at the sketch's beginning) × chance,   chance ~ law of that stage, mean 1.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from functools import cached_property
from typing import Literal

from tests.seasons.laws import Law, LawKind, Length

EffectKind = Literal["normal", "two-point"]


@dataclass(frozen=True)
class StageTruth:
    id: str
    mean_s: float
    per_sitter: bool = True
    cv: float | None = None  # None: the booth's


@dataclass(frozen=True)
class StyleTruth:
    """`share` of the orders; `guess_factor` is what the set-up's guesses are off by; `from_day` when it comes in."""

    id: str
    stages: tuple[StageTruth, ...]
    share: float = 1.0
    price: int = 2500
    guess_factor: float = 1.0
    from_day: int = 0


@dataclass(frozen=True)
class ArtistTruth:
    """`pace` > 1 is slower; `affinity` by style on top; `breaks` in hours of the day."""

    id: str
    styles: tuple[str, ...]
    pace: float = 1.0
    affinity: tuple[tuple[str, float], ...] = ()
    breaks: tuple[tuple[float, float], ...] = ()


@dataclass(frozen=True)
class Truth:
    """All knobs of one booth. Rates of pauses are per hour drawn; shares are chances 0–1."""

    name: str
    styles: tuple[StyleTruth, ...]
    artists: tuple[ArtistTruth, ...]
    days: int = 25
    opens_h: float = 9.0
    closes_h: float = 17.0
    closed_every: int = 0  # every so many calendar days one without trading; 0: never
    # who comes
    visitors_a_day: float = 28.0
    lunch_peak: float = 0.5
    afternoon_peak: float = 0.4
    patience_s: float = 7200.0  # a wait that about half of the visitors do not take
    tomorrow_share: float = 0.0  # of those who may have to come back tomorrow, who stay
    two_sitters: float = 0.0
    three_sitters: float = 0.0
    # how long stages take
    law: LawKind = "lognormal"
    cv: float = 0.35
    hard_share: float = 0.3
    hard_times: float = 1.9
    day_sd: float = 0.0
    sketch_sd: float = 0.0
    effect: EffectKind = "normal"
    drift_per_day: float = 0.0
    step_day: int | None = None
    step: float = 1.0
    fatigue_per_h: float = 0.0
    guess_spread: float = 1.0  # 1: quick and slow are honest; less: too narrow
    # what comes between
    turnaround: Length = field(default_factory=lambda: Length(65, 0.4))
    pauses_per_h: tuple[tuple[str, float], ...] = (("supplies", 0.08), ("sitter", 0.05), ("other", 0.08))
    pause: Length = field(default_factory=lambda: Length(140, 0.7))
    counter_share: float = 0.0  # of visitors coming while the artist draws who make them put the pencil down
    counter_leads: bool = True  # the pause comes before the order's line; else right after it
    talk: Length = field(default_factory=lambda: Length(60, 0.4))
    stops_per_h: float = 0.0  # the pencil is down and nobody tells the clock
    stop: Length = field(default_factory=lambda: Length(1500, 0.4))
    run_on_share: float = 0.0  # of planned breaks that are not tapped
    # queue
    hold_share: float = 0.0
    hold: Length = field(default_factory=lambda: Length(1500, 0.4))
    put_backs_per_h: float = 0.0
    moved_share: float = 0.0
    cancel_share: float = 0.0
    no_show_share: float = 0.0
    request_share: float = 0.0
    late_share: float = 0.0
    touch_up_share: float = 0.0
    touch_up: Length = field(default_factory=lambda: Length(240, 0.5))
    # taps
    forget_share: float = 0.0  # of stage ends (not the last) from which on taps are forgotten
    slip_share: float = 0.0
    ago_share: float = 0.0
    erases: bool = False

    @cached_property
    def style_of(self) -> dict[str, StyleTruth]:
        return {style.id: style for style in self.styles}

    @cached_property
    def artist_of(self) -> dict[str, ArtistTruth]:
        return {artist.id: artist for artist in self.artists}

    def law_of(self, stage: StageTruth, sitters: int) -> Law:
        """The law of a whole stage's chance."""
        law = Law(self.law, stage.cv or self.cv, self.hard_share, self.hard_times)
        return law.of(sitters if stage.per_sitter else 1)

    def pace_on(self, day: int) -> float:
        """The change of everybody's pace up to that day (0 is the first)."""
        stepped = self.step_day is not None and day >= self.step_day
        return math.exp(self.drift_per_day * day) * (self.step if stepped else 1.0)

    def mean_s(self, artist: str, style: str, stage: int, sitters: int, day: int, hours: float) -> float:
        """The mean of a stage, but for the effects of day and sketch; `hours` since opening when the sketch began."""
        who, what = self.artist_of[artist], self.style_of[style].stages[stage]
        factor = who.pace * dict(who.affinity).get(style, 1.0) * self.pace_on(day)
        return what.mean_s * (sitters if what.per_sitter else 1) * factor * math.exp(self.fatigue_per_h * hours)

    def usual_s(self, style: str) -> float:
        """About how long a portrait of one sitter takes."""
        return sum(stage.mean_s for stage in self.style_of[style].stages)

    def day_offset(self, day: int) -> int:
        """Calendar days from the first to the `day`-th day of trading."""
        return day + (day // (self.closed_every - 1) if self.closed_every else 0)

    def is_eve(self, day: int) -> bool:
        """Whether the calendar day after is without trading, or the season is over."""
        return day + 1 >= self.days or self.day_offset(day + 1) > self.day_offset(day) + 1

    def rate_per_s(self, hour: float) -> float:
        """Visitors a second at that hour of the day."""
        return self.visitors_a_day / ((self.closes_h - self.opens_h) * 3600) * self._profile(hour) / self._mean_profile

    def _profile(self, hour: float) -> float:
        lunch = self.lunch_peak * math.exp(-(((hour - 12.5) / 1.0) ** 2))
        return 1.0 + lunch + self.afternoon_peak * math.exp(-(((hour - 15.3) / 1.0) ** 2))

    @cached_property
    def _mean_profile(self) -> float:
        step = (self.closes_h - self.opens_h) / 64
        return sum(self._profile(self.opens_h + (i + 0.5) * step) for i in range(64)) / 64

    @cached_property
    def rates(self) -> tuple[list[float], list[float]]:
        """Hours of the day, and the visitors a second at each."""
        hours = [self.opens_h + (self.closes_h - self.opens_h) * i / 32 for i in range(33)]
        return hours, [self.rate_per_s(hour) for hour in hours]


# what everybody at a booth knows about small lags, seconds
IDLE_LAG_S = (5.0, 40.0)
BACK_LAG_S = (5.0, 90.0)
OPENS_LATE_S = (0.0, 240.0)
COMES_IN_S = (60.0, 480.0)
COMES_LATE_S = (900.0, 3600.0)
TAIL_S = (5.0, 25.0)
CANCELS_AFTER_S = (60.0, 2400.0)
LAST_VISIT_S = 900.0  # nobody comes in the last quarter of an hour
FORGOTTEN = (0.6, 0.3, 0.1)  # chances that 1, 2, 3 taps are forgotten

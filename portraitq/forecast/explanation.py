"""What stands behind one quote: numbers and instants alone, without a word about them.

How a quote is taken apart into these is `explain.py`'s, and the words are `web/explained.py`'s.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import NDArray

from portraitq.forecast.quotes import Quote

Seconds = NDArray[np.floating[Any]]


@dataclass(frozen=True, slots=True)
class Span:
    """Seconds that are not known exactly: the middle, and from where to where eight of ten cases lie."""

    middle_s: float
    low_s: float
    high_s: float

    @classmethod
    def of(cls, seconds: Seconds) -> Span:
        """Of (n,) seconds, one a scenario."""
        low, middle, high = np.quantile(seconds, (0.1, 0.5, 0.9))
        return cls(float(middle), float(low), float(high))


@dataclass(frozen=True, slots=True)
class InHand:
    """The stage in hand: its name, the how manieth of how many, and how long it has run.

    stage       None in a touch-up, and where every stage is done and only the rack is missing
    paused_why  why the pencil is down, or None; `paused_s` for how long by now
    """

    stage: str | None
    place: int
    stages: int
    ran_s: float
    is_touch_up: bool = False
    paused_why: str | None = None
    paused_s: float = 0.0


@dataclass(frozen=True, slots=True)
class Sketch:
    """One portrait on its way over an easel.

    number     0 for one that is not ordered yet; `from_day` its day where that is not the present one's, else ""
    artist     who draws it; `is_sure` says that nobody else will
    ready_at   half of all cases are ready by then, as its quote says
    begins_at  when it begins where it is ready at just that time; None where it was begun
    takes      from its beginning, or from now on where it was begun; planned breaks out, other interruptions in
    rests_s    what planned breaks add to that, again where it is ready at just that time
    in_hand    on an easel; None elsewhere
    """

    number: int
    from_day: str
    style: str
    sitters: int
    artist: str
    is_sure: bool
    begins_at: datetime | None
    ready_at: datetime
    takes: Span
    rests_s: float
    in_hand: InHand | None = None


@dataclass(frozen=True, slots=True)
class StageTold:
    """One stage of the portrait, for all its sitters.

    guessed_s  the set-up's usual time; `usual_s` what this artist's goes come to, half of them quicker
    took_s     what it took where it is done and was measured by itself
    """

    name: str
    guessed_s: float
    usual_s: float
    is_done: bool
    took_s: float | None = None


@dataclass(frozen=True, slots=True)
class BreakAhead:
    """A planned break of the artist, and in what share of all cases the portrait is not ready before it."""

    begins_at: datetime
    ends_at: datetime
    share: float


@dataclass(frozen=True, slots=True)
class Closing:
    """The end of the day: when (None while closed), when the booth opens next, and what share is begun only then."""

    closes_at: datetime | None
    opens_at: datetime
    share: float


@dataclass(frozen=True, slots=True)
class Absent:
    """An artist who is not in: on a break until then, or expected to begin at about that time."""

    artist: str
    break_until: datetime | None
    begins_at: datetime


@dataclass(frozen=True, slots=True)
class HeldAhead:
    """A held portrait in front: passed over, but drawn first once it is released."""

    number: int
    from_day: str
    takes: Span


@dataclass(frozen=True, slots=True)
class Interruptions:
    """How often an hour of drawing is interrupted, planned breaks apart, and how long that usually lasts."""

    an_hour: float
    usual_s: float


@dataclass(frozen=True, slots=True)
class PastPromises:
    """Of the last promises that came due: how many, how many were kept, and how early they were ready on average.

    early_s  negative when late on average; None when none of them was finished
    """

    due: int
    kept: int
    early_s: float | None


@dataclass(frozen=True, slots=True)
class Explanation:
    """Everything behind one quote.

    today         the day of trading that is or was the last
    confidence    the share of promises that this booth wants kept
    promised_at   what the customer was told last, or None
    ahead         before it on the same easel, in order; `elsewhere` those that others will most likely draw, though
                  who is free first decides
    turnaround    between two portraits, or None where the set-up knows none
    measured      so many portraits of this style by this artist were measured (READ_BACK at most are looked at)
    breaks_cost_s by how much planned breaks move the middle of the quote
    day, sketch   how much slower (negative: quicker) than usual the artist's day goes, and the sketch on their easel
    ahead_share   how much of the doubt is about what comes before it, the rest about its own drawing
    correction_s  by how much the promise was moved because of how earlier ones turned out
    """

    as_of: datetime
    zone: ZoneInfo
    today: str
    quote: Quote
    confidence: float
    promised_at: datetime | None
    it: Sketch
    is_asked_for: bool
    ahead: tuple[Sketch, ...]
    elsewhere: tuple[Sketch, ...]
    turnaround: Span | None
    stages: tuple[StageTold, ...]
    measured: int
    breaks: tuple[BreakAhead, ...]
    breaks_cost_s: float
    closing: Closing | None
    absent: Absent | None
    held_why: str | None
    held_ahead: tuple[HeldAhead, ...]
    interruptions: Interruptions | None
    day: float
    sketch: float
    ahead_share: float
    past: PastPromises
    correction_s: float


@dataclass(frozen=True, slots=True)
class PastQuote:
    """A quote out of a past journal: why it was that, and when the portrait was ready then (None where never)."""

    explanation: Explanation
    ready_at: datetime | None

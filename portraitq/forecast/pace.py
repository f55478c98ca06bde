"""What is known of each stage's time: the artists' guesses, moved by what was measured.

Each artist's pace is kept in several minds at once, which differ in how far they let days, sketches and time move it
(`hand.py` says what these effects are). Each finished sketch shows which mind had expected it best; the forecast
believes the one that did best lately, so these spreads are learned from the record as well. Turnaround and
interruptions are `interruptions.py`'s.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime
from itertools import islice, takewhile

from portraitq.core.booth import Booth, TradingDay
from portraitq.core.events import Style
from portraitq.core.life import CANCELLED, COLLECTED, READY, Ticket
from portraitq.core.timing import StageTime, day_index, stage_times, stays
from portraitq.forecast.calibration import Calibration
from portraitq.forecast.closing import Closing
from portraitq.forecast.hand import (
    EXACT,
    MIDDAY_H,
    Hand,
    Spreads,
    at_hours,
    forget_sketch,
    heard,
    knowing,
    on_day,
    ran_on_s,
    stranger,
)
from portraitq.forecast.interruptions import Lags, learn_lags

MINDS = tuple(
    Spreads(day=day, sketch=sketch, wander=wander)
    for day, sketch, wander in (
        (0.05, 0.08, 0.01),
        (0.02, 0.03, 0.01),
        (0.05, 0.16, 0.01),
        (0.05, 0.28, 0.01),
        (0.12, 0.12, 0.01),
        (0.25, 0.08, 0.01),
        (0.25, 0.20, 0.01),
        (0.08, 0.12, 0.04),
    )
)
LATELY = 0.995  # of what a mind is credited with, what one more sketch leaves


@dataclass(frozen=True, slots=True)
class Mind:
    """All artists' hands as learned with certain spreads, and for each artist how well that went (`credit`)."""

    spreads: Spreads
    hands: Mapping[str, Hand] = field(default_factory=dict)
    credit: Mapping[str, float] = field(default_factory=dict)

    def hand(self, artist: str) -> Hand:
        """What this mind knows of `artist`."""
        return self.hands.get(artist) or stranger(self.spreads)

    def learned(
        self, artist: str, times: Sequence[StageTime], style: Style, day_index: int, since_opening_h: float = MIDDAY_H
    ) -> Mind:
        """With one more sketch of `artist`: its measured times on that day, drawn so long after its opening."""
        hand = on_day(knowing(self.hand(artist), style, self.spreads), day_index, self.spreads)
        hand = at_hours(hand, since_opening_h)
        hand, credit = forget_sketch(hand, self.spreads), LATELY * self.credit.get(artist, 0.0)
        for time in times:
            hand, likely = heard(hand, time, style, self.spreads)
            credit += likely
        hand = at_hours(forget_sketch(hand, self.spreads), MIDDAY_H)
        return replace(self, hands={**self.hands, artist: hand}, credit={**self.credit, artist: credit})


@dataclass(frozen=True, slots=True)
class Pace:
    """Everything learned so far. It never changes: `learn` and `pace_of` give a new one.

    `last_ticket` is the youngest ticket seen; `unread` are those seen of which there is still something to learn.
    """

    minds: tuple[Mind, ...] = tuple(Mind(spreads) for spreads in MINDS)
    lags: Lags = field(default_factory=Lags)
    seq: int = 0
    last_ticket: str | None = None
    unread: tuple[str, ...] = ()
    calibration: Calibration = field(default_factory=Calibration)
    closing: Closing = field(default_factory=Closing)

    @classmethod
    def believing(cls, spreads: Spreads, lags: Lags | None = None) -> Pace:
        """A pace of one mind."""
        return cls(minds=(Mind(spreads),), lags=lags or Lags())

    def mind(self, artist: str) -> Mind:
        """The mind that expected that artist's sketches best lately."""
        return max(self.minds, key=lambda mind: mind.credit.get(artist, 0.0))

    @property
    def hands(self) -> Mapping[str, Hand]:
        """What is believed of each artist of whom anything was measured."""
        return {artist: self.mind(artist).hands[artist] for artist in self.minds[0].hands}

    def hand(self, artist: str, style: Style | None, day_index: int) -> Hand:
        """What is believed of `artist` on that day, `style` included; a newcomer is known by the guesses alone."""
        mind = self.mind(artist)
        hand = on_day(mind.hand(artist), day_index, mind.spreads)
        return knowing(hand, style, mind.spreads) if style else hand


def known_exactly(spreads: Spreads = EXACT, lags: Lags | None = None) -> Pace:
    """A pace that takes the set-up's guesses for the truth, without a doubt about them."""
    return Pace.believing(spreads, lags)


def pace_of(booth: Booth, previous: Pace | None = None) -> Pace:
    """What the journal up to here teaches; with `previous`, only what came since is read.

    The tickets are learned in the order in which they were finished or cancelled, so the result is the same either
    way.
    """
    pace = previous if previous is not None and previous.seq <= booth.seq else Pace()
    if pace.seq == booth.seq and previous is not None:
        return pace
    unread = [*pace.unread, *_newer(booth, pace.last_ticket)]
    teaching = [booth.tickets[id] for id in unread if has_left(booth.tickets[id])]
    still = tuple(id for id in unread if not has_left(booth.tickets[id]))
    for ticket in sorted(teaching, key=left_at_seq):
        pace = learn(pace, booth, ticket)
    last = next(reversed(booth.tickets), None)
    return replace(pace, seq=booth.seq, last_ticket=last, unread=still, lags=pace.lags.guessed_by(booth.set_up))


READ_BACK = 2000  # tickets; what an older one taught has faded away


def _newer(booth: Booth, last: str | None) -> list[str]:
    newer = takewhile(lambda id: id != last, reversed(booth.tickets))
    return list(islice(newer, READ_BACK))[::-1]


def has_left(ticket: Ticket) -> bool:
    """Whether it was finished once, or cancelled: only then there is something to learn from it."""
    return ticket.finished_at is not None or ticket.place in (READY, COLLECTED, CANCELLED)


def left_at_seq(ticket: Ticket) -> int:
    """The line of the journal with which it did."""
    return next(event.seq for event in ticket.history if event.kind in ("finished", "cancelled"))


def learn(pace: Pace, booth: Booth, ticket: Ticket) -> Pace:
    """`pace` with what `ticket`, now finished or cancelled, teaches."""
    minds, lags = pace.minds, pace.lags.guessed_by(booth.set_up)
    for artist in sorted({stay.artist for stay in stays(ticket)}):
        times = [time for time in stage_times(ticket, booth.days) if time.artist == artist and _teaches(time)]
        if not times:
            continue
        index = day_index(booth.days, times[-1].ended_at)
        before = pace.hand(artist, ticket.style, index)
        for excess_s in (ran_on_s(before, time, ticket.style) for time in times if time.trusted):
            lags = lags.with_unsaid(excess_s) if excess_s else lags
        since_h = hours_open(booth.days, times[0].ended_at)
        minds = tuple(mind.learned(artist, times, ticket.style, index, since_h) for mind in minds)
    return replace(pace, minds=minds, lags=learn_lags(lags, booth, ticket))


def _teaches(time: StageTime) -> bool:
    return time.trusted or time.at_least_s > 0


def hours_open(days: Sequence[TradingDay], at: datetime) -> float:
    """Hours from the opening of the day of trading that `at` belongs to; midday's before the first."""
    index = day_index(days, at)
    return (at - days[index - 1].opened_at).total_seconds() / 3600 if index else MIDDAY_H

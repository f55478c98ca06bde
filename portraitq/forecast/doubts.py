"""How far is each measured time believed? Word for word, as one sum, as at least so long, or not at all; and why.

What the taps themselves tell is `core/timing.py`'s; that a clock ran on is told by the artist's own spread, as in
`hand.py`. The forecast learns from a time no more than is said here.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace

from portraitq.core.booth import TradingDay
from portraitq.core.events import Style
from portraitq.core.life import Ticket
from portraitq.core.timing import StageTime, day_index, stage_times
from portraitq.forecast.hand import KNOWN_AFTER, Hand, Spreads, guessed_alpha, ran_on_s
from portraitq.forecast.pace import Pace

EXACT, SUM, AT_LEAST, NOT = "exact", "sum", "at least", "not"
IN_ONE_SUM = "tapped together with others, so that only their sum is known"
RAN_OVER_BREAK = "the clock ran on over a planned break"
RAN_FAR_BEYOND = "far longer than this artist takes for it, so the clock seems to have run on"


@dataclass(frozen=True, slots=True)
class Judged:
    """A measured time and what it counts as: EXACT, SUM (of the stages that it covers), AT_LEAST or NOT.

    why         what is wrong with it, in words; None where it is exact
    at_least_s  what AT_LEAST knows of it, seconds; 0 otherwise
    usual_s     what was expected of it, seconds for all sitters together, where it was measured against that
    """

    time: StageTime
    counts_as: str
    why: str | None = None
    at_least_s: float = 0.0
    usual_s: float | None = None

    @property
    def is_trusted(self) -> bool:
        """Whether what the clock showed is the time that was drawn, be it of one stage or of several."""
        return self.counts_as in (EXACT, SUM)


def judged(tickets: Iterable[Ticket], days: Sequence[TradingDay], pace: Pace) -> Iterator[Judged]:
    """Every measured time of `tickets`, in their order; `days` are the booth's days of trading.

    Whether a clock ran on is judged by what `pace` knows, which may be more than was known when the time was measured:
    given the pace of today, a closed day is looked at anew, and a verdict may differ from what was learned then.
    """
    hands: dict[tuple[str, str, int], Hand] = {}
    for ticket in tickets:
        for time in stage_times(ticket, days):
            known = (time.artist, ticket.style.id, day_index(days, time.ended_at))
            if known not in hands:
                hands[known] = _hand_on(pace, time.artist, ticket.style, known[2])
            yield judge(hands[known], time, ticket.style)


def judge(hand: Hand, time: StageTime, style: Style) -> Judged:
    """How far `time` is believed of an artist of whom `hand` is known; `style` is in `hand`."""
    if time.why_not:
        return _no_more_than(time, time.why_not)
    if beyond_s := ran_on_s(hand, time, style):
        why = RAN_OVER_BREAK if time.over_break else RAN_FAR_BEYOND
        return _no_more_than(time, why, usual_s=time.total_s - beyond_s)
    return Judged(time, SUM, IN_ONE_SUM) if len(time.stages) > 1 else Judged(time, EXACT)


def _no_more_than(time: StageTime, why: str, usual_s: float | None = None) -> Judged:
    """A clock that was left alone: what it showed at the last sign of life is all that may be known."""
    return Judged(time, AT_LEAST if time.at_least_s > 0 else NOT, why, time.at_least_s, usual_s)


def _hand_on(pace: Pace, artist: str, style: Style, index: int) -> Hand:
    """What is known of `artist` on that day; the own effect of the last day measured says nothing of another."""
    mind = pace.mind(artist)
    last = mind.hand(artist).day_index
    hand = pace.hand(artist, style, index if index == last else max(index, last + 1))
    return _known_by_its_record(hand, mind.spreads)


def _known_by_its_record(hand: Hand, spreads: Spreads) -> Hand:
    """`hand` where a stage that was measured often enough stays known, though its last clocks ran on.

    Learning takes such a stage for new, to believe the next time whatever it is; looking back, the spread measured
    before (its weight `alpha` grows by a half each time) still tells that those clocks ran on.
    """
    measured_enough = guessed_alpha(spreads) + KNOWN_AFTER / 2
    known = {key: KNOWN_AFTER for key, alpha in hand.alpha.items() if measured_enough <= alpha < math.inf}
    return replace(hand, goes={**hand.goes, **known})

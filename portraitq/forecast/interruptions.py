"""What keeps an artist from drawing: turnaround between two portraits, the lag of an idle one, and pauses.

Each length is log-normal, learned from the guesses on; pauses come at random over the time drawn.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from datetime import datetime

from portraitq.core.booth import Booth
from portraitq.core.events import SetUp, Started, ThreeGuesses
from portraitq.core.life import Ticket
from portraitq.core.timing import Pause, Turnaround, drawn_s, pauses, stage_times, stays, turnaround
from portraitq.forecast.lognormal import LogTime

GUESSED_PAUSES_S = {
    "counter": (30, 75, 180),
    "break": (300, 900, 2400),
    "supplies": (40, 120, 300),
    "sitter": (40, 120, 360),
    "other": (30, 120, 480),
}
TOUCH_UP_S = (60, 180, 540)
IDLE_LAG_S = (10, 25, 60)
LONGEST_LAG_S = 900.0  # longer than this somebody was away, and it says nothing of turnaround


_IDLE = LogTime.guessed(*IDLE_LAG_S)
_TOUCH_UP = LogTime.guessed(*TOUCH_UP_S)
_ANY_PAUSE = LogTime.guessed(30, 100, 330, weight=2)
_HOLD = LogTime.guessed(300, 1200, 3600, weight=2)
_UNSAID = LogTime.guessed(300, 1200, 4000, weight=2)
_PAUSES = tuple((why, LogTime.guessed(*guesses, weight=2)) for why, guesses in GUESSED_PAUSES_S.items())


@dataclass(frozen=True, slots=True)
class Lags:
    """What is known of the times in which nobody draws.

    turnaround  between two portraits while somebody waits; None as long as no set-up guesses it
    idle        from an order to its beginning by an artist who is free
    touch_up    a touch-up
    hold        how long a ticket is held
    pauses      reason -> length of a pause; planned breaks are not among them
    met, over_s  how many unplanned pauses there were over how many seconds drawn, the guess counted in
    unsaid, unsaid_met  clocks that ran on while nobody drew: how long they did, and how often over `over_s`
    forgot, missed, ends  how often a tap was forgotten and caught up later, how many taps that were, of how many ends
    """

    turnaround: LogTime | None = None
    idle: LogTime | None = _IDLE
    touch_up: LogTime = _TOUCH_UP
    pauses: tuple[tuple[str, LogTime], ...] = _PAUSES
    all_pauses: LogTime = _ANY_PAUSE
    met: float = 1.0
    over_s: float = 2 * 3600.0
    hold: LogTime = _HOLD
    unsaid: LogTime = _UNSAID
    unsaid_met: float = 0.1
    forgot: float = 0.3
    missed: float = 0.4
    ends: float = 30.0
    guessed: ThreeGuesses | None = None
    off_at: tuple[tuple[str, datetime], ...] = ()

    @property
    def forgets(self) -> float:
        """The chance that the tap at the end of a stage is forgotten."""
        return self.forgot / self.ends

    @property
    def catches_up(self) -> float:
        """The chance that forgotten taps are caught up at the end of the stage in hand."""
        return self.forgot / self.missed

    def guessed_by(self, set_up: SetUp | None) -> Lags:
        """With the turnaround that `set_up` guesses; a changed guess starts it anew."""
        if set_up is None or set_up.turnaround == self.guessed:
            return self
        guess = set_up.turnaround
        return replace(self, guessed=guess, turnaround=LogTime.guessed(guess.quick_s, guess.usual_s, guess.slow_s))

    def with_unsaid(self, excess_s: float) -> Lags:
        """With one clock that ran on for so long while nobody drew."""
        return replace(self, unsaid=_learned(self.unsaid, max(excess_s, 1.0)), unsaid_met=self.unsaid_met + 1)


def learn_lags(lags: Lags, booth: Booth, ticket: Ticket) -> Lags:
    """`lags` with what `ticket`, now finished or cancelled, teaches; what came after that is left out."""
    ticket = _as_it_left(ticket)
    off_at = dict(lags.off_at)
    for stay in stays(ticket):
        if found := turnaround(stay, off_at.get(stay.artist), booth):
            lags = _with_lag(lags, found)
        if stay.ended_at is not None:
            off_at[stay.artist] = stay.ended_at
    lags = _with_pauses(_with_holds(_with_taps(lags, ticket), ticket), booth, ticket)
    return replace(lags, off_at=tuple(sorted(off_at.items())))


def _as_it_left(ticket: Ticket) -> Ticket:
    """`ticket` when it was first finished or cancelled: how far the journal was read by then must not matter."""
    left = (place for place, event in enumerate(ticket.history, start=1) if event.kind in ("finished", "cancelled"))
    history = ticket.history[: next(left, None)]
    artists = [event.data.artist for event in history if isinstance(event.data, Started)]
    return replace(ticket, history=history, artist=artists[-1] if artists else None)


def _with_taps(lags: Lags, ticket: Ticket) -> Lags:
    extra = [len(time.stages) - 1 for time in stage_times(ticket)]
    forgot, missed, ends = lags.forgot + sum(map(bool, extra)), lags.missed + sum(extra), lags.ends + len(extra)
    keep = min(1.0, TAPS_OVER / ends)
    return replace(lags, forgot=forgot * keep, missed=missed * keep, ends=ends * keep)


TAPS_OVER = 600.0  # ends of stages: how often taps are forgotten is learned from about the last so many


def _with_holds(lags: Lags, ticket: Ticket) -> Lags:
    since = None
    for event in ticket.history:
        if event.kind == "held":
            since = event.happened_at
        elif event.kind == "released" and since is not None:
            held_s = (event.happened_at - since).total_seconds()
            lags = replace(lags, hold=_learned(lags.hold, min(max(held_s, 1.0), LONGEST_HOLD_S)))
    return lags


LONGEST_HOLD_S = 4 * 3600.0  # a night in between says nothing of how long a customer thinks


def _with_lag(lags: Lags, found: Turnaround) -> Lags:
    if not 1.0 <= found.lag_s <= LONGEST_LAG_S:
        return lags
    if found.waited:
        return replace(lags, turnaround=lags.turnaround and _learned(lags.turnaround, found.lag_s))
    return replace(lags, idle=lags.idle and _learned(lags.idle, found.lag_s))


def _learned(known: LogTime, seconds: float) -> LogTime:
    """One more time, pulled in to 3 spreads of what was expected; what is older counts a little less."""
    off = math.log(seconds) - known.mu
    limit = 3 * known.scale
    return known.fade(LAG_FADING).learn(known.mu + max(-limit, min(off, limit)))


LAG_FADING = 0.995


def _with_pauses(lags: Lags, booth: Booth, ticket: Ticket) -> Lags:
    known, every, met = dict(lags.pauses), lags.all_pauses, lags.met
    for pause in pauses(ticket):
        if pause.ended_at is None or pause.is_of_the_clock or _is_planned(booth, ticket, pause):
            continue
        met += 1
        seconds = max((pause.ended_at - pause.began_at).total_seconds(), 1.0)
        if pause.why in known:
            known[pause.why] = _learned(known[pause.why], seconds)
        every = _learned(every, seconds)
    over_s = lags.over_s + drawn_s(ticket)
    keep = min(1.0, PAUSES_OVER_S / over_s)
    return replace(
        lags,
        pauses=tuple(known.items()),
        all_pauses=every,
        met=met * keep,
        over_s=over_s * keep,
        unsaid_met=lags.unsaid_met * keep,
    )


PAUSES_OVER_S = 40 * 3600.0  # how often it is interrupted is learned from about the last forty hours drawn


def _is_planned(booth: Booth, ticket: Ticket, pause: Pause) -> bool:
    """Whether a planned break of the artist lies in that pause: the schedule knows it already."""
    return pause.ended_at is not None and any(
        planned.artist == ticket.artist and planned.begins_at < pause.ended_at and planned.ends_at > pause.began_at
        for day in booth.days
        for planned in day.breaks
    )

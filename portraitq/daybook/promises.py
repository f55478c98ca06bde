"""Was the word kept? Judged by the first time that the customer was told, for they planned their hour by it.

kept       the first `finished` came at or before that time
late       it came after
unfinished that time has passed (or the portrait was cancelled after it) and it was never finished
open       that time is still to come
set aside  cancelled before that time and before it was finished: nobody broke the promise

Kept is measured against kept + late + unfinished. A promise belongs to the day on which its portrait was ordered. That
a later time was told in the meantime does not mend the first promise; how often that happened, and how often the last
time told was kept, stands beside it.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import datetime

from portraitq.core.events import Event, Promised
from portraitq.core.life import CANCELLED, Ticket
from portraitq.daybook.quantiles import Spread, quantile, spread
from portraitq.daybook.shares import Share, share

KEPT, LATE, UNFINISHED, OPEN, SET_ASIDE = "kept", "late", "unfinished", "open", "set aside"
JUDGED = (KEPT, LATE, UNFINISHED)
NEAR_S, FAR_S = 300, 900  # five minutes are shrugged at, after fifteen people have waited
MARGINS = ("late-far", "late-middle", "late-near", "early-near", "early-middle", "early-far")


@dataclass(frozen=True, slots=True)
class Word:
    """One portrait's promise and what became of it; `early_s` is negative when it was late, None unless finished."""

    ticket: str
    first_by: datetime
    last_by: datetime
    outcome: str
    last_outcome: str
    early_s: float | None

    @property
    def was_moved(self) -> bool:
        """Whether another time was told before it was finished."""
        return self.last_by != self.first_by


@dataclass(frozen=True, slots=True)
class Promises:
    """The promises of one day."""

    words: tuple[Word, ...]

    def of(self, outcome: str) -> tuple[Word, ...]:
        """Those with that outcome."""
        return tuple(word for word in self.words if word.outcome == outcome)

    @property
    def kept(self) -> Share | None:
        """Kept of those that can be judged; None when there are none."""
        return share(len(self.of(KEPT)), sum(word.outcome in JUDGED for word in self.words))

    @property
    def kept_by_the_last(self) -> Share | None:
        """The same against the last time told before it was finished."""
        judged = [word for word in self.words if word.last_outcome in JUDGED]
        return share(sum(word.last_outcome == KEPT for word in judged), len(judged))

    @property
    def early(self) -> Spread | None:
        """By how much the kept ones were ready before their time; None when none was kept."""
        return spread(word.early_s for word in self.of(KEPT) if word.early_s is not None)

    @property
    def late(self) -> Spread | None:
        """By how much the late ones were ready after their time; None when none was late."""
        return spread(-word.early_s for word in self.of(LATE) if word.early_s is not None)

    def within(self, margin: str) -> tuple[Word, ...]:
        """Those finished early or late by so much, one of MARGINS."""
        return tuple(word for word in self.words if word.early_s is not None and margin_of(word.early_s) == margin)

    @property
    def median_early_s(self) -> float | None:
        """How much earlier than promised the kept ones were ready, in the middle; None when none was kept."""
        early = [word.early_s for word in self.of(KEPT) if word.early_s is not None]
        return quantile(early, 0.5) if early else None

    @property
    def worst_late_s(self) -> float | None:
        """How late the latest finished one was; None when none was late."""
        late = [-word.early_s for word in self.of(LATE) if word.early_s is not None]
        return max(late, default=None)


def margin_of(early_s: float) -> str:
    """Which of MARGINS it is to be early by `early_s`, late where that is negative; to the second is early.

    >>> [margin_of(early_s) for early_s in (-901, -900, -300, 0, 300, 301, 901)]
    ['late-far', 'late-middle', 'late-near', 'early-near', 'early-near', 'early-middle', 'early-far']
    """
    off_s = abs(early_s)
    how_far = "near" if off_s <= NEAR_S else "middle" if off_s <= FAR_S else "far"
    return f"{'late' if early_s < 0 else 'early'}-{how_far}"


def promises_of(tickets: Iterable[Ticket], now: datetime) -> Promises:
    """What became of the promises of `tickets`, as it stands at `now`; those without a promise are left out."""
    return Promises(tuple(word for ticket in tickets if (word := word_of(ticket, now)) is not None))


def word_of(ticket: Ticket, now: datetime) -> Word | None:
    """The promise of `ticket` and what became of it by `now`; None when none was given."""
    told = [event.data.ready_by for event in _told_before_it_was_finished(ticket) if isinstance(event.data, Promised)]
    if not told:
        return None
    finished_at = ticket.finished_at
    return Word(
        ticket=ticket.id,
        first_by=told[0],
        last_by=told[-1],
        outcome=_outcome(ticket, told[0], now),
        last_outcome=_outcome(ticket, told[-1], now),
        early_s=(told[0] - finished_at).total_seconds() if finished_at is not None else None,
    )


def _told_before_it_was_finished(ticket: Ticket) -> Iterator[Event]:
    for event in ticket.history:
        if event.kind == "finished":
            return
        yield event


def _outcome(ticket: Ticket, ready_by: datetime, now: datetime) -> str:
    if ticket.finished_at is not None:
        return KEPT if ticket.finished_at <= ready_by else LATE
    if ticket.place == CANCELLED and ticket.over_at is not None:
        return SET_ASIDE if ticket.over_at <= ready_by else UNFINISHED
    return OPEN if now <= ready_by else UNFINISHED

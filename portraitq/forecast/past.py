"""A day once more: what the booth knew at any instant of a past day, and what it had learned by then.

Known at an instant is what was written down by then: the lines whose `at` is no later, whenever they happened. The day
begins as at a desk that was started that morning (of older orders the last `QUOTED_BACK` are quoted again), and every
order of the day is quoted as it comes, so that the quotes of an instant are those that this desk gave. What a desk
that ran on for weeks had learned from still older quotes has been made up for since (`learning.py`).

Which promises were marked as slipping is not kept: such a mark hangs on each of the quotes before it, one every few
seconds (`slip_watch.py`). Whoever wants marks begins a watch at that instant, as a desk does that starts then.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from itertools import takewhile
from typing import TypeVar

from portraitq.core.booth import Booth, fold
from portraitq.core.events import Cancelled, DayOpened, Event, Ordered, PutBack, Started
from portraitq.forecast.learning import QUOTED_BACK, Learned, read_on
from portraitq.forecast.pace import Pace

T = TypeVar("T")
KEPT_EVERY = 32  # lines between two of which all is kept: reading so few on takes a few milliseconds


@dataclass(frozen=True, slots=True)
class PastDay:
    """One day's lines, with what was known and learned along them.

    before  what was known when it was opened
    lines   from its first opening to the line before the next day's
    kept    how many lines were read, and what was known then, every few lines
    paces   how many lines were read after each order, and what was learned by then, its quote among it
    is_over whether another day was opened, so that no line can join it
    """

    day: str
    before: Learned
    lines: tuple[Event, ...] = ()
    kept: tuple[tuple[int, Learned], ...] = ()
    paces: tuple[tuple[int, Pace], ...] = ()
    is_over: bool = False

    @property
    def seq(self) -> int:
        """The last line that was read."""
        return self.lines[-1].seq if self.lines else self.before.booth.seq

    def read_until(self, at: datetime) -> int:
        """How many of the lines were written down by `at`."""
        return bisect_right(self.lines, at, key=lambda line: line.at)

    def known(self, at: datetime) -> Learned:
        """The booth as it stood at `at` by the lines written down by then, and its pace."""
        return self._after(self.read_until(at))

    def with_more(self, lines: Iterable[Event]) -> PastDay:
        """With the lines that follow, up to the opening of another day."""
        coming = list(lines)
        own = list(takewhile(lambda line: not _opens_another(line, self.day), coming))
        read, kept, paces = list(self.lines), list(self.kept), list(self.paces)
        learned, unread = self._after(len(read)), 0
        for place, line in enumerate(own, start=1):
            if isinstance(line.data, Ordered) or (len(read) + place) % KEPT_EVERY == 0:
                learned, unread = replace(read_on(learned, own[unread:place]), last_order=None), place
                paces += [(len(read) + place, learned.pace)] if isinstance(line.data, Ordered) else []
                kept += [(len(read) + place, learned)] if (len(read) + place) % KEPT_EVERY == 0 else []
        fold(learned.booth, own[unread:])  # a line that does not follow is refused here, not when it is asked about
        is_over = self.is_over or len(own) < len(coming)
        return PastDay(self.day, self.before, (*read, *own), tuple(kept), tuple(paces), is_over)

    def waiting(self) -> list[tuple[datetime, int]]:
        """How many were in the queue, held ones included, after each line that changed it; first as the day began."""
        queue = set(self.before.booth.queue)
        found = [(self.lines[0].at, len(queue))] if self.lines else []
        for line in self.lines:
            match line.data:
                case Ordered(ticket=id) | PutBack(ticket=id):
                    queue.add(id)
                case Started(ticket=id) | Cancelled(ticket=id):
                    queue.discard(id)
            if len(queue) != found[-1][1]:
                found.append((line.at, len(queue)))
        return found

    def _after(self, read: int) -> Learned:
        """What was known after so many lines. No order is quoted again: what its quote taught is kept."""
        at, learned = _latest(self.kept, read) or (0, self.before)
        if (order := _latest(self.paces, read)) and order[0] > at:
            booth = fold(learned.booth, self.lines[at : order[0]])
            at, learned = order[0], Learned(booth, order[1])
        return replace(read_on(learned, self.lines[at:read]), last_order=None)


def day_once_more(events: Sequence[Event], day: str) -> PastDay | None:
    """That day of a whole journal; None when it was never opened."""
    opened = next((place for place, line in enumerate(events) if _opens(line, day)), None)
    if opened is None:
        return None
    before = read_on(Learned(), events[:opened], quoted_back=QUOTED_BACK)
    return PastDay(day, replace(before, last_order=None)).with_more(events[opened:])


def lines_of(booth: Booth, beside_tickets: Iterable[Event]) -> list[Event]:
    """The whole journal up to where `booth` stands, out of its tickets and the lines that are of no ticket.

    So a season need not be read from the disk again. ValueError when a line is missing.
    """
    told = (line for ticket in booth.tickets.values() for line in ticket.history)
    found = sorted((*told, *(line for line in beside_tickets if line.seq <= booth.seq)), key=lambda line: line.seq)
    gap = next((place for place, line in enumerate(found, start=1) if line.seq != place), len(found) + 1)
    if gap <= booth.seq:
        raise ValueError(f"the journal's line {gap} of {booth.seq} is neither a ticket's nor among those of no ticket")
    return found


def _latest(kept: Sequence[tuple[int, T]], read: int) -> tuple[int, T] | None:
    """The last of `kept` that needs no more than `read` lines."""
    place = bisect_right(kept, read, key=lambda one: one[0])
    return kept[place - 1] if place else None


def _opens(line: Event, day: str) -> bool:
    return isinstance(line.data, DayOpened) and line.data.day == day


def _opens_another(line: Event, day: str) -> bool:
    return isinstance(line.data, DayOpened) and line.data.day != day

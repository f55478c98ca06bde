"""The system's clock was set on while artists drew: which lines keep that out of what is measured.

Whatever a running clock counts across the jump is too long by it. So each such sketch is paused at the last instant of
the old clock and resumed at the first of the new: the stage's time is right to the millisecond, and the journal needs
no kind of its own. A clock that has run since before this service started is left alone where the time had been wrong
since then: between its two ends, both told by a right clock, lies its true time.
"""

from __future__ import annotations

from datetime import datetime

from portraitq.core.booth import Booth
from portraitq.core.events import SYSTEM, Data, Event, Paused, Resumed, to_the_millisecond
from portraitq.core.life import DRAWING, TOUCH_UP, Ticket

RUNS_FROM = ("started", "touched_up", "resumed", "stage_done")


def taken_out(booth: Booth, from_at: datetime, to_at: datetime, *, after: int) -> list[Event]:
    """The lines that take the jump from `from_at` to `to_at` out of every clock that runs; none where none does.

    after  the journal's line up to which clocks are left alone: those that began to run by then
    """
    running = [ticket for ticket in booth.open_tickets() if _runs_from(ticket) > after]
    first_at, last_at = (max(to_the_millisecond(at), booth.last_at or at) for at in (from_at, to_at))
    told: list[tuple[datetime, Data]] = [
        *((first_at, Paused(ticket=ticket.id, why="other")) for ticket in running),
        *((last_at, Resumed(ticket=ticket.id)) for ticket in running),
    ]
    id = f"clock-{booth.seq + 1}"
    return [Event(booth.seq + step, id, at, SYSTEM, data) for step, (at, data) in enumerate(told, start=1)]


def _runs_from(ticket: Ticket) -> int:
    """The line from which the clock of `ticket` has run without a stop; 0 where it does not run."""
    if ticket.place not in (DRAWING, TOUCH_UP):
        return 0
    return max((event.seq for event in ticket.history if event.kind in RUNS_FROM), default=0)


def runs(booth: Booth) -> bool:
    """Whether the clock of any sketch runs."""
    return any(_runs_from(ticket) for ticket in booth.open_tickets())

"""How many portraits were in hand at each moment: waiting, or ordered and not yet ready.

By Little's law (Operations Research 9, 1961) the area under `in_hand` is the sum of the flow times, to the second: the
same stretches counted from the side of the booth and from the side of each customer.
"""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime

from portraitq.core.events import Started
from portraitq.core.life import CANCELLED, Ticket
from portraitq.daybook.spans import Span

Steps = tuple[tuple[datetime, int], ...]


def flow_span(ticket: Ticket, until: datetime) -> Span:
    """From the order to the moment it was ready (its first `finished`), was cancelled before, or to `until`."""
    ends_at = ticket.finished_at or (ticket.over_at if ticket.place == CANCELLED else None) or until
    return ticket.ordered_at, max(min(ends_at, until), ticket.ordered_at)


def waiting_spans(ticket: Ticket, until: datetime) -> list[Span]:
    """When it was in the queue, held or not: from the order, and from each time it was put back."""
    found: list[Span] = []
    since: datetime | None = ticket.ordered_at
    for event in ticket.history:
        if since is not None and (isinstance(event.data, Started) or event.kind == "cancelled"):
            found.append((since, max(event.happened_at, since)))
            since = None
        elif event.kind == "put_back":
            since = event.happened_at
    if since is not None:
        found.append((since, max(until, since)))
    return found


def count(spans: Iterable[Span], from_at: datetime, to_at: datetime) -> Steps:
    """How many of `spans` are under way from each instant on, between `from_at`, the first step, and `to_at`."""
    changes: dict[datetime, int] = {from_at: 0}
    for begins_at, ends_at in spans:
        begins_at, ends_at = max(begins_at, from_at), min(ends_at, to_at)
        if begins_at < ends_at:
            changes[begins_at] = changes.get(begins_at, 0) + 1
            changes[ends_at] = changes.get(ends_at, 0) - 1
    steps: list[tuple[datetime, int]] = []
    n = 0
    for at in sorted(changes):
        n += changes[at]
        if not steps or steps[-1][1] != n:
            steps.append((at, n))
    return tuple(steps)


def area_s(steps: Steps, to_at: datetime) -> float:
    """The area under `steps` up to `to_at`: how many, times for how many seconds."""
    ends = [at for at, _ in steps[1:]] + [to_at]
    return sum(n * (end - at).total_seconds() for (at, n), end in zip(steps, ends, strict=True))

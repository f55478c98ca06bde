"""Whose personal data nobody needs any more: by the booth's rule, after a hand-over or a cancellation.

Of a portrait that is still to be drawn, or waits on the rack for its customer, everything stays until it is handed over
or cancelled, unless the booth set a limit for portraits that nobody collects. Who comes back for a touch-up is served
once more, and the time counts anew.
"""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime, timedelta

from portraitq.core.booth import Booth
from portraitq.core.events import Finished
from portraitq.core.life import HELD, READY, Ticket

LOOSE = timedelta(hours=1)  # a photo whose order was not finished by then: the customer is long gone
FORGOTTEN = timedelta(hours=12)  # a day still open so long after its closing time was never closed by hand


def due(
    booth: Booth, kept: Iterable[str], keep_h: int | None, now: datetime, uncollected_days: int | None = None
) -> list[str]:
    """The tickets, out of those of which something personal is `kept`, that are to be erased at `now`; in order.

    `keep_h` is the booth's rule: so many hours after the hand-over, or None for as soon as the day is closed.
    `uncollected_days` is its limit for what waits on the rack, None for no limit. What was erased before and still has
    something (a photo that arrived at the same moment) is due at once.
    """
    found = (booth.tickets.get(id) for id in sorted(kept))
    return [
        ticket.id
        for ticket in found
        if ticket
        and (ticket.is_erased or _is_served(booth, ticket, keep_h, now) or _waited_long(ticket, uncollected_days, now))
    ]


def left_behind(booth: Booth, kept: Iterable[str]) -> list[Ticket]:
    """The tickets of earlier days that wait for their customer, on the rack or held, and of which something personal
    is `kept`; the oldest first. No rule of hours reaches them."""
    today, of_whom = booth.days[-1].day if booth.days else "", set(kept)
    return [
        ticket
        for ticket in booth.open_tickets()
        if ticket.id in of_whom and ticket.place in (READY, HELD) and ticket.day < today
    ]


def on_the_rack_since(ticket: Ticket) -> datetime | None:
    """When it was racked last; None while it is not on the rack."""
    if ticket.place != READY:
        return None
    return next(event.happened_at for event in reversed(ticket.history) if isinstance(event.data, Finished))


def _is_served(booth: Booth, ticket: Ticket, keep_h: int | None, now: datetime) -> bool:
    if ticket.over_at is None:
        return False
    if keep_h is not None:
        return ticket.over_at + timedelta(hours=keep_h) <= now
    if booth.day is None or ticket.over_at < booth.day.opened_at:
        return True
    return max(ticket.over_at, booth.day.closes_at) + FORGOTTEN <= now


def _waited_long(ticket: Ticket, uncollected_days: int | None, now: datetime) -> bool:
    since = on_the_rack_since(ticket)
    return uncollected_days is not None and since is not None and since + timedelta(days=uncollected_days) <= now

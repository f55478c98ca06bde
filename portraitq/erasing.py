"""Whose personal data nobody needs any more: by the booth's rule, after a hand-over or a cancellation.

Of a portrait that is still to be drawn, or waits on the rack for its customer, everything stays until it is handed over
or cancelled, however long that takes. Who comes back for a touch-up is served once more, and the time counts anew.
"""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime, timedelta

from portraitq.core.booth import Booth
from portraitq.core.life import Ticket

LOOSE = timedelta(hours=1)  # a photo whose order was not finished by then: the customer is long gone


def due(booth: Booth, kept: Iterable[str], keep_h: int | None, now: datetime) -> list[str]:
    """The tickets, out of those of which something personal is `kept`, that are to be erased at `now`; in order.

    `keep_h` is the booth's rule: so many hours after the hand-over, or None for while no day is open. What was erased
    before and still has something (a photo that arrived at the same moment) is due at once.
    """
    found = (booth.tickets.get(id) for id in sorted(kept))
    return [ticket.id for ticket in found if ticket and (ticket.is_erased or _is_due(booth, ticket, keep_h, now))]


def _is_due(booth: Booth, ticket: Ticket, keep_h: int | None, now: datetime) -> bool:
    if ticket.over_at is None:
        return False
    if keep_h is None:
        return booth.day is None
    return ticket.over_at + timedelta(hours=keep_h) <= now

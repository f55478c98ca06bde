"""Since when has an artist drawn without a rest?

A rest is a while with the pencil down, whatever for: a pause, a break away from the easel, nobody waiting. Washing
hands between two portraits is too short to be one. When a rest is suggested, in which words, is the booth's to say.
"""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime

from portraitq.core.booth import Booth
from portraitq.core.events import Started, TouchedUp
from portraitq.core.life import Ticket

REST_S = 300.0  # in less, hands are washed and pencils swapped; nobody has looked far away or stretched
Span = tuple[datetime, datetime]


def drawing_since(booth: Booth, artist: str, now: datetime, rest_s: float = REST_S) -> datetime | None:
    """When the drawing began that `artist` has not interrupted by a rest until `now`; None for who is rested.

    rest_s   seconds with the pencil down that count as a rest, above 0
    Returns  None as well where they have not drawn yet on this day of trading, and while the booth is closed
    Raises   ValueError when rest_s is not above 0
    """
    if not rest_s > 0:
        raise ValueError(f"rest_s must be above 0, not {rest_s!r}")
    since = last_at = None
    for begins_at, ends_at in sorted(_drawn_today(booth, artist, now)):
        if last_at is None or (begins_at - last_at).total_seconds() >= rest_s:
            since = begins_at
        last_at = ends_at if last_at is None else max(last_at, ends_at)
    is_rested = last_at is None or (now - last_at).total_seconds() >= rest_s
    return None if is_rested else since


def _drawn_today(booth: Booth, artist: str, now: datetime) -> Iterator[Span]:
    """When `artist` drew since the day was opened, one span each time until the pencil was put down."""
    if (day := booth.day) is None:
        return
    for ticket in booth.tickets.values():
        if ticket.history[-1].at < day.opened_at and ticket.id != booth.easels.get(artist):
            continue
        for who, begins_at, ends_at in drawn_spans(ticket, now):
            if who == artist and ends_at > day.opened_at:
                yield max(begins_at, day.opened_at), ends_at


def drawn_spans(ticket: Ticket, now: datetime) -> Iterator[tuple[str, datetime, datetime]]:
    """Every span in which `ticket` was drawn, with who drew, touch-ups as well; one that lasts ends at `now`."""
    artist, since, last_at = "", None, ticket.ordered_at
    for event in ticket.history:
        at = last_at = max(event.happened_at, last_at)  # a tap that claims to be older is as old as the one before it
        match event.data:
            case Started(artist=who) | TouchedUp(artist=who):
                artist, since = who, at
            case _ if event.kind == "resumed":
                since = at
            case _ if event.kind in ("paused", "put_back", "finished", "cancelled") and since is not None:
                yield artist, since, at
                since = None
    if since is not None:
        yield artist, since, max(now, since)

"""Which rack place comes next: A1, A2, … up to A8, then B1.

A place is taken while a portrait that is done lies there and nobody has collected it. A booth that names its places
otherwise is not in the way: its names are taken as they are, and only never proposed.
"""

from __future__ import annotations

from collections.abc import Iterator
from itertools import islice

from portraitq.core.booth import Booth
from portraitq.core.life import READY

PLACES_A_ROW = 8  # a row of clips, or a drying rack's width, that one finds without counting
ROWS = "ABCDEFGHIJKLMNOPQRSTUVWXYZ"


def free_places(booth: Booth, count: int) -> tuple[str, ...]:
    """The first `count` free rack places, the one to propose first; fewer only when the whole rack is full."""
    taken = {ticket.rack.strip().upper() for ticket in booth.open_tickets() if ticket.place == READY and ticket.rack}
    return tuple(islice((place for place in _places() if place not in taken), count))


def _places() -> Iterator[str]:
    return (f"{row}{clip}" for row in ROWS for clip in range(1, PLACES_A_ROW + 1))

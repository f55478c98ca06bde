"""Who could change a portrait that its customer has seen: whoever drew it, if they are free; otherwise who, or when.

Pure. A touch-up goes onto an easel at once and never waits in the queue, so only a free easel is offered; the sentence
says which will be free next.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from portraitq.core.booth import Booth
from portraitq.core.events import Artist, Started
from portraitq.core.life import COLLECTED, READY, Ticket
from portraitq.web.quoted import about, names_a_time

if TYPE_CHECKING:
    from portraitq.desk import Standing

NOBODY_IN = "No artist is in: whoever changes it says “I am here” on their easel first."


@dataclass(frozen=True)
class Hands:
    """Who can touch it up now: `first` is the usual case, `others` are free too. `busy` says who is not, until when."""

    first: Artist | None
    others: tuple[Artist, ...]
    busy: str


def hands_for(standing: Standing, ticket: Ticket) -> Hands | None:
    """Who could touch `ticket` up now; None where it is not to be touched up."""
    booth = standing.booth
    if ticket.place not in (READY, COLLECTED) or booth.set_up is None:
        return None
    here = [artist for artist in booth.set_up.artists if artist.id in booth.here_since]
    free = [artist for artist in here if artist.id not in booth.easels]
    drew = _who_drew(ticket)
    first = next((artist for artist in free if artist.id == drew), free[0] if len(free) == 1 else None)
    others = tuple(artist for artist in free if artist is not first)
    return Hands(first, others, _busy(standing, here, free, drew))


def _who_drew(ticket: Ticket) -> str | None:
    """Who had it on the easel last, touch-ups left out."""
    return next((event.data.artist for event in reversed(ticket.history) if isinstance(event.data, Started)), None)


def _busy(standing: Standing, here: list[Artist], free: list[Artist], drew: str | None) -> str:
    """Until when those are busy who are waited for: who drew it, or all where nobody is free."""
    if not here:
        return NOBODY_IN
    if free:
        waited_for = [artist for artist in here if artist.id == drew and artist not in free]
    else:
        waited_for = sorted(here, key=lambda artist: _free_at(standing, artist))
    said = [_at_work(standing, artist, ", who drew it," if artist.id == drew else "") for artist in waited_for]
    return " ".join(said)


def _free_at(standing: Standing, artist: Artist) -> float:
    quote = standing.forecast.tickets.get(_in_hand(standing.booth, artist).id)
    return quote.median_at.timestamp() if names_a_time(quote) else float("inf")


def _at_work(standing: Standing, artist: Artist, who: str) -> str:
    ticket = _in_hand(standing.booth, artist)
    quote = standing.forecast.tickets.get(ticket.id)
    until = f" until about {about(quote, standing.booth.zone, standing.as_of)}" if names_a_time(quote) else ""
    return f"{artist.name}{who} is at number {ticket.number}{until}."


def _in_hand(booth: Booth, artist: Artist) -> Ticket:
    found = booth.on_easel(artist.id)
    assert found is not None  # asked only of those whose easel is not free
    return found

"""How far were the easels used while somebody waited? It is the question behind another easel.

An easel that draws all day says little when the queue was empty, and a queue says little when the pencils were down:
what another easel could have taken over is the work that waited while the easels were full. Somebody waits while a
portrait that may be begun (so none that is held) is in the queue and the booth is open. An easel counts while one waits
that its artist may draw: that it stood empty beside a queue for another artist, or for a style that only another draws,
is no reason against one more.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime

from portraitq.core.life import Ticket
from portraitq.daybook.spans import Span, common, length_s, union


@dataclass(frozen=True, slots=True)
class Pressure:
    """Seconds of one day.

    trading_s  the booth was open
    waited_s   of that, at least one portrait waited
    easel_s    artists were at their easels while one waited that they may draw, all artists added up
    drawn_s    of that, they drew
    tickets    those that waited, by id
    """

    trading_s: float
    waited_s: float
    easel_s: float
    drawn_s: float
    tickets: tuple[str, ...]

    @property
    def waited(self) -> float | None:
        """The share of the day in which somebody waited, 0–1; None when it was not open."""
        return self.waited_s / self.trading_s if self.trading_s else None

    @property
    def drawn(self) -> float | None:
        """The share of the time at the easels that was drawn while somebody waited; None when nobody ever did."""
        return self.drawn_s / self.easel_s if self.easel_s else None


@dataclass(frozen=True, slots=True)
class Easel:
    """When an artist was at the easel and when they drew, and which tickets they `may` draw."""

    at_easel: Sequence[Span]
    drawn: Sequence[Span]
    may: Callable[[Ticket], bool]


def pressure(tickets: Iterable[Ticket], trading: Sequence[Span], easels: Iterable[Easel], until: datetime) -> Pressure:
    """What the queue of `tickets` asked of the easels in the hours of `trading`, up to `until`."""
    waits = [(ticket, common(able_to_begin(ticket, until), trading)) for ticket in tickets]
    easel_s = drawn_s = 0.0
    for easel in easels:
        for_it = union(span for ticket, spans in waits if easel.may(ticket) for span in spans)
        easel_s += length_s(common(easel.at_easel, for_it))
        drawn_s += length_s(common(easel.drawn, for_it))
    return Pressure(
        trading_s=length_s(union(trading)),
        waited_s=length_s(union(span for _, spans in waits for span in spans)),
        easel_s=easel_s,
        drawn_s=drawn_s,
        tickets=tuple(ticket.id for ticket, spans in waits if spans),
    )


def able_to_begin(ticket: Ticket, until: datetime) -> list[Span]:
    """When `ticket` was in the queue and not held, up to `until`."""
    found: list[Span] = []
    since: datetime | None = ticket.ordered_at
    for event in ticket.history:
        at = event.happened_at
        if event.kind in ("started", "held", "cancelled") and since is not None:
            found.append((since, min(max(at, since), until)))
            since = None
        elif event.kind in ("put_back", "released"):
            since = at
    if since is not None:
        found.append((since, max(until, since)))
    return found

"""All tickets of a booth by id, in the order of their orders.

A season has tens of thousands and each line of the journal changes one of them, so a fold must not copy them all: the
bulk is shared between a booth and those folded from it, and each has its own only of what changed lately.
"""

from __future__ import annotations

from collections.abc import ItemsView, Iterator, Mapping, ValuesView

from portraitq.core.life import Ticket

LATELY = 256  # tickets; once more have changed than that, they join the bulk


class Tickets(Mapping[str, Ticket]):
    """Tickets by id, oldest first. It never changes: `draft` gives a copy that may be written to."""

    __slots__ = ("_bulk", "_lately")

    def __init__(self, bulk: dict[str, Ticket] | None = None, lately: dict[str, Ticket] | None = None) -> None:
        self._bulk = bulk or {}
        self._lately = lately or {}

    def __getitem__(self, id: str) -> Ticket:
        found = self._lately.get(id)
        return found if found is not None else self._bulk[id]

    def __iter__(self) -> Iterator[str]:
        return iter(self._whole())

    def __reversed__(self) -> Iterator[str]:
        yield from (id for id in reversed(self._lately) if id not in self._bulk)
        yield from reversed(self._bulk)

    def __len__(self) -> int:
        return len(self._bulk) + sum(id not in self._bulk for id in self._lately)

    def __repr__(self) -> str:
        return f"Tickets({self._whole()!r})"

    def items(self) -> ItemsView[str, Ticket]:
        """Ids and tickets, oldest first; it can be reversed."""
        return self._whole().items()

    def values(self) -> ValuesView[Ticket]:
        """The tickets, oldest first; it can be reversed."""
        return self._whole().values()

    def draft(self) -> TicketsDraft:
        """A copy to write to; these here stay as they are."""
        return TicketsDraft(self._bulk, self._lately.copy())

    def _whole(self) -> dict[str, Ticket]:
        return {**self._bulk, **self._lately}


class TicketsDraft(Tickets):
    """Tickets while they are folded."""

    __slots__ = ()

    def __setitem__(self, id: str, ticket: Ticket) -> None:
        self._lately[id] = ticket

    def done(self) -> Tickets:
        """These tickets, to be written to no more."""
        return Tickets(self._whole()) if len(self._lately) > LATELY else Tickets(self._bulk, self._lately)

"""How often was a waiting portrait passed over: by how many that were ordered later?

Counted are those that stood before it in the queue when they were first begun, and those not begun yet that stand
before it now. Only a move puts a later order there, so this counts moves that somebody felt. Who begins a later one
because the first is held, or asked of another artist, passes nobody over: that one still stands further down.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from portraitq.core.booth import Booth
from portraitq.core.events import Event, Moved
from portraitq.core.life import Ticket

QUEUE_KINDS = ("ordered", "started", "put_back", "moved", "cancelled")


def passed_over(booth: Booth) -> dict[str, int]:
    """For each ticket of the queue, how many later orders were put before it, begun or not."""
    return in_order(booth, booth.queue, begun_before(booth))


def in_order(booth: Booth, order: Sequence[str], begun: Mapping[str, int]) -> dict[str, int]:
    """The same if the queue stood in that `order`; `begun` is what `begun_before` says of the booth."""
    came = {id: _ordered(booth.tickets[id]) for id in order}
    waits = [id for id in order if not booth.tickets[id].was_begun]
    place = {id: where for where, id in enumerate(order)}
    return {
        id: begun.get(id, 0) + sum(came[other] > came[id] and place[other] < place[id] for other in waits)
        for id in order
    }


def begun_before(booth: Booth) -> dict[str, int]:
    """For each ticket of the queue, how many later orders stood before it when they were first begun."""
    still = set(booth.queue)
    counts = dict.fromkeys(booth.queue, 0)
    if not still:
        return counts
    since = min(_ordered(booth.tickets[id]) for id in still)
    queue: list[str] = []
    came: dict[str, int] = {}
    begun: set[str] = set()
    for event in _events_of_the_queue(booth, since):
        id = event.data.ticket  # type: ignore[attr-defined]
        match event.kind:
            case "ordered":
                queue.append(id)
                came[id] = event.seq
            case "put_back":
                queue.insert(0, id)
            case "started" | "cancelled" if id in queue:
                if event.kind == "started" and id not in begun:
                    for behind in queue[queue.index(id) + 1 :]:
                        if behind in still and came[behind] < came[id]:
                            counts[behind] += 1
                    begun.add(id)
                queue.remove(id)
            case "moved":
                _move(queue, event)
    return counts


def _move(queue: list[str], event: Event) -> None:
    assert isinstance(event.data, Moved)
    before = event.data.before
    if before is None or before in queue:  # else it went home before any of those still waiting came
        queue.remove(event.data.ticket)
        queue.insert(len(queue) if before is None else queue.index(before), event.data.ticket)


def _events_of_the_queue(booth: Booth, since: int) -> list[Event]:
    """What moved the queue, of every ticket that was open when line `since` was written, or came later."""
    found = [
        event
        for ticket in booth.tickets.values()
        if ticket.over_at is None or ticket.history[-1].seq > since
        for event in ticket.history
        if event.kind in QUEUE_KINDS
    ]
    return sorted(found, key=lambda event: event.seq)


def _ordered(ticket: Ticket) -> int:
    """Its place among all orders: the line of the journal that ordered it."""
    return ticket.history[0].seq

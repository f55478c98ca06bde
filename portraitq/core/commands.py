"""Decide: what a command makes happen, or why it may not.

A command is what somebody at the booth wants, in the kinds of the journal. `decide` asks `fold` about everything it is
about to say, so there is one rule for taps and for imported files. What stands here beside it is only what a command
leaves out (the ticket's id and number, the price of the style), what belongs together (the last stage and `finished`),
and a few things that a careful counter would stop although a journal may tell of them.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from typing import Annotated, Any

from pydantic import Field

from portraitq.core.booth import Booth, fold
from portraitq.core.errors import Malformed, Refused
from portraitq.core.events import (
    COUNTER,
    KINDS,
    LONGEST_S,
    AnyNumber,
    ArtistOut,
    By,
    Cents,
    CommandId,
    Data,
    DayOpened,
    Event,
    Finished,
    Id,
    Instant,
    Moved,
    Ordered,
    Paid,
    Promised,
    SetUp,
    Sitters,
    StageDone,
    Strict,
    TicketId,
    easel,
    shown,
    to_the_millisecond,
    validated,
)
from portraitq.core.life import DRAWING, IN_QUEUE, ON_EASEL, TOUCH_UP, Ticket


class Order(Data):
    """An order as it is asked for. What is left out is filled in: the next number, a fresh ticket, the style's price.

    `ready_by` is the promise that goes with it; None promises nothing.
    """

    kind = "ordered"
    style: Id
    sitters: Sitters
    artist: Id | None = None
    price: Cents | None = None
    ticket: TicketId | None = None
    number: Annotated[int, Field(ge=1)] | None = None
    ready_by: Instant | None = None


class PutInOrder(Data):
    """The whole queue in another order, by these moves and all at once: made while it still stands as `queue`."""

    kind = "moved"
    queue: tuple[TicketId, ...]
    moves: tuple[Moved, ...]


ASKED: dict[str, type[Data]] = {**KINDS, "ordered": Order}


@dataclass(frozen=True, slots=True)
class Command:
    """What somebody wants: `id` made by the device, `by` which device, `ago_s` how long ago it was tapped."""

    id: str
    data: Data
    by: str = COUNTER
    ago_s: int | float = 0

    @property
    def kind(self) -> str:
        """The kind of the journal that it asks for."""
        return self.data.kind


class _Sent(Strict):
    id: CommandId
    kind: str
    data: dict[str, Any]
    ago_s: Annotated[AnyNumber, Field(ge=0, le=LONGEST_S)] | None = None


class _From(Strict):
    by: By


def read_command(sent: object, by: str = COUNTER) -> Command:
    """A command from plain JSON values `{"id","kind","data","ago_s"?}`; Malformed names the field that is wrong."""
    head = validated(_Sent, sent)
    if head.kind not in ASKED:
        raise Malformed(f"kind: {shown(head.kind)} is no command, which are {', '.join(ASKED)}.", "kind")
    data = validated(ASKED[head.kind], head.data, "data")
    return Command(head.id, data, read_by(by), head.ago_s or 0)


def asked_for(style: str, sitters: int, artist: str | None = None) -> Command:
    """The order that somebody asks about and that nobody writes down; Malformed names the field that is wrong."""
    return Command("asked", validated(Order, {"style": style, "sitters": sitters, "artist": artist}))


def read_by(by: str) -> str:
    """`by` as the journal may name a device; Malformed names the field."""
    return validated(_From, {"by": by}).by


def decide(booth: Booth, command: Command, now: datetime) -> list[Event]:
    """What `command` makes happen at `booth`, in order; Refused if any of it may not. `now` is an instant in UTC."""
    at = to_the_millisecond(now)
    if booth.last_at is not None and at < booth.last_at:
        at = booth.last_at  # a clock that was set back never makes the journal go back
    reason = _on_another_easel(booth, command) or _would_regret(
        booth, command.data, at - timedelta(seconds=command.ago_s)
    )
    if reason:
        raise Refused(reason)
    events = [
        Event(booth.seq + step, command.id, at, command.by, data, command.ago_s)
        for step, data in enumerate(_in_full(booth, command.data), start=1)
    ]
    fold(booth, events)
    return events


def _in_full(booth: Booth, data: Data) -> list[Data]:
    """Everything that happens with `data`, what was left out filled in."""
    match data:
        case Order():
            return _ordered(booth, data)
        case PutInOrder(moves=moves):
            return list(moves)
        case StageDone(ticket=id, stage=stage) if _is_last_stage(booth, id, stage):
            return [data, Finished(ticket=id, rack=None)]
        case Finished(ticket=id) if (last := _stage_left(booth, id)) is not None:
            return [StageDone(ticket=id, stage=last), data]
    return [data]


def _ordered(booth: Booth, order: Order) -> list[Data]:
    id = order.ticket or _fresh_id(booth)
    style = booth.set_up.style(order.style) if booth.set_up else None
    price = order.price if order.price is not None else style.price if style else 0
    number = order.number or booth.last_number + 1
    told: list[Data] = [
        Ordered(ticket=id, number=number, style=order.style, sitters=order.sitters, artist=order.artist, price=price)
    ]
    if order.ready_by is not None and booth.set_up is not None:
        told.append(Promised(ticket=id, ready_by=order.ready_by, confidence=booth.set_up.booth.confidence))
    return told


def _fresh_id(booth: Booth) -> str:
    """An id that no ticket has: T1, T2, …, as many as there are tickets and one more."""
    count = len(booth.tickets) + 1
    while (id := f"T{count}") in booth.tickets:
        count += 1
    return id


def _is_last_stage(booth: Booth, id: str, stage: str) -> bool:
    ticket = booth.tickets.get(id)
    return ticket is not None and ticket.style.stages[-1].id == stage


def _stage_left(booth: Booth, id: str) -> str | None:
    """The last stage when it is the one in hand, so that one tap ends it and racks the portrait."""
    ticket = booth.tickets.get(id)
    if ticket is None or ticket.place != DRAWING or ticket.stages_done != len(ticket.style.stages) - 1:
        return None
    return ticket.style.stages[-1].id


def _on_another_easel(booth: Booth, command: Command) -> str | None:
    """Why an easel cannot say that of a ticket: another has it now, and a tap that came late meant the hand before."""
    if command.kind not in OF_THE_HAND:
        return None
    ticket = booth.tickets.get(command.data.ticket)  # type: ignore[attr-defined]
    if ticket is None or ticket.place not in ON_EASEL or ticket.artist is None or booth.set_up is None:
        return None
    if not command.by.startswith(easel("")) or command.by == easel(ticket.artist):
        return None
    return f'Number {ticket.number} is on the easel of "{booth.set_up.called(ticket.artist)}" now.'


QUEUE_CHANGED = "The queue has changed since this was suggested, so nothing was moved. Look at what is suggested now."
OF_THE_HAND = ("stage_done", "stage_undone", "paused", "resumed", "put_back", "finished")


def _would_regret(booth: Booth, data: Data, said_at: datetime) -> str | None:
    """Why a careful counter would not have done this at `said_at`, though a journal may tell of it."""
    match data:
        case SetUp():
            return _breaks_what_is_open(booth, data)
        case PutInOrder(queue=queue) if booth.queue != queue:
            return QUEUE_CHANGED
        case DayOpened(day=day) if abs((date.fromisoformat(day) - said_at.astimezone(booth.zone).date()).days) > 1:
            today = said_at.astimezone(booth.zone).date()  # a day too far ahead would bar every day before it
            return f"The day {day} is not today: open {today} (or the day before, for a night that runs past midnight)."
        case Order(ready_by=datetime() as ready_by) | Promised(ready_by=ready_by) if ready_by < said_at:
            return "A promise cannot lie in the past: promise a later time."
        case Order(style=style) if booth.set_up is not None and (known := booth.set_up.style(style)) is not None:
            if not any(style in artist.styles for artist in booth.set_up.artists):
                return f'No artist of this booth draws "{known.name}": say in the set-up who does.'
        case ArtistOut(artist=artist) if (ticket := booth.on_easel(artist)) and ticket.place in (DRAWING, TOUCH_UP):
            way_out = "pause it, finish it or put it back" if ticket.place == DRAWING else "pause or finish it"
            return f"Number {ticket.number} is on the easel: {way_out} before going."
        case Paid(amount=0):
            return "An amount of 0 is nothing paid: give the amount that changed hands."
        case Paid(ticket=id, amount=amount) if amount < 0 and (owner := booth.tickets.get(id)) and owner.paid < -amount:
            return f"Number {owner.number} has paid less than is to be given back."
    return None


def _breaks_what_is_open(booth: Booth, new: SetUp) -> str | None:
    after = replace(booth, set_up=new)
    for ticket in booth.open_tickets():
        if ticket.place in ON_EASEL and ticket.artist is not None and new.artist(ticket.artist) is None:
            named = booth.set_up.called(ticket.artist) if booth.set_up else ticket.artist
            return f'"{named}" has number {ticket.number} on the easel: keep them in the set-up until it is done.'
        style, number = ticket.style.name, ticket.number
        if ticket.finished_at is None and new.style(ticket.style.id) is None:
            return f'"{style}" is still to be drawn for number {number}: keep the style until then.'
        if ticket.place in IN_QUEUE and _who_draws(booth, ticket) and not _who_draws(after, ticket):
            return f'Nobody would draw "{style}" for number {number}: keep an artist who does until then.'
    return None


def _who_draws(booth: Booth, ticket: Ticket) -> list[str]:
    """The artists of the set-up who may draw `ticket`, in or not."""
    artists = booth.set_up.artists if booth.set_up else ()
    return [artist.id for artist in artists if booth.may_draw(artist.id, ticket)]

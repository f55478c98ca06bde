"""What goes over the wire of the JSON API, one model a message: they validate what comes in, describe what goes out."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import BaseModel, Field, create_model

from portraitq.core.commands import ASKED
from portraitq.core.events import LONGEST_S, Ago, CommandId, Id, Instant, Sitters, Strict


class Asked(Strict):
    """What a quote is asked for."""

    style: Id
    sitters: Sitters = 1
    artist: Id | None = None


class NewOrder(Asked):
    """An order. `ready_by` is the promise that the customer was told; without one the present promise is given."""

    id: CommandId
    price: Annotated[int, Field(ge=0, le=10**12)] | None = None
    ready_by: Instant | None = None
    ago_s: Ago | None = None


class Happened(BaseModel):
    """One line of the journal."""

    seq: int
    id: str
    at: Instant
    by: str
    kind: str
    data: dict[str, Any]
    ago_s: int | float | None = None


class Done(BaseModel):
    """What a command did; `seq` is that of its last event."""

    seq: int
    events: list[Happened]


class Window(BaseModel):
    """The 20 % and the 80 % level of the ready time: `about` is how it is read out."""

    ready_from: Instant
    ready_to: Instant


class Quoted(BaseModel):
    """When such a portrait, ordered now, would be ready: its quantiles, and the promise the booth would make."""

    seq: int
    as_of: Instant
    style: str
    sitters: int
    artist: str | None
    quantiles: dict[str, Instant]
    window: Window
    ready_by: Instant
    confidence: float
    ahead: int
    price: int
    currency: str


class Taken(BaseModel):
    """An order on disk."""

    seq: int
    ticket: str
    code: str
    number: int
    ready_by: Instant | None
    later_than_told: bool
    address: str


class WallTicket(BaseModel):
    """One number on the wall."""

    number: int
    place: Literal["waiting", "held", "easel", "ready"]
    style: str
    stages_done: int
    stages: int
    window: Window | None


class OrderNow(BaseModel):
    """When a portrait of this style, ordered now for one sitter, would be ready."""

    style: str
    name: str
    price: int
    window: Window
    ready_by: Instant


class LastOrder(BaseModel):
    """Until when a portrait of this style, for one sitter, can be ordered and still be promised for today, if nothing
    else is ordered before it; null where it cannot any more. It moves as the queue does."""

    style: str
    name: str
    until: Instant | None


class Wall(BaseModel):
    """What the wall shows. Nothing in it is about a person. `last_orders` has every style that is drawn here, and is
    empty while the booth is closed. `today_until` is by when a portrait must be promised to be one of today: closing,
    or later at a booth whose record shows that it draws on after it; null while the booth is closed."""

    seq: int
    as_of: Instant
    booth: str
    name: str
    zone: str
    currency: str
    is_open: bool
    day: str | None
    closes_at: Instant | None
    tickets: list[WallTicket]
    order_now: list[OrderNow]
    last_orders: list[LastOrder]
    today_until: Instant | None


class TicketShown(BaseModel):
    """What the ticket page shows. `new_ready_by` is the time to be back at where the promise `ready_by` slips: where
    it will probably be broken, and until it is likely again or a new one is told."""

    seq: int
    as_of: Instant
    booth: str
    name: str
    zone: str
    number: int
    day: str
    place: Literal["waiting", "held", "easel", "ready", "collected", "cancelled"]
    style: str
    sitters: int
    stages_done: int
    stages: int
    window: Window | None
    ready_by: Instant | None
    new_ready_by: Instant | None
    chance_kept: float | None
    ready_at: Instant | None
    price: int
    due: int
    currency: str


class Problem(BaseModel):
    """RFC 9457: why not, in one sentence for a person."""

    type: str
    title: str
    status: int
    detail: str
    field: str | None = None


class Health(BaseModel):
    """Whether the program is alive, and how far each booth's journal has come."""

    status: Literal["ok"]
    version: str
    booths: dict[str, dict[Literal["seq"], int]]


def _command(kind: str, data: type[BaseModel]) -> type[BaseModel]:
    name = "".join(word.title() for word in kind.split("_")) + "Command"
    return create_model(
        name,
        __base__=Strict,
        __doc__=(data.__doc__ or "").split("\n")[0],
        id=(CommandId, ...),
        kind=(Literal[kind], ...),  # type: ignore[arg-type]
        data=(data, ...),
        ago_s=(Annotated[int | float, Field(ge=0, le=LONGEST_S)] | None, None),
    )


COMMANDS: dict[str, type[BaseModel]] = {kind: _command(kind, data) for kind, data in ASKED.items()}

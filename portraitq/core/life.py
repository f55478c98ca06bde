"""A ticket's life: what may happen to it where, and where that leads.

`LIFE` and `ANYWHERE` are the rule. The counter, the pedal, the demo and an imported file are all judged by them, so a
tap refused at the booth and a line refused on import get the same sentence. The order of the queue, and which easel is
free, are `booth.py`'s.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import datetime
from typing import TypeVar

from portraitq.core.errors import Refused
from portraitq.core.events import (
    Cancelled,
    Event,
    Finished,
    Held,
    OfTicket,
    Paid,
    Paused,
    Promised,
    Stage,
    StageDone,
    StageUndone,
    Started,
    Style,
    TouchedUp,
)

WAITING = "waiting"
HELD = "held"
DRAWING = "on the easel"
PAUSED = "paused on the easel"
READY = "ready"
TOUCH_UP = "on the easel for a touch-up"
TOUCH_UP_REST = "paused in its touch-up"
COLLECTED = "collected"
CANCELLED = "cancelled"

LIFE: dict[str, dict[str, str]] = {
    WAITING: {"started": DRAWING, "held": HELD, "moved": WAITING, "cancelled": CANCELLED},
    HELD: {"released": WAITING, "moved": HELD, "cancelled": CANCELLED},
    DRAWING: {
        "stage_done": DRAWING,
        "stage_undone": DRAWING,
        "paused": PAUSED,
        "put_back": WAITING,
        "finished": READY,
        "cancelled": CANCELLED,
    },
    PAUSED: {"resumed": DRAWING, "stage_undone": PAUSED, "put_back": WAITING, "cancelled": CANCELLED},
    READY: {"collected": COLLECTED, "touched_up": TOUCH_UP, "cancelled": CANCELLED},
    TOUCH_UP: {"paused": TOUCH_UP_REST, "finished": READY, "cancelled": CANCELLED},
    TOUCH_UP_REST: {"resumed": TOUCH_UP, "cancelled": CANCELLED},
    COLLECTED: {"touched_up": TOUCH_UP},
    CANCELLED: {},
}
ANYWHERE = {"promised", "paid", "erased"}  # about the ticket, not its place: a refund follows even a cancellation
IN_QUEUE = (WAITING, HELD)
ON_EASEL = (DRAWING, PAUSED, TOUCH_UP, TOUCH_UP_REST)
OVER = (COLLECTED, CANCELLED)
IN_WORDS = {
    "started": "started",
    "stage_done": "drawn a stage further",
    "stage_undone": "taken a stage back",
    "paused": "paused",
    "resumed": "resumed",
    "put_back": "put back",
    "held": "held",
    "released": "released",
    "moved": "moved",
    "finished": "finished",
    "collected": "handed over",
    "touched_up": "touched up",
    "cancelled": "cancelled",
}

T = TypeVar("T", bound=OfTicket)


@dataclass(frozen=True, slots=True)
class Ticket:
    """One portrait as it stands.

    `style` is as it was when the portrait was begun (until then as the set-up has it now), so that a change of set-up
    never moves the stages under a hand that draws. `history` holds every event of this ticket, in order.
    """

    id: str
    number: int
    day: str
    style: Style
    sitters: int
    wants_artist: str | None
    price: int
    ordered_at: datetime
    history: tuple[Event, ...]
    place: str = WAITING
    stages_done: int = 0
    artist: str | None = None
    rack: str | None = None
    why: str | None = None
    finished_at: datetime | None = None
    over_at: datetime | None = None
    was_collected: bool = False
    is_erased: bool = False

    @property
    def stage_in_hand(self) -> Stage | None:
        """The first stage not yet done, or None when all are."""
        return self.style.stages[self.stages_done] if self.stages_done < len(self.style.stages) else None

    @property
    def stage_last_done(self) -> Stage | None:
        """The stage done last, or None before the first."""
        return self.style.stages[self.stages_done - 1] if self.stages_done else None

    @property
    def was_begun(self) -> bool:
        """Whether it has ever been on an easel."""
        return self.artist is not None

    @property
    def promise(self) -> Promised | None:
        """What the customer was told last."""
        return next((data for data in self._latest(Promised)), None)

    @property
    def first_promise(self) -> Promised | None:
        """What the customer was told first."""
        return next((event.data for event in self.history if isinstance(event.data, Promised)), None)

    @property
    def paid(self) -> int:
        """What came in for it less what was given back, in minor units."""
        return sum(event.data.amount for event in self.history if isinstance(event.data, Paid))

    @property
    def due(self) -> int:
        """What is still to be paid, in minor units; nothing once it is cancelled, negative when too much was paid."""
        return (0 if self.place == CANCELLED else self.price) - self.paid

    def _latest(self, kind: type[T]) -> list[T]:
        return [event.data for event in reversed(self.history) if isinstance(event.data, kind)]


def step(ticket: Ticket, event: Event) -> Ticket:
    """`ticket` as it stands after `event`; Refused if that cannot have happened."""
    history = (*ticket.history, event)
    if event.kind in ANYWHERE:
        return replace(ticket, history=history, is_erased=ticket.is_erased or event.kind == "erased")
    if event.kind not in LIFE[ticket.place]:
        raise Refused(_out_of_place(ticket, event.kind))
    if reason := _in_the_way(ticket, event):
        raise Refused(reason)
    place = LIFE[ticket.place][event.kind]
    stages_done, artist, rack, why = ticket.stages_done, ticket.artist, ticket.rack, None
    finished_at, over_at, was_collected = ticket.finished_at, ticket.over_at, ticket.was_collected
    match event.data:
        case StageDone():
            stages_done += 1
        case StageUndone():
            stages_done -= 1
            why = ticket.why
        case Started(artist=at_easel) | TouchedUp(artist=at_easel):
            artist, over_at = at_easel, None
        case Paused(why=reason) | Held(why=reason):
            why = reason
        case Finished(rack=where):
            rack, finished_at = where, finished_at or event.happened_at
        case Cancelled(why=reason):
            why, over_at = reason, event.happened_at
        case _ if event.kind == "moved":
            why = ticket.why
        case _ if event.kind == "collected":
            over_at, was_collected = event.happened_at, True
    return replace(
        ticket,
        history=history,
        place=place,
        stages_done=stages_done,
        artist=artist,
        rack=rack,
        why=why,
        finished_at=finished_at,
        over_at=over_at,
        was_collected=was_collected,
    )


def _out_of_place(ticket: Ticket, kind: str) -> str:
    """What was expected where the ticket is, and what came."""
    if not LIFE[ticket.place]:
        return f"Number {ticket.number} is {ticket.place}: it stays so and is not {IN_WORDS[kind]}."
    *others, last = [IN_WORDS[expected] for expected in LIFE[ticket.place]]
    expected = f"{', '.join(others)} or {last}" if others else last
    return f"Number {ticket.number} is {ticket.place}: it can be {expected}, not {IN_WORDS[kind]}."


def _in_the_way(ticket: Ticket, event: Event) -> str | None:
    """What the table cannot say: stages are done, and taken back, one by one and by name."""
    number = ticket.number
    in_hand, last = ticket.stage_in_hand, ticket.stage_last_done
    match event.data:
        case StageDone(stage=stage) if in_hand is None:
            return (
                f"All stages of number {number} are done, so {_named(ticket, stage)} cannot be; it is to be finished."
            )
        case StageDone(stage=stage) if in_hand is not None and stage != in_hand.id:
            return f"Number {number} is on its stage {_named(ticket, in_hand.id)}, not on {_named(ticket, stage)}."
        case StageUndone(stage=stage) if last is None:
            return f"No stage of number {number} is done yet, so {_named(ticket, stage)} cannot be taken back."
        case StageUndone(stage=stage) if last is not None and stage != last.id:
            done = _named(ticket, last.id)
            return f"The stage of number {number} that was done last is {done}, not {_named(ticket, stage)}."
        case Finished() if ticket.place == DRAWING and in_hand is not None:
            return (
                f"The stage {_named(ticket, in_hand.id)} of number {number} is still to be drawn before it is finished."
            )
        case Cancelled() if ticket.was_collected:
            return f"Number {number} was collected, so it cannot be cancelled; give money back with a refund."
    return None


def _named(ticket: Ticket, stage: str) -> str:
    """A stage as people call it, in quotation marks; by its id where the style has none of that id."""
    return next((f'"{one.name}"' for one in ticket.style.stages if one.id == stage), f'"{stage}"')

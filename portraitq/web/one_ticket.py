"""One ticket as the booth's people see it: who it is for, what is due, and everything that can be done with it.

Pure. Each thing that can be done is a command of the journal with its words; whether it may be done in the end is
`core`'s to say, so that what is offered here is only what makes sense where the ticket is.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Literal

from portraitq.core.events import (
    Artist,
    Cancelled,
    Collected,
    Data,
    Erased,
    Held,
    Paid,
    Promised,
    Released,
    SetUp,
    TouchedUp,
    print_data,
)
from portraitq.core.life import CANCELLED, COLLECTED, HELD, OVER, READY, WAITING, Ticket
from portraitq.ticket import codes
from portraitq.web.consent import consent_said
from portraitq.web.queue import Now, Row, now_of, row_of
from portraitq.web.quoted import names_a_time, time_to_tell, window_of
from portraitq.web.said import clock_time, day_said, money, plain_amount
from portraitq.web.touching_up import hands_for

if TYPE_CHECKING:
    from portraitq.desk import Standing
    from portraitq.store.cards import Card
    from portraitq.store.photos import PhotoRef

PaidHow = Literal["cash", "card", "other"]
HOLDS: tuple[tuple[Literal["photo", "customer", "other"], str], ...] = (
    ("photo", "The photo is to be taken again"),
    ("customer", "The customer asked to wait"),
    ("other", "Another reason"),
)
CANCELS: tuple[tuple[Literal["customer", "booth", "no_show"], str], ...] = (
    ("customer", "The customer does not want it"),
    ("booth", "We cannot draw it"),
    ("no_show", "Nobody came for it"),
)
PAYS: tuple[tuple[PaidHow, str], ...] = (("cash", "cash"), ("card", "card"), ("other", "another way"))


@dataclass(frozen=True)
class Tap:
    """Something that one tap does: its words, and the command that goes out."""

    said: str
    command: dict[str, Any]


@dataclass(frozen=True)
class OneTicket:
    """Everything about one ticket that the booth's people may need at once.

    The tuples of taps are empty, and the single ones None, where they make no sense. `has_reasons` says that its quote
    can be explained, `can_move` that there are other places for it in the queue (`moving.py` says what each would do).

    touch_up     to the artist who drew it, or the only one who is free
    touch_ups    to the others who are free
    no_touch_up  who is busy, and until when; empty where nobody is waited for
    """

    row: Row
    slug: str
    code_said: str
    photos: tuple[PhotoRef, ...]
    sitters: int
    ordered: str
    price: str
    paid: tuple[str, ...]
    due_amount: str
    currency: str
    is_over: bool
    was_collected: bool
    is_erased: bool
    contact: str
    note: str
    consent_by: str
    consent_said: str
    can_add_photo: bool
    is_owed: bool
    hand_over: Tap | None
    holds: tuple[Tap, ...]
    release: Tap | None
    can_move: bool
    cancels: tuple[Tap, ...]
    pays: tuple[Tap, ...]
    touch_up: Tap | None
    touch_ups: tuple[Tap, ...]
    no_touch_up: str
    new_time: Tap | None
    ready_said: str
    erase: Tap | None
    has_reasons: bool

    @property
    def number(self) -> int:
        """The number that is called out."""
        return self.row.number


def one_ticket(standing: Standing, ticket: Ticket, card: Card | None, photos: Sequence[PhotoRef]) -> OneTicket:
    """`ticket` with its card and photos, and what can be done with it as the booth stands."""
    booth, set_up = standing.booth, standing.booth.set_up
    assert set_up is not None
    at = now_of(standing)
    id, currency, is_over = ticket.id, set_up.booth.currency, ticket.place in OVER
    hands = hands_for(standing, ticket)
    return OneTicket(
        row=row_of(standing, ticket, card, photos),
        slug=standing.slug,
        code_said=codes.shown(card.code) if card else "",
        photos=tuple(photos),
        sitters=ticket.sitters,
        ordered=_ordered(ticket, at),
        price="" if ticket.place == CANCELLED else money(ticket.price, currency),
        paid=tuple(_payments(ticket, currency, at)),
        due_amount=plain_amount(abs(ticket.due), currency),
        currency=currency,
        is_over=is_over,
        was_collected=ticket.place == COLLECTED,
        is_erased=ticket.is_erased,
        contact=card.contact if card else "",
        note=card.note if card else "",
        consent_by=card.consent_by if card else "",
        consent_said=consent_said(card),
        can_add_photo=not ticket.is_erased and ticket.finished_at is None and not is_over,
        is_owed=ticket.due > 0,
        hand_over=_hand_over(ticket),
        holds=tuple(_tap(said, Held(ticket=id, why=why)) for why, said in HOLDS) if ticket.place == WAITING else (),
        release=_tap("Put it back in the queue", Released(ticket=id)) if ticket.place == HELD else None,
        can_move=id in booth.queue and len(booth.queue) > 1,
        cancels=() if is_over else tuple(_tap(said, Cancelled(ticket=id, why=why)) for why, said in CANCELS),
        pays=tuple(_pays(ticket, currency)),
        touch_up=_touch_up(ticket, hands.first, "Touch up: back") if hands and hands.first else None,
        touch_ups=tuple(_touch_up(ticket, artist, "Touch up:") for artist in hands.others) if hands else (),
        no_touch_up=hands.busy if hands else "",
        new_time=_new_time(standing, ticket, set_up),
        ready_said=_ready_said(standing, ticket),
        erase=None if ticket.is_erased else _tap("Erase name, contact, note and photos", Erased(ticket=id)),
        has_reasons=ticket.finished_at is None and names_a_time(standing.forecast.tickets.get(id)),
    )


def _ordered(ticket: Ticket, at: Now) -> str:
    clock = clock_time(ticket.ordered_at, at.zone)
    return clock if ticket.day == at.day else f"{clock}, {day_said(ticket.day)}"


def _tap(said: str, data: Data) -> Tap:
    return Tap(said, {"kind": data.kind, "data": print_data(data)})


def _hand_over(ticket: Ticket) -> Tap | None:
    if ticket.place != READY:
        return None
    return _tap("Hand over unpaid" if ticket.due > 0 else "Hand over", Collected(ticket=ticket.id))


def _payments(ticket: Ticket, currency: str, at: Now) -> list[str]:
    said = []
    for event in ticket.history:
        if isinstance(event.data, Paid):
            how = {"cash": "in cash", "card": "by card", "other": "another way"}[event.data.how]
            verb = "paid" if event.data.amount > 0 else "given back"
            said.append(f"{money(abs(event.data.amount), currency)} {verb} {how} at {at.clock(event.happened_at)}")
    return said


def _pays(ticket: Ticket, currency: str) -> list[Tap]:
    """The whole of what is due, by one tap; a cancelled ticket's money goes back the same way."""
    due = ticket.due
    if due == 0:
        return []
    verb = "paid" if due > 0 else "given back"
    return [
        _tap(f"{money(abs(due), currency)} {verb} {'in cash' if how == 'cash' else 'by card'}", paid)
        for how, _ in PAYS[:2]
        for paid in [Paid(ticket=ticket.id, amount=due, how=how)]
    ]


def _touch_up(ticket: Ticket, artist: Artist, way: str) -> Tap:
    return _tap(f"{way} to {artist.name}", TouchedUp(ticket=ticket.id, artist=artist.id))


def _new_time(standing: Standing, ticket: Ticket, set_up: SetUp) -> Tap | None:
    """The honest time as a new promise; None while it is the same as what was told."""
    ready_by = time_to_tell(standing, ticket)
    if ready_by is None or (ticket.promise and ticket.promise.ready_by == ready_by):
        return None
    data = Promised(ticket=ticket.id, ready_by=ready_by, confidence=set_up.booth.confidence)
    return _tap(f"Tell them {now_of(standing).clock(ready_by)}", data)


def _ready_said(standing: Standing, ticket: Ticket) -> str:
    quote = standing.forecast.tickets.get(ticket.id)
    return f"about {window_of(quote, standing.booth.zone, standing.as_of)}" if names_a_time(quote) else ""

"""What came in: money of one day by means of payment, in minor units of the booth's currency.

Money belongs to the day on which it changed hands, whenever its portrait was ordered. These are records of what was
taken and given back, no accounts: there is nothing about taxes here.

A tip is what is paid above the price and stays: for a portrait that is not cancelled, what came in less what was
given back, as far as that is more than the price. A day's tip is how much that grew on it, so that a tip counts on
the day when the money came, one given back on a later day is taken off there, and the days together give what stayed
in the end.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from typing import get_args

from portraitq.core.events import Paid, PaidHow
from portraitq.core.life import CANCELLED, Ticket
from portraitq.daybook.days import Day

MEANS: tuple[str, ...] = get_args(PaidHow)


@dataclass(frozen=True, slots=True)
class Payment:
    """One payment, or with a negative amount one refund."""

    ticket: str
    number: int
    at: datetime
    amount: int
    how: str


@dataclass(frozen=True, slots=True)
class Means:
    """What came in and what was given back (0 or more) by one means of payment."""

    how: str
    taken: int
    refunded: int

    @property
    def net(self) -> int:
        """What stayed."""
        return self.taken - self.refunded


@dataclass(frozen=True, slots=True)
class Tip:
    """How much what was paid above the price of a ticket grew on the day; negative where it was given back."""

    ticket: str
    amount: int


@dataclass(frozen=True, slots=True)
class Takings:
    """One day's money.

    to_come   what is still due for portraits ordered on the day that are not cancelled
    to_return what was paid for cancelled ones of the day and not given back
    tips      by ticket, those that changed on the day
    """

    payments: tuple[Payment, ...]
    to_come: int
    to_return: int
    tips: tuple[Tip, ...] = ()

    @property
    def means(self) -> tuple[Means, ...]:
        """Each means of payment, used or not."""
        return tuple(
            Means(
                how,
                sum(one.amount for one in self.payments if one.how == how and one.amount > 0),
                -sum(one.amount for one in self.payments if one.how == how and one.amount < 0),
            )
            for how in MEANS
        )

    @property
    def net(self) -> int:
        """Everything taken less everything given back."""
        return sum(one.amount for one in self.payments)

    @property
    def refunded(self) -> int:
        """Everything given back."""
        return sum(one.refunded for one in self.means)

    @property
    def tipped(self) -> int:
        """The day's tips together, part of what stays."""
        return sum(one.amount for one in self.tips)

    @property
    def paid_for(self) -> tuple[str, ...]:
        """The tickets for which more came in than was given back on the day."""
        net: dict[str, int] = {}
        for one in self.payments:
            net[one.ticket] = net.get(one.ticket, 0) + one.amount
        return tuple(ticket for ticket, amount in net.items() if amount > 0)

    @property
    def average(self) -> int | None:
        """The net takings for each portrait that was paid for on the day, rounded half up; None when none was."""
        n = len(self.paid_for)
        return (2 * self.net + n) // (2 * n) if n else None

    def per_hour(self, drawn_s: float) -> int | None:
        """The net takings for each hour of drawing, `drawn_s` seconds in all, rounded half up; None without any."""
        return math.floor(self.net * 3600 / drawn_s + 0.5) if drawn_s > 0 else None


def takings_of(day: Day, tickets: Iterable[Ticket]) -> Takings:
    """The money of `day`; `tickets` are all that it may concern."""
    known = list(tickets)
    payments = sorted(
        (
            Payment(ticket.id, ticket.number, event.happened_at, event.data.amount, event.data.how)
            for ticket in known
            for event in ticket.history
            if isinstance(event.data, Paid) and day.holds(event.happened_at)
        ),
        key=lambda one: one.at,
    )
    own = [ticket for ticket in known if ticket.day == day.day]
    return Takings(
        tuple(payments),
        to_come=sum(still_to_come(ticket) for ticket in own),
        to_return=sum(max(-ticket.due, 0) for ticket in own if ticket.place == CANCELLED),
        tips=tuple(Tip(ticket.id, tip) for ticket in known if (tip := tip_of(ticket, day))),
    )


def tip_kept(ticket: Ticket) -> int:
    """What was paid above the price of `ticket` and has stayed so far."""
    return 0 if ticket.place == CANCELLED else max(ticket.paid - ticket.price, 0)


def tip_of(ticket: Ticket, day: Day) -> int:
    """How much the tip for `ticket` grew on `day`."""
    if ticket.place == CANCELLED:
        return 0
    came = [(event.happened_at, event.data.amount) for event in ticket.history if isinstance(event.data, Paid)]
    before = sum(amount for at, amount in came if at < day.begins_at)
    after = before + sum(amount for at, amount in came if day.holds(at))
    return max(after - ticket.price, 0) - max(before - ticket.price, 0)


def still_to_come(ticket: Ticket) -> int:
    """What is still to be paid for `ticket`. Money given back after it was handed over is a gift, and not due again."""
    if ticket.place == CANCELLED:
        return 0
    if ticket.was_collected:
        taken = sum(
            event.data.amount for event in ticket.history if isinstance(event.data, Paid) and event.data.amount > 0
        )
        return max(ticket.price - taken, 0)
    return max(ticket.due, 0)

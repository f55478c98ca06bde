"""What came in: money of one day by means of payment, in minor units of the booth's currency.

Money belongs to the day on which it changed hands, whenever its portrait was ordered. These are records of what was
taken and given back, no accounts: there is nothing about taxes here.
"""

from __future__ import annotations

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
class Takings:
    """One day's money.

    to_come   what is still due for portraits ordered on the day that are not cancelled
    to_return what was paid for cancelled ones of the day and not given back
    """

    payments: tuple[Payment, ...]
    to_come: int
    to_return: int

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
    )


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

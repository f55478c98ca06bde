"""Reading a journal on: the booth as it stands, its pace, and how its quotes turned out.

Each order is quoted again as it was then, by what was known then, and what came of it is compared later
(`calibration.py`). The live booth, the replay and a restart all read by this one function, so what the replay measures
is what the customer gets.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from portraitq.core.booth import Booth, fold
from portraitq.core.events import Event, Ordered, SetUp
from portraitq.core.timing import day_index, stays
from portraitq.forecast.pace import Pace, has_left, left_at_seq, pace_of
from portraitq.forecast.schedule import NEVER_S, Scenarios

QUOTED_BACK = 200  # orders; what came of older quotes has been made up for since


@dataclass(frozen=True, slots=True)
class Learned:
    """The booth as it stands and what its journal taught; `last_order` are the scenarios right after the last order."""

    booth: Booth = field(default_factory=Booth)
    pace: Pace = field(default_factory=Pace)
    last_order: Scenarios | None = None


def read_on(learned: Learned, events: Sequence[Event], quoted_back: int | None = None) -> Learned:
    """`learned` with more lines of the journal; Refused when they contradict those before.

    quoted_back  how many of the last orders among them are quoted again; None for all
    """
    orders = [place for place, event in enumerate(events, start=1) if isinstance(event.data, Ordered)]
    quoted = set(orders if quoted_back is None else orders[max(len(orders) - quoted_back, 0) :])
    before_set_ups = {place for place, event in enumerate(events) if isinstance(event.data, SetUp)}
    unread = 0
    for place in sorted(quoted | before_set_ups):  # what came before a new guess is learned by the old one
        learned = _after(learned, events[unread:place])
        learned = _after_order(learned) if place in quoted else learned
        unread = place
    return _after(learned, events[unread:])


def _after(learned: Learned, events: Sequence[Event]) -> Learned:
    booth = fold(learned.booth, events)
    pace = pace_of(booth, learned.pace)
    calibration, closing = pace.calibration, pace.closing
    over = [booth.tickets[id] for id in calibration.open if has_left(booth.tickets[id])]
    for ticket in sorted(over, key=left_at_seq):
        foreseen = calibration.open[ticket.id].after_closing
        if foreseen and (begun := stays(ticket)):
            days = [day_index(booth.days, at) for at in (ticket.ordered_at, begun[0].began_at)]
            closing = closing.learned(foreseen, days[0] < days[1])
        calibration = calibration.came(ticket.id, ticket.finished_at)
    return replace(learned, booth=booth, pace=replace(pace, calibration=calibration, closing=closing))


def _after_order(learned: Learned) -> Learned:
    booth, pace = learned.booth, learned.pace
    assert booth.last_at is not None
    ticket = next(reversed(booth.tickets))
    scenarios = Scenarios(booth, pace, booth.last_at)
    ready_s = np.sort(np.minimum(scenarios.outlooks[ticket].ready_s, NEVER_S))
    calibration = pace.calibration.said(ticket, booth.last_at, ready_s, scenarios.after_closing(ticket))
    return Learned(booth, replace(pace, calibration=calibration), scenarios)

"""Days gone through once more, against Little's law: how many are there = how often they come × how long they stay.

L = λW holds exactly over any stretch of time, whatever the booth does, when those who were there at its beginning and
those still there at its end count for their part of it (Little 1961, A proof for the queuing formula L = λW, Operations
Research 9, 383–387). L is taken from the booths as they are rebuilt at each instant, W from the lines of each ticket.
"""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime
from itertools import pairwise
from pathlib import Path

import pytest

from portraitq.core.booth import Booth
from portraitq.core.events import Event, OfTicket
from portraitq.forecast.past import PastDay
from tests.forecast.test_past import JOURNALS, every_day

TO_S = 1e-6  # the law is exact; this is what adding seconds up in floating point leaves


def mean_number(day: PastDay, present: Callable[[Booth], int]) -> float:
    """L: how many were there over the whole day, out of the booths rebuilt at the instants at which a line came."""
    ats = sorted({line.at for line in day.lines})
    there_s = [present(day.known(at).booth) * (to - at).total_seconds() for at, to in pairwise(ats)]
    return sum(there_s) / (ats[-1] - ats[0]).total_seconds()


def stays_s(
    events: list[Event], day: PastDay, comes: tuple[str, ...], goes: tuple[str, ...]
) -> tuple[int, list[float]]:
    """Each stay's seconds on that day, out of the tickets' own lines alone; how many there were."""
    begins_at, ends_at = day.lines[0].at, day.lines[-1].at
    since: dict[str, datetime] = {}
    found: list[float] = []

    def stayed(from_at: datetime, to_at: datetime) -> None:
        if to_at > begins_at and from_at < ends_at:
            found.append((min(to_at, ends_at) - max(from_at, begins_at)).total_seconds())

    for event in events:
        if not isinstance(event.data, OfTicket):
            continue
        if event.kind in comes:
            since.setdefault(event.data.ticket, event.at)
        elif event.kind in goes and event.data.ticket in since:
            stayed(since.pop(event.data.ticket), event.at)
    for from_at in since.values():
        stayed(from_at, ends_at)
    return len(found), found


def in_system(booth: Booth) -> int:
    """Ordered, and neither ready once nor cancelled."""
    return sum(ticket.finished_at is None for ticket in booth.open_tickets())


@pytest.mark.parametrize("path", JOURNALS, ids=lambda path: path.stem)
def test_littles_law_holds_for_the_portraits_in_hand_on_every_replayed_day(path: Path):
    for events, day in every_day(path):
        lasted_s = (day.lines[-1].at - day.lines[0].at).total_seconds()
        n, flows_s = stays_s(events, day, ("ordered",), ("finished", "cancelled"))
        if not n:
            continue

        rate, mean_s = n / lasted_s, sum(flows_s) / n

        assert mean_number(day, in_system) == pytest.approx(rate * mean_s, abs=TO_S / lasted_s)


@pytest.mark.parametrize("path", JOURNALS, ids=lambda path: path.stem)
def test_littles_law_holds_for_the_queue_alone_whoever_is_put_back(path: Path):
    for events, day in every_day(path):
        lasted_s = (day.lines[-1].at - day.lines[0].at).total_seconds()
        n, waits_s = stays_s(events, day, ("ordered", "put_back"), ("started", "cancelled"))
        if not n:
            continue

        rate, mean_s = n / lasted_s, sum(waits_s) / n

        assert mean_number(day, lambda booth: len(booth.queue)) == pytest.approx(rate * mean_s, abs=TO_S / lasted_s)


def test_the_law_was_tried_on_days_with_something_in_hand_all_over():
    tried = [
        stays_s(events, day, ("ordered",), ("finished",))[0] for path in JOURNALS for events, day in every_day(path)
    ]

    assert len(tried) > len(JOURNALS)
    assert sum(n > 0 for n in tried) >= len(JOURNALS)

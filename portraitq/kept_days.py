"""The days of a season: taken as they were kept where nothing touched them since, else reckoned anew.

Kept is a day that another day followed and whose promises have all come due: from then on only a line of the journal
can change it, never the clock. So of a long season each look reads what was kept, the lines that came since, and
reckons the days that those lines moved, and the last one. What a day is made of is `daybook/day_summary.py`'s to say,
which lines move it `daybook/touched.py`'s. Neither a restart nor the loss of what was kept costs more than time.
"""

from __future__ import annotations

import logging
from collections.abc import Callable, Iterable, Sequence
from datetime import datetime

from sqlalchemy import Connection

from portraitq.core.booth import Booth
from portraitq.core.events import Event
from portraitq.daybook.attendance import Attendance, attendances
from portraitq.daybook.day_summary import VERSION, DaySummary, print_summary, read_summary, summary_of
from portraitq.daybook.days import Day, days_of
from portraitq.daybook.touched import moved_by, tickets_of
from portraitq.store import closed_days, journal
from portraitq.store.closed_days import KeptDay
from portraitq.store.journal import OvertakenError
from portraitq.store.store import Store, StoreError

LINES_READ_AGAIN = 2_000  # once a look reads more lines than that, it notes up to where what is kept is known to hold
LAST_DAY = "9999-12-31"
log = logging.getLogger(__name__)


def summaries(
    store: Store,
    slug: str,
    booth: Booth,
    first: str,
    last: str,
    attended: Callable[[], Iterable[Attendance]],
    now: datetime,
) -> tuple[DaySummary, ...]:
    """The days of `booth` from `first` to `last`, in order, as they stand at `now`.

    attended  who was in when, asked for only where a day is reckoned
    """
    days = days_of(booth)
    wanted = [day for day in days if first <= day.day <= last]
    with store.reading() as connection:
        rows = closed_days.kept(connection, slug, VERSION, first, last)
        since = min((row.seq for row in rows), default=booth.seq)
        came = [event for event in journal.events(connection, slug, after=since) if event.seq <= booth.seq]
    moved = moved_by(booth, days, came)
    closed = {day.day for day in days[:-1]}
    still = {row.day: row for row in rows if row.day in closed and row.seq >= moved.get(row.day, 0)}
    found = {row.day: read for row in still.values() if (read := _read(row, slug)) and read.zone == booth.zone.key}
    new = _reckoned(booth, days, [day for day in wanted if day.day not in found], attended, now)
    to_keep = {one.day: print_summary(one) for one in new if one.day in closed and one.is_settled}
    if to_keep or len(came) > LINES_READ_AGAIN:
        _keep(store, slug, booth.seq, to_keep, list(found))
    found |= {one.day: one for one in new}
    return tuple(found[day.day] for day in wanted)


def compared(
    connection: Connection, slug: str, booth: Booth, events: Sequence[Event], now: datetime
) -> tuple[int, list[str]]:
    """How many kept days of `booth` are said to hold still, and which of them differ from a fresh reckoning."""
    rows, days = closed_days.kept(connection, slug, VERSION, "", LAST_DAY), days_of(booth)
    since = min((row.seq for row in rows), default=booth.seq)
    moved = moved_by(booth, days, [event for event in events if event.seq > since])
    still = {row.day: row.summary for row in rows if row.seq >= moved.get(row.day, 0)}
    still = {day: text for day, text in still.items() if _zone_of(text, slug) == booth.zone.key}
    new = _reckoned(booth, days, [day for day in days if day.day in still], lambda: attendances(events), now)
    there = {one.day: print_summary(one) for one in new}
    return len(still), [day for day, text in still.items() if there.get(day) != text]


def _zone_of(summary: str, slug: str) -> str:
    """The zone in which a kept day was reckoned; empty where it cannot be read, for then it is reckoned anew."""
    read = _read(KeptDay("", 0, summary), slug)
    return read.zone if read else ""


def _read(row: KeptDay, slug: str) -> DaySummary | None:
    try:
        return read_summary(row.summary)
    except ValueError as odd:
        log.warning("What was kept of %s at %s cannot be read and is reckoned anew: %s", row.day, slug, odd)
        return None


def _reckoned(
    booth: Booth,
    days: Sequence[Day],
    missing: Sequence[Day],
    attended: Callable[[], Iterable[Attendance]],
    now: datetime,
) -> list[DaySummary]:
    if not missing:
        return []
    here = tuple(attended())
    tickets = tickets_of(booth, days, {day.day for day in missing})
    return [summary_of(booth, day, tickets[day.day].values(), here, now) for day in missing]


def _keep(store: Store, slug: str, seq: int, to_keep: dict[str, str], seen: list[str]) -> None:
    """A look that cannot write what it found shows it all the same."""
    try:
        with store.writing() as connection:
            closed_days.keep(connection, slug, VERSION, seq, to_keep)
            closed_days.still_hold(connection, slug, seen, seq)
    except (StoreError, OvertakenError) as no:
        log.warning("The days of %s are shown, but could not be kept for the next look: %s", slug, no)

"""Quotes out of a past journal: what the booth would have said then, knowing only the lines up to there."""

from __future__ import annotations

import csv
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import nullcontext
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import IO, Literal

from portraitq.core.booth import fold, import_lines
from portraitq.core.events import Event, Finished, Ordered, print_instant
from portraitq.forecast.learning import Learned, read_on
from portraitq.forecast.promise import LEVELS
from portraitq.forecast.quotes import Quote, quotes_of_tickets, quotes_out_of

When = Literal["ordered", "every"]
Progress = Callable[[int, int], None]
COLUMNS = (
    "seq",
    "at",
    "ticket",
    *(f"q{round(level * 100):02d}" for level in LEVELS),
    "ready_by",
    "ready_at",
)


@dataclass(frozen=True, slots=True)
class QuoteRow:
    """One quote of one ticket, and what then happened (None where it never became ready)."""

    seq: int
    at: datetime
    ticket: str
    quantiles: tuple[datetime, ...]
    ready_by: datetime
    ready_at: datetime | None

    def cells(self) -> list[str]:
        """The row as the CSV writes it, in the order of COLUMNS."""
        instants = (*self.quantiles, self.ready_by)
        ready_at = print_instant(self.ready_at) if self.ready_at else ""
        return [str(self.seq), print_instant(self.at), self.ticket, *map(print_instant, instants), ready_at]


def replay(events: Sequence[Event], at: When = "ordered", progress: Progress | None = None) -> Iterator[QuoteRow]:
    """The quote of each portrait right after it was ordered, or (`every`) of each unfinished one after every line.

    progress  is told how many lines of how many are read; Refused when the lines contradict each other
    """
    ready_at = ready_times(events)
    learned, unread = Learned(), 0
    for read, event in enumerate(events, start=1):
        if at == "ordered" and not isinstance(event.data, Ordered):
            continue
        learned, unread = read_on(learned, events[unread:read]), read
        for ticket, quote in _quotes(learned, event, at):
            yield _row(event, ticket, quote, ready_at.get(ticket))
        if progress is not None:
            progress(read, len(events))
    fold(learned.booth, events[unread:])
    if progress is not None:
        progress(len(events), len(events))


def _quotes(learned: Learned, event: Event, at: When) -> Iterable[tuple[str, Quote]]:
    booth = learned.booth
    if at == "ordered":
        assert isinstance(event.data, Ordered)
        assert learned.last_order is not None
        return quotes_out_of(learned.last_order, [event.data.ticket]).items()
    waiting = [*booth.easels.values(), *booth.queue]
    unfinished = [id for id in waiting if booth.tickets[id].finished_at is None]
    return quotes_of_tickets(booth, learned.pace, event.at, unfinished).items()


def _row(event: Event, ticket: str, quote: Quote, ready_at: datetime | None) -> QuoteRow:
    levels = tuple(quote.ready_at_quantiles[level] for level in LEVELS)
    return QuoteRow(event.seq, event.at, ticket, levels, quote.promise_at, ready_at)


def ready_times(events: Iterable[Event]) -> dict[str, datetime]:
    """When each ticket was ready: its first `finished`."""
    found: dict[str, datetime] = {}
    for event in events:
        if isinstance(event.data, Finished):
            found.setdefault(event.data.ticket, event.happened_at)
    return found


def read_journal(path: Path | str) -> list[Event]:
    """The events of a journal file; RefusedLine names the first line that is wrong."""
    with open(path, encoding="utf-8", newline="\n") as lines:
        _, events = import_lines(line.rstrip("\n") for line in lines)
    return events


def replay_file(path: Path | str, at: When = "ordered", progress: Progress | None = None) -> Iterator[QuoteRow]:
    """`replay` of a journal file."""
    return replay(read_journal(path), at, progress)


def write_csv(rows: Iterable[QuoteRow], to: Path | str | IO[str]) -> int:
    """Write `rows` as CSV (RFC 4180, header row) to a path, or to a file opened with newline=""; their number."""
    opened = open(to, "w", encoding="utf-8", newline="") if isinstance(to, str | Path) else nullcontext(to)  # noqa: SIM115
    with opened as file:
        table = csv.writer(file, lineterminator="\r\n")
        table.writerow(COLUMNS)
        count = 0
        for row in rows:
            table.writerow(row.cells())
            count += 1
    return count

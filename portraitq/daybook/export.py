"""A day's tables as CSV: tickets, stages, payments. Nothing personal stands in them, as none stands in the journal.

RFC 4180 (comma, CRLF, quotes where needed) in UTF-8 with a byte order mark, by which spreadsheets know the encoding.
Times are clock times of the booth's zone in the form that spreadsheets read as times; the exact instants are in the
journal. Durations are seconds, money is in the currency's units. A text that a spreadsheet would take for a formula
gets an apostrophe before it (OWASP, "CSV Injection"); numbers never do.

Where 18.50 is written 18,50, spreadsheets part the columns of a CSV file at semicolons and take 18.50 for a text or a
date: DECIMAL_COMMA is for them.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal
from zoneinfo import ZoneInfo

from portraitq.core.booth import Booth
from portraitq.core.life import Ticket
from portraitq.daybook.figures import DayFigures, Line
from portraitq.daybook.takings import tip_kept
from portraitq.forecast.doubts import AT_LEAST, Judged

BYTE_ORDER_MARK = "\ufeff"
_STARTS_A_FORMULA = ("=", "+", "-", "@", "\t", "\r", "\n", "＝", "＋", "－", "＠")


@dataclass(frozen=True, slots=True)
class Form:
    """What stands between two cells, and between the units and their tenths."""

    delimiter: str
    decimal: str


DECIMAL_POINT, DECIMAL_COMMA = Form(",", "."), Form(";", ",")

Cell = str | int | Decimal | datetime | None


def tickets_csv(figures: DayFigures, booth: Booth, digits: int, form: Form = DECIMAL_POINT) -> str:
    """One row a ticket that anything happened to on the day; `digits` has the minor unit of the booth's currency."""
    names = _artist_names(booth)
    return _printed(
        booth.zone,
        (
            *("day_ordered", "number", "ticket", "style", "sitters", "asked_for", "artist", "place"),
            *("ordered_at", "started_at", "finished_at", "collected_at", "cancelled_at", "cancelled_why"),
            *("first_promise", "last_promise", "promise", "early_s", "waiting_s", "flow_s", "drawn_s"),
            *("price", "paid", "tip", "currency"),
        ),
        (_ticket_row(line, booth, names, digits) for line in figures.lines),
        form,
    )


def stages_csv(figures: DayFigures, booth: Booth, form: Form = DECIMAL_POINT) -> str:
    """One row a measured time that ended on the day: of one stage, or of several known only as a sum (joined by +).

    `trusted` says whether what the clock showed is the time drawn, `why_not` why it is not. `counts_as` is what the
    forecast may learn from it: exact, sum (of the stages named), at least (`at_least_s`), or not (nothing).
    """
    names = _artist_names(booth)
    by_id = {line.ticket.id: line.ticket for line in figures.lines}
    return _printed(
        booth.zone,
        (
            *("day_ordered", "number", "ticket", "style", "stage", "sitters", "artist", "ended_at"),
            *("measured_s", "guess_s", "trusted", "why_not", "counts_as", "at_least_s"),
        ),
        (_stage_row(one, by_id[one.time.ticket], names) for one in figures.stages.times),
        form,
    )


def payments_csv(figures: DayFigures, booth: Booth, digits: int, form: Form = DECIMAL_POINT) -> str:
    """One row a payment; a refund is negative. Numbers begin anew each day, so each stands beside its day."""
    currency = booth.set_up.booth.currency if booth.set_up else ""
    ordered = {line.ticket.id: line.ticket.day for line in figures.lines}
    return _printed(
        booth.zone,
        ("at", "day_ordered", "number", "ticket", "amount", "currency", "how"),
        (
            (one.at, ordered[one.ticket], one.number, one.ticket, _amount(one.amount, digits), currency, one.how)
            for one in figures.takings.payments
        ),
        form,
    )


def _ticket_row(line: Line, booth: Booth, names: dict[str, str], digits: int) -> tuple[Cell, ...]:
    ticket, word = line.ticket, line.word
    asked, artist = ticket.wants_artist or "", line.drawn_by
    return (
        *(ticket.day, ticket.number, ticket.id, ticket.style.name, ticket.sitters),
        *(names.get(asked, asked), names.get(artist, artist), ticket.place),
        *(ticket.ordered_at, line.started_at, line.finished_at, line.collected_at, line.cancelled_at),
        ticket.why if line.cancelled_at else None,
        *((word.first_by, word.last_by, word.outcome, _seconds(word.early_s)) if word else (None, None, "none", None)),
        *(_seconds(line.waiting_s), _seconds(line.flow_s), _seconds(line.drawn_s)),
        *(_amount(amount, digits) for amount in (ticket.price, ticket.paid, tip_kept(ticket))),
        booth.set_up.booth.currency if booth.set_up else "",
    )


def _stage_row(one: Judged, ticket: Ticket, names: dict[str, str]) -> tuple[Cell, ...]:
    time, known = one.time, {stage.id: stage for stage in ticket.style.stages}
    stages = [known[id] for id in time.stages]
    guess_s = sum(stage.usual_s * (ticket.sitters if stage.per_sitter else 1) for stage in stages)
    return (
        *(ticket.day, ticket.number, ticket.id, ticket.style.name),
        *(" + ".join(stage.name for stage in stages), ticket.sitters, names.get(time.artist, time.artist)),
        *(time.ended_at, _seconds(time.total_s), _seconds(guess_s)),
        *("yes" if one.is_trusted else "no", "" if one.is_trusted else one.why),
        *(one.counts_as, _seconds(one.at_least_s) if one.counts_as == AT_LEAST else None),
    )


def _artist_names(booth: Booth) -> dict[str, str]:
    return {artist.id: artist.name for artist in booth.set_up.artists} if booth.set_up else {}


def _seconds(value_s: float | None) -> Decimal | None:
    """To the millisecond, as the journal measures."""
    return None if value_s is None else Decimal(f"{value_s:.3f}")


def _amount(minor: int, digits: int) -> Decimal:
    return Decimal(minor).scaleb(-digits)


def _printed(zone: ZoneInfo, header: Sequence[str], rows: Iterable[Sequence[Cell]], form: Form = DECIMAL_POINT) -> str:
    out = io.StringIO(newline="")
    writer = csv.writer(out, delimiter=form.delimiter, lineterminator="\r\n")
    writer.writerow(header)
    writer.writerows([_cell(value, zone, form) for value in row] for row in rows)
    return BYTE_ORDER_MARK + out.getvalue()


def _cell(value: Cell, zone: ZoneInfo, form: Form) -> str:
    match value:
        case None:
            return ""
        case datetime():
            return value.astimezone(zone).strftime("%Y-%m-%d %H:%M:%S")
        case str():
            return without_formula(value)
        case Decimal():
            return f"{value:f}".replace(".", form.decimal)
    return str(value)


def without_formula(text: str) -> str:
    """`text` so that no spreadsheet reckons with it.

    >>> without_formula("=1+1"), without_formula("Ink head")
    ("'=1+1", 'Ink head')
    """
    return f"'{text}" if text.lstrip(" ").startswith(_STARTS_A_FORMULA) else text

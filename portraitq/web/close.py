"""The close of the day, step by step: what is open, what is promised, the cash, what is erased, and the one button.

It shows the day that is open, or the last one; `?day=` another one whose cash is to be counted. Closing is the same
command as the Counter's. How much cash the record says there should be is `daybook/cash.py`'s to reckon.
"""

from __future__ import annotations

import re
import secrets
import unicodedata
from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import datetime
from typing import TYPE_CHECKING

from babel.numbers import get_currency_symbol
from flask import Blueprint, redirect, render_template, request, url_for
from flask.typing import ResponseReturnValue

from portraitq import cash_counts, erasing
from portraitq.core.booth import Booth
from portraitq.core.commands import Command
from portraitq.core.errors import Malformed, Refused
from portraitq.core.events import DayClosed
from portraitq.core.life import IN_QUEUE, ON_EASEL, READY, Ticket
from portraitq.daybook.cash import LONGEST_NOTE, CashCount, Reckoning, net_cash, reckoned
from portraitq.daybook.days import Day, day_named, days_of
from portraitq.daybook.takings import Takings, takings_of
from portraitq.store import cards
from portraitq.web import here, house_rules_form
from portraitq.web.day_words import MEANS_SAID
from portraitq.web.problems import NotThere
from portraitq.web.said import LOCALE, clock_time, day_beside, day_said, money, plain_amount, read_money
from portraitq.web.staff import owner_only

if TYPE_CHECKING:
    from portraitq.desk import Desk

SAID = {
    "counted": "The count is kept.",
    "note": "The note was erased.",
    "closed": "The day is closed. Everybody is out, and what was due is erased.",
}
UNWRITTEN = ("Cc", "Cs", "Cn")  # signs that only steer the writing (Cf) are part of many scripts and of emoji
LESS_OR_A_SLIP = re.compile(r"[-−()]|[^\W\d_]")  # a minus anywhere, brackets as bookkeepers write them, a letter
blueprint = Blueprint("close", __name__)


@dataclass(frozen=True)
class OpenRow:
    """A ticket that is not over: its number (and day, where it is another), where it is and what was promised."""

    id: str
    number: int
    day: str
    style: str
    place: str
    promised: str
    needs_a_hand: bool


@dataclass(frozen=True)
class LeftRow:
    """A portrait of an earlier day that waits for its customer, with something personal still kept."""

    id: str
    number: int
    day: str
    waits: str


@dataclass(frozen=True)
class MoneyRow:
    """One means of payment: what it brought, what was given back, what stays."""

    name: str
    taken: str
    refunded: str
    net: str


@dataclass(frozen=True)
class CashForm:
    """The count as it is typed; `errors` by the id of the field that is wrong."""

    began_with: str
    counted: str
    note: str
    errors: dict[str, str]
    longest_note: int = LONGEST_NOTE


@dataclass(frozen=True)
class CountView:
    """A count that was made, ready to print. `is_right` where the box held what the record says."""

    began_with: str
    recorded: str
    should_be: str
    counted: str
    difference: str
    is_right: bool
    at: str
    note: str
    since: str


@dataclass(frozen=True)
class CloseView:
    """The whole page."""

    day: str
    day_said: str
    state: str
    is_open: bool
    open: tuple[OpenRow, ...]
    open_said: str
    broken_said: str
    later: tuple[OpenRow, ...]
    means: tuple[MoneyRow, ...]
    total: str
    expected_said: str
    currency: str
    form: CashForm
    count: CountView | None
    keep_said: str
    due_said: str
    left_said: str
    left: tuple[LeftRow, ...]
    summary: str
    said: str


@blueprint.get("/<booth>/daybook/close")
@owner_only
def show(booth: str) -> ResponseReturnValue:
    """The day as it would be closed, or as it was."""
    return _page(here.desk_at(booth), said=SAID.get(request.args.get("said", ""), ""))


@blueprint.post("/<booth>/daybook/close/cash")
@owner_only
def count_cash(booth: str) -> ResponseReturnValue:
    """Keep what was counted, in place of an earlier count of that day; or erase the note of it."""
    desk = here.desk_at(booth)
    told = desk.standing().booth
    day = _day(told, request.form.get("day", ""))
    if request.form.get("do") == "erase-note":
        with desk.store.writing() as connection:
            if count := cash_counts.of_day(connection, desk.slug, day.day):
                cash_counts.put(connection, desk.slug, day.day, count.model_copy(update={"note": ""}))
        desk.store.is_scrubbed = False  # what stood there goes from the log with the next round of tidying
        return _back(booth, day, "note")
    count, form = _counted(told, day, desk.clock.now())
    if count is None:
        return _page(desk, day=day, form=form), 422
    with desk.store.writing() as connection:
        cash_counts.put(connection, desk.slug, day.day, count)
    return _back(booth, day, "counted")


@blueprint.post("/<booth>/daybook/close")
@owner_only
def close_day(booth: str) -> ResponseReturnValue:
    """Close the day that is open; Refused when it is not the one that was shown."""
    desk = here.desk_at(booth)
    told, shown = desk.standing(wait_s=5).booth, request.form.get("day", "")
    if told.day is not None and told.day.day != shown:
        raise Refused(
            f"The day that is open is {told.day.day}, not the one shown. Nothing was closed: load the page anew."
        )
    if told.day is not None or not told.days or told.days[-1].day != shown:  # closed a moment ago, it is closed
        desk.carry_out(Command(f"close-{secrets.token_hex(8)}", DayClosed(), here.by()))
    return redirect(url_for("close.show", booth=booth, said="closed"), 303)


def count_of(desk: Desk, day: Day, takings: Takings) -> CountView | None:
    """The cash count of that day for whoever shows its takings; None when nobody counted."""
    booth = desk.standing(wait_s=0).booth
    with desk.store.reading() as connection:
        count = cash_counts.of_day(connection, desk.slug, day.day)
    return _count_view(booth, reckoned(count, takings)) if count else None


def _page(desk: Desk, *, day: Day | None = None, form: CashForm | None = None, said: str = "") -> str:
    told = desk.standing().booth
    if not told.days:
        return render_template("close.html", view=None, slug=desk.slug)
    day = day or _day(told, request.args.get("day", ""))
    view = close_view(desk, told, day)
    return render_template("close.html", view=replace(view, form=form or view.form, said=said), slug=desk.slug)


def close_view(desk: Desk, told: Booth, day: Day) -> CloseView:
    """The page for one day of the booth."""
    is_open = told.day is not None and told.day.day == day.day
    currency = told.set_up.booth.currency if told.set_up else "XXX"
    takings = takings_of(day, told.tickets.values())
    rules = desk.house_rules()
    with desk.store.reading() as connection:
        count = cash_counts.of_day(connection, desk.slug, day.day)
        began_with = cash_counts.last_float(connection, desk.slug)
        kept = cards.personal(connection, desk.slug)
    now = desk.clock.now()
    due = erasing.due(_closed(told, now), kept, rules.keep_h, now, rules.uncollected_days)
    left = [ticket for ticket in erasing.left_behind(told, kept) if ticket.id not in due]
    open_rows = [_open_row(told, ticket, day) for ticket in told.open_tickets()] if is_open else []
    later = [one for one, ticket in zip(open_rows, told.open_tickets(), strict=False) if _is_for_later(ticket, told)]
    broken = sum(one.needs_a_hand for one in open_rows)
    cash = net_cash(takings)
    return CloseView(
        day=day.day,
        day_said=day_said(day.day),
        state=_state(told, day),
        is_open=is_open,
        open=tuple(open_rows),
        open_said=_open_said(told.open_tickets()) if is_open else "",
        broken_said=_broken_said(broken),
        later=tuple(later),
        means=tuple(
            MoneyRow(MEANS_SAID[one.how], *(money(each, currency) for each in (one.taken, one.refunded, one.net)))
            for one in takings.means
        ),
        total=money(takings.net, currency),
        expected_said=f"The record says that {money(cash, currency)} in cash came in and stayed.",
        currency=currency,
        form=CashForm(
            began_with=_typed(count.began_with if count else began_with, currency), counted="", note="", errors={}
        ),
        count=_count_view(told, reckoned(count, takings)) if count else None,
        keep_said=house_rules_form.keep_said(rules),
        due_said=_due_said(len(due)),
        left_said=_left_said(len(left)),
        left=tuple(_left_row(ticket, now) for ticket in left),
        summary=_summary(told, day, takings, currency),
        said="",
    )


def _counted(told: Booth, day: Day, now: datetime) -> tuple[CashCount | None, CashForm]:
    """The count out of the form; None, and the form with what is wrong, when it is none."""
    form, currency = request.form, told.set_up.booth.currency if told.set_up else "XXX"
    errors: dict[str, str] = {}
    amounts = {}
    for field, of_what in (("began_with", "the float that the box began with"), ("counted", "what is in the box")):
        try:
            amounts[field] = read_amount(form.get(field, ""), currency, field)
        except Malformed:
            errors[field] = f"For {of_what}, an amount such as {plain_amount(12345, currency)} was expected."
    note = re.sub(r"\s+", " ", form.get("note", "")).strip()
    if len(note) > LONGEST_NOTE:
        errors["note"] = f"One line of at most {LONGEST_NOTE} characters was expected, not {len(note)}."
    elif any(unicodedata.category(sign) in UNWRITTEN for sign in note):
        errors["note"] = "Letters, digits and signs were expected; there is something in it that no keyboard writes."
    typed = CashForm(form.get("began_with", ""), form.get("counted", ""), note, errors)
    if errors:
        return None, typed
    takings = takings_of(day, told.tickets.values())
    return CashCount(**amounts, recorded=net_cash(takings), at=now, note=note), typed


def read_amount(text: str, currency: str, field: str) -> int:
    """What somebody typed, in minor units; Malformed where it is less than nothing (`-5`, `(5)`) or a slip (`1oo`)."""
    bare = text.replace(currency, "").replace(get_currency_symbol(currency, LOCALE), "")
    amount = read_money(text, currency, field)
    if LESS_OR_A_SLIP.search(bare):
        raise Malformed(f"{field}: an amount was expected.", field)
    return amount


def _count_view(told: Booth, found: Reckoning) -> CountView:
    currency = told.set_up.booth.currency if told.set_up else "XXX"
    count = found.count
    if found.difference == 0:
        difference = "nothing: the box holds what the record says"
    else:
        more = "more than the record says" if found.difference > 0 else "less than the record says"
        difference = f"{money(abs(found.difference), currency)} {more}"
    local_day = count.at.astimezone(told.zone).date().isoformat()
    return CountView(
        began_with=money(count.began_with, currency),
        recorded=money(count.recorded, currency),
        should_be=money(found.should_be, currency),
        counted=money(count.counted, currency),
        difference=difference,
        is_right=found.difference == 0,
        at=f"{clock_time(count.at, told.zone)}, {day_said(local_day)}",
        note=count.note,
        since=f"{money(found.since, currency)} in cash was recorded after the count." if found.since else "",
    )


def _day(told: Booth, name: str) -> Day:
    """The day of that name; the last one where none is named."""
    days = days_of(told)
    found = day_named(told, name) if name else next(reversed(days), None)
    if found is None:
        raise NotThere(f"The booth did not trade on {name[:20]!r}.")
    return found


def _closed(told: Booth, now: datetime) -> Booth:
    """`told` as it would stand once its day is closed."""
    if told.day is None:
        return told
    return replace(told, days=(*told.days[:-1], replace(told.day, closed_at=now)))


def _open_row(told: Booth, ticket: Ticket, day: Day) -> OpenRow:
    promise = ticket.promise
    closes_at = day.sessions[-1].closes_at
    return OpenRow(
        id=ticket.id,
        number=ticket.number,
        day=day_beside(ticket.day, day.day),
        style=ticket.style.name,
        place="on the rack" if ticket.place == READY else ticket.place,
        promised=clock_time(promise.ready_by, told.zone, closes_at) if promise else "",
        needs_a_hand=ticket.finished_at is None and promise is not None and promise.ready_by <= closes_at,
    )


def _is_for_later(ticket: Ticket, told: Booth) -> bool:
    """Whether it is promised for after today's closing and not ready yet."""
    promise = ticket.promise
    return (
        told.day is not None
        and ticket.finished_at is None
        and promise is not None
        and promise.ready_by > told.day.closes_at
    )


def _open_said(tickets: Iterable[Ticket]) -> str:
    places = [ticket.place for ticket in tickets]
    parts = (
        (sum(place in IN_QUEUE for place in places), "waiting"),
        (sum(place in ON_EASEL for place in places), "on an easel"),
        (sum(place == READY for place in places), "on the rack"),
    )
    said = ", ".join(f"{n} {where}" for n, where in parts if n)
    return f"{said}. All of it carries over as it is, in its order." if said else "Nothing is left open."


def _broken_said(n: int) -> str:
    if not n:
        return ""
    those, are = ("One of them was", "is") if n == 1 else (f"{n} of them were", "are")
    return f"{those} promised for before closing and {are} not ready: tell the customer before you close."


def _due_said(n: int) -> str:
    if not n:
        return "Nothing is due to be erased at closing."
    of_these = "1 portrait" if n == 1 else f"{n} portraits"
    return f"At closing, name, contact, note and photos of {of_these} are erased for good."


def _left_said(n: int) -> str:
    if not n:
        return ""
    if n == 1:
        return "1 portrait of an earlier day is kept with name or photo, because nobody came for it."
    return f"{n} portraits of earlier days are kept with names or photos, because nobody came for them."


def _left_row(ticket: Ticket, now: datetime) -> LeftRow:
    since = erasing.on_the_rack_since(ticket)
    waits = "held for its customer"
    if since is not None:
        days = (now - since).days
        waits = f"on the rack for {days} days" if days > 1 else "on the rack since yesterday"
    return LeftRow(ticket.id, ticket.number, day_said(ticket.day), waits)


def _state(told: Booth, day: Day) -> str:
    if day.closed_at is None:
        opened, closes = clock_time(day.opened_at, told.zone), clock_time(day.sessions[-1].closes_at, told.zone)
        return f"Open since {opened}, until {closes} by the plan."
    return f"Closed at {clock_time(day.closed_at, told.zone)}."


def _summary(told: Booth, day: Day, takings: Takings, currency: str) -> str:
    drawn = sum(day.holds(ticket.finished_at) for ticket in told.tickets.values())
    ordered = sum(ticket.day == day.day for ticket in told.tickets.values())
    return f"{ordered} ordered, {drawn} drawn, {money(takings.net, currency)} taken in."


def _typed(amount: int | None, currency: str) -> str:
    return "" if amount is None else plain_amount(amount, currency)


def _back(booth: str, day: Day, said: str) -> ResponseReturnValue:
    return redirect(url_for("close.show", booth=booth, day=day.day, said=said, _anchor="cash"), 303)

"""The Ticket: what a customer sees on their own phone, by the code on their slip, without app or account.

When it will be ready, when to be back, what is happening, what is due: and when a promise cannot be kept, that, at
once and plainly. Nothing about anybody stands on it, not even the holder's own name: phones are lent and slips lost.
Opened on a device of the booth, the same address is the hand-over page (`hand_over.py`).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING

from flask import Blueprint, Response, redirect, render_template, request, url_for
from flask.typing import ResponseReturnValue

from portraitq.core.booth import Booth
from portraitq.core.events import print_instant
from portraitq.core.life import (
    CANCELLED,
    COLLECTED,
    DRAWING,
    HELD,
    ON_EASEL,
    PAUSED,
    READY,
    TOUCH_UP,
    TOUCH_UP_REST,
    WAITING,
    Ticket,
)
from portraitq.ticket import codes
from portraitq.ticket.calendar import calendar_file
from portraitq.web import hand_over, here, views
from portraitq.web.codes_typed import NO_SUCH, ticket_of
from portraitq.web.house_rules_form import customer_said
from portraitq.web.problems import NotThere
from portraitq.web.queue import Now, now_of, oval_of
from portraitq.web.quoted import names_a_time, time_to_tell
from portraitq.web.said import clock_time, day_said, money, window
from portraitq.web.staff import is_staff

if TYPE_CHECKING:
    from portraitq.desk import Desk, Standing
    from portraitq.forecast.quotes import Quote

blueprint = Blueprint("ticket", __name__)

ASK_WHEN = " Ask at the booth when it will be ready."  # while the clock is wrong


@dataclass(frozen=True)
class TicketView:
    """What the ticket page shows.

    day         the day beside the number of a ticket that was carried over
    happening   what is being done with it, the one line that changes most
    ready       `15:20` to `15:35` as two clock times, or empty where nothing is to be expected any more
    be_back     the time to be back at; empty once it is ready
    told        the time that was promised, where `be_back` is a later one
    late        that the promise will probably not be kept; empty while it will
    """

    booth: str
    number: int
    day: str
    state: str
    oval: str
    stages_done: int
    stages: int
    headline: str
    happening: str
    ready_from: str
    ready_to: str
    be_back: str
    be_back_at: str
    told: str
    late: str
    rack: str
    money: str
    hours: str
    style: str
    code: str
    code_said: str
    has_alarm: bool
    steps: tuple[tuple[str, str], ...]


@blueprint.get("/t/<code>")
@blueprint.get("/T/<code>", endpoint="scanned")  # as the QR writes it, in capitals
def show(code: str) -> ResponseReturnValue:
    """The ticket's page; on a device of the booth the hand-over, unless `?public=1` asks for what customers see."""
    desk, id, code = ticket_of(code)
    if is_staff() and "public" not in request.args and "fragment" not in request.args:
        return hand_over.page(desk, id)
    return views.show_view("ticket", desk, code, page="ticket.html", keeps=_keeps(desk, id))


@blueprint.get("/t")
@blueprint.get("/t/")
def ask() -> ResponseReturnValue:
    """Where a code is typed by who cannot scan it."""
    typed, wrong = request.args.get("code", ""), ""
    if typed:
        try:
            return redirect(url_for("ticket.show", code=ticket_of(typed)[2]), 303)
        except NotThere as no:
            wrong = str(no)
    page = render_template("ticket_ask.html", typed=typed[: codes.LONGEST_TYPED], wrong=wrong)
    return (page, 404) if wrong else page


@blueprint.get("/t/<code>/alarm.ics")
@blueprint.get("/T/<code>/alarm.ics", endpoint="scanned_alarm")
def alarm(code: str) -> Response:
    """The time to be back at as a calendar entry with an alarm, which rings out of reach of the booth too."""
    desk, id, code = ticket_of(code)
    standing = desk.standing()
    ticket = standing.booth.tickets[id]
    shown = ticket_view(standing, ticket, code)
    if not shown.has_alarm or not shown.be_back_at:
        raise NotThere("No time was told for this portrait, so there is nothing to be reminded of.")
    file = calendar_file(
        code=code,
        number=ticket.number,
        booth=shown.booth,
        ready_by=datetime.fromisoformat(shown.be_back_at),
        address=f"{here.address()}/t/{code}",
        now=standing.as_of,
        sequence=int((standing.as_of - ticket.ordered_at).total_seconds()),
    )
    answer = Response(file, content_type="text/calendar; charset=utf-8")
    answer.headers["Content-Disposition"] = f'attachment; filename="portrait-{ticket.number}.ics"'
    return answer


NOTHING_KEPT = "Your photo and whatever else you told us were erased."
THEIRS_TO_ASK = "Only the booth's people see them. Ask at the booth to have them erased at once."


def _keeps(desk: Desk, id: str) -> str:
    """What is kept of the holder and until when, by the booth's rule."""
    if desk.ticket(id).is_erased:
        return NOTHING_KEPT
    return f"{customer_said(desk.house_rules())} {THEIRS_TO_ASK}"


def build(desk: Desk, standing: Standing, code: str) -> TicketView:
    """The live ticket page of that code."""
    ticket = standing.booth.tickets.get(desk.ticket_of_code(code) or "")
    if ticket is None:
        raise NotThere(NO_SUCH)
    return ticket_view(standing, ticket, code)


# What it is made of


def ticket_view(standing: Standing, ticket: Ticket, code: str) -> TicketView:
    """What the holder of `ticket` is told of it as the booth stands."""
    booth, set_up = standing.booth, standing.booth.set_up
    assert set_up is not None
    at = now_of(standing)
    quote = standing.forecast.tickets.get(ticket.id)
    can_come = ticket.place in (WAITING, *ON_EASEL)  # one that is held waits for its customer
    is_expected = can_come and names_a_time(quote)
    slip = standing.slips.get(ticket.id)
    be_back_at = _be_back_at(standing, ticket)
    is_untold = can_come and not standing.tells_time and be_back_at is None
    tells_time = standing.tells_time and can_come and names_a_time(quote)
    low, high = _window(quote, at, be_back_at) if tells_time and quote else ("", "")
    return TicketView(
        booth=set_up.booth.name,
        number=ticket.number,
        day=at.beside(ticket),
        state=STATES[ticket.place],
        oval=oval_of(ticket),
        stages_done=ticket.stages_done,
        stages=len(ticket.style.stages),
        headline=_headline(ticket),
        happening=_happening(ticket, quote, at) + (ASK_WHEN if is_untold else ""),
        ready_from=low,
        ready_to=high if high != low else "",
        be_back=at.clock(be_back_at) if be_back_at else "",
        be_back_at=print_instant(be_back_at) if be_back_at else "",
        told=at.clock(slip.ready_by) if slip else "",
        late=_late(standing, ticket, at),
        rack=ticket.rack or "" if ticket.place == READY else "",
        money=_money(ticket, set_up.booth.currency),
        hours=_hours(booth, ticket, at),
        style=ticket.style.name + ("" if ticket.sitters == 1 else f", {ticket.sitters} sitters"),
        code=code,
        code_said=codes.shown(code),
        has_alarm=is_expected and be_back_at is not None,
        steps=_steps(ticket),
    )


STATES: Mapping[str, str] = {
    WAITING: "waiting",
    HELD: "held",
    DRAWING: "drawing",
    PAUSED: "drawing",
    READY: "ready",
    TOUCH_UP: "touch-up",
    TOUCH_UP_REST: "touch-up",
    COLLECTED: "over",
    CANCELLED: "cancelled",
}


def _window(quote: Quote, at: Now, no_later_than: datetime | None) -> tuple[str, str]:
    """From when to when; the time to be back at ends it, or the phone would say two things at once."""
    low, high = quote.window
    if no_later_than is not None:
        low, high = min(low, no_later_than), min(high, no_later_than)
    said = window(max(at.now, low), max(at.now, high), at.zone, at.now)
    first, _, last = said.partition("–")
    return first, last or first


def _be_back_at(standing: Standing, ticket: Ticket) -> datetime | None:
    """When to be back: as promised, or where that will probably not hold, or nothing was promised, as it looks now."""
    if ticket.finished_at is not None or ticket.place not in (WAITING, *ON_EASEL):
        return None
    quote = standing.forecast.tickets.get(ticket.id)
    if quote is not None and not names_a_time(quote):
        return None
    if ticket.promise is None or ticket.id in standing.slips:
        return time_to_tell(standing, ticket)
    return ticket.promise.ready_by


def _late(standing: Standing, ticket: Ticket, at: Now) -> str:
    """What is to be said where the promise will probably not hold."""
    if ticket.finished_at is not None or ticket.place not in (WAITING, *ON_EASEL):
        return ""
    quote, promise, slip = standing.forecast.tickets.get(ticket.id), ticket.promise, standing.slips.get(ticket.id)
    if quote is not None and not names_a_time(quote):
        told = f"We said {at.clock(promise.ready_by)}, but nobody" if promise else "Nobody"
        return f"{told} here draws this today. We are sorry. Please ask at the booth."
    if slip is None:
        return ""
    new, told = at.clock(slip.new_ready_by), at.clock(slip.ready_by)
    return f"This is taking longer than we said: about {new} instead of {told}. We are sorry."


def _headline(ticket: Ticket) -> str:
    match STATES[ticket.place]:
        case "ready":
            return "It is ready"
        case "drawing":
            return "It is being drawn"
        case "touch-up":
            return "It is being touched up"
        case "over":
            return "It was handed over"
        case "cancelled":
            return "This order was cancelled"
        case "held":
            return "It is waiting for you"
    return "It is waiting its turn"


HELD_SAID = {
    "photo": "We need another photo of you: please come to the booth.",
    "customer": "You asked us to wait. Tell us at the booth when we may go on.",
    "other": "We have a question before we go on: please come to the booth.",
}


def _happening(ticket: Ticket, quote: Quote | None, at: Now) -> str:
    match ticket.place:
        case "waiting":
            if quote is not None and not names_a_time(quote):
                return "It keeps its place in the queue."
            ahead = quote.ahead if quote else 0
            if ticket.was_begun:
                return "It was begun, and is gone on with soon."
            if not ahead:
                return "It is the next one to be drawn."
            return "1 portrait is drawn before it." if ahead == 1 else f"{ahead} portraits are drawn before it."
        case "held":
            return HELD_SAID[ticket.why or "other"]
        case "ready":
            return "Come to the booth to see it."
        case "collected":
            return "Enjoy it! If something is to be touched up, come back with it."
        case "cancelled":
            return "If that surprises you, ask at the booth."
        case _ if ticket.place in (DRAWING, PAUSED) and ticket.stage_in_hand:
            which = f"Stage {ticket.stages_done + 1} of {len(ticket.style.stages)}: {ticket.stage_in_hand.name}"
            return f"{which}. The artist pauses for a moment." if ticket.place == PAUSED else f"{which}."
        case _ if ticket.place in (TOUCH_UP, TOUCH_UP_REST):
            return "A last detail is being changed."
    return "The last touches."


def _steps(ticket: Ticket) -> tuple[tuple[str, str], ...]:
    """Its stages with how far each is ("done", "now", "to come"), while it is drawn."""
    if ticket.place not in (DRAWING, PAUSED):
        return ()
    return tuple(
        (stage.name, "done" if place < ticket.stages_done else "now" if place == ticket.stages_done else "to come")
        for place, stage in enumerate(ticket.style.stages)
    )


def _money(ticket: Ticket, currency: str) -> str:
    if ticket.due > 0:
        return f"{money(ticket.due, currency)} to pay at the booth"
    if ticket.due < 0:
        return f"{money(-ticket.due, currency)} to be given back to you at the booth"
    return "Paid" if ticket.price and ticket.place != CANCELLED else ""


def _hours(booth: Booth, ticket: Ticket, at: Now) -> str:
    """Until when somebody is there to hand it over."""
    if ticket.place in (COLLECTED, CANCELLED):
        return ""
    if booth.day is None:
        return "The booth is closed for now. Your portrait is kept for you."
    return f"The booth closes at {clock_time(booth.day.closes_at, at.zone)}" + (
        f"; this ticket is from {day_said(ticket.day)}." if ticket.day != booth.day.day else "."
    )


views.register(views.View("ticket", views.ANYBODY, build, "views/ticket.html", arg_name="code"))

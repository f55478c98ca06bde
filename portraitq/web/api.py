"""The JSON API under /api/v1: what the screens do, for scripts and devices. Described by `openapi.py`.

Translation and nothing else: request → command → desk → answer. What goes over the wire has the forms of `wire.py`.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from datetime import datetime
from typing import Any, TypeVar

from flask import Blueprint, Flask, Response, current_app, jsonify, request
from pydantic import BaseModel, ValidationError
from werkzeug.exceptions import UnsupportedMediaType

from portraitq.core.commands import Command, Order, read_command
from portraitq.core.errors import Malformed, Refused
from portraitq.core.events import print_data, validated
from portraitq.core.life import HELD, ON_EASEL, READY, Ticket
from portraitq.desk import Desk, Outcome, Standing
from portraitq.forecast.quotes import Quote
from portraitq.store import journal
from portraitq.web import openapi
from portraitq.web.codes_typed import ticket_of
from portraitq.web.here import address, by, desk_at
from portraitq.web.limits import takes_photos
from portraitq.web.order_form import read_card, read_photos
from portraitq.web.quoted import names_a_time
from portraitq.web.staff import need_owner_for, staff_only
from portraitq.web.wire import (
    Asked,
    Done,
    Happened,
    LastOrder,
    NewOrder,
    OrderNow,
    Quoted,
    Taken,
    TicketShown,
    Wall,
    WallTicket,
)
from portraitq.web.wire import Window as ReadyWindow

JSONL = "application/jsonl"
FORMS = ("multipart/form-data", "application/x-www-form-urlencoded")  # the latter where there is no photo
# `photo` without a file is what browsers send where none was chosen; `token` is the page's own
ORDER_FIELDS = {"order", "name", "contact", "note", "is_child", "consent_by", "photo", "token"}
NO = ("", "0", "false", "off", "no")
LARGEST_EXACT = 2**53  # above it a float of 64 bits leaves out whole numbers
B = TypeVar("B", bound=BaseModel)

blueprint = Blueprint("api", __name__, url_prefix="/api/v1")


@blueprint.get("/openapi.json")
def description() -> Response:
    """The description of this API."""
    return jsonify(openapi.document(current_app.config["SESSION_COOKIE_NAME"]))


@blueprint.get("/booths/<booth>/wall")
def wall(booth: str) -> Response:
    """What the wall shows."""
    return _answer(_wall(desk_at(booth)))


@blueprint.get("/tickets/<code>")
def ticket(code: str) -> Response:
    """What the ticket page shows, for who holds the code."""
    desk, id, _ = ticket_of(code)
    answer = _answer(_ticket(desk, desk.standing(), id))
    answer.headers["Cache-Control"] = "no-store"
    return answer


@blueprint.post("/booths/<booth>/quote")
@staff_only
def quote(booth: str) -> Response:
    """When such a portrait would be ready; changes nothing."""
    desk = desk_at(booth)
    asked = _well_formed(Asked, read_json())
    return _answer(_quoted(desk, asked, desk.quote(asked.style, asked.sitters, asked.artist)))


@blueprint.post("/booths/<booth>/commands")
@staff_only
def commands(booth: str) -> Response:
    """Carry out a command; the same id again gives the same answer. Some kinds are the owner's alone."""
    desk = desk_at(booth)
    with _contradictions_refused():
        command = read_command(read_json(), by())
    need_owner_for(command.data.kind)
    return _answer(_done(desk.carry_out(command)))


@blueprint.post("/booths/<booth>/orders")
@takes_photos
@staff_only
def orders(booth: str) -> Response:
    """Take an order with its card and photos in one transaction; the same id again gives the same answer."""
    desk = desk_at(booth)
    if request.mimetype not in FORMS:
        raise UnsupportedMediaType
    if "order" not in request.form:
        raise Malformed('order: a field with JSON like {"id", "style", "sitters"} was expected in the form.', "order")
    order = _well_formed(NewOrder, parse_json(request.form["order"], "order"), "order")
    fields = {key: value for key, value in request.form.items() if key != "is_child" or value.lower() not in NO}
    if unknown := set(fields) - ORDER_FIELDS:
        raise Malformed(f"{min(unknown)[:40]}: there is no such field here.", min(unknown)[:40])
    card = read_card(fields)
    if stray := set(request.files) - {"photo"}:
        raise Malformed(f"{min(stray)[:40]}: files are taken in the field photo alone.", min(stray)[:40])
    photos = read_photos(request.files.getlist("photo"))
    asked = Order(
        style=order.style, sitters=order.sitters, artist=order.artist, price=order.price, ready_by=order.ready_by
    )
    taken = desk.take_order(Command(order.id, asked, by(), order.ago_s or 0), card, photos)
    answer = _answer(
        Taken(
            seq=taken.outcome.seq,
            ticket=taken.ticket,
            code=taken.code,
            number=taken.number,
            ready_by=taken.ready_by,
            later_than_told=taken.later_than_told,
            address=f"{address()}/t/{taken.code}",
        )
    )
    answer.status_code = 201
    answer.headers["Location"] = f"/api/v1/tickets/{taken.code}"
    return answer


@blueprint.get("/booths/<booth>/journal")
@staff_only
def lines(booth: str) -> Response:
    """The journal's lines after a seq, as JSON Lines."""
    desk = desk_at(booth)
    given = request.args.getlist("after") or ["0"]
    text = given[-1]
    if not (len(given) == 1 and text.isascii() and text.isdigit() and len(text) <= 15):
        raise Malformed(f"after: a seq of 0 or more was expected, not {text[:20]!r}", "after")
    with desk.store.reading() as connection:
        found = journal.lines(connection, desk.slug, after=int(text))
    return Response("".join(line + "\n" for line in found), mimetype=JSONL)


# Reading


def read_json() -> object:
    """The body as plain JSON values; Malformed when it is none, 413 when too large, 415 when it says otherwise."""
    if request.mimetype != "application/json":
        raise UnsupportedMediaType
    return parse_json(request.get_data(), "")


def parse_json(text: str | bytes, field: str) -> object:
    """`text` as plain JSON values; Malformed, naming `field`, when it is no JSON (RFC 8259) or has a key twice."""
    try:
        return json.loads(text, parse_constant=_no_constant, parse_float=_number, object_pairs_hook=_no_key_twice)
    except RecursionError as deep:
        raise Malformed(_at(field) + "this JSON is nested too deep", field) from deep
    except ValueError as wrong:
        raise Malformed(_at(field) + f"JSON was expected: {wrong}", field) from wrong


def _at(field: str) -> str:
    return f"{field}: " if field else ""


def _no_constant(name: str) -> Any:
    raise ValueError(f"{name} is not a number of JSON")


def _number(text: str) -> int | float:
    """A number with a point or exponent; a whole one is the same number to JSON Schema as without them."""
    value = float(text)
    return int(value) if value.is_integer() and abs(value) < LARGEST_EXACT else value


def _no_key_twice(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    found = dict(pairs)
    if len(found) != len(pairs):
        raise ValueError("a key stands there twice")
    return found


def _well_formed(model: type[B], value: object, where: str = "") -> B:
    with _contradictions_refused():
        return validated(model, value, where)


class _contradictions_refused:  # noqa: N801 # reads as a sentence after `with`
    """A form whose fields are right each but contradict each other (quick above slow) is refused, not malformed."""

    def __enter__(self) -> None:
        return None

    def __exit__(self, kind: object, no: BaseException | None, trace: object) -> None:
        if not isinstance(no, Malformed) or not isinstance(no.__cause__, ValidationError):
            return
        first = no.__cause__.errors(include_url=False)[0]
        if first["type"] == "value_error" and isinstance(first["input"], Mapping):
            raise Refused(str(no)) from no


# Answering


def _answer(model: BaseModel) -> Response:
    return jsonify(model.model_dump(mode="json", exclude_unset=True))


def _done(outcome: Outcome) -> Done:
    return Done(
        seq=outcome.seq,
        events=[
            Happened(
                seq=event.seq,
                id=event.id,
                at=event.at,
                by=event.by,
                kind=event.kind,
                data=print_data(event.data),
                **({"ago_s": event.ago_s} if event.ago_s else {}),
            )
            for event in outcome.events
        ],
    )


def _quoted(desk: Desk, asked: Asked, found: Quote) -> Quoted:
    standing = desk.standing(wait_s=0)
    assert standing.booth.set_up is not None
    settings, style = standing.booth.set_up.booth, standing.booth.set_up.style(asked.style)
    return Quoted(
        seq=standing.seq,
        as_of=_instant(desk.clock.now()),
        style=asked.style,
        sitters=asked.sitters,
        artist=asked.artist,
        quantiles={f"q{level * 100:02.0f}": _instant(at) for level, at in found.ready_at_quantiles.items()},
        window=_window(found),
        ready_by=_instant(found.promise_at),
        confidence=settings.confidence,
        ahead=found.ahead,
        price=style.price if style else 0,
        currency=settings.currency,
    )


def _instant(at: datetime) -> datetime:
    """Whole milliseconds, as everywhere on the wire."""
    return at.replace(microsecond=at.microsecond // 1000 * 1000)


def _window(found: Quote) -> ReadyWindow:
    low, high = found.window
    return ReadyWindow(ready_from=_instant(low), ready_to=_instant(high))


def _place(ticket: Ticket) -> Any:
    if ticket.place in ON_EASEL:
        return "easel"
    return {HELD: "held", READY: "ready"}.get(ticket.place, ticket.place)


def _wall(desk: Desk) -> Wall:
    standing = desk.standing()
    booth, quotes = standing.booth, standing.forecast
    settings = booth.set_up.booth if booth.set_up else None
    shown = [ticket for ticket in booth.open_tickets() if ticket.place == READY]
    shown += [ticket for artist in booth.easels if (ticket := booth.on_easel(artist))]
    shown += booth.waiting()
    styles = booth.set_up.styles if booth.set_up else ()
    return Wall(
        seq=standing.seq,
        as_of=_instant(standing.as_of),
        booth=desk.slug,
        name=settings.name if settings else "",
        zone=str(booth.zone),
        currency=settings.currency if settings else "",
        is_open=booth.day is not None,
        day=booth.day.day if booth.day else None,
        closes_at=booth.day.closes_at if booth.day else None,
        tickets=[
            WallTicket(
                number=one.number,
                place=_place(one),
                style=one.style.id,
                stages_done=one.stages_done,
                stages=len(one.style.stages),
                window=_window_of(standing, one),
            )
            for one in shown
        ],
        order_now=[
            OrderNow(
                style=style.id,
                name=style.name,
                price=style.price,
                window=_window(quotes.order_now[style.id]),
                ready_by=_instant(quotes.order_now[style.id].promise_at),
            )
            for style in styles
            if style.id in quotes.order_now
        ],
        last_orders=[
            LastOrder(
                style=style.id,
                name=style.name,
                until=_instant(last) if (last := quotes.last_orders[style.id]) else None,
            )
            for style in styles
            if style.id in quotes.last_orders
        ],
        today_until=_instant(quotes.today_until) if quotes.today_until else None,
    )


def _window_of(standing: Standing, ticket: Ticket) -> ReadyWindow | None:
    found = standing.forecast.tickets.get(ticket.id)
    return _window(found) if names_a_time(found) and ticket.finished_at is None else None


def _ticket(desk: Desk, standing: Standing, id: str) -> TicketShown:
    ticket = standing.booth.tickets.get(id) or desk.ticket(id)
    assert standing.booth.set_up is not None
    settings = standing.booth.set_up.booth
    found, slip = standing.forecast.tickets.get(id), standing.slips.get(id)
    return TicketShown(
        seq=standing.seq,
        as_of=_instant(standing.as_of),
        booth=desk.slug,
        name=settings.name,
        zone=settings.zone,
        number=ticket.number,
        day=ticket.day,
        place=_place(ticket),
        style=ticket.style.name,
        sitters=ticket.sitters,
        stages_done=ticket.stages_done,
        stages=len(ticket.style.stages),
        window=_window_of(standing, ticket),
        ready_by=ticket.promise.ready_by if ticket.promise else None,
        new_ready_by=slip.new_ready_by if slip else None,
        chance_kept=found.chance_kept if found and ticket.finished_at is None else None,
        ready_at=ticket.finished_at,
        price=ticket.price,
        due=ticket.due,
        currency=settings.currency,
    )


def install(app: Flask) -> None:
    """Let `app` answer under /api/v1."""
    app.register_blueprint(blueprint)

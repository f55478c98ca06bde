"""The Counter: an order in few taps with its quote beside it, the ticket to give away, and the queue as it stands.

Request, command, desk, answer. What stands on the screen is built in `order_form.py`, `queue.py` and `day_form.py`;
what can be done with one ticket in `one_ticket.py`, reached through `hand_over.py`.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import datetime
from typing import TYPE_CHECKING

from flask import Blueprint, Response, jsonify, make_response, redirect, render_template, request, url_for
from flask.typing import ResponseReturnValue
from markupsafe import Markup

from portraitq.core.commands import read_command
from portraitq.core.errors import Malformed, Refused
from portraitq.core.events import SetUp, parse_instant
from portraitq.core.life import OVER, Ticket
from portraitq.store.photos import LOOSE
from portraitq.ticket import codes, qr
from portraitq.ticket.slip import Network, network_qr
from portraitq.web import day_form, here, order_form, views
from portraitq.web.clock_said import need_a_day
from portraitq.web.hand_over import FRESH_S, known, network, staff_view
from portraitq.web.here import desk_at
from portraitq.web.house_rules_form import keep_said
from portraitq.web.limits import takes_photos
from portraitq.web.one_ticket import OneTicket
from portraitq.web.problems import NotThere, wants_document
from portraitq.web.queue import CounterView, Row, counter_view, now_of, row_of
from portraitq.web.said import clock_time, money
from portraitq.web.staff import local_path, staff_only

if TYPE_CHECKING:
    from portraitq.desk import Desk, Standing
    from portraitq.store.cards import Card

blueprint = Blueprint("counter", __name__)


@dataclass(frozen=True)
class OrderTakenView:
    """What is read out and given away after an order: number, promise, QR and address of the ticket.

    `later` says in one sentence that the time was moved after it had been shown; empty when it was not. `from_life`
    says that no photo was taken.
    """

    slug: str
    ticket: str
    number: int
    promise: str
    later: str
    style: str
    sitters: str
    name: str
    money: str
    is_due: bool
    code_said: str
    address: str
    address_said: str
    qr: Markup
    network: Network | None
    network_qr: Markup
    from_life: bool = False


@blueprint.get("/<booth>/counter")
@staff_only
def show(booth: str) -> Response:
    """The counter: the form of a new order, the queue beside it."""
    desk = desk_at(booth)
    if "fragment" in request.args:
        return views.show_view("counter", desk, page="counter.html")
    standing, now = desk.standing(), desk.clock.now()
    set_up = _set_up(standing)
    taken = _taken_before(desk, request.args.get("taken", ""), request.args.get("told"))
    return views.show_view(
        "counter",
        desk,
        page="counter.html",
        booth_name=set_up.booth.name,
        form=order_form.order_form(set_up),
        quotes={one.style: one for one in order_form.quotes(desk, 1, None)},
        day=day_form.day_form(standing.booth, now),
        is_open=standing.booth.day is not None,
        taken=taken,
    )


@blueprint.get("/<booth>/counter/quotes")
@staff_only
def quotes(booth: str) -> str:
    """What every style would be quoted now, for so many sitters and the artist who is asked for."""
    desk = desk_at(booth)
    sitters = order_form.read_sitters(request.args.get("sitters", "1"))
    said = order_form.quotes(desk, sitters, request.args.get("artist") or None)
    return render_template("views/quotes.html", quotes=said)


@blueprint.post("/<booth>/counter/orders")
@takes_photos
@staff_only
def take_order(booth: str) -> ResponseReturnValue:
    """An order with its card, its photos and what was paid; the same id again gives the same answer."""
    desk = desk_at(booth)
    set_up = _set_up(desk.standing(wait_s=0))
    read = order_form.read_order(request.form, set_up, here.by())
    photos = order_form.read_order_photos(request.form.getlist("kept_photo"), request.files.getlist("photo"))
    taken = desk.take_order(read.command, read.card, photos)
    if paid := order_form.paid_for(read, taken.ticket):
        desk.carry_out(paid)
    told = request.form.get("ready_by") if taken.later_than_told else None
    if not wants_document():
        return redirect(url_for("counter.show", booth=booth, taken=taken.ticket, told=told or None), 303)
    html = render_template("order_taken.html", taken=_taken_before(desk, taken.ticket, told))
    answer = make_response(html, 201)
    answer.headers["Cache-Control"] = "no-store"
    return answer


@blueprint.post("/<booth>/counter/walked-away")
@staff_only
def walked_away(booth: str) -> ResponseReturnValue:
    """Somebody asked, heard the time, and left; the photos taken meanwhile are deleted."""
    desk = desk_at(booth)
    data = {
        "style": request.form.get("style") or None,
        "sitters": order_form.read_sitters(request.form.get("sitters") or "1"),
        "ready_by": request.form.get("ready_by") or None,
    }
    id = f"{(request.form.get('id') or order_form.fresh_id())[: order_form.LONGEST_ID]}-left"
    desk.carry_out(read_command({"id": id, "kind": "walked_away", "data": data}, here.by()))
    for photo in filter(None, request.form.getlist("kept_photo")):
        desk.remove_photo(LOOSE, photo)
    return _done(booth)


@blueprint.get("/<booth>/counter/day")
@staff_only
def day(booth: str) -> str:
    """The day that is open: what closing it would leave; or the form that opens one."""
    desk = desk_at(booth)
    standing, now = desk.standing(), desk.clock.now()
    return _sheet(
        "views/day.html",
        booth,
        "The day",
        end=day_form.day_end(standing.booth),
        erases=keep_said(desk.house_rules()),
        day=day_form.day_form(standing.booth, now),
    )


@blueprint.post("/<booth>/counter/day")
@staff_only
def open_day(booth: str) -> ResponseReturnValue:
    """Open the day, with its breaks and the artists who are in."""
    desk = desk_at(booth)
    need_a_day(desk)
    for command in day_form.read_day(request.form, desk.standing(wait_s=0).booth, desk.clock.now(), here.by()):
        try:
            desk.carry_out(command)
        except Refused:
            if command.kind == "day_opened":
                raise  # an artist who is in already is what was wanted
    desk.standing(FRESH_S)
    return _done(booth)


@blueprint.get("/<booth>/counter/tickets/<ticket>")
@staff_only
def ticket(booth: str, ticket: str) -> str:
    """Everything that can be done with one ticket, as a sheet over the counter or a page of its own."""
    one = _one(booth, ticket)
    return _sheet("views/one_ticket.html", booth, f"Number {one.number}", one=one, id=order_form.fresh_id())


@blueprint.get("/<booth>/counter/over")
@staff_only
def over(booth: str) -> str:
    """What was handed over or cancelled since the day was opened, the newest first."""
    desk = desk_at(booth)
    return _sheet("views/over.html", booth, "Handed over and cancelled", rows=_over(desk, desk.standing()))


@blueprint.post("/<booth>/counter/tickets/<ticket>/pay")
@staff_only
def pay(booth: str, ticket: str) -> ResponseReturnValue:
    """Money in for one ticket, or given back."""
    desk = desk_at(booth)
    set_up = _set_up(desk.standing(wait_s=0))
    known(desk, ticket)
    id = request.form.get("id") or order_form.fresh_id()
    desk.carry_out(order_form.read_paid(request.form, ticket, set_up.booth.currency, id, here.by()))
    return _done(booth, ticket)


@blueprint.post("/<booth>/counter/tickets/<ticket>/photos")
@takes_photos
@staff_only
def add_photos(booth: str, ticket: str) -> ResponseReturnValue:
    """More photos for one ticket."""
    desk = desk_at(booth)
    photos = order_form.read_photos(request.files.getlist("photo"))
    if not photos:
        raise Malformed("Choose a photo first.", "photo")
    for photo in photos:
        desk.add_photo(known(desk, ticket).id, photo)
    return _done(booth, ticket)


@blueprint.post("/<booth>/counter/tickets/<ticket>/photos/<photo>/remove")
@staff_only
def remove_photo(booth: str, ticket: str, photo: str) -> ResponseReturnValue:
    """Delete one photo for good."""
    desk_at(booth).remove_photo(known(desk_at(booth), ticket).id, photo)
    return _done(booth, ticket)


@blueprint.post("/<booth>/counter/tickets/<ticket>/card")
@staff_only
def change_card(booth: str, ticket: str) -> ResponseReturnValue:
    """Name, contact, note and consent, written anew."""
    desk, card = desk_at(booth), order_form.read_card(request.form)
    desk.change_card(
        known(desk, ticket).id,
        name=card.name,
        contact=card.contact,
        note=card.note,
        is_child=card.is_child,
        consent_by=card.consent_by,
    )
    return _done(booth, ticket)


# What they are made of


def build(desk: Desk, standing: Standing, arg: str = "") -> CounterView:
    """The live part of the counter."""
    ids = [ticket.id for ticket in standing.booth.open_tickets()]
    return counter_view(standing, desk.cards(ids), desk.photo_refs(ids))


def order_taken(
    standing: Standing,
    ticket: Ticket,
    card: Card | None,
    address: str,
    told: datetime | None,
    joins: Network | None = None,
    *,
    from_life: bool = False,
) -> OrderTakenView:
    """What is given away after an order; `told` is a time that was read out before and could not be kept,
    `joins` the network that the customer's phone needs, `from_life` whether there is no photo."""
    set_up, zone = _set_up(standing), standing.booth.zone
    currency, promise, code = set_up.booth.currency, ticket.promise, card.code if card else ""
    paid, due = ticket.paid, ticket.due
    way = f"{address}/t/{code}"
    later = ""
    if told is not None and promise is not None and promise.ready_by > told:
        later = f"This is later than the {clock_time(told, zone, standing.as_of)} shown a moment ago: tell them."
    return OrderTakenView(
        slug=standing.slug,
        ticket=ticket.id,
        number=ticket.number,
        promise=clock_time(promise.ready_by, zone, standing.as_of) if promise else "",
        later=later,
        style=ticket.style.name,
        sitters="1 sitter" if ticket.sitters == 1 else f"{ticket.sitters} sitters",
        name=card.name if card else "",
        money=_money_said(paid, due, currency),
        is_due=due > 0,
        code_said=codes.shown(code),
        address=way,
        address_said=f"{address.split('://', 1)[-1]}/t/",
        qr=Markup(qr.as_svg(qr.compact(way), title=f"QR code of ticket {ticket.number}")),  # our own drawing
        network=joins,
        network_qr=Markup(network_qr(joins, qr.SCREEN)),
        from_life=from_life,
    )


def _money_said(paid: int, due: int, currency: str) -> str:
    said = [f"{money(paid, currency)} paid"] if paid else []
    if due > 0:
        said.append(f"{money(due, currency)} due when they come back")
    return " · ".join(said) or "nothing to pay"


def _taken_before(desk: Desk, id: str, told: str | None) -> OrderTakenView | None:
    standing = desk.standing(FRESH_S)
    found = standing.booth.tickets.get(id) if id else None
    if found is None:
        return None
    card = desk.cards([id]).get(id)
    try:
        told_at = parse_instant(told) if told else None
    except ValueError:
        told_at = None  # an address that somebody changed: then nothing was told before
    from_life = not found.is_erased and not desk.photo_refs([id])
    return order_taken(standing, found, card, here.address(), told_at, network(desk), from_life=from_life)


def _over(desk: Desk, standing: Standing) -> list[Row]:
    booth = standing.booth
    since = booth.days[-1].opened_at if booth.days else None
    found = [
        ticket
        for ticket in booth.tickets.values()
        if ticket.place in OVER and ticket.over_at and since and ticket.over_at >= since
    ]
    found.sort(key=lambda ticket: ticket.over_at or ticket.ordered_at, reverse=True)
    cards = desk.cards([ticket.id for ticket in found])
    at = now_of(standing)
    rows = [(row_of(standing, ticket, cards.get(ticket.id), ()), ticket.over_at) for ticket in found]
    return [replace(row, since=at.clock(over_at)) if over_at else row for row, over_at in rows]


def _one(booth: str, ticket: str) -> OneTicket:
    desk = desk_at(booth)
    return staff_view(desk, known(desk, ticket))


def _set_up(standing: Standing) -> SetUp:
    if standing.booth.set_up is None:
        raise NotThere("This booth is not set up yet: do that first, on its set-up page.")
    return standing.booth.set_up


def _sheet(template: str, booth: str, title: str, **context: object) -> str:
    """A part over the counter, or with `?sheet=0` (a browser without scripts) a page of its own."""
    bare = "sheet" in request.args
    return render_template(template if bare else "sheet.html", part=template, slug=booth, title=title, **context)


def _done(booth: str, ticket: str = "") -> ResponseReturnValue:
    """The answer to a form that did what it should."""
    if wants_document():
        return jsonify({"done": True})
    if back := request.form.get("back"):
        return redirect(local_path(back), 303)
    if ticket:
        return redirect(url_for("counter.ticket", booth=booth, ticket=ticket), 303)
    return redirect(url_for("counter.show", booth=booth), 303)


views.register(views.View("counter", views.STAFF, build, "views/counter.html"))

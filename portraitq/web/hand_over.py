"""The hand-over: the ticket's address opened on a device of the booth, and the slip that leads there.

The right piece to the right person: large photo, name, rack place, what is due, and one tap. A portrait that is not
paid is handed over with a warning and never kept back: people at the counter know best.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from flask import Blueprint, Response, make_response, render_template, request

from portraitq.core.errors import Malformed
from portraitq.core.events import SetUp
from portraitq.core.life import Ticket
from portraitq.desk import NoSuchTicket
from portraitq.store import settings
from portraitq.ticket.slip import PAPERS, USUAL_PAPER, Network, Slip, slip
from portraitq.web import here
from portraitq.web.here import desk_at
from portraitq.web.house_rules_form import slip_said
from portraitq.web.one_ticket import OneTicket, one_ticket
from portraitq.web.order_form import fresh_id
from portraitq.web.problems import NotThere
from portraitq.web.said import clock_time, day_said, money
from portraitq.web.staff import staff_only

if TYPE_CHECKING:
    from portraitq.desk import Desk, Standing
    from portraitq.house_rules import HouseRules
    from portraitq.store.cards import Card

blueprint = Blueprint("hand_over", __name__)

FRESH_S = 2.0  # how long a page waits for the quotes that the last command changed
PAPER_COOKIE = "portraitq-paper"
PAPER_KEPT_S = 365 * 86_400
NETWORK_NAME, NETWORK_PASSWORD = "network_name", "network_password"


def page(desk: Desk, id: str) -> Response:
    """The hand-over page of one ticket; with `?sheet` only what changes on it."""
    one = staff_view(desk, known(desk, id))
    template = "views/hand_over.html" if "sheet" in request.args else "hand_over.html"
    answer = make_response(render_template(template, one=one, slug=desk.slug, id=fresh_id(), booth_slug=desk.slug))
    answer.headers["Cache-Control"] = "no-store"
    return answer


@blueprint.get("/<booth>/slip/<ticket>")
@staff_only
def show_slip(booth: str, ticket: str) -> Response:
    """The slip of one ticket, to be printed; `?paper=` chooses the size, which this browser then remembers."""
    desk = desk_at(booth)
    paper = request.args.get("paper") or request.cookies.get(PAPER_COOKIE, USUAL_PAPER)
    if paper not in PAPERS:
        if "paper" in request.args:
            raise Malformed(f"paper: one of {', '.join(PAPERS)} was expected, not {paper[:20]!r}.", "paper")
        paper = USUAL_PAPER
    found, standing = known(desk, ticket), desk.standing(FRESH_S)
    card = desk.cards([ticket]).get(ticket)
    now_it_is, rules = standing.booth.tickets.get(ticket, found), desk.house_rules()
    shown = slip_of(standing, now_it_is, card, here.address(), network(desk), rules)
    html = render_template("slip.html", slip=shown, paper=paper, papers=PAPERS, ticket=ticket, slug=booth)
    answer = make_response(html)
    if "paper" in request.args:
        answer.set_cookie(PAPER_COOKIE, paper, max_age=PAPER_KEPT_S, httponly=True, samesite="Lax")
    return answer


def staff_view(desk: Desk, ticket: Ticket) -> OneTicket:
    """One ticket for the booth's people, as it stands."""
    card, photos = desk.cards([ticket.id]).get(ticket.id), desk.photo_refs([ticket.id]).get(ticket.id, ())
    standing = desk.standing(FRESH_S)
    return one_ticket(standing, standing.booth.tickets.get(ticket.id, ticket), card, photos)


def known(desk: Desk, id: str) -> Ticket:
    """The ticket of that id; NotThere when the booth has none."""
    try:
        return desk.ticket(id)
    except NoSuchTicket as no:
        raise NotThere(str(no)) from no


def network(desk: Desk) -> Network | None:
    """The network that customers are to join, as the booth's settings name it."""
    with desk.store.reading() as connection:
        name = settings.get(connection, NETWORK_NAME)
        password = settings.get(connection, NETWORK_PASSWORD)
    return Network(name, password or None) if name else None


def slip_of(
    standing: Standing, ticket: Ticket, card: Card | None, address: str, joins: Network | None, rules: HouseRules
) -> Slip:
    """What stands on the slip of `ticket`; `address` is the program's own."""
    booth, set_up = standing.booth, _set_up(standing)
    code = card.code if card else ""
    return slip(
        booth=set_up.booth.name,
        number=ticket.number,
        day=day_said(ticket.day),
        promise=clock_time(ticket.promise.ready_by, booth.zone, standing.as_of) if ticket.promise else "",
        style=ticket.style.name,
        sitters="" if ticket.sitters == 1 else f"{ticket.sitters} sitters",
        money=_money(ticket, set_up),
        address=f"{address}/t/{code}",
        code=code,
        deleted=slip_said(rules),
        network=joins,
    )


def _money(ticket: Ticket, set_up: SetUp) -> str:
    currency = set_up.booth.currency
    if ticket.due > 0:
        paid = f"{money(ticket.paid, currency)} paid, " if ticket.paid else ""
        return f"{paid}{money(ticket.due, currency)} to pay"
    return f"{money(ticket.paid, currency)} paid" if ticket.paid else ""


def _set_up(standing: Standing) -> SetUp:
    if standing.booth.set_up is None:
        raise NotThere("This booth is not set up yet: do that first, on its set-up page.")
    return standing.booth.set_up

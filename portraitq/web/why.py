"""Why this time? The counter's panel behind a quote: of a ticket, and of an order that is not yet taken.

It is fetched when somebody opens it; a closed one costs nothing. The words are `explained.py`'s.
"""

from __future__ import annotations

from flask import Blueprint, Response, make_response, render_template, request

from portraitq.core.commands import asked_for, decide
from portraitq.core.errors import Malformed
from portraitq.forecast.explain import explain, explain_order
from portraitq.forecast.explanation import Explanation
from portraitq.web import order_form
from portraitq.web.explained import explained
from portraitq.web.hand_over import FRESH_S, known
from portraitq.web.here import desk_at
from portraitq.web.staff import staff_only

blueprint = Blueprint("why", __name__)


@blueprint.get("/<booth>/counter/tickets/<ticket>/why")
@staff_only
def ticket(booth: str, ticket: str) -> Response:
    """Why the quote of a ticket still to be drawn is what it is."""
    desk = desk_at(booth)
    known(desk, ticket)
    standing = desk.standing(FRESH_S)
    return _panel(booth, explain(standing.booth, standing.pace, standing.as_of, ticket))


@blueprint.get("/<booth>/counter/why")
@staff_only
def order(booth: str) -> Response:
    """Why a portrait ordered now would be quoted what the form of a new order says."""
    desk, asked = desk_at(booth), request.args
    style, artist = asked.get("style", ""), asked.get("artist") or None
    if not style:
        raise Malformed("Choose a style first.", "style")
    sitters = order_form.read_sitters(asked.get("sitters") or "1")
    standing, now = desk.standing(wait_s=0), desk.clock.now()
    at = standing.as_of if order_form.is_asked_already(standing, sitters, artist, now) else max(now, standing.as_of)
    decide(standing.booth, asked_for(style, sitters, artist), at)
    return _panel(booth, explain_order(standing.booth, standing.pace, at, style=style, sitters=sitters, artist=artist))


def _panel(booth: str, told: Explanation) -> Response:
    """A part of the counter, or without scripts a page of its own."""
    template, part = ("views/why.html" if "sheet" in request.args else "sheet.html"), "views/why.html"
    html = render_template(template, part=part, slug=booth, title="Why this time?", told=explained(told))
    answer = make_response(html)
    answer.headers["Cache-Control"] = "no-store"
    return answer

"""The web application put together: screens, sign-in, refusals, the API, live push, headers."""

from __future__ import annotations

import logging
from typing import Any

from flask import Blueprint, Flask, Response, jsonify, render_template, request

from portraitq import __version__, paths, quiet_logs
from portraitq.desk import Desks
from portraitq.store import journal
from portraitq.store.store import StoreError
from portraitq.web import (
    api,
    back_ups,
    clock_said,
    close,
    codes_typed,
    counter,
    counter_photos,
    crowd,
    day_replay,
    daybook,
    devices,
    easel,
    hand_over,
    haste,
    headers,
    hosts,
    limits,
    live,
    misfit,
    moving,
    oval,
    pedal,
    photos,
    plan,
    problems,
    said,
    season,
    set_up,
    staff,
    suggestions,
    ticket,
    trust,
    wall,
    why,
)
from portraitq.web.here import desks as all_desks
from portraitq.web.problems import problem

SCREENS = (
    clock_said,
    counter,
    counter_photos,
    why,
    moving,
    photos,
    easel,
    misfit,
    pedal,
    wall,
    ticket,
    hand_over,
    daybook,
    season,
    day_replay,
    suggestions,
    close,
    plan,
    set_up,
    trust,
    back_ups,
    devices,
)
RESERVED = (
    *("api", "t", "static", "sign-in", "sign-out", "devices", "pair", "trust"),
    *("healthz", "socket.io", "favicon.ico"),
)
log = logging.getLogger(__name__)

start = Blueprint("start", __name__)


def create_app(desks: Desks, *, address: str, **config: Any) -> Flask:
    """The application for all booths of `desks`.

    address   what phones call it, such as `http://192.168.4.1:8750`; it goes into QR codes
    config    further settings of Flask, such as TESTING=True
    """
    app = Flask("portraitq", template_folder=str(paths.templates()), static_folder=str(paths.static()))
    app.config.update(
        PORTRAITQ_ADDRESS=address.rstrip("/"),
        MAX_FORM_MEMORY_SIZE=limits.LARGEST_FORM_BYTES,
        **config,
    )
    quiet_logs.keep_addresses_out()
    quiet_logs.keep_values_out()
    app.extensions["portraitq"] = desks
    desks.store.is_served = True
    app.json.sort_keys = False  # type: ignore[attr-defined]
    app.jinja_env.trim_blocks = app.jinja_env.lstrip_blocks = True
    app.jinja_env.globals.update(oval_shade=oval.shade, money=said.money, version=__version__)
    app.context_processor(_about_this_page)
    app.jinja_env.globals.update(clock_said=clock_said.here_said)
    app.after_request(_kept)
    limits.install(app)
    problems.install(app)
    staff.install(app, desks.store)
    codes_typed.install(app)
    devices.install(app)
    app.register_blueprint(start)
    for screen in SCREENS:
        app.register_blueprint(screen.blueprint)
    api.install(app)
    live.install(app)
    crowd.install(app)
    trust.install(app)
    hosts.install(app)
    haste.install(app)
    headers.install(app)
    return app


def _about_this_page() -> dict[str, Any]:
    """What every page knows: `booth_slug` for the navigation, of the address or the only one; else empty."""
    named, slugs = (request.view_args or {}).get("booth", ""), all_desks().slugs()
    return {"booth_slug": named if named in slugs else slugs[0] if len(slugs) == 1 else ""}


def _kept(answer: Response) -> Response:
    if request.path.startswith("/static/"):
        answer.headers["Cache-Control"] = "no-cache"  # ask each time: an update of the program is seen at once
    else:
        answer.headers.setdefault("Cache-Control", "private, no-cache")  # no proxy on the way keeps a ticket's page
    return answer


@start.get("/")
def index() -> str:
    """The booths of this program, and the ways into them."""
    found = [(slug, all_desks().at(slug).standing(wait_s=0)) for slug in all_desks().slugs()]
    booths = [
        {
            "slug": slug,
            "name": standing.booth.set_up.booth.name if standing.booth.set_up else slug,
            "artists": standing.booth.set_up.artists if standing.booth.set_up else (),
            "is_open": standing.booth.day is not None,
            "is_new": not standing.booth.tickets,
        }
        for slug, standing in found
    ]
    return render_template("start.html", booths=booths)


@start.get("/healthz")
def healthz() -> Response:
    """Whether the program is alive and its store answers."""
    try:
        all_desks().store.ping()
        with all_desks().store.reading() as connection:
            seqs = {slug: {"seq": journal.head(connection, slug)} for slug in all_desks().slugs()}
    except StoreError as silent:
        log.info("the store does not answer: %s", silent)
        return problem(503, "The store does not answer.", headers={"Retry-After": "5"}, version=__version__)
    answer = jsonify({"status": "ok", "version": __version__, "booths": seqs})
    answer.headers["Cache-Control"] = "no-store"
    return answer

"""Devices: which tablets and programs belong to the booth, pairing one more, the passphrase, who else is signed in.

A tablet is paired by a code that is shown here once, as a QR and to be typed, and used up by a tap on the tablet
itself: a preview of the address does not use it up. Programs get a key instead.
"""

from __future__ import annotations

import time
from dataclasses import dataclass, replace
from datetime import datetime
from typing import TYPE_CHECKING, cast
from zoneinfo import ZoneInfo

from flask import (
    Blueprint,
    Flask,
    Response,
    current_app,
    jsonify,
    make_response,
    redirect,
    render_template,
    request,
    session,
    url_for,
)
from flask.typing import ResponseReturnValue
from markupsafe import Markup

from portraitq import passphrase as passphrases
from portraitq.core.errors import Malformed
from portraitq.core.events import parse_instant
from portraitq.store import devices, pairings
from portraitq.store.devices import OWNER, STAFF
from portraitq.ticket import qr
from portraitq.web import here, trust
from portraitq.web.problems import Forbidden, NotThere, TooOften
from portraitq.web.said import clock_time, day_said
from portraitq.web.set_up_draft import sentence_of
from portraitq.web.staff import (
    begin_device_session,
    end_other_sessions,
    end_session,
    hang_up_on_strangers,
    is_from_elsewhere,
    is_passphrase,
    is_signed_in,
    is_withdrawn,
    owner_only,
    paired,
    staff_only,
)
from portraitq.web.wrong_guesses import WrongGuesses, guesser_at

if TYPE_CHECKING:
    from portraitq.store.devices import Device
    from portraitq.store.pairings import Pairing

Errors = dict[str, str]

LONGEST_NAME = 80
# A stranger with many addresses must not keep the booth's tablets out. A thousand guesses an hour at twenty codes of 40
# bits that last ten minutes find one in six thousand years.
WRONG_CODES_PER_HOUR = 1000
HERE_NOW_S = 120  # noted at most once a minute, so that this is "now"
MAY = {
    STAFF: "Staff: orders, easels, hand-over",
    OWNER: "Owner: everything, day book and set-up too",
}
SAID = {
    "paired": "Paired. The device is in the list.",
    "withdrawn": "Withdrawn. It is shut out at once.",
    "cancelled": "The code was taken back.",
    "over": "That code is over: it was used, taken back or ten minutes old. Make another where it is still needed.",
    "passphrase": "The passphrase was changed, and every other sign-in is over. Devices go on: look through the list.",
    "others": "Every other sign-in is over. Devices go on.",
}
NO_NAME = f"A name of 1 to {LONGEST_NAME} characters was expected, so that you know the device again."
NO_SUCH_CODE = (
    "This code pairs nothing: it was used, taken back, mistyped, or is older than ten minutes. "
    "Ask at the booth for a new one."
)
blueprint = Blueprint("devices", __name__)


@dataclass(frozen=True)
class Row:
    """A device in the list. `seen` is empty where it is in use just now; `is_this` is the one that asks."""

    id: str
    name: str
    role: str
    added: str
    seen: str
    withdrawn: str
    is_this: bool


@dataclass(frozen=True)
class Waiting:
    """A pairing that waits for its device; its code was shown once and is known here no more."""

    id: str
    name: str
    role: str
    until: str


@dataclass(frozen=True)
class DevicesView:
    """The whole page. `focus` is the id of the element where the hand goes on."""

    devices: tuple[Row, ...]
    gone: tuple[Row, ...]
    waiting: tuple[Waiting, ...]
    said: str
    name: str
    role: str
    errors: Errors
    new_key: str
    key_name: str
    focus: str
    suggestion: str


@dataclass(frozen=True)
class CodeShown:
    """A pairing with its code, for the device to scan or type."""

    id: str
    name: str
    role: str
    code: str
    address: str
    typed_at: str
    until: str
    qr: Markup


# What the owner does


@blueprint.get("/devices")
@owner_only
def show() -> ResponseReturnValue:
    """The devices of the booth."""
    return _page(said=SAID.get(request.args.get("said", ""), ""))


@blueprint.post("/devices/pair")
@owner_only
def pair() -> ResponseReturnValue:
    """Make a code that pairs one device; it is shown on the answer, this once."""
    name, role = request.form.get("name", "").strip(), request.form.get("role", "")
    if errors := _errors(name, role, "pair"):
        return _page(name=name, role=role, errors=errors, focus=next(iter(errors))), 422
    with here.desks().store.writing() as connection:
        made, code = pairings.invite(connection, name, role, here.desks().clock.now())
    base = trust.address_for_tablets()
    address = f"{base}{url_for('devices.asked', code=code)}"
    shown = CodeShown(
        made.id,
        made.name,
        MAY[made.role],
        pairings.shown(code),
        address,
        f"{base}{url_for('devices.typed')}",
        clock_time(parse_instant(made.until_at), _zone()),
        Markup(qr.as_svg(address, title="QR that pairs one device")),
    )
    return _kept_nowhere(render_template("pairing.html", shown=shown))


@blueprint.get("/devices/pairings/<id>")
@owner_only
def state(id: str) -> Response:
    """Whether a code still waits: `waiting`, `paired` or `over`. Its page asks now and then."""
    with here.desks().store.reading() as connection:
        found = pairings.by_id(connection, id)
        is_waiting = any(one.id == id for one in pairings.waiting(connection, here.desks().clock.now()))
    return jsonify({"state": "waiting" if is_waiting else "paired" if found and found.device else "over"})


@blueprint.post("/devices/pairings/<id>/cancel")
@owner_only
def cancel(id: str) -> ResponseReturnValue:
    """Take a code back."""
    with here.desks().store.writing() as connection:
        was_waiting = pairings.cancel(connection, id)
    return redirect(url_for("devices.show", said="cancelled" if was_waiting else "over"), 303)


@blueprint.post("/devices/keys")
@owner_only
def add_key() -> ResponseReturnValue:
    """Let a program or board in; its key is shown on the answer, this once."""
    name, role = request.form.get("name", "").strip(), request.form.get("role", "")
    if errors := _errors(name, role, "key"):
        return _page(key_name=name, errors=errors, focus=next(iter(errors))), 422
    with here.desks().store.writing() as connection:
        key = devices.add(connection, name, here.desks().clock.now(), role)
    return _kept_nowhere(_page(new_key=key, focus="device-key"))


@blueprint.post("/devices/<id>/withdraw")
@owner_only
def withdraw(id: str) -> ResponseReturnValue:
    """Shut a device out at once, its live screens included."""
    with here.desks().store.writing() as connection:
        devices.withdraw(connection, id, here.desks().clock.now())
    hang_up_on_strangers()
    return redirect(url_for("devices.show", said="withdrawn"), 303)


@blueprint.get("/devices/withdrawn")
def withdrawn() -> Response:
    """Whether the device that asks was withdrawn, for pages that stand open. To ask is no use of a sign-in."""
    answer = jsonify({"is_withdrawn": is_withdrawn()})
    session.modified = False
    answer.headers["Cache-Control"] = "no-store"
    return answer


@blueprint.post("/devices/passphrase")
@owner_only
def passphrase() -> ResponseReturnValue:
    """Set another passphrase; who does so gives the present one, and stays signed in."""
    errors: Errors = {}
    if not is_passphrase(request.form.get("present", "")):
        errors["passphrase-present"] = "This is not the present passphrase. Nothing was changed."
    else:
        try:
            passphrases.set_passphrase(here.desks().store, request.form.get("new", ""), _own_words())
        except Malformed as wrong:
            errors["passphrase-new"] = sentence_of(wrong)
    if errors:
        return _page(errors=errors, focus=next(iter(errors))), 422
    end_other_sessions()
    return redirect(url_for("devices.show", said="passphrase"), 303)


@blueprint.post("/devices/sign-out-others")
@owner_only
def sign_out_others() -> ResponseReturnValue:
    """Every other sign-in by the passphrase is over."""
    end_other_sessions()
    return redirect(url_for("devices.show", said="others"), 303)


# What the new device does


@blueprint.get("/pair")
def typed() -> ResponseReturnValue:
    """Where a code is typed by a device that cannot scan it; on a paired device, what it is."""
    given = request.args.get("code", "")
    if not given:
        return _typed_page("")
    code = _waiting_for(given)[1]
    return redirect(url_for("devices.asked", code=code), 303)


@blueprint.get("/pair/<code>")
def asked(code: str) -> ResponseReturnValue:
    """What this code would make of the device. Looking does not use it up: previews and scanners look."""
    found, normal = _waiting_for(code)
    page = render_template("pair.html", name=found.name, role=MAY[found.role], code=normal, paired=paired(),
                           is_owner_here=is_signed_in())  # fmt: skip
    return _kept_nowhere(page)


@blueprint.post("/pair/<code>")
def used(code: str) -> ResponseReturnValue:
    """Make this browser the device."""
    if is_from_elsewhere():
        raise Forbidden("Pair this device on this program's own page.")
    _, normal = _waiting_for(code)
    with here.desks().store.writing() as connection:
        made = pairings.use(connection, normal, here.desks().clock.now())
    if made is None:  # another was quicker
        raise NotThere(NO_SUCH_CODE)
    begin_device_session(made[0])
    return redirect("/", 303)


@blueprint.post("/devices/unpair")
@staff_only
def unpair() -> ResponseReturnValue:
    """This device belongs to the booth no more, nor does a sign-in on it."""
    if is_signed_in():
        end_session()
    end_session()
    return redirect("/", 303)


def _waiting_for(given: str) -> tuple[Pairing, str]:
    """The pairing that this code stands for, and the code as stored; NotThere, or TooOften as for passphrases."""
    guesses = cast("WrongGuesses", current_app.extensions["portraitq-pair-guesses"])
    who = guesser_at(request.remote_addr)
    if wait_s := guesses.take(who):
        raise TooOften(f"Too many wrong codes came in. Wait {wait_s} s, then try again.", wait_s)
    code = pairings.normalise(given)
    with here.desks().store.reading() as connection:
        found = pairings.by_code(connection, code or "", here.desks().clock.now())
    if found is None or code is None:
        raise NotThere(NO_SUCH_CODE)
    guesses.was_right(who)
    return found, code


def _typed_page(wrong: str) -> str:
    device = paired()
    return render_template("pair_ask.html", wrong=wrong, paired=device, may=MAY[device.role] if device else "")


# What the page is made of


def _page(**other: object) -> str:
    """The page, with what is different from a fresh one."""
    view = replace(devices_view(), **other)  # type: ignore[arg-type]
    return render_template("devices.html", view=view, may=MAY)


def devices_view() -> DevicesView:
    """The page as it is when nothing was typed yet."""
    now, this = here.desks().clock.now(), paired()
    with here.desks().store.reading() as connection:
        listed = devices.listed(connection)
        waiting = pairings.waiting(connection, now)
    rows = [_row(one, now, this) for one in listed]
    return DevicesView(
        devices=tuple(row for row in rows if not row.withdrawn),
        gone=tuple(row for row in reversed(rows) if row.withdrawn),
        waiting=tuple(
            Waiting(one.id, one.name, MAY[one.role], clock_time(parse_instant(one.until_at), _zone()))
            for one in waiting
        ),
        said="",
        name="",
        role=STAFF,
        errors={},
        new_key="",
        key_name="",
        focus="",
        suggestion=passphrases.new_passphrase(),
    )


def _row(one: Device, now: datetime, this: Device | None) -> Row:
    is_here = one.seen_at is not None and abs((now - parse_instant(one.seen_at)).total_seconds()) < HERE_NOW_S
    return Row(
        one.id,
        one.name,
        MAY[one.role],
        _said(one.added_at),
        "" if is_here else _said(one.seen_at),
        _said(one.withdrawn_at) if one.withdrawn_at else "",
        this is not None and this.id == one.id,
    )


def _errors(name: str, role: str, form: str) -> Errors:
    errors: Errors = {}
    if not 1 <= len(name) <= LONGEST_NAME or not name.isprintable():
        errors[f"{form}-name"] = NO_NAME
    if role not in devices.ROLES:
        errors[f"{form}-role"] = "Say what the device is for: staff or owner."
    return errors


def _own_words() -> list[str]:
    """What the booths of this program are called, and who draws there."""
    found: list[str] = []
    for slug in here.desks().slugs():
        set_up = here.desks().at(slug).standing(wait_s=0).booth.set_up
        if set_up is not None:
            found += [set_up.booth.name, *(artist.name for artist in set_up.artists)]
    return found


def _zone() -> ZoneInfo:
    slugs = here.desks().slugs()
    return here.desks().at(slugs[0]).standing(wait_s=0).booth.zone if slugs else ZoneInfo("UTC")


def _said(at: str | None) -> str:
    if at is None:
        return "never"
    instant, zone = parse_instant(at), _zone()
    return f"{day_said(instant.astimezone(zone).date().isoformat())}, {clock_time(instant, zone)}"


def _kept_nowhere(page: str) -> Response:
    """An answer with a key or a code in it."""
    answer = make_response(page)
    answer.headers["Cache-Control"] = "no-store"
    return answer


def install(app: Flask) -> None:
    """Count the wrong codes of pairings, for `app`; apart from passphrases, so that neither keeps the other out."""
    app.extensions["portraitq-pair-guesses"] = WrongGuesses(time.monotonic, in_all_per_hour=WRONG_CODES_PER_HOUR)

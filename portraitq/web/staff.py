"""Who belongs to the booth, and as whom: owner or staff; by a sign-in, as a paired device, or by a device's key.

The passphrase is the owner's. A device is its owner's or its staff's, as was chosen when it was let in. A session is
new at every sign-in and pairing, and over at sign-out, after its rest (`cookie.py`), when the passphrase changes, when
all are signed out, when the device is withdrawn. Requests that change something by cookie must also carry the
session's token, which only our own pages know; a device's key needs none, for no browser sends it by itself.
"""

from __future__ import annotations

import functools
import hashlib
import hmac
import json
import logging
import secrets
import threading
import time
from collections.abc import Callable, Collection
from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING, Any, ParamSpec, TypeVar, cast
from urllib.parse import urlsplit

from flask import Blueprint, Flask, current_app, g, redirect, render_template, request, session
from flask.typing import ResponseReturnValue

from portraitq import passphrase as passphrases
from portraitq.store import devices
from portraitq.store.devices import OWNER, STAFF
from portraitq.store.store import StoreError
from portraitq.web import cookie
from portraitq.web.cookie import DEVICE_REST, LONGEST, REST
from portraitq.web.here import desks
from portraitq.web.last_seen import LastSeen
from portraitq.web.problems import TOKEN_HEADER, Forbidden, OwnersOnly, TooOften, Unsigned
from portraitq.web.wrong_guesses import IN_A_ROW, WrongGuesses, guesser_at

if TYPE_CHECKING:
    from portraitq.store.devices import Device
    from portraitq.store.store import Store

P = ParamSpec("P")
R = TypeVar("R")

SECRET_KEY = "secret_key"
SIGNED_OUT_KEY = "signed_out"
# What the booth is, and what cannot be brought back, is not the counter's to change. Days are opened and closed at the
# counter, and money is taken and given back there, where the customer stands; the journal says by which device.
OWNERS_KINDS = ("set_up", "erased")
SAFE_METHODS = ("GET", "HEAD", "OPTIONS")
LONGEST_KEY = 256
log = logging.getLogger(__name__)

blueprint = Blueprint("staff", __name__)


@dataclass(frozen=True)
class Pass:
    """By what somebody belongs here: a session (`session_id`) or a device (`device_id`); and as whom (`role`).

    epoch     of the passphrase, by which a session counts
    until_s   when it is over if it is not used again, in seconds since 1970; a connection that stays open is no use
    """

    session_id: str = ""
    device_id: str = ""
    role: str = STAFF
    epoch: int = 0
    until_s: float = float("inf")


def staff_only(view: Callable[P, R]) -> Callable[P, R]:
    """For the booth's people alone: others are sent to sign in, or get 401."""

    @functools.wraps(view)
    def guarded(*args: P.args, **kwargs: P.kwargs) -> R:
        need_staff()
        return view(*args, **kwargs)

    return guarded


def need_staff() -> None:
    """Unsigned unless this request is from the booth's people; Forbidden when it comes from a foreign page."""
    found = staff_pass()
    if found is None:
        raise Unsigned(_why_unsigned())
    if "Authorization" not in request.headers and request.method not in SAFE_METHODS:
        came = request.headers.get(TOKEN_HEADER) or request.form.get("token", "")
        own = str(session.get("token", ""))
        if is_from_elsewhere() or not own or not hmac.compare_digest(came.encode(), own.encode()):
            raise Forbidden("This page is from an earlier sign-in: load it again and repeat what you did.")


def owner_only(view: Callable[P, R]) -> Callable[P, R]:
    """For the owner alone: the booth's other people are told so (403), strangers are sent to sign in, or get 401."""

    @functools.wraps(view)
    def guarded(*args: P.args, **kwargs: P.kwargs) -> R:
        need_owner()
        return view(*args, **kwargs)

    return guarded


def need_owner() -> None:
    """As `need_staff()`; OwnersOnly when this request is from the booth's people but not from its owner."""
    need_staff()
    if not is_owner():
        raise OwnersOnly


def is_owner() -> bool:
    """Whether this request is from the booth's owner."""
    found = staff_pass()
    return found is not None and found.role == OWNER


def need_owner_for(kind: str) -> None:
    """OwnersOnly when a command of that kind is the owner's alone and this request is not from the owner."""
    if kind in OWNERS_KINDS and not is_owner():
        raise OwnersOnly


def is_shown_as_owner() -> bool:
    """`is_owner()` for templates, as `is_shown_as_staff()`."""
    try:
        return is_owner()
    except StoreError:
        return False


def is_staff() -> bool:
    """Whether this request is from the booth's people."""
    return staff_pass() is not None


def is_shown_as_staff() -> bool:
    """`is_staff()` for templates: while the store does not answer, its calm page shows nobody as staff."""
    try:
        return is_staff()
    except StoreError:
        return False


def is_from_staff(app: Flask, environ: dict[str, Any]) -> bool:
    """`is_staff()` of a request not let in yet; False while the store, in which that stands, does not answer."""
    if "HTTP_COOKIE" not in environ and "HTTP_AUTHORIZATION" not in environ:
        return False
    try:
        with app.request_context({**environ, "HTTP_HOST": "localhost"}):  # by which name it asks is judged later
            return is_staff()
    except StoreError:
        return False


def staff_pass() -> Pass | None:
    """By what this request belongs to the booth, or None."""
    if request.environ.get("portraitq.neutral"):
        return None
    if "staff_pass" not in g:
        g.staff_pass = _device() if "Authorization" in request.headers else _session()
    return cast("Pass | None", g.staff_pass)


def csrf_token() -> str:
    """The token that a form or script of this session sends along; empty when nobody is signed in."""
    return str(session.get("token", "")) if is_shown_as_staff() else ""


def _why_unsigned() -> str:
    if "Authorization" in request.headers:
        return "This device key is not known here, or was withdrawn: make one with `portraitq device add NAME`."
    return ""


def _device() -> Pass | None:
    scheme, _, key = request.headers["Authorization"].partition(" ")
    return device_pass(key.strip()) if scheme.lower() == "bearer" else None


def device_pass(key: str) -> Pass | None:
    """The pass of the device that has `key`, or None."""
    device = _device_of(key)
    return None if device is None else Pass(device_id=device.id, role=device.role)


def paired() -> Device | None:
    """The device that this browser is paired as, whether or not its owner has signed in on it; or None."""
    if "paired" not in g:
        g.paired = _device_of(session.get("key"))
    return cast("Device | None", g.paired)


def is_withdrawn() -> bool:
    """Whether this browser was paired as a device that is one no longer."""
    return bool(session.get("key")) and paired() is None


def _device_of(key: object) -> Device | None:
    if not isinstance(key, str) or not 0 < len(key) <= LONGEST_KEY:
        return None
    store = desks().store
    with store.reading() as connection:
        device = devices.find(connection, key)
    if device is not None:
        last_seen().note(store, [device.id], desks().clock.now())
    return device


def last_seen() -> LastSeen:
    """Who notes when a device was here."""
    return cast("LastSeen", current_app.extensions["portraitq-last-seen"])


def _session() -> Pass | None:
    """The sign-in of this browser, else the device that it is paired as."""
    id, store, now_s = session.get("id"), desks().store, time.time()
    if isinstance(id, str) and session.get("epoch") == passphrases.epoch(store) and id not in _signed_out(store):
        until_s = min(now_s + REST.total_seconds(), cookie.over_at_s(session))
        return Pass(session_id=id, role=OWNER, epoch=session["epoch"], until_s=until_s)
    device = paired()
    if device is None:
        return None
    return Pass(device_id=device.id, role=device.role, until_s=now_s + DEVICE_REST.total_seconds())


def still_valid(found: Collection[Pass]) -> set[Pass]:
    """Those of the passes seen earlier (live connections') that still are ones; their devices are noted as seen."""
    if not found:
        return set()
    store, now_s = desks().store, time.time()
    ids = {one.device_id for one in found if one.device_id}
    with store.reading() as connection:
        roles = devices.roles(connection, ids)
    epoch, signed_out = passphrases.epoch(store), _signed_out(store)
    valid = {
        one
        for one in found
        if now_s < one.until_s
        and (
            roles.get(one.device_id) == one.role
            if one.device_id
            else one.epoch == epoch and one.session_id not in signed_out
        )
    }
    last_seen().note(store, {one.device_id for one in valid if one.device_id}, desks().clock.now())
    return valid


def _signed_out(store: Store) -> dict[str, float]:
    """Sessions that were signed out and might still be shown: id -> when, in seconds since 1970."""
    from portraitq.store import settings

    with store.reading() as conn:
        return cast("dict[str, float]", json.loads(settings.get(conn, SIGNED_OUT_KEY) or "{}"))


_signing_out = threading.Lock()


def _sign_session_out(store: Store, id: str, now: datetime) -> None:
    from portraitq.store import settings

    with _signing_out:
        oldest_s = (now - LONGEST).timestamp()
        kept = {one: at_s for one, at_s in _signed_out(store).items() if at_s > oldest_s}
        with store.writing() as conn:
            settings.put(conn, SIGNED_OUT_KEY, json.dumps({**kept, id: now.timestamp()}))


def secret_key(store: Store) -> str:
    """The key that signs session cookies, made once for each store."""
    from portraitq.store import settings

    with store.writing() as conn:
        key = settings.get(conn, SECRET_KEY)
        if key is None:
            key = secrets.token_hex(32)
            settings.put(conn, SECRET_KEY, key)
    return key


def local_path(address: str | None) -> str:
    """`address` when it is a path of ours to go back to after signing in, else `/`."""
    if not address or not address.startswith("/") or address.startswith("//") or len(address) > 500:
        return "/"
    if "\\" in address or any(ord(letter) < 0x21 for letter in address):
        return "/"
    parts = urlsplit(address)
    return "/" if parts.scheme or parts.netloc else address


@blueprint.get("/sign-in")
def sign_in() -> ResponseReturnValue:
    """The page that asks for the passphrase."""
    back = local_path(request.args.get("next"))
    if is_owner():
        return redirect(back, 303)
    return render_template("sign_in.html", next=back, wrong="", paired=paired())


@blueprint.post("/sign-in")
def signed_in() -> ResponseReturnValue:
    """Somebody gives the passphrase."""
    back = local_path(request.form.get("next"))
    if is_from_elsewhere():
        raise Forbidden("Sign in on this program's own page.")
    if not is_passphrase(request.form.get("passphrase", "")):
        wrong = "This is not the booth's passphrase."
        return render_template("sign_in.html", next=back, wrong=wrong, paired=paired()), 401
    begin_session()
    return redirect(back, 303)


def is_passphrase(given: str) -> bool:
    """Whether this is the passphrase; TooOften when this browser, or everybody together, guessed wrong too often."""
    guesses = cast("WrongGuesses", current_app.extensions["portraitq-guesses"])
    known = session.get("known")
    who = f"browser {known}" if known else guesser_at(request.remote_addr)
    if wait_s := guesses.take(who, is_known=bool(known)):
        raise TooOften(f"Too many wrong passphrases came in. Wait {wait_s} s, then try again.", wait_s)
    if not passphrases.is_right(desks().store, given):
        log.warning("a wrong passphrase was given")
        return False
    guesses.was_right(who, is_known=bool(known))
    return True


def begin_session() -> None:
    """Sign this browser in, with a new session whatever it had before; a paired device stays one."""
    key = session.get("key") if paired() else None
    _renew_session()
    if key:
        session["key"] = key
    session["id"] = secrets.token_urlsafe(16)
    session["epoch"] = passphrases.epoch(desks().store)
    session["since_s"] = time.time()
    session.setdefault("known", secrets.token_urlsafe(16))
    _forget_pass()


def begin_device_session(key: str) -> None:
    """Make this browser the device that has `key`, with a new session; what it was before it is no longer."""
    _withdraw_this_device()
    _renew_session()
    session["key"] = key
    _forget_pass()


def end_session() -> None:
    """End this browser's sign-in, for whoever still has its cookie too; without one, it is a device no longer."""
    key = session.get("key") if session.get("id") else None
    if key is None:
        _withdraw_this_device()
    _renew_session()
    if key:
        session["key"] = key
    _forget_pass()
    hang_up_on_strangers()


def end_other_sessions() -> None:
    """Every sign-in by the passphrase is over, but for this one; devices go on."""
    passphrases.end_sign_ins(desks().store)
    if session.get("id"):
        begin_session()
    hang_up_on_strangers()


def hang_up_on_strangers() -> None:
    """Live connections of whoever belongs here no more are cut at once, not when they are next looked at."""
    current_app.extensions["portraitq-live"].look_at_passes()


def _renew_session() -> None:
    """An empty session with a token of its own. What it was before is over for copies of its cookie too."""
    if id := session.get("id"):
        _sign_session_out(desks().store, id, desks().clock.now())
    known = session.get("known")
    session.clear()
    session["token"] = secrets.token_urlsafe(16)
    if known:
        session["known"] = known


def _withdraw_this_device() -> None:
    if device := paired():
        with desks().store.writing() as connection:
            devices.withdraw(connection, device.id, desks().clock.now())


def _forget_pass() -> None:
    g.pop("staff_pass", None)
    g.pop("paired", None)


@blueprint.post("/sign-out")
@staff_only
def sign_out() -> ResponseReturnValue:
    """This browser's sign-in is over; on a paired device without one, the pairing."""
    end_session()
    return redirect("/", 303)


def is_from_elsewhere() -> bool:
    """Whether a browser says that this request was made by another site's page.

    By Sec-Fetch-Site where browsers send it, which is under https and on this computer; else by Origin. Our own pages
    send no referrer, so that their forms come with the Origin `null` (Fetch, "append a request Origin header"), which
    says nothing. What decides is the token; this comes before it.
    """
    if request.headers.get("Sec-Fetch-Site", "same-origin") not in ("same-origin", "none"):
        return True
    origin = request.headers.get("Origin", "null")
    return origin != "null" and urlsplit(origin).netloc.lower() != request.host.lower()


def install(app: Flask, store: Store) -> None:
    """Sessions, the sign-in page, and what templates ask (`is_staff()`, `is_owner()`, `csrf_token()`)."""
    app.secret_key = secret_key(store)
    # Cookies do not know ports: a demo beside the booth on one machine must not sign each other out.
    store_name = hashlib.sha256(b"name of " + app.secret_key.encode()).hexdigest()[:8]
    app.config.update(
        SESSION_COOKIE_NAME=f"portraitq_{store_name}",
        SESSION_COOKIE_HTTPONLY=True,
        SESSION_COOKIE_SAMESITE="Lax",
        SESSION_COOKIE_SECURE=str(app.config["PORTRAITQ_ADDRESS"]).startswith("https://"),
    )
    app.session_interface = cookie.Cookie()
    app.extensions["portraitq-guesses"] = WrongGuesses(time.monotonic, in_a_row=IN_A_ROW)
    app.extensions["portraitq-last-seen"] = LastSeen()
    app.register_blueprint(blueprint)
    app.jinja_env.globals.update(
        csrf_token=csrf_token,
        is_staff=is_shown_as_staff,
        is_owner=is_shown_as_owner,
        is_signed_in=is_signed_in,
    )

    @app.after_request
    def _not_kept(answer: Any) -> Any:
        """What staff see is not left in the cache of a tablet that others use."""
        came_as_staff = "id" in session or "key" in session or "Authorization" in request.headers
        if came_as_staff and "Cache-Control" not in answer.headers and not request.path.startswith("/static/"):
            answer.headers["Cache-Control"] = "no-store"
        return answer


def is_signed_in() -> bool:
    """For templates: whether this request is by a sign-in with the passphrase, and not as a paired device."""
    try:
        found = staff_pass()
    except StoreError:
        return False
    return found is not None and bool(found.session_id)

"""Who belongs to the booth: sign-in by passphrase with a session cookie, or a device by its key.

A session is new at every sign-in, is over at sign-out, after half a day of rest, and when the passphrase changes.
Requests that change something by cookie must also carry the session's token, which only our own pages know; a device
key needs none, for no browser sends it by itself.
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
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import TYPE_CHECKING, Any, ParamSpec, TypeVar, cast
from urllib.parse import urlsplit

from flask import Blueprint, Flask, current_app, g, redirect, render_template, request, session
from flask.typing import ResponseReturnValue

from portraitq import passphrase as passphrases
from portraitq.store.store import StoreError
from portraitq.web.here import desks
from portraitq.web.problems import TOKEN_HEADER, Forbidden, OwnersOnly, TooOften, Unsigned
from portraitq.web.wrong_guesses import WrongGuesses

if TYPE_CHECKING:
    from portraitq.store.store import Store

P = ParamSpec("P")
R = TypeVar("R")

REST = timedelta(hours=12)  # a long fair day; nobody signs in again in the middle of it
SECRET_KEY = "secret_key"
SIGNED_OUT_KEY = "signed_out"
OWNER = "owner"  # may everything
SEEN_EVERY_S = 3600
SAFE_METHODS = ("GET", "HEAD", "OPTIONS")
LONGEST_KEY = 256
log = logging.getLogger(__name__)

blueprint = Blueprint("staff", __name__)


@dataclass(frozen=True)
class Pass:
    """By what somebody belongs here: a session (`session_id`) or a device (`device_id`); and as whom (`role`)."""

    session_id: str = ""
    device_id: str = ""
    role: str = OWNER


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
    if found.session_id and request.method not in SAFE_METHODS:
        came = request.headers.get(TOKEN_HEADER) or request.form.get("token", "")
        if not hmac.compare_digest(came.encode(), session.get("token", "").encode()):
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
    from portraitq.store import devices

    if not key or len(key) > LONGEST_KEY:
        return None
    store, now = desks().store, desks().clock.now()
    with store.reading() as conn:
        device = devices.find(conn, key)
    if device is None:
        return None
    _note_seen(store, str(device.id), now)
    return Pass(device_id=str(device.id))


_seen_at: dict[str, datetime] = {}


def _note_seen(store: Store, device_id: str, now: datetime) -> None:
    """Write down that a device was seen, at most once an hour."""
    from portraitq.store import devices

    if device_id in _seen_at and (now - _seen_at[device_id]).total_seconds() < SEEN_EVERY_S:
        return
    _seen_at[device_id] = now
    with store.writing() as conn:
        devices.seen(conn, [device_id], now)


def _session() -> Pass | None:
    id = session.get("id")
    if not isinstance(id, str) or session.get("epoch") != passphrases.epoch(desks().store):
        return None
    return None if id in _signed_out(desks().store) else Pass(session_id=id)


def still_valid(found: Pass, epoch: int) -> bool:
    """Whether a pass seen earlier (a live connection's), of `epoch`, still is one."""
    store = desks().store
    if found.session_id:
        return epoch == passphrases.epoch(store) and found.session_id not in _signed_out(store)
    from portraitq.store import devices

    with store.reading() as conn:
        return any(str(device.id) == found.device_id for device in devices.listed(conn) if _in_use(device))


def _in_use(device: Any) -> bool:
    return getattr(device, "withdrawn_at", None) is None


def _signed_out(store: Store) -> dict[str, float]:
    """Sessions that were signed out and might still be shown: id -> when, in seconds since 1970."""
    from portraitq.store import settings

    with store.reading() as conn:
        return cast("dict[str, float]", json.loads(settings.get(conn, SIGNED_OUT_KEY) or "{}"))


_signing_out = threading.Lock()


def _sign_session_out(store: Store, id: str, now: datetime) -> None:
    from portraitq.store import settings

    with _signing_out:
        oldest_s = (now - REST).timestamp()
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
    if is_staff():
        return redirect(back, 303)
    return render_template("sign_in.html", next=back, wrong="")


@blueprint.post("/sign-in")
def signed_in() -> ResponseReturnValue:
    """Somebody gives the passphrase."""
    guesses = cast("WrongGuesses", current_app.extensions["portraitq-guesses"])
    who, back = request.remote_addr or "", local_path(request.form.get("next"))
    if _is_from_elsewhere():
        raise Forbidden("Sign in on this program's own page.")
    if wait_s := guesses.wait_s(who):
        raise TooOften(f"Too many wrong passphrases came in. Wait {wait_s} s, then try again.", wait_s)
    if not passphrases.is_right(desks().store, request.form.get("passphrase", "")):
        guesses.was_wrong(who)
        log.warning("a wrong passphrase was given")
        wrong = "This is not the booth's passphrase. `portraitq passphrase` on the booth's computer sets a new one."
        return render_template("sign_in.html", next=back, wrong=wrong), 401
    guesses.was_right(who)
    begin_session()
    return redirect(back, 303)


def begin_session() -> None:
    """Sign this browser in, with a new session whatever it had before."""
    session.clear()
    session.permanent = True
    session["id"] = secrets.token_urlsafe(16)
    session["token"] = secrets.token_urlsafe(16)
    session["epoch"] = passphrases.epoch(desks().store)
    g.pop("staff_pass", None)


@blueprint.post("/sign-out")
@staff_only
def sign_out() -> ResponseReturnValue:
    """This browser's session is over, for whoever still has its cookie too."""
    if id := session.get("id"):
        _sign_session_out(desks().store, id, desks().clock.now())
    session.clear()
    g.pop("staff_pass", None)
    return redirect("/", 303)


def _is_from_elsewhere() -> bool:
    """Whether a browser says that this request was made by another site's page."""
    return request.headers.get("Sec-Fetch-Site", "same-origin") not in ("same-origin", "none")


def install(app: Flask, store: Store) -> None:
    """Sessions, the sign-in page, and what templates ask (`is_staff()`, `csrf_token()`)."""
    app.secret_key = secret_key(store)
    # Cookies do not know ports: a demo beside the booth on one machine must not sign each other out.
    store_name = hashlib.sha256(b"name of " + app.secret_key.encode()).hexdigest()[:8]
    app.config.update(
        SESSION_COOKIE_NAME=f"portraitq_{store_name}",
        SESSION_COOKIE_HTTPONLY=True,
        SESSION_COOKIE_SAMESITE="Lax",
        SESSION_COOKIE_SECURE=str(app.config["PORTRAITQ_ADDRESS"]).startswith("https://"),
        PERMANENT_SESSION_LIFETIME=REST,
        SESSION_REFRESH_EACH_REQUEST=True,
    )
    app.extensions["portraitq-guesses"] = WrongGuesses(time.monotonic)
    app.register_blueprint(blueprint)
    app.jinja_env.globals.update(csrf_token=csrf_token, is_staff=is_shown_as_staff, is_owner=is_shown_as_owner)

    @app.after_request
    def _not_kept(answer: Any) -> Any:
        """What staff see is not left in the cache of a tablet that others use."""
        came_as_staff = "id" in session or "Authorization" in request.headers
        if came_as_staff and "Cache-Control" not in answer.headers and not request.path.startswith("/static/"):
            answer.headers["Cache-Control"] = "no-store"
        return answer

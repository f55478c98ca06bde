"""How many are served at once; more are refused early and politely, so that a full hall never holds up the booth.

Each live connection holds a thread of the server, and so does each request while it is answered. Phones beyond
`MOST_LIVE` are told 503 and when to come back (RFC 9110 §15.6.4, §10.2.3) before anything was done for them; their page
asks by plain HTTP meanwhile. The booth's own people get in beyond that, up to a reserve. There is no limit for an
address: a whole hall may stand behind one.

Requests with a body are counted apart, for they are in hand as long as their sender likes: nobody who reads a page
waits for them. Only the booth's people have much to send, so of strangers each address may have a few in hand.
"""

from __future__ import annotations

import random
import threading
from collections import Counter
from collections.abc import Callable, Iterable, Sequence
from typing import Any
from urllib.parse import parse_qs

from flask import Flask, current_app, g, request

from portraitq.locality import MANY_BEHIND
from portraitq.web.problems import TooMany
from portraitq.web.staff import is_from_staff

MOST_LIVE = 1200  # phones and screens that are kept up to date; each takes a thread and some 60 KB
RESERVE = 50  # more of the booth's own screens than any booth has
MOST_AT_ONCE = 60  # requests in hand; one takes some milliseconds, so the last of them waits a third of a second
MOST_BODIES_OF_ONE = 10  # strangers send a passphrase or a code
MOST_UPLOADS = 12  # photos are decoded one after another, a second or two each, and each may wait with 40 MB
AGAIN_S = (10, 40)  # when to come back: not all at the same moment
LIVE_PATH = "/socket.io"
FULL = "More people look at this booth just now than it can answer. Nothing is lost: look again in a moment."
UPLOADS = (
    "Other photos are still being looked at. Wait a moment, then take this one once more; nothing else was changed."
)

Wsgi = Callable[[dict[str, Any], Callable[..., Any]], Iterable[bytes]]


class Doorkeeper:
    """Stands before the application and counts who is inside."""

    def __init__(self, app: Flask, inside: Wsgi, live: Callable[[], int], most_live: int) -> None:
        self._app, self._inside, self._live, self._most_live = app, inside, live, most_live
        self._in_hand, self._bodies_of, self._held = Counter[bool](), Counter[str](), 0
        self._lock = threading.Lock()

    def __call__(self, environ: dict[str, Any], start_response: Callable[..., Any]) -> Iterable[bytes]:
        """Let in, or say when to come back."""
        path = environ.get("PATH_INFO", "")
        if path == LIVE_PATH or path.startswith(f"{LIVE_PATH}/"):
            return self._to_live(environ, start_response)
        has_body, who = _has_body(environ), str(environ.get("REMOTE_ADDR", ""))
        with self._lock:
            self._in_hand[has_body] += 1
            self._bodies_of[who] += has_body
            is_full = self._in_hand[has_body] > MOST_AT_ONCE
            is_full = is_full or (self._bodies_of[who] > MOST_BODIES_OF_ONE and who not in MANY_BEHIND)
        try:
            if is_full and not is_from_staff(self._app, environ):
                return _come_back(environ, start_response)
            return self._inside(environ, start_response)
        finally:
            with self._lock:
                self._in_hand[has_body] -= 1
                self._bodies_of[who] -= has_body
                if not self._bodies_of[who]:
                    del self._bodies_of[who]

    def _to_live(self, environ: dict[str, Any], start_response: Callable[..., Any]) -> Iterable[bytes]:
        """A WebSocket holds its thread, and so does who polls, also several times for one session."""
        holds, is_new = environ["REQUEST_METHOD"] == "GET", "sid" not in parse_qs(environ.get("QUERY_STRING", ""))
        with self._lock:
            before, self._held = self._held, self._held + holds
        try:
            taken = max(before if holds else 0, self._live() if is_new else 0)
            if self._is_no_room(taken, environ):
                return _come_back(environ, start_response)
            return self._inside(environ, start_response)
        finally:
            with self._lock:
                self._held -= holds

    def _is_no_room(self, taken: int, environ: dict[str, Any]) -> bool:
        if taken < self._most_live:
            return False
        return taken >= self._most_live + RESERVE or not is_from_staff(self._app, environ)


def _has_body(environ: dict[str, Any]) -> bool:
    return environ.get("CONTENT_LENGTH") not in (None, "", "0") or "HTTP_TRANSFER_ENCODING" in environ


def _come_back(environ: dict[str, Any], start_response: Callable[..., Any]) -> Iterable[bytes]:
    after_s = random.randint(*AGAIN_S)  # only spread out
    is_page = "text/html" in environ.get("HTTP_ACCEPT", "")  # which asks again without a hand
    more = [("Refresh", str(after_s))] if is_page else []
    return told_when(environ, start_response, "503 Service Unavailable", FULL, after_s, more)


def told_when(
    environ: dict[str, Any],
    start_response: Callable[..., Any],
    status: str,
    sentence: str,
    after_s: int,
    more: Sequence[tuple[str, str]] = (),
) -> Iterable[bytes]:
    """Turn a request away with a sentence, and say when to come back (RFC 9110 §10.2.3); `more` are headers of it."""
    headers = [
        ("Content-Type", "text/plain; charset=utf-8"),
        ("Retry-After", str(after_s)),
        ("Cache-Control", "no-store"),
        *more,
    ]
    start_response(status, headers)
    return [] if environ["REQUEST_METHOD"] == "HEAD" else [sentence.encode()]


def install(app: Flask) -> None:
    """Stand before `app`, live push included. To be installed after it."""
    socketio = app.extensions["socketio"]
    most_live = int(app.config.get("PORTRAITQ_MOST_LIVE", MOST_LIVE))
    doorkeeper = Doorkeeper(app, app.wsgi_app, lambda: len(socketio.server.eio.sockets), most_live)
    app.extensions["portraitq-crowd"] = doorkeeper
    app.wsgi_app = doorkeeper  # type: ignore[method-assign]
    uploads = threading.BoundedSemaphore(MOST_UPLOADS)

    @app.before_request
    def _photos_one_after_another() -> None:
        view = current_app.view_functions.get(request.endpoint or "")
        if request.method == "POST" and getattr(view, "takes_photos", False):
            if not uploads.acquire(blocking=False):
                raise TooMany(UPLOADS, AGAIN_S[0])
            g.holds_upload = True

    @app.teardown_request
    def _next_photo(_wrong: BaseException | None) -> None:
        if g.pop("holds_upload", False):
            uploads.release()

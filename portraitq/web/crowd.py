"""How many are served at once; more are refused early and politely, so that a full hall never holds up the booth.

Each live connection holds a thread of the server, and so does each request while it is answered. Phones beyond
`MOST_LIVE` are told 503 and when to come back (RFC 9110 §15.6.4, §10.2.3) before anything was done for them; their page
asks by plain HTTP meanwhile. The booth's own people get in beyond that, up to a reserve. There is no limit for an
address: a whole hall may stand behind one.
"""

from __future__ import annotations

import random
import threading
from collections.abc import Callable, Iterable
from typing import Any
from urllib.parse import parse_qs

from flask import Flask, current_app, g, request

from portraitq.store.store import StoreError
from portraitq.web.problems import TooMany
from portraitq.web.staff import is_staff

MOST_LIVE = 1200  # phones and screens that are kept up to date; each takes a thread and some 60 KB
RESERVE = 50  # more of the booth's own screens than any booth has
MOST_AT_ONCE = 60  # requests in hand; one takes some milliseconds, so the last of them waits a third of a second
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
        self._in_hand = 0
        self._lock = threading.Lock()

    def __call__(self, environ: dict[str, Any], start_response: Callable[..., Any]) -> Iterable[bytes]:
        """Let in, or say when to come back."""
        path = environ.get("PATH_INFO", "")
        if path == LIVE_PATH or path.startswith(f"{LIVE_PATH}/"):
            return self._to_live(environ, start_response)
        with self._lock:
            self._in_hand += 1
            is_full = self._in_hand > MOST_AT_ONCE
        try:
            if is_full and not self._is_staff(environ):
                return _come_back(environ, start_response)
            return self._inside(environ, start_response)
        finally:
            with self._lock:
                self._in_hand -= 1

    def _to_live(self, environ: dict[str, Any], start_response: Callable[..., Any]) -> Iterable[bytes]:
        is_new = "sid" not in parse_qs(environ.get("QUERY_STRING", ""))
        if is_new and self._is_no_room(environ):
            return _come_back(environ, start_response)
        return self._inside(environ, start_response)

    def _is_no_room(self, environ: dict[str, Any]) -> bool:
        live = self._live()
        if live < self._most_live:
            return False
        return live >= self._most_live + RESERVE or not self._is_staff(environ)

    def _is_staff(self, environ: dict[str, Any]) -> bool:
        try:
            with self._app.request_context(environ):
                return is_staff()
        except StoreError:
            return False  # who it is stands in the store, which does not answer: nobody is let in before the others


def _come_back(environ: dict[str, Any], start_response: Callable[..., Any]) -> Iterable[bytes]:
    after_s = str(random.randint(*AGAIN_S))  # only spread out
    headers = [
        ("Content-Type", "text/plain; charset=utf-8"),
        ("Retry-After", after_s),
        ("Cache-Control", "no-store"),
        ("X-Content-Type-Options", "nosniff"),
    ]
    if "text/html" in environ.get("HTTP_ACCEPT", ""):
        headers.append(("Refresh", after_s))  # a page that somebody opened asks again without a hand
    start_response("503 Service Unavailable", headers)
    return [FULL.encode()]


def install(app: Flask) -> None:
    """Stand before `app`, live push included. To be installed after it."""
    socketio = app.extensions["socketio"]
    most_live = int(app.config.get("PORTRAITQ_MOST_LIVE", MOST_LIVE))
    app.wsgi_app = Doorkeeper(  # type: ignore[method-assign]
        app, app.wsgi_app, lambda: len(socketio.server.eio.sockets), most_live
    )
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

"""How much a request may bring: photos where photos are taken, else JSON or a form; more is refused before it is read.

A browser that is still sending reads no answer, and one whose line is cut has none to read. So whenever a request is
answered before all of it has come, what still comes is thrown away for a while.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from http import HTTPStatus
from typing import IO, Any, TypeVar, cast

from flask import Flask, Request, Response, current_app, request
from werkzeug.datastructures import ImmutableMultiDict
from werkzeug.exceptions import BadRequest, HTTPException, RequestEntityTooLarge

from portraitq.photo.intake import LARGEST_BYTES

LARGEST_FORM_BYTES = 512 * 1024
LARGEST_JSON_BYTES = 2 * 1024 * 1024  # the largest set-up there may be, twice over
LARGEST_WITH_PHOTOS_BYTES = LARGEST_BYTES + LARGEST_FORM_BYTES  # one of the largest photos, or many as phones take them
LISTEN_ON_S = 30.0  # so long a refused upload is still listened to
SILENCE_S = 5.0  # who sends nothing for so long has heard the answer, or is gone
PIECE_BYTES = 1 << 18
V = TypeVar("V", bound=Callable[..., Any])


def takes_photos(view: V) -> V:
    """A view to which photos are sent: it takes as much as the largest photo has."""
    view.takes_photos = True  # type: ignore[attr-defined]
    return view


class NamedFields(Request):
    """A request whose form has a name for each of its parts, as RFC 7578 §4.2 asks; BadRequest where one has none."""

    def _load_form_data(self) -> None:
        super()._load_form_data()
        if None in self.form or None in self.files:
            for _, file in self.files.items(multi=True):
                file.close()
            self.__dict__.update(form=ImmutableMultiDict(), files=ImmutableMultiDict())
            raise BadRequest


def install(app: Flask) -> None:
    """Hold every request of `app` to its limit. To be installed before whatever looks into a request."""
    app.request_class = NamedFields
    app.before_request(_not_too_large)
    app.after_request(_listened_to)


def too_large() -> str:
    """The sentence for whoever sent more than this request may bring."""
    if _brings_photos():
        return f"At most {LARGEST_BYTES // 10**6} MB can be taken at once: send a smaller photo, or fewer of them."
    most = f"{LARGEST_JSON_BYTES // 2**20} MB" if request.is_json else f"{LARGEST_FORM_BYTES // 2**10} KB"
    return f"At most {most} can be taken here at once, and no photo: send less."


def _not_too_large() -> None:
    limit_bytes = LARGEST_JSON_BYTES if request.is_json else LARGEST_FORM_BYTES
    request.max_content_length = LARGEST_WITH_PHOTOS_BYTES if _brings_photos() else limit_bytes
    if (request.content_length or 0) > request.max_content_length:
        raise RequestEntityTooLarge


def _brings_photos() -> bool:
    view = current_app.view_functions.get(request.endpoint or "")
    return getattr(view, "takes_photos", False) and not request.is_json


def _listened_to(answer: Response) -> Response:
    has_body = bool(request.content_length) or "chunked" in request.headers.get("Transfer-Encoding", "").lower()
    if has_body and answer.status_code >= 300 and answer.status_code != HTTPStatus.REQUEST_TIMEOUT:
        asked = cast("Request", request._get_current_object())  # type: ignore[attr-defined]
        answer.call_on_close(lambda: _listen_on(asked))
    return answer


def _listen_on(asked: Request) -> None:
    """Read what is still coming and throw it away, the answer having been sent."""
    line = asked.environ.get("gunicorn.socket") or asked.environ.get("werkzeug.socket")
    until_s = time.monotonic() + LISTEN_ON_S
    try:
        if line is not None:
            line.settimeout(SILENCE_S)
        coming = _rest_of(asked)
        while time.monotonic() < until_s and coming.read(PIECE_BYTES):
            pass
        if line is not None:
            line.settimeout(None)
    except (OSError, ValueError, HTTPException):
        return  # the line is dead, and nobody is left to hear


def _rest_of(asked: Request) -> IO[bytes]:
    if "wsgi.input_terminated" in asked.environ:
        return cast("IO[bytes]", asked.environ["wsgi.input"])  # the server knows where the request ends
    asked.max_content_length = None
    return asked.stream

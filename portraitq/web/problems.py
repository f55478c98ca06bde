"""How a no is told: each kind of refusal in one place, as a status and one sentence.

Scripts and the API get an RFC 9457 problem document, people a calm page. Nothing is caught just to be passed over:
what went wrong inside is logged with its traceback and told without it.
"""

from __future__ import annotations

import logging
from http import HTTPStatus
from typing import Any

from flask import Flask, Response, jsonify, redirect, render_template, request, url_for
from flask.typing import ResponseReturnValue
from werkzeug.exceptions import HTTPException, RequestEntityTooLarge

from portraitq.core.errors import Malformed, Refused
from portraitq.desk import NoSuchBooth, NoSuchTicket
from portraitq.store import trouble
from portraitq.store.store import StoreError
from portraitq.web.limits import too_large

PROBLEM_JSON = "application/problem+json"
TOKEN_HEADER = "X-Portraitq-Token"
log = logging.getLogger(__name__)


class NotThere(LookupError):
    """What the address names does not exist; the sentence says what does."""


class Unsigned(Exception):
    """Nobody is signed in, and this is for the booth's own people."""


class Forbidden(Exception):
    """Somebody is signed in, but this request did not come from one of our own pages."""


class OwnersOnly(Exception):
    """One of the booth's people asks for what is the owner's alone."""


class TooOften(Exception):
    """Too many tries; `wait_s` says for how long to wait."""

    def __init__(self, sentence: str, wait_s: int) -> None:
        super().__init__(sentence)
        self.wait_s = wait_s


class TooMany(Exception):
    """More than can be taken at once; `wait_s` says when to come again."""

    def __init__(self, sentence: str, wait_s: int) -> None:
        super().__init__(sentence)
        self.wait_s = wait_s


UNSIGNED = "Sign in first: this is for the people of the booth."
OWNERS_ONLY = "This is the owner's: a sign-in with the owner's passphrase opens it. Nothing was changed."
INSIDE = "Something went wrong inside. Nothing was lost; try again, and if it stays, start portraitq anew."
HEADINGS = {
    401: "Sign in first",
    403: "Not from here",
    404: "Nothing here",
    409: "Not as things stand",
    408: "Too slow",
    413: "Too much at once",
    421: "Not by this name",
    422: "Something is missing or wrong",
    429: "Too many tries",
    503: "Out of reach for a moment",
}
SENTENCES = {
    400: "This request could not be read.",
    404: "There is nothing at this address.",
    405: "This address does not take that kind of request.",
    415: "This is not the kind of content that is expected here.",
}


def problem(
    status: int, sentence: str, *, field: str = "", headers: dict[str, str] | None = None, **more: Any
) -> Response:
    """An RFC 9457 problem document."""
    document: dict[str, Any] = {
        "type": "about:blank",
        "title": HTTPStatus(status).phrase,
        "status": status,
        "detail": sentence,
    }
    if field:
        document["field"] = field
    answer = jsonify({**document, **more})
    answer.status_code = status
    answer.content_type = PROBLEM_JSON
    answer.headers.update(headers or {})
    return answer


def wants_document() -> bool:
    """Whether who asks is a script: the API, one of our own scripts, or somebody who prefers JSON."""
    if f"{request.path}/".startswith("/api/") or TOKEN_HEADER in request.headers:
        return True
    best = request.accept_mimetypes.best_match(["text/html", PROBLEM_JSON, "application/json"], default="text/html")
    return best != "text/html"


def told(status: int, sentence: str, *, field: str = "", headers: dict[str, str] | None = None) -> Response:
    """A no with its sentence, as a document or as a page."""
    if wants_document():
        return problem(status, sentence, field=field, headers=headers)
    page = render_template(
        "problem.html", status=status, sentence=sentence, title=HEADINGS.get(status, "That did not work")
    )
    return Response(page, status, headers, mimetype="text/html")


def install(app: Flask) -> None:
    """Turn every refusal of `app` into its answer."""
    app.register_error_handler(Malformed, _malformed)
    app.register_error_handler(Refused, lambda no: told(409, str(no)))
    app.register_error_handler(NotThere, lambda no: told(404, str(no)))
    app.register_error_handler(NoSuchBooth, lambda no: told(404, str(no)))
    app.register_error_handler(NoSuchTicket, lambda no: told(404, str(no)))
    app.register_error_handler(StoreError, _store_is_silent)
    app.register_error_handler(Forbidden, lambda no: told(403, str(no)))
    app.register_error_handler(OwnersOnly, _owners_only)
    app.register_error_handler(TooOften, _too_often)
    app.register_error_handler(TooMany, lambda no: told(503, str(no), headers={"Retry-After": str(no.wait_s)}))
    app.register_error_handler(Unsigned, _unsigned)
    app.register_error_handler(HTTPException, _http)
    app.register_error_handler(OSError, _of_the_system)
    app.register_error_handler(Exception, _inside)


def _malformed(no: Malformed) -> Response:
    return told(422, str(no), field=no.field)


def _too_often(no: TooOften) -> Response:
    return told(429, str(no), headers={"Retry-After": str(no.wait_s)})


def _unsigned(no: Unsigned) -> ResponseReturnValue:
    if wants_document():
        return problem(401, str(no) or UNSIGNED, headers={"WWW-Authenticate": 'Bearer realm="portraitq"'})
    back = request.full_path.rstrip("?") if request.method == "GET" else ""
    return redirect(url_for("staff.sign_in", next=back or None), 303)


def _owners_only(no: OwnersOnly) -> Response:
    if wants_document():
        return problem(403, OWNERS_ONLY)
    back = request.full_path.rstrip("?") if request.method == "GET" else None
    return Response(render_template("owners_only.html", back=back), 403, mimetype="text/html")


def _http(no: HTTPException) -> Response:
    status = no.code or 500
    if no.response is not None or status < 400:
        return no.get_response()  # type: ignore[return-value]
    sentence = SENTENCES.get(status, no.description or INSIDE)
    headers = {name: value for name, value in no.get_headers() if name in ("Allow", "Retry-After")}
    if isinstance(no, RequestEntityTooLarge):
        sentence = too_large()
    if status in (408, 413):
        headers["Connection"] = "close"  # the rest of the body is not read, so nothing more can come on this line
    return told(status, sentence, headers=headers)


def _store_is_silent(no: StoreError) -> Response:
    log.info("the store does not answer: %s", no)  # the store logs it once, and once when it is over
    return told(503, str(no), headers={"Retry-After": "5"})


def _of_the_system(no: OSError) -> Response:
    """A disk that is full where a large photo is put down meanwhile, or no more files to be opened."""
    sentence = trouble.of_the_system(no)
    if sentence is None:
        return _inside(no)
    log.error("%s (%s)", sentence, no.strerror)
    return told(503, sentence, headers={"Retry-After": "5"})


def _inside(no: Exception) -> Response:
    log.exception("%s %s went wrong inside", request.method, request.url_rule or "unknown address")
    return told(500, INSIDE)

"""Reference photos on their way to the booth's own people, whole or small, and nobody's cache keeps one."""

from __future__ import annotations

from flask import Blueprint, Response

from portraitq.store import photos as kept
from portraitq.store.photos import StoredPhoto
from portraitq.web.here import desk_at
from portraitq.web.problems import NotThere
from portraitq.web.staff import staff_only

blueprint = Blueprint("photos", __name__)


@blueprint.get("/<booth>/photos/<id>")
@staff_only
def whole(booth: str, id: str) -> Response:
    """A photo as large as it is kept, to draw from."""
    return _jpeg(_found(booth, id).jpeg)


@blueprint.get("/<booth>/photos/<id>/small")
@staff_only
def small(booth: str, id: str) -> Response:
    """The same photo as small as a row of the queue needs it."""
    return _jpeg(_found(booth, id).small_jpeg)


def _found(booth: str, id: str) -> StoredPhoto:
    desk = desk_at(booth)
    with desk.store.reading() as connection:
        found = kept.photo(connection, id)
    if found is None or found.booth != booth:
        raise NotThere("There is no such photo any more: it was deleted, or its portrait was handed over.")
    return found


def _jpeg(picture: bytes) -> Response:
    answer = Response(picture, mimetype="image/jpeg")
    answer.headers["Cache-Control"] = "private, no-store"
    answer.headers["Content-Disposition"] = "inline"
    return answer

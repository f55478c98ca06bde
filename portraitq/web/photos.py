"""Reference photos on their way to the booth's own people, and what was made of them to draw from.

Nobody's cache keeps one. That each view is made once is `made_once.py`'s.
"""

from __future__ import annotations

from flask import Blueprint, Response, render_template

from portraitq.photo.views import media_type
from portraitq.store import photos as kept
from portraitq.store.photos import StoredPhoto
from portraitq.web import made_once
from portraitq.web.here import desk_at
from portraitq.web.problems import NotThere
from portraitq.web.staff import staff_only
from portraitq.web.swatches import colours_view

blueprint = Blueprint("photos", __name__)


@blueprint.get("/<booth>/photos/<id>")
@staff_only
def whole(booth: str, id: str) -> Response:
    """A photo as large as it is kept, to draw from."""
    return _private(_found(booth, id).jpeg, "image/jpeg")


@blueprint.get("/<booth>/photos/<id>/small")
@staff_only
def small(booth: str, id: str) -> Response:
    """The same photo as small as a row of the queue needs it."""
    return _private(_found(booth, id).small_jpeg, "image/jpeg")


@blueprint.get("/<booth>/photos/<id>/views/<name>")
@staff_only
def view(booth: str, id: str, name: str) -> Response:
    """A view to draw from: grey, values-3, values-5, values-7, or eyes-1 … for the eyes of each marked face."""
    picture = made_once.view_of(desk_at(booth).store, booth, id, name)
    return _private(picture, media_type(picture))


@blueprint.get("/<booth>/photos/<id>/colours")
@staff_only
def colours(booth: str, id: str) -> Response:
    """The main colours of skin, hair and clothes of each marked face, as a fragment of a page."""
    palettes = made_once.palettes_of(desk_at(booth).store, booth, id)
    return _private(render_template("views/colours.html", view=colours_view(palettes)), "text/html")


def _found(booth: str, id: str) -> StoredPhoto:
    desk = desk_at(booth)
    with desk.store.reading() as connection:
        found = kept.photo(connection, id)
    if found is None or found.booth != booth:
        raise NotThere(made_once.GONE)
    return found


def _private(content: bytes | str, media_type: str) -> Response:
    answer = Response(content, mimetype=media_type)
    answer.headers["Cache-Control"] = "private, no-store"
    answer.headers["Content-Disposition"] = "inline"
    return answer

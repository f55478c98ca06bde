"""Photos at the Counter: each goes to the booth as soon as it is taken, while its order is still being filled in.

The answer says what would make it better to draw from, while the sitter still stands there. Until its order claims it
a photo is loose; the desk deletes those that nobody claims. What is kept of a file says `portraitq.photo.intake`, what
is said of it `portraitq.photo.quality`.
"""

from __future__ import annotations

import re
from dataclasses import astuple
from typing import TYPE_CHECKING, Any

from flask import Blueprint, Response, jsonify, redirect, request, url_for
from flask.typing import ResponseReturnValue

from portraitq.core.errors import Malformed
from portraitq.photo.face import print_faces, read_faces
from portraitq.photo.quality import judged
from portraitq.store import photos as kept
from portraitq.store.photos import LOOSE, StoredPhoto
from portraitq.web import order_form
from portraitq.web.hand_over import known
from portraitq.web.here import desk_at
from portraitq.web.limits import takes_photos
from portraitq.web.made_once import GONE
from portraitq.web.problems import NotThere, wants_document
from portraitq.web.staff import staff_only

if TYPE_CHECKING:
    from portraitq.desk import Desk

blueprint = Blueprint("counter_photos", __name__)

A_DEVICES_ID = re.compile(r"[A-Za-z0-9_-]{20,32}")  # 96 random bits in hex and more: an address nobody guesses


@blueprint.post("/<booth>/counter/photos")
@takes_photos
@staff_only
def add(booth: str) -> ResponseReturnValue:
    """Keep one photo: loose, or of the `ticket` in the form; with `instead_of` in the place of another.

    An `id` made by the device makes a second sending harmless.
    """
    desk, form = desk_at(booth), request.form
    ticket = known(desk, form["ticket"]).id if form.get("ticket") else LOOSE
    id = _id(form.get("id", ""))
    if not (id and _is_here(desk, id)):
        pictures = order_form.read_photos(request.files.getlist("photo"))
        if len(pictures) != 1:
            raise Malformed(f"photo: one photo was expected, not {len(pictures)}.", "photo")
        id = desk.add_photo(ticket, pictures[0], id=id, instead_of=form.get("instead_of", ""))
    if wants_document():
        return _said(booth, _found(desk, id), _sitters(desk, ticket)), 201
    return _back(booth, ticket)


@blueprint.post("/<booth>/counter/photos/<id>/faces")
@staff_only
def mark_faces(booth: str, id: str) -> ResponseReturnValue:
    """Say where the faces are on a photo; the answer says what is thought of it now."""
    desk = desk_at(booth)
    faces = read_faces(request.form.get("faces", ""))
    if not desk.mark_faces(id, print_faces(faces)):
        raise NotThere(GONE)
    found = _found(desk, id)
    return _said(booth, found, _sitters(desk, found.ticket)) if wants_document() else _back(booth, found.ticket)


@blueprint.post("/<booth>/counter/photos/<id>/remove")
@staff_only
def remove(booth: str, id: str) -> ResponseReturnValue:
    """Delete a loose photo for good, or one of the `ticket` in the form; one that is gone already is no fault."""
    desk = desk_at(booth)
    ticket = known(desk, request.form["ticket"]).id if request.form.get("ticket") else LOOSE
    desk.remove_photo(ticket, id)
    return jsonify({"done": True}) if wants_document() else _back(booth, ticket)


def _id(text: str) -> str:
    if text and not A_DEVICES_ID.fullmatch(text):
        raise Malformed("id: 20 to 32 letters and digits that nobody guesses were expected.", "id")
    return text


def _is_here(desk: Desk, id: str) -> bool:
    with desk.store.reading() as connection:
        return kept.ref(connection, desk.slug, id) is not None


def _found(desk: Desk, id: str) -> StoredPhoto:
    with desk.store.reading() as connection:
        found = kept.photo(connection, id)
    if found is None or found.booth != desk.slug:
        raise NotThere(GONE)
    return found


def _sitters(desk: Desk, ticket: str) -> int:
    if ticket != LOOSE:
        return desk.ticket(ticket).sitters
    return order_form.read_sitters(request.form.get("sitters") or "1")


def _said(booth: str, photo: StoredPhoto, sitters: int) -> Response:
    """A photo in few words, with what is thought of it."""
    faces = read_faces(photo.faces)
    about: dict[str, Any] = {
        "id": photo.id,
        "small": url_for("photos.small", booth=booth, id=photo.id),
        "whole": url_for("photos.whole", booth=booth, id=photo.id),
        "width_px": photo.width_px,
        "height_px": photo.height_px,
        "faces": [astuple(face) for face in faces],
        "advice": [
            {"about": advice.about, "said": advice.said} for advice in judged(photo.jpeg, faces, sitters=sitters)
        ],
    }
    answer = jsonify(about)
    answer.headers["Cache-Control"] = "private, no-store"
    return answer


def _back(booth: str, ticket: str) -> ResponseReturnValue:
    """Where a browser without scripts goes on."""
    if ticket:
        return redirect(url_for("counter.ticket", booth=booth, ticket=ticket), 303)
    return redirect(url_for("counter.show", booth=booth), 303)

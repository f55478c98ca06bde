"""The page on which a tablet learns its pedal: what each press sends, and what it is to say at the Easel.

A pedal belongs to the tablet that it is paired with, so what was learned is kept in that browser (`pedal-keys.js`) and
nothing of it comes here.
"""

from __future__ import annotations

from flask import Blueprint, render_template

from portraitq.web.here import desk_at
from portraitq.web.staff import staff_only

blueprint = Blueprint("pedal", __name__)

# as `pedal-keys.js` calls it, what is said, what that does
MEANINGS = (
    ("next", "stage done", "Does what the large field of the Easel says: start, stage done, rack it, go on."),
    ("back", "take back", "Takes the tap before back."),
    ("pause", "pause", "The pencil is down; pressed once more, drawing goes on."),
)


@blueprint.get("/<booth>/set-up/pedal")
@staff_only
def show(booth: str) -> str:
    """The page; everything on it happens in the browser."""
    set_up = desk_at(booth).standing().booth.set_up
    artists = set_up.artists if set_up else ()
    return render_template("pedal.html", slug=booth, artists=artists, meanings=MEANINGS)

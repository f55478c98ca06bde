"""The part of Set-up about back-ups: when the last good one was made, one now, and a copy to take elsewhere.

When one is due and how many stay is `portraitq/back_ups.py`'s.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import IO, TYPE_CHECKING
from zoneinfo import ZoneInfo

from flask import Blueprint, Response, redirect, url_for
from flask.typing import ResponseReturnValue

from portraitq.back_ups import DAYS_KEPT, SERVERS_OWN
from portraitq.store.backup import megabytes
from portraitq.store.store import StoreError
from portraitq.web.here import desk_at, desks
from portraitq.web.problems import NotThere
from portraitq.web.said import clock_time, day_said
from portraitq.web.staff import owner_only

if TYPE_CHECKING:
    from portraitq.back_ups import BackUps

PART_BYTES = 256 * 1024
MADE, NOT_MADE = "backed-up", "not-backed-up"
SAID = {MADE: "The back-up was made.", NOT_MADE: "No back-up was made: what is in the way stands under Back-ups."}

blueprint = Blueprint("back_ups", __name__)


@dataclass(frozen=True)
class Row:
    """One back-up in the list."""

    name: str
    made: str
    size: str


@dataclass(frozen=True)
class BackUpsView:
    """The whole part. `elsewhere` is a sentence where the store looks after itself."""

    rows: tuple[Row, ...]
    trouble: str
    elsewhere: str
    days_kept: int = DAYS_KEPT


@blueprint.post("/<booth>/set-up/back-ups")
@owner_only
def make(booth: str) -> ResponseReturnValue:
    """Make one now; who asked waits for it, nobody else does."""
    desk_at(booth)
    try:
        desks().back_ups.make()
        said = MADE
    except StoreError:  # the part itself shows the sentence, until one was made
        said = NOT_MADE
    return redirect(url_for("set_up.show", booth=booth, said=said, _anchor="back-ups"), 303)


@blueprint.get("/<booth>/set-up/back-ups/<name>")
@owner_only
def download(booth: str, name: str) -> Response:
    """A back-up to keep elsewhere, sent part by part."""
    desk_at(booth)
    try:
        copy = desks().back_ups.opened(name)
    except LookupError:
        raise NotThere("This back-up is here no more: the list on Set-up shows those that are.") from None
    size_bytes = copy.seek(0, 2)
    copy.seek(0)
    answer = Response(_parts(copy), mimetype="application/vnd.sqlite3")
    answer.call_on_close(copy.close)
    answer.content_length = size_bytes
    answer.headers["Content-Disposition"] = f'attachment; filename="{name}"'
    answer.headers["Cache-Control"] = "private, no-store"
    return answer


def view_of(found: BackUps, zone: ZoneInfo) -> BackUpsView:
    """The part as it stands; times by the clocks of `zone`."""
    if found.source is None:
        return BackUpsView((), "", SERVERS_OWN)
    rows = (
        Row(
            one.name,
            f"{day_said(one.made_at.astimezone(zone).date().isoformat())}, {clock_time(one.made_at, zone)}",
            megabytes(one.size_bytes),
        )
        for one in found.listed()
    )
    return BackUpsView(tuple(rows), found.trouble, "")


def _parts(copy: IO[bytes]) -> Iterator[bytes]:
    while part := copy.read(PART_BYTES):
        yield part

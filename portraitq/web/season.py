"""Days and seasons: the page of a range of days, alone or beside another. What it says: `season_view.py`."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, timedelta
from typing import TYPE_CHECKING
from urllib.parse import urlencode

from flask import Blueprint, render_template, request
from flask.typing import ResponseReturnValue

from portraitq import kept_days
from portraitq.core.booth import Booth
from portraitq.core.errors import Malformed
from portraitq.daybook.day_summary import DaySummary
from portraitq.daybook.days import days_of
from portraitq.web.daybook import attended
from portraitq.web.here import desk_at
from portraitq.web.season_view import A_DAY, A_RANGE, AN_ARTIST, NOTHING, Picked, Shortcut, season_view
from portraitq.web.staff import owner_only

if TYPE_CHECKING:
    from portraitq.desk import Desk

blueprint = Blueprint("season", __name__)

BESIDES = (NOTHING, A_DAY, A_RANGE, AN_ARTIST)
WEEK = timedelta(days=7)


@blueprint.get("/<booth>/daybook/season")
@owner_only
def show(booth: str) -> ResponseReturnValue:
    """The days asked for with `from` and `to`, of `artist`, beside what `with` says; all closed days unless asked."""
    desk = desk_at(booth)
    told = desk.standing().booth
    closed = [day.day for day in days_of(told) if day.closed_at is not None]
    if not closed:
        return render_template("season.html", view=None, slug=desk.slug)
    picked = _picked(told, closed)
    view = season_view(
        told,
        picked,
        _summaries(desk, told, picked.first, picked.last, closed),
        _summaries(desk, told, picked.other_first, picked.other_last, closed) if picked.other_first else (),
        closed,
        _shortcuts(closed, picked),
        is_open_left_out=told.day is not None and picked.first <= told.day.day <= picked.last,
    )
    return render_template("season.html", view=view, slug=desk.slug)


def _summaries(desk: Desk, told: Booth, first: str, last: str, closed: Sequence[str]) -> list[DaySummary]:
    found = kept_days.summaries(desk.store, desk.slug, told, first, last, lambda: attended(desk), desk.clock.now())
    return [one for one in found if one.day in set(closed)]


def _picked(told: Booth, closed: Sequence[str]) -> Picked:
    beside = request.args.get("with", NOTHING)
    if beside not in BESIDES:
        raise Malformed("with: day, range, artist or nothing was expected. Choose one from the list.", "with")
    present = told.day.day if told.day is not None else closed[-1]
    last = _day("to", max(closed[-1], present))
    first = _day("from", closed[-1] if beside == A_DAY else closed[0])
    if beside == A_DAY:
        last = first
    first, last = min(first, last), max(first, last)
    artist = _artist(told, "artist")
    if beside == A_DAY:
        other = _day("other_from", _day_like(closed, first))
        return Picked(first, last, artist, beside, other, other)
    if beside == A_RANGE:
        begins, ends = date.fromisoformat(first), date.fromisoformat(last)
        before = _earlier(begins, timedelta(days=1))
        other_last = _day("other_to", before.isoformat())
        other_first = _day("other_from", _earlier(before, ends - begins).isoformat())
        return Picked(first, last, artist, beside, min(other_first, other_last), max(other_first, other_last))
    if beside == AN_ARTIST:
        known = [one.id for one in told.set_up.artists] if told.set_up else []
        artist = artist or next(iter(known), "")
        next_one = next((one for one in known if one != artist), artist)
        return Picked(first, last, artist, beside, other_artist=_artist(told, "other_artist") or next_one)
    return Picked(first, last, artist)


def _day(field: str, unless_asked: str) -> str:
    asked = request.args.get(field, "").strip()
    if not asked:
        return unless_asked
    try:
        return date.fromisoformat(asked).isoformat()
    except ValueError as odd:
        raise Malformed(f"{field}: a day such as 2026-06-06 was expected, not {asked[:20]!r}.", field) from odd


def _artist(told: Booth, field: str) -> str:
    """The artist asked for; one who has left the set-up is still known by what they drew."""
    asked = request.args.get(field, "")
    known = {one.id for one in told.set_up.artists} if told.set_up else set()
    if asked and asked not in known and not any(ticket.artist == asked for ticket in told.tickets.values()):
        names = ", ".join(sorted(known)) or "none"
        raise Malformed(f"{field}: an artist of this booth was expected ({names}), not {asked[:32]!r}.", field)
    return asked


def _day_like(closed: Sequence[str], day: str) -> str:
    """The same weekday a week before where the booth traded on it, else the day of trading before."""
    a_week_before = _earlier(date.fromisoformat(day), WEEK).isoformat()
    before = [one for one in closed if one < day]
    return a_week_before if a_week_before in before else before[-1] if before else day


def _earlier(day: date, by: timedelta) -> date:
    """`day` less `by`; where the calendar does not reach so far back, its first day."""
    return date.min + max(day - date.min - by, timedelta(0))


def _shortcuts(closed: Sequence[str], picked: Picked) -> list[Shortcut]:
    last = date.fromisoformat(closed[-1])
    ranges = [("The last 7 days", last - timedelta(days=6)), ("The last 30 days", last - timedelta(days=29))]
    named = [("Everything", closed[0]), *((said, first.isoformat()) for said, first in ranges)]
    artist = {"artist": picked.artist} if picked.artist else {}
    return [
        Shortcut(said, "?" + urlencode({"from": first, "to": closed[-1], **artist}))
        for said, first in named
        if said == "Everything" or first > closed[0]
    ]

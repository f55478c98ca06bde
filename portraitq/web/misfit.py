"""A tap of an easel that came too late to be taken: what it said, and what happened instead, by whom, in words.

The tablet keeps such a tap until the artist drops it (`misfits.js`); here it asks once for the words. The rule that
refused the tap is `core`'s.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from flask import Blueprint, Response, jsonify, request

from portraitq.core.booth import Booth
from portraitq.core.commands import Command, read_command
from portraitq.core.errors import Malformed
from portraitq.core.events import (
    COUNTER,
    SYSTEM,
    ArtistIn,
    Event,
    Finished,
    OfTicket,
    Paused,
    StageDone,
    StageUndone,
    easel,
)
from portraitq.core.life import IN_WORDS, Ticket
from portraitq.web import said
from portraitq.web.api import parse_json
from portraitq.web.here import desk_at
from portraitq.web.staff import staff_only

TOLD = 3  # so much of what happened instead is enough to understand it; the latest of it
HAPPENED = {
    "started": "was started",
    "paused": "was paused",
    "resumed": "went on",
    "put_back": "was put back",
    "held": "was put on hold",
    "released": "was released",
    "moved": "was moved in the queue",
    "finished": "was racked",
    "collected": "was handed over",
    "touched_up": "went to an easel for a touch-up",
    "cancelled": "was cancelled",
}

ONE_BY_ONE = ("stage_done", "stage_undone")  # which stage makes the difference
UNDOES = {
    "started": "put_back",
    "stage_done": "stage_undone",
    "stage_undone": "stage_done",
    "paused": "resumed",
    "resumed": "paused",
    "put_back": "started",
    "finished": "touched_up",
    "touched_up": "finished",
}

blueprint = Blueprint("misfit", __name__)


@dataclass(frozen=True)
class Misfit:
    """What a tap said and when, in one line; what happened instead, a sentence each, oldest first.

    was_said  that the very same was said by somebody else: then nothing else needs telling
    """

    tapped: str
    instead: tuple[str, ...]
    was_said: bool


@blueprint.get("/<booth>/easel/<artist>/instead")
@staff_only
def instead(booth: str, artist: str) -> Response:
    """What happened instead of a tap, for the tablet that keeps it.

    `command` is the tap as it was sent, `after` the line that its screen knew, `mine` ids of other taps of that tablet.
    """
    desk = desk_at(booth)
    command = read_command(parse_json(request.args.get("command", ""), "command"), easel(artist))
    after = request.args.get("after", "0")
    if not (after.isascii() and after.isdigit() and len(after) <= 15):
        raise Malformed(f"after: a seq of 0 or more was expected, not {after[:20]!r}", "after")
    standing = desk.standing()
    mine = set(request.args.get("mine", "").split(","))
    found = misfit_of(standing.booth, command, standing.as_of, int(after), mine)
    answer = jsonify({"tapped": found.tapped, "instead": list(found.instead), "was_said": found.was_said})
    answer.headers["Cache-Control"] = "no-store"
    return answer


def misfit_of(booth: Booth, command: Command, now: datetime, after: int, mine: Collection[str] = ()) -> Misfit:
    """What `command`, refused by `booth`, said `ago_s` before `now`, and what came after the line `after` instead.

    mine  ids of commands of the same tablet, which its artist knows of
    """
    at = now - timedelta(seconds=command.ago_s)
    ticket = booth.tickets.get(command.data.ticket) if isinstance(command.data, OfTicket) else None
    tapped = f"{_said(command, ticket)}, tapped at {said.clock_time(at, booth.zone, now)}"
    since = [event for event in _work_on(ticket) if event.seq > after and event.id not in mine]
    same = _said_by_others(command, since)
    told = [same] if same else since[-TOLD:]
    happened = [_happened(booth, ticket, event, command.by, now) for event in told if ticket is not None]
    lines = happened if same else [*happened, *_of_the_day(booth, command, now)]
    return Misfit(tapped, tuple(lines), was_said=same is not None)


def _work_on(ticket: Ticket | None) -> list[Event]:
    """What moved `ticket`, in order."""
    history = ticket.history if ticket else ()
    return [event for event in history if event.kind in HAPPENED or isinstance(event.data, StageDone | StageUndone)]


def _said_by_others(command: Command, since: Sequence[Event]) -> Event | None:
    """The event by which others said the same as `command`, if it was not undone since."""
    for event in reversed(since):
        if event.kind == command.kind and (command.kind not in ONE_BY_ONE or event.data == command.data):
            return event
        if UNDOES.get(command.kind) == event.kind:
            return None
    return None


def _said(command: Command, ticket: Ticket | None) -> str:
    """What the hand said, as the Easel's buttons call it."""
    if not isinstance(command.data, OfTicket):
        return {"artist_in": "“I am here”", "artist_out": "“I am going”"}.get(command.kind, f"“{command.kind}”")
    number = f"number {ticket.number}" if ticket else "a portrait that this booth does not know"
    match command.data:
        case StageDone(stage=stage):
            return f"“{_stage(ticket, stage)} done” of {number}"
        case StageUndone(stage=stage):
            return f"“Take back {_stage(ticket, stage)}” of {number}"
        case Paused(why=why) if why != "other":
            return f"“Pause” ({why}) of {number}"
        case Finished(rack=str() as rack):
            return f"“At {rack}” of {number}"
    words = {
        "started": "Start",
        "paused": "Pause",
        "resumed": "Go on",
        "put_back": "Put back",
        "finished": "Rack it",
        "touched_up": "Touch up",
    }
    return f"“{words.get(command.kind, IN_WORDS.get(command.kind, command.kind))}” of {number}"


def _stage(ticket: Ticket | None, id: str) -> str:
    """A stage as people call it."""
    stages = ticket.style.stages if ticket else ()
    return next((stage.name for stage in stages if stage.id == id), id)


def _happened(booth: Booth, ticket: Ticket, event: Event, own: str, now: datetime) -> str:
    when = f"at {said.clock_time(event.happened_at, booth.zone, now)}, {_by(booth, event.by, own)}."
    match event.data:
        case StageDone(stage=stage):
            return f"{_stage(ticket, stage)} of number {ticket.number} was said to be done {when}"
        case StageUndone(stage=stage):
            return f"{_stage(ticket, stage)} of number {ticket.number} was taken back {when}"
        case Finished(rack=str() as rack):
            return f"Number {ticket.number} was racked at {rack} {when}"
    return f"Number {ticket.number} {HAPPENED[event.kind]} {when}"


def _by(booth: Booth, by: str, own: str) -> str:
    if by == own:
        return "at this easel"
    if by in (COUNTER, SYSTEM):
        return {COUNTER: "at the counter", SYSTEM: "by the program"}[by]
    artist = booth.set_up.artist(by.partition(":")[2]) if booth.set_up else None
    return f"at {artist.name if artist else by}"


def _of_the_day(booth: Booth, command: Command, now: datetime) -> Iterator[str]:
    """Closing the day sends everybody out, so "start" and "I am here" may not fit any more."""
    if booth.day is None and booth.days and booth.days[-1].closed_at is not None:
        yield f"The day was closed at {said.clock_time(booth.days[-1].closed_at, booth.zone, now)}."
    elif isinstance(command.data, ArtistIn) and (since := booth.here_since.get(command.data.artist)):
        yield f"You are in since {said.clock_time(since, booth.zone, now)}."

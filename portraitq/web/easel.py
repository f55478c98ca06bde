"""The Easel: what an artist sees while drawing, and the few things they can say with a chalky hand.

The fragment carries every step that the hand can reach from here: each stage of the sketch in hand, then the sketch
that comes next. `easel.js` only shows another of them the moment a tap is made, so the screen never waits for the
network, and the push that follows shows the same.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from itertools import islice
from typing import TYPE_CHECKING, Any

from flask import Blueprint, Response, render_template
from flask.typing import ResponseReturnValue

from portraitq import house_rules
from portraitq.core import timing
from portraitq.core.booth import Booth
from portraitq.core.events import Artist, SetUp, Stage, easel
from portraitq.core.life import DRAWING, ON_EASEL, PAUSED, READY, TOUCH_UP, TOUCH_UP_REST, WAITING, Ticket
from portraitq.core.rack import free_places
from portraitq.core.rests import drawing_since
from portraitq.forecast.usual import usual_stages_s
from portraitq.house_rules import HouseRules
from portraitq.web import said, views
from portraitq.web.clock_said import ClockSaid, clock_said
from portraitq.web.consent import consent_said
from portraitq.web.drawing import TOOLKIT, Drawn, Toolkit, drawn
from portraitq.web.here import desk_at
from portraitq.web.problems import NotThere
from portraitq.web.queue import now_of
from portraitq.web.quoted import UNTOLD, holding
from portraitq.web.staff import staff_only

if TYPE_CHECKING:
    from portraitq.desk import Desk, Standing
    from portraitq.store.cards import Card
    from portraitq.store.photos import PhotoRef

blueprint = Blueprint("easel", __name__)

OUT, CLOSED, NOTHING, SKETCH = "out", "closed", "nothing", "sketch"
STATES = {
    WAITING: "next",
    DRAWING: "drawing",
    PAUSED: "paused",
    TOUCH_UP: "touch-up",
    TOUCH_UP_REST: "touch-up-rest",
}
REASONS = (
    ("counter", "At the counter"),
    ("break", "Break"),
    ("supplies", "Supplies"),
    ("sitter", "The sitter is here"),
    ("other", "Something else"),
)
RACKS_SHOWN = 8
SKETCHES_SHOWN = 2  # the one in hand and the one after
LONG_NOTE_CHARS = 110  # more than three lines of a tablet, which would take the photo its room
SLIPPING_SHOWN = 4
SOON = timedelta(minutes=45)  # a break or the closing is told early enough to choose what still fits before it
FITS_STEP_S = 300  # nobody reads a finer clock at an easel, and the words move no more often
BAR_OF_USUAL = 1.6  # the bar's whole length in usual times: most goes end on it
BAR_STEPS = 32  # the bar moves by this part of itself, so that it never seems to tick


@dataclass(frozen=True)
class Tap:
    """Something that can be said by one touch: its words, and the command that goes out."""

    said: str
    command: dict[str, Any]


@dataclass(frozen=True)
class StageRow:
    """One stage in the list: `state` is "done", "now" or "to come"."""

    name: str
    state: str
    usual_said: str


@dataclass(frozen=True)
class Step:
    """The sketch with `done` stages done: what is in hand, and what the hand can say.

    `main` is None at the last stage, where a rack place is to be chosen. `bar` is how far the usual time has gone,
    0–100, where `bar_usual` marks the usual time itself.
    """

    done: int
    stage: str
    title: str
    usual_said: str
    rows: tuple[StageRow, ...]
    main_said: str
    main: Tap | None
    take_back: Tap | None
    bar: int


@dataclass(frozen=True)
class Sketch:
    """One portrait on the easel or next for it; `day` stands beside its number where that is not today."""

    ticket: str
    number: int
    day: str
    state: str
    step: int
    style: str
    sitters_said: str
    name: str
    note: str
    has_long_note: bool
    consent_said: str
    asked_for: str
    photos: tuple[Drawn, ...]
    promise_said: str
    promise_state: str
    paused_said: str
    plan_said: str
    fits_said: str
    steps: tuple[Step, ...]
    start: Tap
    go_on: Tap
    put_back: Tap | None
    racks: tuple[Tap, ...]
    stages: int


@dataclass(frozen=True)
class Between:
    """What is read between two portraits, in the booth's own words.

    steps       what to do, a line each
    rest        the suggestion to rest, once it is due; else empty
    drawn_said  since when this artist draws without a rest, once one is due; else empty
    care        the caution about fixative and dust; empty where the booth wants none
    """

    steps: tuple[str, ...]
    rest: str
    drawn_said: str
    care: str


@dataclass(frozen=True)
class Racked:
    """The portrait that this artist finished last, while it waits for its customer."""

    said: str
    touch_up: Tap


@dataclass(frozen=True)
class EaselView:
    """What the artist sees. `sketches` are the one in hand, or next, and the one after it.

    slipping  which of the other portraits that wait for this artist will probably be late, in one line
    pause     a break between two portraits: away from the easel until the next "I am back"
    is_back   whether "here" means back at the easel, for they were at it today
    """

    artist: str
    name: str
    booth: str
    by: str
    face: str
    sketches: tuple[Sketch, ...]
    here: Tap
    going: Tap
    pause: Tap
    is_back: bool
    between: Between
    soon: tuple[str, ...]
    others: tuple[str, ...]
    slipping: str
    waiting_said: str
    last: Racked | None
    reasons: tuple[tuple[str, str], ...]
    bar_usual: int
    clock: ClockSaid | None = None
    toolkit: Toolkit = TOOLKIT


@blueprint.get("/<booth>/easel")
@staff_only
def choose(booth: str) -> str:
    """Who am I: every artist of the booth as a large choice."""
    standing = desk_at(booth).standing()
    set_up = _set_up(standing.booth)
    artists = [(artist, _at_work_said(standing.booth, artist)) for artist in set_up.artists]
    return render_template("easels.html", artists=artists, booth_name=set_up.booth.name, slug=booth)


@blueprint.get("/<booth>/easel/<artist>")
@staff_only
def show(booth: str, artist: str) -> Response | ResponseReturnValue:
    """One artist's easel."""
    return views.show_view("easel", desk_at(booth), artist, page="easel.html")


def easel_view(
    standing: Standing,
    artist: str,
    cards: Mapping[str, Card] | None = None,
    photos: Mapping[str, Sequence[PhotoRef]] | None = None,
    rules: HouseRules | None = None,
) -> EaselView:
    """The easel of `artist` as it stands; NotThere when the booth has no such artist.

    cards, photos  of the tickets in `sketches_of`
    rules          the booth's own; the usual ones when left out
    """
    booth, set_up = standing.booth, _set_up(standing.booth)
    who = set_up.artist(artist)
    if who is None:
        known = ", ".join(one.id for one in set_up.artists) or "none"
        raise NotThere(f"There is no artist {artist[:40]!r} at this booth (it has: {known}).")
    at_hand = sketches_of(booth, artist)
    sketches = tuple(
        _sketch(standing, who, ticket, (cards or {}).get(ticket.id), tuple((photos or {}).get(ticket.id, ())))
        for ticket in at_hand
    )
    is_in, was_in = artist in booth.here_since, _was_in_today(booth, artist)
    return EaselView(
        artist=artist,
        name=who.name,
        booth=set_up.booth.name,
        by=easel(artist),
        face=_face(booth, is_in, sketches),
        sketches=sketches,
        here=Tap("I am back" if was_in else "I am here", {"kind": "artist_in", "data": {"artist": artist}}),
        going=Tap("I am going", {"kind": "artist_out", "data": {"artist": artist}}),
        pause=Tap(_break_said(booth, standing.as_of), {"kind": "artist_out", "data": {"artist": artist}}),
        is_back=was_in,
        between=_between(standing, artist, rules or HouseRules()),
        soon=tuple(_soon(booth, artist, standing.as_of)) if standing.tells_time else (),
        others=tuple(_others(booth, who)),
        slipping=_slipping(standing, artist, at_hand[:1]),
        waiting_said=_waiting_said(booth, artist, sketches),
        last=_last_racked(booth, artist),
        reasons=REASONS,
        bar_usual=round(100 / BAR_OF_USUAL),
        clock=clock_said(standing),
    )


def sketches_of(booth: Booth, artist: str) -> list[Ticket]:
    """What is on the easel of `artist`, if anything, and what comes next for it."""
    on_easel = booth.on_easel(artist)
    at_hand = [on_easel] if on_easel else []
    return [*at_hand, *islice(_waiting_for(booth, artist), SKETCHES_SHOWN - len(at_hand))]


def _waiting_for(booth: Booth, artist: str) -> Iterator[Ticket]:
    return (ticket for ticket in booth.waiting() if ticket.place == WAITING and booth.may_draw(artist, ticket))


def _set_up(booth: Booth) -> SetUp:
    if booth.set_up is None:
        raise NotThere("This booth is not set up yet: open its set-up first.")
    return booth.set_up


def _face(booth: Booth, is_in: bool, sketches: tuple[Sketch, ...]) -> str:
    if booth.day is None:
        return CLOSED
    if not is_in:
        return OUT
    return SKETCH if sketches else NOTHING


def _break_said(booth: Booth, now: datetime) -> str:
    return "Take a break" if booth.day is None or now < booth.day.closes_at else "I am going"


def _was_in_today(booth: Booth, artist: str) -> bool:
    since = booth.free_since.get(artist)
    return since is not None and booth.day is not None and since >= booth.day.opened_at


def _between(standing: Standing, artist: str, rules: HouseRules) -> Between:
    since = drawing_since(standing.booth, artist, standing.as_of)
    drawn_s = (standing.as_of - since).total_seconds() if since else 0.0
    is_due = since is not None and 0 < rules.rest_after_min * 60 <= drawn_s
    return Between(
        steps=tuple(line.strip() for line in rules.between.splitlines() if line.strip()),
        rest=rules.rest if is_due else "",
        drawn_said=f"Drawing since {said.clock_time(since, standing.booth.zone)} without a rest"
        if is_due and since
        else "",
        care=rules.care.strip(),
    )


def _sketch(
    standing: Standing, artist: Artist, ticket: Ticket, card: Card | None, photos: tuple[PhotoRef, ...]
) -> Sketch:
    booth, id = standing.booth, ticket.id
    set_up = _set_up(booth)
    asked = set_up.artist(ticket.wants_artist) if ticket.wants_artist else None
    promise = _promise(standing, ticket)
    is_touch_up = ticket.place in (TOUCH_UP, TOUCH_UP_REST)
    today = timing.day_index(booth.days, standing.as_of)
    usual_s = usual_stages_s(standing.pace, artist.id, ticket, today)
    return Sketch(
        ticket=id,
        number=ticket.number,
        day=now_of(standing).beside(ticket),
        state=STATES[ticket.place],
        step=0 if is_touch_up else ticket.stages_done,
        style=ticket.style.name,
        sitters_said=sitters_said(ticket.sitters),
        name=card.name if card else "",
        note=card.note if card else "",
        has_long_note=card is not None and len(card.name) + len(card.note) > LONG_NOTE_CHARS,
        consent_said=consent_said(card),
        asked_for=f"asked for {asked.name}" if asked else "",
        photos=drawn(photos),
        promise_said=promise[0],
        promise_state=promise[1],
        paused_said=_paused_said(booth, ticket),
        plan_said="" if is_touch_up else _plan_said(ticket, usual_s),
        fits_said=_fits_said(standing, artist.id, sum(usual_s[ticket.stages_done :])),
        steps=(_touch_up_step(standing, ticket),) if is_touch_up else tuple(_steps(standing, ticket, usual_s)),
        start=Tap(_start_said(ticket), {"kind": "started", "data": {"ticket": id, "artist": artist.id}}),
        go_on=Tap("Go on", {"kind": "resumed", "data": {"ticket": id}}),
        put_back=None if is_touch_up else Tap("Put back", {"kind": "put_back", "data": {"ticket": id}}),
        racks=tuple(_racks(booth, ticket)),
        stages=len(ticket.style.stages),
    )


def _promise(standing: Standing, ticket: Ticket) -> tuple[str, str]:
    """How the promise stands, and its state. Telling a new time is the counter's, which sees the same."""
    stands = holding(standing, ticket)
    if stands is None:
        return "", UNTOLD
    if not stands.promise:
        return stands.said[:1].upper() + stands.said[1:], stands.state
    return f"Promise {stands.promise} · {stands.said}", stands.state


def sitters_said(sitters: int) -> str:
    """How many are in the picture, for people."""
    return "1 sitter" if sitters == 1 else f"{sitters} sitters"


def _plan_said(ticket: Ticket, usual_s: Sequence[float]) -> str:
    """What starting it means: its stages and their usual time, or with which stage it goes on."""
    usual = f"usually about {said.minutes(sum(usual_s[ticket.stages_done :]))}"
    if ticket.stages_done and ticket.stage_in_hand:
        return f"Goes on with {ticket.stage_in_hand.name}, {usual} more"
    return f"{' · '.join(stage.name for stage in ticket.style.stages)}, {usual} in all"


def _start_said(ticket: Ticket) -> str:
    """One that was begun goes on; what is on an easel can only come back here by being put back."""
    return f"{'Go on with' if ticket.was_begun else 'Start'} number {ticket.number}"


def _fits_said(standing: Standing, artist: str, usual_s: float) -> str:
    """Whether a portrait of `usual_s`, begun now, is done before the artist's next break, in clock times."""
    booth, now = standing.booth, standing.as_of
    ahead = [one for one in booth.day.breaks if one.artist == artist and one.begins_at > now] if booth.day else []
    if not ahead or not standing.tells_time:
        return ""
    begins_at = min(one.begins_at for one in ahead)
    done_at = now + timedelta(seconds=usual_s)
    if done_at <= begins_at and begins_at - now > SOON:
        return ""
    until_at = datetime.fromtimestamp(-(-done_at.timestamp() // FITS_STEP_S) * FITS_STEP_S, UTC)
    fits, pause = done_at <= begins_at, said.clock_time(begins_at, booth.zone)
    until = said.clock_time(min(until_at, begins_at) if fits else until_at, booth.zone)
    if fits:
        return f"Fits before the break at {pause}: begun now, it is usually done by {until}."
    return f"Does not fit before the break at {pause}: begun now, it usually takes until {until}."


def _steps(standing: Standing, ticket: Ticket, usual_s: Sequence[float]) -> list[Step]:
    stages = ticket.style.stages
    ran_s = timing.running(ticket, standing.as_of, standing.booth.days) or 0.0
    steps = [
        _step(ticket, usual_s, done, bar_of(ran_s, usual_s[done]) if done == ticket.stages_done else 0)
        for done in range(len(stages))
    ]
    return [*steps, _all_done(ticket, usual_s)] if ticket.stage_in_hand is None else steps


def _step(ticket: Ticket, usual_s: Sequence[float], done: int, bar: int) -> Step:
    stages, stage = ticket.style.stages, ticket.style.stages[done]
    is_last = done == len(stages) - 1
    main = Tap(f"{stage.name} done", {"kind": "stage_done", "data": {"ticket": ticket.id, "stage": stage.id}})
    return Step(
        done=done,
        stage=stage.id,
        title=stage.name,
        usual_said=f"usually about {said.minutes(usual_s[done])}",
        rows=_rows(stages, usual_s, done),
        main_said="Signed: rack it" if is_last else main.said,
        main=None if is_last else main,
        take_back=_take_back(ticket, done),
        bar=bar,
    )


def _all_done(ticket: Ticket, usual_s: Sequence[float]) -> Step:
    """Every stage is done and the rack place is still to be said: a journal from elsewhere may stand like that."""
    stages = ticket.style.stages
    return Step(
        done=len(stages),
        stage="",
        title="All stages done",
        usual_said="",
        rows=_rows(stages, usual_s, len(stages)),
        main_said="Rack it",
        main=None,
        take_back=_take_back(ticket, len(stages)),
        bar=0,
    )


def _touch_up_step(standing: Standing, ticket: Ticket) -> Step:
    """A touch-up is timed apart: how long it ran and usually takes is its own, not a stage's."""
    usual_s = math.exp(standing.pace.lags.touch_up.mu)
    ran_s = timing.running(ticket, standing.as_of, standing.booth.days) or 0.0
    usual = f"about {said.minutes(usual_s)}"
    rows = (StageRow("Touch-up", "now", usual),)
    bar = bar_of(ran_s, usual_s)
    return Step(0, "", "Touch-up", f"usually {usual}", rows, "Touched up: rack it", None, None, bar)


def _rows(stages: Sequence[Stage], usual_s: Sequence[float], done: int) -> tuple[StageRow, ...]:
    states = ["done" if at < done else "now" if at == done else "to come" for at in range(len(stages))]
    return tuple(
        StageRow(stage.name, state, f"about {said.minutes(usual)}")
        for stage, state, usual in zip(stages, states, usual_s, strict=True)
    )


def _take_back(ticket: Ticket, done: int) -> Tap | None:
    if done == 0:
        return None
    last = ticket.style.stages[done - 1]
    return Tap(f"Take back {last.name}", {"kind": "stage_undone", "data": {"ticket": ticket.id, "stage": last.id}})


def bar_of(ran_s: float, usual_s: float) -> int:
    """How much of the bar a stage that ran `ran_s` fills, 0–100 in coarse steps; it stands still once it is full."""
    share = min(1.0, ran_s / (usual_s * BAR_OF_USUAL))
    return round(int(share * BAR_STEPS) * 100 / BAR_STEPS)


def _racks(booth: Booth, ticket: Ticket) -> list[Tap]:
    places = list(free_places(booth, RACKS_SHOWN))
    if ticket.rack and ticket.rack not in places and ticket.place in ON_EASEL:
        places = [ticket.rack, *places[: RACKS_SHOWN - 1]]  # after a touch-up it most likely goes back where it was
    finished = [Tap(place, {"kind": "finished", "data": {"ticket": ticket.id, "rack": place}}) for place in places]
    return [*finished, Tap("No rack place", {"kind": "finished", "data": {"ticket": ticket.id, "rack": None}})]


def _paused_said(booth: Booth, ticket: Ticket) -> str:
    pause = timing.pause_in_hand(ticket)
    if pause is None:
        return ""
    why = dict(REASONS).get(pause.why, "") if pause.why != "other" else ""
    since = f"Paused since {said.clock_time(pause.began_at, booth.zone)}"
    return f"{since}: {why[:1].lower()}{why[1:]}" if why else since


def _soon(booth: Booth, artist: str, now: datetime) -> list[str]:
    """The break and the closing that come near, in words."""
    if (day := booth.day) is None:
        return []
    found, zone = [], booth.zone
    for planned in sorted(day.breaks, key=lambda one: one.begins_at):
        if planned.artist != artist or planned.ends_at <= now:
            continue
        if planned.begins_at <= now:
            found.append(f"Break until {said.clock_time(planned.ends_at, zone)}")
        elif planned.begins_at - now <= SOON:
            found.append(f"Break at {said.clock_time(planned.begins_at, zone)}")
    if day.closes_at <= now:
        found.append(f"Past closing ({said.clock_time(day.closes_at, zone)})")
    elif day.closes_at - now <= SOON:
        found.append(f"Closing at {said.clock_time(day.closes_at, zone)}")
    return found


def _others(booth: Booth, artist: Artist) -> list[str]:
    """What the other easels have, and what waits for them."""
    found = []
    for one in _set_up(booth).artists:
        if one.id == artist.id:
            continue
        if ticket := booth.on_easel(one.id):
            found.append(f"{one.name}: number {ticket.number}, {_place_said(ticket)}")
        elif one.id in booth.here_since:
            following = booth.next_for(one.id)
            found.append(f"{one.name}: number {following.number} next" if following else f"{one.name}: free")
    held = [ticket for ticket in booth.waiting() if ticket.place != WAITING]
    if held:
        found.append(f"On hold at the counter: {', '.join(f'number {ticket.number}' for ticket in held)}")
    return found


def _slipping(standing: Standing, artist: str, at_hand: Sequence[Ticket]) -> str:
    """The portraits that slip and will most likely be drawn here, without those `at_hand`, which say it themselves."""
    booth, at = standing.booth, now_of(standing)
    numbers = [
        f"{ticket.number} {day}" if (day := at.beside(ticket)) else f"{ticket.number}"
        for ticket in booth.waiting()
        if ticket.id in standing.slips
        and standing.forecast.tickets[ticket.id].artist == artist
        and ticket not in at_hand
    ]
    if not numbers:
        return ""
    more = len(numbers) - SLIPPING_SHOWN
    said = ", ".join(numbers[:SLIPPING_SHOWN]) + (f" and {more} more" if more > 0 else "")
    return f"Likely late behind it: {said}" if at_hand else f"Likely late: {said}"


def _place_said(ticket: Ticket) -> str:
    if ticket.place in (TOUCH_UP, TOUCH_UP_REST):
        return "touch-up"
    stage = ticket.stage_in_hand
    name = stage.name[:1].lower() + stage.name[1:] if stage else "all stages done"
    return f"{name}, paused" if ticket.place == PAUSED else name


def _waiting_said(booth: Booth, artist: str, sketches: tuple[Sketch, ...]) -> str:
    """How many more wait for this artist behind the one that is on the easel or next."""
    on_easel = booth.on_easel(artist)
    behind = sum(1 for _ in _waiting_for(booth, artist)) - (0 if on_easel or not sketches else 1)
    if behind <= 0:
        return "Nobody waits behind it" if sketches else ""
    return f"{behind} more {'waits' if behind == 1 else 'wait'} behind it"


def _last_racked(booth: Booth, artist: str) -> Racked | None:
    mine = [ticket for ticket in booth.open_tickets() if ticket.place == READY and ticket.artist == artist]
    if not mine or booth.on_easel(artist):
        return None
    last = max(mine, key=lambda ticket: ticket.history[-1].seq if ticket.finished_at is None else _finished_seq(ticket))
    where = f"is at {last.rack}" if last.rack else "is done, without a rack place"
    touch_up = {"kind": "touched_up", "data": {"ticket": last.id, "artist": artist}}
    return Racked(f"Number {last.number} {where}", Tap(f"Touch up number {last.number}", touch_up))


def _finished_seq(ticket: Ticket) -> int:
    return max(event.seq for event in ticket.history if event.kind == "finished")


def _at_work_said(booth: Booth, artist: Artist) -> str:
    if ticket := booth.on_easel(artist.id):
        does = "draws" if ticket.place == DRAWING else "has on the easel"
        return f"{does} number {ticket.number}"
    return "is here" if artist.id in booth.here_since else "not here yet"


def _build(desk: Desk, standing: Standing, artist: str) -> EaselView:
    if standing.booth.set_up is None or standing.booth.set_up.artist(artist) is None:
        return easel_view(standing, artist)
    tickets = [ticket.id for ticket in sketches_of(standing.booth, artist)]
    with desk.store.reading() as connection:
        rules = house_rules.of(connection, desk.slug)
    return easel_view(standing, artist, desk.cards(tickets), desk.photo_refs(tickets), rules)


views.register(views.View("easel", views.STAFF, _build, "views/easel.html", arg_name="artist"))

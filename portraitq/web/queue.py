"""The queue as the counter sees it: what waits, what is on the easels, what hangs on the rack, ready to print.

Pure: out of a Standing, the cards and the photos' names. Which words a quote is told in is `quoted.py`'s.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

from portraitq.core.life import CANCELLED, DRAWING, IN_QUEUE, ON_EASEL, PAUSED, READY, TOUCH_UP_REST, Ticket
from portraitq.web.clock_said import ClockSaid, clock_said
from portraitq.web.quoted import Holding, holding
from portraitq.web.said import clock_time, day_beside, day_said, money

if TYPE_CHECKING:
    from portraitq.desk import Standing
    from portraitq.store.cards import Card
    from portraitq.store.photos import PhotoRef

HOLD_WHY = {"photo": "the photo is to be taken again", "customer": "the customer asked to wait", "other": "held"}
PAUSE_WHY = {
    "counter": "serving at the counter",
    "break": "a break",
    "supplies": "supplies",
    "sitter": "a question to the sitter",
    "other": "paused",
}


@dataclass(frozen=True)
class Row:
    """One ticket in the queue, as it is read at a glance.

    oval       "waiting", "easel" or "ready": the shape of its state
    holding    how its promise stands, or None where none is to be kept any more
    thumb      the id of its first photo, or ""
    from_day   the day beside its number, where that is not the present day's
    """

    ticket: str
    code: str
    number: int
    oval: str
    stages_done: int
    stages: int
    place: str
    place_said: str
    style: str
    sitters: str
    asked_of: str
    name: str
    is_child: bool
    has_note: bool
    thumb: str
    holding: Holding | None
    due: str
    is_due: bool
    from_day: str
    since: str


@dataclass(frozen=True)
class ArtistAt:
    """One artist: in or not, and what is on their easel."""

    id: str
    name: str
    is_in: bool
    said: str
    row: Row | None
    command: dict[str, Any]
    can_leave: bool


@dataclass(frozen=True)
class CounterView:
    """All that changes on the counter by itself."""

    is_open: bool
    day: str
    closes: str
    artists: tuple[ArtistAt, ...] = ()
    waiting: tuple[Row, ...] = ()
    ready: tuple[Row, ...] = ()
    at_risk: int = 0
    headline: str = ""
    clock: ClockSaid | None = None

    @property
    def is_nobody_in(self) -> bool:
        """Whether the day is open and no artist at an easel yet."""
        return self.is_open and bool(self.artists) and not any(artist.is_in for artist in self.artists)


def counter_view(
    standing: Standing, cards: Mapping[str, Card], photos: Mapping[str, Sequence[PhotoRef]]
) -> CounterView:
    """What the counter shows of the booth as it stands; cards and photos of the open tickets, by ticket."""
    booth = standing.booth
    if booth.set_up is None:
        return CounterView(is_open=False, day="", closes="", headline="The booth is not set up yet.")

    def row(ticket: Ticket) -> Row:
        return row_of(standing, ticket, cards.get(ticket.id), photos.get(ticket.id, ()))

    waiting = tuple(row(ticket) for ticket in booth.waiting())
    racked = sorted((t for t in booth.open_tickets() if t.place == READY), key=lambda t: (t.day, t.number))
    ready = tuple(row(ticket) for ticket in racked)
    artists = []
    for one in booth.set_up.artists:
        on_easel = booth.on_easel(one.id)
        artists.append(
            _artist(
                one.id, one.name, one.id in booth.here_since, booth.day is not None, row(on_easel) if on_easel else None
            )
        )
    rows = [*waiting, *(artist.row for artist in artists if artist.row)]
    at_risk = sum(row.holding is not None and row.holding.is_in_danger for row in rows)
    return CounterView(
        is_open=booth.day is not None,
        day=day_said(booth.day.day).rpartition(" ")[0] if booth.day else "",
        closes=clock_time(booth.day.closes_at, booth.zone) if booth.day else "",
        artists=tuple(artists),
        waiting=waiting,
        ready=ready,
        at_risk=at_risk,
        headline=_headline(len(waiting), len(ready), at_risk),
        clock=clock_said(standing),
    )


@dataclass(frozen=True)
class Now:
    """When and where something is said: the instant, the booth's zone, the day of trading that is or was the last."""

    now: datetime
    zone: ZoneInfo
    day: str | None

    def clock(self, at: datetime) -> str:
        """`at` as the booth's clocks show it, with its weekday when that is not today's."""
        return clock_time(at, self.zone, self.now)

    def beside(self, ticket: Ticket) -> str:
        """The day beside the number of a ticket that was carried over; empty for one of today."""
        return day_beside(ticket.day, self.day) if self.day else ""


def now_of(standing: Standing) -> Now:
    """The present of `standing`."""
    days = standing.booth.days
    return Now(standing.as_of, standing.booth.zone, days[-1].day if days else None)


def row_of(standing: Standing, ticket: Ticket, card: Card | None, photos: Sequence[PhotoRef]) -> Row:
    """`ticket` as one row."""
    set_up, at = standing.booth.set_up, now_of(standing)
    assert set_up is not None
    currency = set_up.booth.currency
    asked = set_up.artist(ticket.wants_artist) if ticket.wants_artist else None
    return Row(
        ticket=ticket.id,
        code=card.code if card else "",
        number=ticket.number,
        oval=oval_of(ticket),
        stages_done=ticket.stages_done,
        stages=len(ticket.style.stages),
        place=ticket.place,
        place_said=place_said(ticket),
        style=ticket.style.name,
        sitters="" if ticket.sitters == 1 else f"{ticket.sitters} sitters",
        asked_of=f"asked for {asked.name}" if asked else "",
        name=card.name if card else "",
        is_child=bool(card and card.is_child),
        has_note=bool(card and card.note),
        thumb=photos[0].id if photos else "",
        holding=holding(standing, ticket),
        due=due_said(ticket, currency),
        is_due=ticket.due != 0,
        from_day=at.beside(ticket),
        since=at.clock(ticket.finished_at) if ticket.place == READY and ticket.finished_at else "",
    )


def due_said(ticket: Ticket, currency: str) -> str:
    """How the ticket's money stands; what is over the price may be a tip, what a cancelled one paid is not."""
    due = ticket.due
    if due > 0:
        return f"{money(due, currency)} due"
    if due < 0:
        return f"{money(-due, currency)} " + ("to give back" if ticket.place == CANCELLED else "over the price")
    return "paid" if ticket.paid else "nothing to pay"


def oval_of(ticket: Ticket) -> str:
    """Which oval stands for the ticket's state."""
    if ticket.place in ON_EASEL:
        return "easel"
    if ticket.place in (*IN_QUEUE, CANCELLED):
        return "waiting"
    return "ready" if ticket.place == READY else "over"


def place_said(ticket: Ticket) -> str:
    """Where the ticket is, for people who stand at the counter."""
    match ticket.place:
        case "waiting":
            return "put back, to be gone on with" if ticket.was_begun else "waiting"
        case "held":
            return f"held: {HOLD_WHY[ticket.why or 'other']}" if ticket.why != "other" else "held"
        case "ready":
            return f"ready · rack {ticket.rack}" if ticket.rack else "ready"
        case _ if ticket.place in (DRAWING, PAUSED):
            stage = ticket.stage_in_hand
            which = min(ticket.stages_done + 1, len(ticket.style.stages))
            said = f"stage {which} of {len(ticket.style.stages)}" + (f": {stage.name}" if stage else "")
            return said if ticket.place == DRAWING else f"{said} · paused: {PAUSE_WHY[ticket.why or 'other']}"
        case _ if ticket.place == TOUCH_UP_REST:
            return "touch-up, paused"
    return ticket.place if ticket.place not in ON_EASEL else "touch-up"


def _artist(id: str, name: str, is_in: bool, is_open: bool, row: Row | None) -> ArtistAt:
    said = "" if row else "free"
    return ArtistAt(
        id=id,
        name=name,
        is_in=is_in,
        said=said if is_in else "not in",
        row=row,
        command={"kind": "artist_out" if is_in else "artist_in", "data": {"artist": id}},
        can_leave=is_open,
    )


def _headline(waiting: int, ready: int, at_risk: int) -> str:
    said = [f"{waiting} waiting"] * bool(waiting) + [f"{ready} on the rack"] * bool(ready)
    if at_risk:
        said.append(f"{at_risk} late or at risk")
    return " · ".join(said)

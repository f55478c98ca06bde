"""The booth as it stands: a fold over the journal's lines.

`fold` is the only way to a `Booth`, and the only judge of whether a line can follow the lines before it. What may
happen to one ticket is `life.py`'s; this file knows the queue, the easels, the day and who is in.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field, replace
from datetime import datetime
from types import MappingProxyType
from typing import Any
from zoneinfo import ZoneInfo

from portraitq.core import life
from portraitq.core.errors import Refused, RefusedLine
from portraitq.core.events import (
    ArtistIn,
    ArtistOut,
    Break,
    DayClosed,
    DayOpened,
    Event,
    Moved,
    OfTicket,
    Ordered,
    PutBack,
    SetUp,
    Started,
    Style,
    TouchedUp,
    WalkedAway,
    parse_lines,
    print_instant,
)
from portraitq.core.life import IN_QUEUE, ON_EASEL, OVER, Ticket, step
from portraitq.core.tickets import Tickets


@dataclass(frozen=True, slots=True)
class TradingDay:
    """A day of trading; `closed_at` is None while it is open."""

    day: str
    opened_at: datetime
    closes_at: datetime
    breaks: tuple[Break, ...]
    closed_at: datetime | None = None


@dataclass(frozen=True, slots=True)
class Coming:
    """An artist came in at `at`; the line `seq` says so, which was written down at `written_at`."""

    seq: int
    written_at: datetime
    at: datetime


@dataclass(frozen=True, slots=True)
class Booth:
    """Everything that follows from the journal. An empty booth is `Booth()`.

    queue         ids of waiting and held tickets, first to be drawn first
    easels        artist -> id of the ticket on their easel
    here_since    artist -> since when they are in
    free_since    artist -> when their easel last became free (or they came in)
    came          artist -> each of their comings, in the order in which they were written down
    open_ids      ids of tickets neither collected nor cancelled, by order (a dict used as an ordered set)
    days          the days of trading, the last one open if its `closed_at` is None
    """

    seq: int = 0
    last_at: datetime | None = None
    last_id: str | None = None
    set_up: SetUp | None = None
    days: tuple[TradingDay, ...] = ()
    last_number: int = 0
    queue: tuple[str, ...] = ()
    easels: Mapping[str, str] = field(default_factory=dict)
    here_since: Mapping[str, datetime] = field(default_factory=dict)
    free_since: Mapping[str, datetime] = field(default_factory=dict)
    came: Mapping[str, tuple[Coming, ...]] = field(default_factory=dict)
    open_ids: Mapping[str, None] = field(default_factory=dict)
    tickets: Tickets = field(default_factory=Tickets)
    walked_away: tuple[Event, ...] = ()

    @property
    def day(self) -> TradingDay | None:
        """The day of trading that is open, or None."""
        return self.days[-1] if self.days and self.days[-1].closed_at is None else None

    @property
    def zone(self) -> ZoneInfo:
        """The booth's zone; UTC while no set-up says otherwise."""
        return ZoneInfo(self.set_up.booth.zone if self.set_up else "UTC")

    def open_tickets(self) -> list[Ticket]:
        """The tickets neither collected nor cancelled, oldest first."""
        return [self.tickets[id] for id in self.open_ids]

    def waiting(self) -> list[Ticket]:
        """The tickets in the queue, held ones included, in their order."""
        return [self.tickets[id] for id in self.queue]

    def on_easel(self, artist: str) -> Ticket | None:
        """The ticket on the easel of `artist`."""
        id = self.easels.get(artist)
        return self.tickets[id] if id else None

    def was_away(self, artist: str, since: datetime, until: datetime, seq: int) -> bool:
        """Whether `artist` left and came in again after `since`, up to `until`, as the journal said by its line `seq`.

        What is written down later, however long ago it claims to have happened, changes no answer that was given.
        """
        came = self.came.get(artist, ())
        for coming in reversed(came[: bisect_right(came, seq, key=lambda one: one.seq)]):
            if coming.written_at <= since:
                return False  # nobody comes later than it is written, so all those before came earlier still
            if since < coming.at <= until:
                return True
        return False

    def may_draw(self, artist: str, ticket: Ticket) -> bool:
        """Whether `artist` is one who may draw `ticket`: they have its style, and nobody else was asked for.

        A style that the set-up no longer knows binds nobody, and neither does a request for an artist whom it no longer
        knows, or who no longer draws that style.
        """
        return self.set_up is not None and _why_not(self.set_up, artist, ticket) is None

    def next_for(self, artist: str) -> Ticket | None:
        """The first ticket in the queue that `artist` may begin: not held, in their styles, not asked of another."""
        return next((t for t in self.waiting() if t.place == life.WAITING and self.may_draw(artist, t)), None)


def _why_not(set_up: SetUp, artist: str, ticket: Ticket) -> str | None:
    """Why `artist` may not draw `ticket`, in a sentence; None when they may."""
    who, asked = set_up.artist(artist), set_up.artist(ticket.wants_artist) if ticket.wants_artist else None
    style = set_up.style(ticket.style.id)
    if who is None:
        return f'"{artist}" is no artist of this booth.'
    if asked is not None and asked.id != artist and (style is None or style.id in asked.styles):
        return f'Number {ticket.number} was asked of "{asked.name}", not of "{who.name}".'
    if style is not None and style.id not in who.styles:
        return f'"{who.name}" does not draw "{style.name}", the style of number {ticket.number}.'
    return None


def fold(booth: Booth, events: Iterable[Event]) -> Booth:
    """`booth` as it stands after `events`; Refused, and `booth` untouched, when one of them cannot have happened."""
    folding = _Folding(booth)
    for event in events:
        folding.take(event)
    return folding.booth()


def import_lines(lines: Iterable[str]) -> tuple[Booth, list[Event]]:
    """A whole journal file: the booth it folds to and its events; RefusedLine names the first line that is wrong."""
    folding, taken, commands = _Folding(Booth()), [], set[str]()
    for number, event in enumerate(parse_lines(lines), start=1):
        try:
            if event.id in commands and event.id != folding.last_id:
                raise Refused(
                    f'The command "{event.id}" stands further up already; what one command causes stands together.'
                )
            folding.take(event)
        except Refused as reason:
            raise RefusedLine(number, str(reason)) from reason
        commands.add(event.id)
        taken.append(event)
    return folding.booth(), taken


class _Folding:
    """A working copy of a booth, so that a long journal folds in one go without copying the booth for each line."""

    def __init__(self, booth: Booth) -> None:
        self.seq, self.last_at, self.last_id = booth.seq, booth.last_at, booth.last_id
        self.set_up, self.days, self.last_number = booth.set_up, list(booth.days), booth.last_number
        self.queue, self.easels = list(booth.queue), dict(booth.easels)
        self.here_since, self.free_since = dict(booth.here_since), dict(booth.free_since)
        self.came = dict(booth.came)
        self.open_ids, self.tickets = dict(booth.open_ids), booth.tickets.draft()
        self.walked_away = list(booth.walked_away)

    def booth(self) -> Booth:
        return Booth(
            seq=self.seq,
            last_at=self.last_at,
            last_id=self.last_id,
            set_up=self.set_up,
            days=tuple(self.days),
            last_number=self.last_number,
            queue=tuple(self.queue),
            easels=MappingProxyType(self.easels),
            here_since=MappingProxyType(self.here_since),
            free_since=MappingProxyType(self.free_since),
            came=MappingProxyType(self.came),
            open_ids=MappingProxyType(self.open_ids),
            tickets=self.tickets.done(),
            walked_away=tuple(self.walked_away),
        )

    @property
    def day(self) -> TradingDay | None:
        return self.days[-1] if self.days and self.days[-1].closed_at is None else None

    def take(self, event: Event) -> None:
        if event.seq != self.seq + 1:
            raise Refused(f"The seq {self.seq + 1} was expected, not {event.seq}.")
        if self.last_at is not None and event.at < self.last_at:
            raise Refused(
                f"An instant from {print_instant(self.last_at)} on, that of the line before, was expected, "
                f"not {print_instant(event.at)}."
            )
        if self.set_up is None and not isinstance(event.data, SetUp):
            raise Refused(f"The booth has no set-up yet: set_up was expected first, not {event.kind}.")
        if isinstance(event.data, OfTicket) and not isinstance(event.data, Ordered):
            self._ticket(event, event.data)
        else:
            _AT_BOOTH[event.kind](self, event, event.data)
        self.seq, self.last_at, self.last_id = event.seq, event.at, event.id

    def _known_artist(self, id: str) -> None:
        assert self.set_up is not None
        if self.set_up.artist(id) is None:
            known = ", ".join(artist.id for artist in self.set_up.artists) or "none"
            raise Refused(f'"{id}" is no artist of this booth (it has {known}).')

    def _called(self, artist: str) -> str:
        """What people call `artist`; the id where the set-up has none of that id."""
        return self.set_up.called(artist) if self.set_up else artist

    def _known_style(self, id: str) -> Style:
        assert self.set_up is not None
        if style := self.set_up.style(id):
            return style
        known = ", ".join(style.id for style in self.set_up.styles) or "none"
        raise Refused(f'"{id}" is no style of this booth (it has {known}).')

    def _set_up(self, event: Event, data: SetUp) -> None:
        self.set_up = data
        for id in self.queue:
            ticket = self.tickets[id]
            if not ticket.was_begun and (style := data.style(ticket.style.id)):
                self.tickets[id] = replace(ticket, style=style)
        gone = [artist for artist in self.here_since if data.artist(artist) is None]
        for artist in gone:
            del self.here_since[artist]

    def _day_opened(self, event: Event, data: DayOpened) -> None:
        if self.day is not None:
            raise Refused(f"The day {self.day.day} is still open; it must be closed before {data.day} is opened.")
        if self.days and data.day < self.days[-1].day:
            raise Refused(f"The day {data.day} is before {self.days[-1].day}, which was traded already.")
        if data.closes_at <= event.at:
            raise Refused(f"A closing time after the opening was expected, not {print_instant(data.closes_at)}.")
        for planned in data.breaks:
            self._known_artist(planned.artist)
        if not self.days or self.days[-1].day != data.day:
            self.last_number = 0  # opened again on the same day, the numbers go on
        self.days.append(TradingDay(data.day, event.happened_at, data.closes_at, data.breaks))

    def _day_closed(self, event: Event, data: DayClosed) -> None:
        if self.day is None:
            raise Refused("No day is open, so none can be closed.")
        self.days[-1] = replace(self.days[-1], closed_at=event.happened_at)
        self.here_since.clear()

    def _artist_in(self, event: Event, data: ArtistIn) -> None:
        self._known_artist(data.artist)
        if data.artist in self.here_since:
            raise Refused(f'"{self._called(data.artist)}" is in already.')
        self.here_since[data.artist] = event.happened_at
        self.free_since[data.artist] = event.happened_at
        coming = Coming(event.seq, event.at, event.happened_at)
        self.came[data.artist] = (*self.came.get(data.artist, ()), coming)

    def _artist_out(self, event: Event, data: ArtistOut) -> None:
        self._known_artist(data.artist)
        if data.artist not in self.here_since:
            raise Refused(f'"{self._called(data.artist)}" is not in, so cannot go.')
        del self.here_since[data.artist]

    def _walked_away(self, event: Event, data: WalkedAway) -> None:
        if data.style is not None:
            self._known_style(data.style)
        self.walked_away.append(event)

    def _ordered(self, event: Event, data: Ordered) -> None:
        if (day := self.day) is None:
            raise Refused("No day is open: open the day before taking an order.")
        if data.ticket in self.tickets:
            raise Refused(f'The ticket "{data.ticket}" was ordered before.')
        if data.number != self.last_number + 1:
            raise Refused(f"Number {self.last_number + 1} comes next on {day.day}, not {data.number}.")
        style = self._known_style(data.style)
        if data.artist is not None:
            self._known_artist(data.artist)
            assert self.set_up is not None
            asked = self.set_up.artist(data.artist)
            if asked is not None and style.id not in asked.styles:
                raise Refused(f'"{asked.name}" does not draw "{style.name}".')
        self.tickets[data.ticket] = Ticket(
            id=data.ticket,
            number=data.number,
            day=day.day,
            style=style,
            sitters=data.sitters,
            wants_artist=data.artist,
            price=data.price,
            ordered_at=event.happened_at,
            history=(event,),
        )
        self.last_number = data.number
        self.open_ids[data.ticket] = None
        self.queue.append(data.ticket)

    def _ticket(self, event: Event, data: OfTicket) -> None:
        before = self.tickets.get(data.ticket)
        if before is None:
            raise Refused(f'There is no ticket "{data.ticket}".')
        after = step(before, event)
        if isinstance(data, Started | TouchedUp):
            self._easel_is_free(data.artist, before, isinstance(data, Started))
        if isinstance(data, Moved):
            self._move(data)
        self.tickets[data.ticket] = after
        self._take_its_place(before, after, event)

    def _easel_is_free(self, artist: str, ticket: Ticket, is_start: bool) -> None:
        self._known_artist(artist)
        assert self.set_up is not None
        if artist not in self.here_since:
            raise Refused(
                f'"{self._called(artist)}" is not in: say that they are before a portrait goes to their easel.'
            )
        if at_hand := self.easels.get(artist):
            raise Refused(
                f'Number {self.tickets[at_hand].number} is on the easel of "{self._called(artist)}": '
                "finish it or put it back first."
            )
        if is_start and (reason := _why_not(self.set_up, artist, ticket)):
            raise Refused(reason)

    def _move(self, data: Moved) -> None:
        if data.before == data.ticket:
            raise Refused(f"Number {self.tickets[data.ticket].number} cannot be moved before itself.")
        if data.before is not None and data.before not in self.queue:
            raise Refused(f'The ticket "{data.before}" is not in the queue, so nothing can be moved before it.')
        self.queue.remove(data.ticket)
        self.queue.insert(len(self.queue) if data.before is None else self.queue.index(data.before), data.ticket)

    def _take_its_place(self, before: Ticket, after: Ticket, event: Event) -> None:
        """Keep the queue, the easels and the open tickets in step with where the ticket went."""
        if before.place in IN_QUEUE and after.place not in IN_QUEUE:
            self.queue.remove(after.id)
        if before.place in ON_EASEL and after.place not in ON_EASEL and before.artist is not None:
            self.easels.pop(before.artist, None)
            self.free_since[before.artist] = event.happened_at
        if after.place in ON_EASEL and before.place not in ON_EASEL and after.artist is not None:
            self.easels[after.artist] = after.id
        if isinstance(event.data, PutBack):
            self.queue.insert(0, after.id)
        if after.place in OVER:
            self.open_ids.pop(after.id, None)
        elif before.place in OVER:
            still_open = {*self.open_ids, after.id}
            self.open_ids = {id: None for id in self.tickets if id in still_open}


_AT_BOOTH: dict[str, Callable[[_Folding, Event, Any], None]] = {
    SetUp.kind: _Folding._set_up,
    DayOpened.kind: _Folding._day_opened,
    DayClosed.kind: _Folding._day_closed,
    ArtistIn.kind: _Folding._artist_in,
    ArtistOut.kind: _Folding._artist_out,
    WalkedAway.kind: _Folding._walked_away,
    Ordered.kind: _Folding._ordered,
}


def local_day(at: datetime, zone: ZoneInfo) -> str:
    """The calendar day of `at` in `zone`, as the journal writes days."""
    return at.astimezone(zone).date().isoformat()

"""A booth's day, told in the booth's own words.

    a_booth().ordered("T1").started("T1").taps("layout 09:02:00", "likeness 09:08:00").paused("T1")

Each word adds lines to the journal and gives a new `Told`; the one before it stays as it was. Whatever a test does not
mention has a sensible default: the time is a minute after the line before, the artist the first who may, the stage
the one in hand. Clock times are UTC, on the day of the line before, unless an instant is given.

Every line is folded as it is told, so a line that cannot have happened raises Refused there and then. `wants` asks
`decide` first, like a tap at the booth; every other word writes the journal as an imported file does.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta
from typing import Any

from portraitq.core.booth import Booth, fold
from portraitq.core.commands import Command, decide, read_command
from portraitq.core.events import (
    COUNTER,
    ArtistIn,
    ArtistOut,
    Cancelled,
    Collected,
    Data,
    DayClosed,
    DayOpened,
    Erased,
    Event,
    Finished,
    Held,
    Moved,
    Ordered,
    Paid,
    Paused,
    Promised,
    PutBack,
    Released,
    Resumed,
    SetUp,
    StageDone,
    StageUndone,
    Started,
    TouchedUp,
    WalkedAway,
    easel,
    parse_instant,
    print_instant,
    print_line,
    read_data,
)
from portraitq.core.life import (
    CANCELLED,
    COLLECTED,
    DRAWING,
    HELD,
    PAUSED,
    READY,
    TOUCH_UP,
    TOUCH_UP_REST,
    WAITING,
    Ticket,
)

DAY = "2026-06-06"
INK_HEAD_STAGES = (("layout", 100, True), ("likeness", 380, True), ("finish", 110, False))
CHALK_STAGES = (("block-in", 300, True), ("tone", 900, True))


def stage(id: str, usual_s: float, per_sitter: bool = False) -> dict[str, Any]:
    """A stage as the journal writes it, its guesses around `usual_s`."""
    guesses = {"quick_s": usual_s / 2, "usual_s": usual_s, "slow_s": usual_s * 2}
    return {"id": id, "name": id.replace("-", " ").capitalize(), **guesses, "per_sitter": per_sitter}


def style(id: str, stages: Iterable[tuple[str, float, bool]], price: int = 1800) -> dict[str, Any]:
    """A style as the journal writes it."""
    return {
        "id": id,
        "name": id.replace("-", " ").capitalize(),
        "price": price,
        "stages": [stage(*one) for one in stages],
    }


def artist(id: str, *styles: str) -> dict[str, Any]:
    """An artist as the journal writes them."""
    return {"id": id, "name": f"Easel {id}", "styles": list(styles)}


INK_HEAD = style("ink-head", INK_HEAD_STAGES)
CHALK = style("chalk-half", CHALK_STAGES, price=3600)


def a_set_up(
    styles: Iterable[dict[str, Any]] = (INK_HEAD, CHALK),
    artists: Iterable[dict[str, Any]] = (artist("a1", "ink-head", "chalk-half"), artist("a2", "ink-head")),
    **booth: Any,
) -> SetUp:
    """Quayside Portraits: a1 draws ink heads and chalk half-lengths, a2 ink heads only."""
    settings: dict[str, Any] = {
        "name": "Quayside Portraits",
        "zone": "Europe/Lisbon",
        "currency": "EUR",
        "confidence": 0.85,
        "round_to_s": 300,
    }
    data = read_data(
        "set_up",
        {
            "booth": settings | booth,
            "styles": list(styles),
            "artists": list(artists),
            "turnaround": {"quick_s": 40, "usual_s": 70, "slow_s": 150},
        },
    )
    assert isinstance(data, SetUp)
    return data


def instant(text: str, day: str = DAY) -> datetime:
    """An instant in UTC from `09:00`, `09:00:00`, `09:00:00.250` (on `day`) or the journal's own form."""
    if "T" in text:
        return parse_instant(text)
    clock, _, milliseconds = text.partition(".")
    return parse_instant(f"{day}T{clock if clock.count(':') == 2 else clock + ':00'}.{milliseconds or '000'}Z")


@dataclass(frozen=True)
class Told:
    """A journal as far as it is told: its `events` and the `booth` that they fold to."""

    events: tuple[Event, ...] = ()
    booth: Booth = field(default_factory=Booth)

    @property
    def lines(self) -> list[str]:
        """The journal as a file has it, without line breaks."""
        return [print_line(event) for event in self.events]

    @property
    def text(self) -> str:
        """The journal as a file has it."""
        return "".join(f"{line}\n" for line in self.lines)

    def ticket(self, id: str) -> Ticket:
        """The ticket as it stands."""
        return self.booth.tickets[id]

    def at(self, at: str | datetime | None = None) -> datetime:
        """The instant that `at` names; left out, a minute after the last line."""
        last = self.booth.last_at
        if isinstance(at, datetime):
            return at
        if at is None:
            return instant("08:00") if last is None else last + timedelta(minutes=1)
        return instant(at, DAY if last is None else last.date().isoformat())

    def next_event(
        self,
        data: Data,
        at: str | datetime | None = None,
        by: str = COUNTER,
        command: str | None = None,
        ago_s: float = 0,
    ) -> Event:
        """The line that would come next, not yet told."""
        seq = self.booth.seq + 1
        return Event(seq, command or f"c{seq}", self.at(at), by, data, ago_s)

    def tell(self, *events: Event) -> Told:
        """These very lines next."""
        return replace(self, events=(*self.events, *events), booth=fold(self.booth, events))

    def says(self, data: Data, **how: Any) -> Told:
        """A line that says `data`; `how`: `at`, `by`, `command` (its id), `ago_s`."""
        return self.tell(self.next_event(data, **how))

    def wants(self, data: Data, at: str | datetime | None = None, by: str = COUNTER, ago_s: float = 0) -> Told:
        """What `decide` makes of somebody wanting `data`."""
        return self.tell(*self.decided(data, at, by, ago_s))

    def asks(self, kind: str, at: str | datetime | None = None, **fields: Any) -> Told:
        """What `decide` makes of a command as it is sent, its fields plain JSON values."""
        return self.wants(read_command({"id": "x", "kind": kind, "data": fields}).data, at)

    def decided(self, data: Data, at: str | datetime | None = None, by: str = COUNTER, ago_s: float = 0) -> list[Event]:
        """What `decide` would make of it, not yet told."""
        return decide(self.booth, Command(f"c{self.booth.seq + 1}", data, by, ago_s), self.at(at))

    def set_up(self, data: SetUp | None = None, **how: Any) -> Told:
        return self.says(data or a_set_up(), **how)

    def day_opened(
        self, day: str = DAY, opens: str = "09:00", closes: str = "18:00", **breaks: tuple[str, str]
    ) -> Told:
        """`breaks` by artist: `a1=("12:00", "12:30")`."""
        planned = [
            {"artist": who, "from": print_instant(instant(begins, day)), "to": print_instant(instant(ends, day))}
            for who, (begins, ends) in breaks.items()
        ]
        fields = {"day": day, "closes_at": print_instant(instant(closes, day)), "breaks": planned}
        data = read_data("day_opened", fields)
        assert isinstance(data, DayOpened)
        return self.says(data, at=instant(opens, day))

    def day_closed(self, **how: Any) -> Told:
        return self.says(DayClosed(), **how)

    def artist_in(self, *artists: str, **how: Any) -> Told:
        told = self
        for who in artists:
            told = told.says(ArtistIn(artist=who), **{"by": easel(who), "at": self.booth.last_at, **how})
        return told

    def artist_out(self, who: str, **how: Any) -> Told:
        return self.says(ArtistOut(artist=who), **{"by": easel(who), **how})

    def ordered(
        self,
        *ids: str,
        style: str = "ink-head",
        sitters: int = 1,
        artist: str | None = None,
        price: int = 1800,
        **how: Any,
    ) -> Told:
        told = self
        for id in ids:
            number = told.booth.last_number + 1
            data = Ordered(ticket=id, number=number, style=style, sitters=sitters, artist=artist, price=price)
            told = told.says(data, **how)
        return told

    def promised(self, id: str, ready_by: str | datetime, confidence: float = 0.85, **how: Any) -> Told:
        return self.says(Promised(ticket=id, ready_by=self.at(ready_by), confidence=confidence), **how)

    def walked_away(self, style: str | None = "ink-head", sitters: int = 1, **how: Any) -> Told:
        return self.says(WalkedAway(style=style, sitters=sitters, ready_by=None), **how)

    def started(self, id: str, artist: str | None = None, **how: Any) -> Told:
        who = artist or self._first_free(id)
        return self.says(Started(ticket=id, artist=who), **{"by": easel(who), **how})

    def _first_free(self, id: str) -> str:
        booth, ticket = self.booth, self.ticket(id)
        free = [who for who in sorted(booth.here_since) if who not in booth.easels and booth.may_draw(who, ticket)]
        return free[0] if free else "a1"

    def stage_done(self, id: str, stage: str | None = None, **how: Any) -> Told:
        in_hand = self.ticket(id).stage_in_hand
        return self.says(StageDone(ticket=id, stage=stage or (in_hand.id if in_hand else "layout")), **how)

    def stage_undone(self, id: str, stage: str | None = None, **how: Any) -> Told:
        last = self.ticket(id).stage_last_done
        return self.says(StageUndone(ticket=id, stage=stage or (last.id if last else "layout")), **how)

    def taps(self, *taps: str, id: str | None = None) -> Told:
        """`layout 09:02:00`, one after the other, on ticket `id` (left out: the one begun last that is on an easel)."""
        begun = [e.data.ticket for e in self.events if isinstance(e.data, Started | TouchedUp)]
        on_easel = id or next(ticket for ticket in reversed(begun) if ticket in self.booth.easels.values())
        told = self
        for tap in taps:
            named, at = tap.split()
            told = told.stage_done(on_easel, named, at=at)
        return told

    def stages_all_done(self, id: str, **how: Any) -> Told:
        told = self
        while told.ticket(id).stage_in_hand:
            told = told.stage_done(id, **how)
        return told

    def drawn(self, id: str, rack: str | None = None, **how: Any) -> Told:
        """From the queue or the easel to the rack, a minute a stage."""
        told = self if self.ticket(id).place == DRAWING else self.started(id)
        return told.stages_all_done(id).finished(id, rack, **how)

    def paused(self, id: str, why: str = "counter", **how: Any) -> Told:
        return self.says(_as(Paused, ticket=id, why=why), **how)

    def resumed(self, id: str, **how: Any) -> Told:
        return self.says(Resumed(ticket=id), **how)

    def put_back(self, id: str, **how: Any) -> Told:
        return self.says(PutBack(ticket=id), **how)

    def held(self, id: str, why: str = "photo", **how: Any) -> Told:
        return self.says(_as(Held, ticket=id, why=why), **how)

    def released(self, id: str, **how: Any) -> Told:
        return self.says(Released(ticket=id), **how)

    def moved(self, id: str, before: str | None = None, **how: Any) -> Told:
        return self.says(Moved(ticket=id, before=before), **how)

    def finished(self, id: str, rack: str | None = None, **how: Any) -> Told:
        return self.says(Finished(ticket=id, rack=rack), **how)

    def collected(self, id: str, **how: Any) -> Told:
        return self.says(Collected(ticket=id), **how)

    def touched_up(self, id: str, artist: str = "a1", **how: Any) -> Told:
        return self.says(TouchedUp(ticket=id, artist=artist), **how)

    def cancelled(self, id: str, why: str = "customer", **how: Any) -> Told:
        return self.says(_as(Cancelled, ticket=id, why=why), **how)

    def paid(self, id: str, amount: int = 1800, how_paid: str = "cash", **how: Any) -> Told:
        return self.says(_as(Paid, ticket=id, amount=amount, how=how_paid), **how)

    def erased(self, id: str, **how: Any) -> Told:
        return self.says(Erased(ticket=id), **how)

    def brought_to(self, place: str, id: str = "T1") -> Told:
        """A fresh ticket `id`, ordered and led to `place` on the shortest way; on an easel, its first stage in hand."""
        return _WAYS[place](self.ordered(id), id)


def _as(form: type[Data], **fields: Any) -> Data:
    """`form` of plain values that a type checker does not know to be the right words."""
    return form.model_validate(fields)


_WAYS: dict[str, Callable[[Told, str], Told]] = {
    WAITING: lambda told, id: told,
    HELD: lambda told, id: told.held(id),
    DRAWING: lambda told, id: told.started(id),
    PAUSED: lambda told, id: told.started(id).paused(id),
    READY: lambda told, id: told.drawn(id),
    TOUCH_UP: lambda told, id: told.drawn(id).touched_up(id),
    TOUCH_UP_REST: lambda told, id: told.drawn(id).touched_up(id).paused(id),
    COLLECTED: lambda told, id: told.drawn(id).collected(id),
    CANCELLED: lambda told, id: told.cancelled(id),
}


def a_journal() -> Told:
    """A journal in which nothing stands yet."""
    return Told()


def a_booth(set_up: SetUp | None = None, day: str = DAY, opens: str = "09:00", closes: str = "18:00") -> Told:
    """A booth that is set up, open (09:00–18:00 UTC) and where every artist is in."""
    told = a_journal().set_up(set_up, at=instant(opens, day)).day_opened(day, opens, closes)
    known = told.booth.set_up
    return told.artist_in(*(one.id for one in known.artists)) if known else told

"""A season at a booth, event by event, and the truth behind it.

`simulate(truth, seed)` runs visitors, artists, pauses and taps on one heap of instants and writes the journal that the
booth would have: forgotten taps come in bursts, clocks run on, taps arrive late. The lines go through `import_lines`,
so that a season which cannot have happened raises. Instants inside are seconds after midnight UTC of the first day.

The order of work is the booth's: whoever is free takes the first ticket in the queue that is not held and that they may
draw. A stage in hand is finished before a break; nobody begins after closing; what waits goes on the next day of
trading, or is cancelled by the booth where the calendar day after is a day off, because a forecast cannot know that.
"""

from __future__ import annotations

import heapq
import math
from collections import defaultdict
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from functools import lru_cache
from typing import Any

import numpy as np

from portraitq.core.booth import import_lines
from portraitq.core.events import Event, print_instant, to_json
from tests.seasons.laws import Law
from tests.seasons.truth import (
    BACK_LAG_S,
    CANCELS_AFTER_S,
    COMES_IN_S,
    COMES_LATE_S,
    FORGOTTEN,
    IDLE_LAG_S,
    LAST_VISIT_S,
    OPENS_LATE_S,
    TAIL_S,
    ArtistTruth,
    StyleTruth,
    Truth,
)

FIRST_MIDNIGHT = datetime(2026, 4, 10, tzinfo=UTC)  # no change of the clocks for half a year
ZONE = "Europe/Lisbon"
DAY_S = 86_400.0
TURNAROUND_Z = 1.2815515655446004  # the 90 % point of the normal law: guesses are honest at 10 and 90 %


@dataclass(frozen=True)
class StageTruly:
    """One stage as it truly was: who drew it, how long without any stop, when it ended, and what its mean was."""

    artist: str
    stage: int
    sitters: int
    took_s: float
    mean_s: float
    ended_at_s: float


@dataclass(frozen=True)
class Season:
    """A journal and what was true behind it.

    day_effects     (artist, day) -> the day's effect on the log of their times
    sketch_effects  ticket -> its own
    stages          ticket -> its stages as they truly were, in order
    counts          how often each phenomenon was simulated
    """

    truth: Truth
    seed: int
    events: list[Event]
    day_effects: dict[tuple[str, int], float]
    sketch_effects: dict[str, float]
    stages: dict[str, list[StageTruly]]
    counts: dict[str, int]


def instant(at_s: float) -> datetime:
    """Seconds after the first midnight as an instant."""
    return FIRST_MIDNIGHT + timedelta(milliseconds=round(at_s * 1000))


def simulate(truth: Truth, seed: int) -> Season:
    """The season of that truth and seed; the same every time."""
    run = _Run(truth, np.random.default_rng([seed, 7]))
    run.go()
    _, events = import_lines(run.lines())
    return Season(truth, seed, events, run.day_effects, run.sketch_effects, dict(run.stages), dict(run.counts))


def effect(truth: Truth, sd: float, rng: np.random.Generator) -> float:
    """One effect of a day or a sketch."""
    if truth.effect == "two-point":
        return sd if rng.random() < 0.5 else -sd
    return sd * float(rng.normal())


@dataclass(slots=True, eq=False)
class _Ticket:
    id: str
    style: StyleTruth
    sitters: int
    wants: str | None
    effect: float
    ordered_s: float
    told_s: float
    price: int
    place: str = "waiting"
    stage: int = 0
    rest_s: float | None = None
    took_s: float = 0.0
    mean_s: float = 0.0
    began_hours: float = 0.0
    forgotten: list[int] = field(default_factory=list)
    remembers: int = -1
    line_s: float = 0.0
    paid: int = 0
    touched_up: bool = False


@dataclass(slots=True, eq=False)
class _Artist:
    truth: ArtistTruth
    is_here: bool = False
    ticket: _Ticket | None = None
    is_drawing: bool = False
    is_touching_up: bool = False
    since_s: float = 0.0
    ready_s: float = 0.0
    undisturbed_until_s: float = 0.0
    version: int = 0
    to_touch_up: list[_Ticket] = field(default_factory=list)

    @property
    def id(self) -> str:
        return self.truth.id


class _Run:
    """The booth while the season runs."""

    def __init__(self, truth: Truth, rng: np.random.Generator) -> None:
        self.truth, self.rng = truth, rng
        self.heap: list[tuple[float, int, Callable[[float], None]]] = []
        self.written: list[tuple[int, int, str, str, str, dict[str, Any], float]] = []
        self.groups = self.pushed = 0
        self.artists = [_Artist(artist) for artist in truth.artists]
        self.queue: list[_Ticket] = []
        self.tickets: dict[str, _Ticket] = {}
        self.day = -1
        self.is_open = False
        self.opened_s = self.closes_s = 0.0
        self.number = 0
        self.day_effects: dict[tuple[str, int], float] = {}
        self.sketch_effects: dict[str, float] = {}
        self.stages: dict[str, list[StageTruly]] = defaultdict(list)
        self.counts: dict[str, int] = defaultdict(int)
        self.to_collect: list[_Ticket] = []
        self.to_erase: list[tuple[int, str]] = []

    def go(self) -> None:
        self._open(self._opening(0))
        while self.heap:
            at, _, do = heapq.heappop(self.heap)
            do(at)

    # -- small words ---------------------------------------------------------------------------------------------

    def at(self, at: float, do: Callable[[float], None]) -> None:
        self.pushed += 1
        heapq.heappush(self.heap, (at, self.pushed, do))

    def between(self, span: tuple[float, float]) -> float:
        return float(self.rng.uniform(*span))

    def happens(self, chance: float) -> bool:
        return chance > 0 and bool(self.rng.random() < chance)

    def write(self, at: float, by: str, *said: tuple[str, dict[str, Any]], ago_s: float = 0.0) -> None:
        """Lines of one command; `ago_s` puts them down later than they happened."""
        self.groups += 1
        when = round((at + ago_s) * 1000)
        for kind, data in said:
            self.written.append((when, len(self.written), f"g{self.groups}", by, kind, data, round(ago_s, 3)))

    def lines(self) -> Iterator[str]:
        """The journal's lines in their order."""
        ids: dict[str, str] = {}
        for seq, (when, _, group, by, kind, data, ago_s) in enumerate(sorted(self.written, key=lambda w: w[:2]), 1):
            line: dict[str, Any] = {
                "seq": seq,
                "id": ids.setdefault(group, f"c{len(ids) + 1}"),
                "at": print_instant(FIRST_MIDNIGHT + timedelta(milliseconds=when)),
                "by": by,
                "kind": kind,
                "data": data,
            }
            yield to_json(line | ({"ago_s": ago_s} if ago_s else {}))

    def tap(self, ticket: _Ticket, at: float, *said: tuple[str, dict[str, Any]], ago_s: float = 0.0) -> None:
        """Lines from the easel about `ticket`, never before its last one."""
        artist = next((a.id for a in self.artists if a.ticket is ticket), None)
        at = max(at, ticket.line_s)
        ticket.line_s = at + ago_s
        by = f"easel:{artist}" if artist else "counter"
        self.write(at, by, *((kind, {"ticket": ticket.id, **data}) for kind, data in said), ago_s=ago_s)

    # -- the day -------------------------------------------------------------------------------------------------

    def _opening(self, day: int) -> float:
        return self.truth.day_offset(day) * DAY_S + self.truth.opens_h * 3600 + self.between(OPENS_LATE_S)

    def _open(self, at: float) -> None:
        self.day += 1
        day, truth = self.day, self.truth
        midnight = truth.day_offset(day) * DAY_S
        if day == 0 or any(style.from_day == day for style in truth.styles):
            self.write(midnight + truth.opens_h * 3600 - 1800, "counter", ("set_up", set_up(truth, day)))
            self.counts["set_up"] += 1
        self.is_open, self.number = True, 0
        self.opened_s, self.closes_s = at, midnight + truth.closes_h * 3600
        breaks = [
            {"artist": artist.id, "from": _said(midnight + b * 3600), "to": _said(midnight + e * 3600)}
            for artist in truth.artists
            for b, e in artist.breaks
        ]
        opened = {"day": instant(midnight).date().isoformat(), "closes_at": _said(self.closes_s), "breaks": breaks}
        self.write(at, "counter", ("day_opened", opened))
        for artist in self.artists:
            self.day_effects[artist.id, day] = effect(truth, truth.day_sd, self.rng)
            is_late = self.happens(truth.late_share)
            self.counts["late"] += is_late
            self.at(at + self.between(COMES_LATE_S if is_late else COMES_IN_S), self._comes(artist))
            for begins_h, _ in artist.truth.breaks:
                self.at(midnight + begins_h * 3600, self._break_begins(artist))
        for visit in self._visits():
            self.at(visit, self._visitor)
        self._next_morning(at)
        self.at(self.closes_s + self.between((20.0, 300.0)), self._close)

    def _visits(self) -> list[float]:
        """A Poisson process whose rate follows the day, by thinning (Lewis & Shedler 1979)."""
        truth = self.truth
        most = max(
            truth.rate_per_s(truth.opens_h + i / 10) for i in range(round((truth.closes_h - truth.opens_h) * 10))
        )
        midnight = truth.day_offset(self.day) * DAY_S
        at, found = self.opened_s, []
        while (at := at + float(self.rng.exponential(1 / most))) < self.closes_s - LAST_VISIT_S:
            if self.rng.random() < truth.rate_per_s((at - midnight) / 3600) / most:
                found.append(at)
        return found

    def _next_morning(self, at: float) -> None:
        for ticket in self.to_collect:
            self.at(at + self.between((600.0, 7200.0)), self._collects(ticket))
        self.to_collect = []
        if self.truth.erases:
            due = [id for day, id in self.to_erase if day <= self.day - 2]
            self.to_erase = [(day, id) for day, id in self.to_erase if day > self.day - 2]
            for id in due:
                self.write(at + 1, "system", ("erased", {"ticket": id}))

    def _close(self, at: float) -> None:
        if any(artist.ticket for artist in self.artists):
            self.at(at + 30.0, self._close)
            return
        if self.truth.is_eve(self.day):
            for ticket in [t for t in self.queue if self.day + 1 < self.truth.days]:
                self._cancel(ticket, at, "booth")
        for artist in self.artists:
            artist.is_here = False
        self.is_open = False
        self.write(at, "counter", ("day_closed", {}))
        if self.day + 1 < self.truth.days:
            self.at(self._opening(self.day + 1), self._open)

    # -- artists -------------------------------------------------------------------------------------------------

    def _comes(self, artist: _Artist) -> Callable[[float], None]:
        def comes(at: float) -> None:
            if self.is_open and not artist.is_here and at < self.closes_s:
                artist.is_here, artist.ready_s = True, at
                self.write(at, f"easel:{artist.id}", ("artist_in", {"artist": artist.id}))
                self.at(at + self.between(IDLE_LAG_S), self._seek(artist))

        return comes

    def _break_end(self, artist: _Artist, at: float) -> float | None:
        """When the planned break ends that `artist` takes at `at`, or None."""
        midnight = self.truth.day_offset(self.day) * DAY_S
        for begins_h, ends_h in artist.truth.breaks:
            if midnight + begins_h * 3600 <= at < midnight + ends_h * 3600:
                return midnight + ends_h * 3600
        return None

    def _break_begins(self, artist: _Artist) -> Callable[[float], None]:
        def begins(at: float) -> None:
            ends = self._break_end(artist, at)
            if ends is not None and artist.is_here and artist.ticket is None:
                self._goes(artist, at, ends)

        return begins

    def _goes(self, artist: _Artist, at: float, until: float) -> None:
        artist.is_here = False
        self.write(at, f"easel:{artist.id}", ("artist_out", {"artist": artist.id}))
        self.at(until + self.between(BACK_LAG_S), self._comes(artist))

    def _may_draw(self, artist: _Artist, ticket: _Ticket) -> bool:
        return ticket.style.id in artist.truth.styles and ticket.wants in (None, artist.id)

    def _seek(self, artist: _Artist) -> Callable[[float], None]:
        """The artist looks for work."""

        def seek(at: float) -> None:
            if not artist.is_here or artist.ticket or at < artist.ready_s or at > self.closes_s:
                return
            ends = self._break_end(artist, at)
            if ends is not None:
                self._goes(artist, at, ends)
                return
            if artist.to_touch_up:
                self._touch_up(artist, artist.to_touch_up.pop(0), at)
                return
            for ticket in self.queue:
                if ticket.place == "waiting" and self._may_draw(artist, ticket):
                    self._start(artist, ticket, at)
                    return

        return seek

    def _someone_may_begin(self, at: float, ticket: _Ticket) -> None:
        for artist in self.artists:
            if artist.is_here and artist.ticket is None and artist.ready_s <= at and self._may_draw(artist, ticket):
                self.at(at + self.between(IDLE_LAG_S), self._seek(artist))

    def _free(self, artist: _Artist, at: float) -> None:
        artist.ticket, artist.is_drawing, artist.is_touching_up = None, False, False
        artist.version += 1
        artist.ready_s = at + float(self.truth.turnaround.draw(self.rng))
        self.at(artist.ready_s, self._seek(artist))

    # -- drawing -------------------------------------------------------------------------------------------------

    def _start(self, artist: _Artist, ticket: _Ticket, at: float) -> None:
        self.queue.remove(ticket)
        ticket.place, artist.ticket = "easel", ticket
        ticket.began_hours = (at - self.opened_s) / 3600
        self.tap(ticket, at, ("started", {"artist": artist.id}))
        self._stage(artist, at)

    def _stage(self, artist: _Artist, at: float) -> None:
        """Begin the stage in hand, or go on with what is left of it."""
        ticket, truth = artist.ticket, self.truth
        assert ticket is not None
        if ticket.rest_s is None:
            what = ticket.style.stages[ticket.stage]
            ticket.mean_s = truth.mean_s(
                artist.id, ticket.style.id, ticket.stage, ticket.sitters, self.day, ticket.began_hours
            )
            chance = float(truth.law_of(what, ticket.sitters).draw(self.rng))
            ticket.took_s = ticket.mean_s * math.exp(ticket.effect + self.day_effects[artist.id, self.day]) * chance
            ticket.rest_s = ticket.took_s
        self._draw(artist, at)
        self._slip(artist, ticket, at)

    def _rates(self) -> list[tuple[str, float]]:
        truth = self.truth
        rates = [*truth.pauses_per_h, ("stop", truth.stops_per_h), ("put_back", truth.put_backs_per_h)]
        return [(why, rate / 3600) for why, rate in rates if rate > 0]

    def _draw(self, artist: _Artist, at: float) -> None:
        """The pencil is on the paper, until the stage ends or something comes between."""
        ticket = artist.ticket
        assert ticket is not None
        assert ticket.rest_s is not None
        artist.version += 1
        artist.is_drawing, artist.since_s = True, at
        rates = self._rates()
        total = sum(rate for _, rate in rates)
        next_s = float(self.rng.exponential(1 / total)) if total else math.inf
        if next_s < ticket.rest_s:
            pick = float(self.rng.random()) * total
            why = next((w for i, (w, _) in enumerate(rates) if pick < sum(r for _, r in rates[: i + 1])), rates[-1][0])
            self.at(at + next_s, self._interrupted(artist, artist.version, why))
        else:
            self.at(at + ticket.rest_s, self._ends(artist, artist.version))

    def _stop(self, artist: _Artist, at: float) -> _Ticket:
        ticket = artist.ticket
        assert ticket is not None
        assert ticket.rest_s is not None
        ticket.rest_s = max(ticket.rest_s - (at - artist.since_s), 0.0)
        artist.is_drawing = False
        artist.version += 1
        return ticket

    def _goes_on(self, artist: _Artist, says: bool) -> Callable[[float], None]:
        version = artist.version

        def goes_on(at: float) -> None:
            if artist.version != version or artist.ticket is None:
                return
            if says:
                self.tap(artist.ticket, at, ("resumed", {}))
            if artist.ticket.rest_s is None:
                self._stage(artist, at)
            else:
                self._draw(artist, at)

        return goes_on

    def _interrupted(self, artist: _Artist, version: int, why: str) -> Callable[[float], None]:
        def interrupted(at: float) -> None:
            if artist.version != version:
                return
            ticket = self._stop(artist, at)
            if at < max(artist.undisturbed_until_s, ticket.line_s) or (why == "put_back" and ticket.forgotten):
                self._draw(artist, at)
                return
            self.counts[why] += 1
            if why == "put_back":
                self._put_back(artist, ticket, at)
            elif why == "stop":
                self.at(at + float(self.truth.stop.draw(self.rng)), self._goes_on(artist, False))
            else:
                self.tap(ticket, at, ("paused", {"why": why}))
                self.at(at + float(self.truth.pause.draw(self.rng)), self._goes_on(artist, True))

        return interrupted

    def _put_back(self, artist: _Artist, ticket: _Ticket, at: float) -> None:
        self.tap(ticket, at, ("put_back", {}))
        self.write(at, "counter", ("held", {"ticket": ticket.id, "why": "photo"}))
        ticket.place = "held"
        self.queue.insert(0, ticket)
        self.at(at + float(self.truth.hold.draw(self.rng)), self._released(ticket))
        self._free(artist, at)

    def _ends(self, artist: _Artist, version: int) -> Callable[[float], None]:
        def ends(at: float) -> None:
            ticket = artist.ticket
            if artist.version != version or ticket is None:
                return
            done = ticket.stage
            self.stages[ticket.id].append(StageTruly(artist.id, done, ticket.sitters, ticket.took_s, ticket.mean_s, at))
            ticket.stage, ticket.rest_s = done + 1, None
            artist.is_drawing = False
            artist.version += 1
            if ticket.stage == len(ticket.style.stages):
                self._finish(artist, ticket, at)
                return
            self._stage_tap(ticket, done, at)
            ends_at = self._break_end(artist, at)
            if ends_at is None:
                self._stage(artist, at)
                return
            forgets = self.happens(self.truth.run_on_share)
            self.counts["run-on" if forgets else "break"] += 1
            if not forgets:
                self.tap(ticket, at, ("paused", {"why": "break"}))
            self.at(ends_at + self.between(BACK_LAG_S), self._goes_on(artist, not forgets))

        return ends

    # -- taps ----------------------------------------------------------------------------------------------------

    def _stage_tap(self, ticket: _Ticket, stage: int, at: float) -> None:
        """The tap for a stage that ended: made, forgotten, or one of a burst that catches up."""
        if not ticket.forgotten and self.happens(self.truth.forget_share):
            ticket.remembers = stage + 1 + int(self.rng.choice(len(FORGOTTEN), p=FORGOTTEN))
        if stage < ticket.remembers:
            ticket.forgotten.append(stage)
            return
        self._catch_up(ticket, at)
        self.tap(ticket, at, ("stage_done", {"stage": ticket.style.stages[stage].id}))
        ticket.remembers = -1

    def _catch_up(self, ticket: _Ticket, at: float) -> None:
        if ticket.forgotten:
            self.counts["burst"] += 1
        for missed in ticket.forgotten:
            self.tap(ticket, at, ("stage_done", {"stage": ticket.style.stages[missed].id}))
            ticket.line_s += self.between((0.3, 0.9))
        ticket.forgotten = []

    def _slip(self, artist: _Artist, ticket: _Ticket, at: float) -> None:
        """A tap too early that is taken back; or the tap just made arrives late. Only where nothing comes between."""
        quiet_s = self._quiet_s(artist)
        if quiet_s < 75 or ticket.forgotten or ticket.stage == 0:
            return
        if self.happens(self.truth.ago_share) and self._last_tap_late(ticket, at):
            artist.undisturbed_until_s = ticket.line_s + 1
        elif self.happens(self.truth.slip_share) and ticket.stage + 1 < len(ticket.style.stages):
            stage = {"stage": ticket.style.stages[ticket.stage].id}
            self.tap(ticket, at + self.between((2.0, 12.0)), ("stage_done", stage))
            self.tap(ticket, ticket.line_s + self.between((4.0, 15.0)), ("stage_undone", stage))
            artist.undisturbed_until_s = ticket.line_s + 1
            self.counts["slip"] += 1

    def _last_tap_late(self, ticket: _Ticket, at: float) -> bool:
        when, order, group, by, kind, data, ago_s = self.written[-1]
        if kind != "stage_done" or data["ticket"] != ticket.id or when != round(at * 1000) or ago_s:
            return False
        late_s = round(self.between((4.0, 60.0)), 3)
        self.written[-1] = (round((at + late_s) * 1000), order, group, by, kind, data, late_s)
        ticket.line_s = at + late_s
        self.counts["late tap"] += 1
        return True

    def _quiet_s(self, artist: _Artist) -> float:
        ticket = artist.ticket
        return ticket.rest_s if artist.is_drawing and ticket and ticket.rest_s else 0.0

    def _finish(self, artist: _Artist, ticket: _Ticket, at: float) -> None:
        self._catch_up(ticket, at)
        last = {"stage": ticket.style.stages[-1].id}
        self.tap(ticket, at, ("stage_done", last), ("finished", {"rack": self._rack()}))
        ticket.place = "ready"
        self.at(max(ticket.line_s, ticket.told_s - 300) + self.between((60.0, 2400.0)), self._collects(ticket))
        self._free(artist, ticket.line_s)

    def _rack(self) -> str:
        return f"{'ABCD'[int(self.rng.integers(4))]}{int(self.rng.integers(1, 10))}"

    # -- after it is ready ---------------------------------------------------------------------------------------

    def _collects(self, ticket: _Ticket) -> Callable[[float], None]:
        def collects(at: float) -> None:
            if ticket.place != "ready":
                return
            if not self.is_open:
                if self.day + 1 < self.truth.days:
                    self.to_collect.append(ticket)
                return
            if self.happens(self.truth.no_show_share):
                self._cancel(ticket, at, "no_show")
                return
            if self.happens(self.truth.touch_up_share) and not ticket.touched_up:
                self._wants_touch_up(ticket, at)
                return
            said: list[tuple[str, dict[str, Any]]] = []
            if not ticket.paid:
                said.append(("paid", {"ticket": ticket.id, "amount": ticket.price, "how": "cash"}))
                ticket.paid = ticket.price
            self.write(at, "counter", *said, ("collected", {"ticket": ticket.id}))
            ticket.place = "collected"
            self.to_erase.append((self.day, ticket.id))

        return collects

    def _wants_touch_up(self, ticket: _Ticket, at: float) -> None:
        artist = next((a for a in self.artists if a.is_here), None)
        ticket.touched_up = True
        if artist is None:
            self.to_collect.append(ticket)
            return
        artist.to_touch_up.append(ticket)
        self.counts["touch-up"] += 1
        self.at(at + 1800.0, self._collects(ticket))
        if artist.ticket is None and artist.ready_s <= at:
            self.at(at + self.between(IDLE_LAG_S), self._seek(artist))

    def _touch_up(self, artist: _Artist, ticket: _Ticket, at: float) -> None:
        if ticket.place != "ready":
            self.at(at, self._seek(artist))
            return
        ticket.place, artist.ticket, artist.is_touching_up = "touch-up", ticket, True
        self.tap(ticket, at, ("touched_up", {"artist": artist.id}))

        def ends(then: float) -> None:
            self.tap(ticket, then, ("finished", {"rack": self._rack()}))
            ticket.place = "ready"
            self.at(then + self.between((20.0, 400.0)), self._collects(ticket))
            self._free(artist, then)

        self.at(at + float(self.truth.touch_up.draw(self.rng)), ends)

    def _cancel(self, ticket: _Ticket, at: float, why: str) -> None:
        said: list[tuple[str, dict[str, Any]]] = [("cancelled", {"ticket": ticket.id, "why": why})]
        if ticket.paid:
            said.append(("paid", {"ticket": ticket.id, "amount": -ticket.paid, "how": "cash"}))
        self.write(at, "counter", *said)
        if ticket in self.queue:
            self.queue.remove(ticket)
        ticket.place = "cancelled"
        self.counts[f"cancelled {why}"] += 1

    # -- visitors and the queue ----------------------------------------------------------------------------------

    def _visitor(self, at: float) -> None:
        here = [artist for artist in self.artists if artist.is_here]
        host = here[int(self.rng.integers(len(here)))] if here else None
        talk_s = float(self.truth.talk.draw(self.rng))
        is_asked = (
            host is not None
            and host.is_drawing
            and not host.is_touching_up
            and at >= max(host.undisturbed_until_s, host.ticket.line_s if host.ticket else 0.0)
            and self.happens(self.truth.counter_share)
        )
        if not is_asked or host is None:
            self.at(at + talk_s, self._asks(None))
        elif self.truth.counter_leads:
            self._puts_down(host, at)
            self.at(at + talk_s, self._asks(None))
            self.at(at + talk_s + self.between(TAIL_S), self._goes_on(host, True))
        else:
            self.at(at, self._asks(host))

    def _puts_down(self, artist: _Artist, at: float) -> None:
        self.tap(self._stop(artist, at), at, ("paused", {"why": "counter"}))
        self.counts["counter"] += 1

    def _asks(self, host: _Artist | None) -> Callable[[float], None]:
        """The visitor hears the time and orders, or walks away; `host` puts the pencil down right after it."""

        def asks(at: float) -> None:
            if not self.is_open or at > self.closes_s - LAST_VISIT_S / 2:
                return
            style, sitters, wants = self._wish()
            told_s = self._told(style, sitters, wants, at)
            if self._walks_away(style, sitters, told_s, at):
                ready_by = {"ready_by": _said(told_s)}
                self.write(at, "counter", ("walked_away", {"style": style.id, "sitters": sitters, **ready_by}))
                self.counts["walked away"] += 1
            else:
                self._order(style, sitters, wants, told_s, at)
            if host is not None and host.is_drawing:
                self._puts_down(host, at + 0.5)
                talk_s = float(self.truth.talk.draw(self.rng))
                self.at(at + 0.5 + talk_s, self._goes_on(host, True))

        return asks

    def _wish(self) -> tuple[StyleTruth, int, str | None]:
        truth, rng = self.truth, self.rng
        offered = [style for style in truth.styles if style.from_day <= self.day]
        shares = np.array([style.share for style in offered])
        style = offered[int(rng.choice(len(offered), p=shares / shares.sum()))]
        pick = float(rng.random())
        sitters = 3 if pick < truth.three_sitters else 2 if pick < truth.three_sitters + truth.two_sitters else 1
        able = [artist.id for artist in truth.artists if style.id in artist.styles]
        return style, sitters, able[int(rng.integers(len(able)))] if self.happens(truth.request_share) else None

    def _work_s(self, ticket: _Ticket) -> float:
        return self._usual_s(ticket.style, ticket.sitters) + self.truth.turnaround.mean_s

    def _usual_s(self, style: StyleTruth, sitters: int) -> float:
        return sum(stage.mean_s * (sitters if stage.per_sitter else 1) for stage in style.stages)

    def _told(self, style: StyleTruth, sitters: int, wants: str | None, at: float) -> float:
        """A plausible promise: the work ahead shared among the artists, with some caution, rounded up."""
        hands = max(len([artist for artist in self.artists if artist.is_here]), 1)
        ahead_s = sum(self._work_s(ticket) for ticket in self.queue)
        ahead_s += sum(0.5 * self._work_s(artist.ticket) for artist in self.artists if artist.ticket)
        ready = at + 1.15 * (ahead_s / hands + self._usual_s(style, sitters)) + 240
        if ready - self._usual_s(style, sitters) > self.closes_s:
            ready += (self.truth.opens_h + 24 - self.truth.closes_h) * 3600
        return math.ceil(ready / 300) * 300.0

    def _walks_away(self, style: StyleTruth, sitters: int, told_s: float, at: float) -> bool:
        wait_s = told_s - at - self._usual_s(style, sitters)
        begins_s = at + 1.15 * wait_s if told_s <= self.closes_s + 3600 else math.inf
        caution_s = max(2400 if self.truth.is_eve(self.day) else 900, 0.4 * wait_s)
        if begins_s + caution_s > self.closes_s:
            return self.truth.is_eve(self.day) or not self.happens(self.truth.tomorrow_share)
        return self.happens(1 - math.exp(-math.log(2) * (max(wait_s, 0.0) / self.truth.patience_s) ** 2))

    def _order(self, style: StyleTruth, sitters: int, wants: str | None, told_s: float, at: float) -> None:
        self.number += 1
        id = f"T{len(self.tickets) + 1}"
        price = style.price * sitters
        ticket = _Ticket(
            id, style, sitters, wants, effect(self.truth, self.truth.sketch_sd, self.rng), at, told_s, price, line_s=at
        )
        self.tickets[id], self.sketch_effects[id] = ticket, ticket.effect
        self.queue.append(ticket)
        ordered = {"ticket": id, "number": self.number, "style": style.id, "sitters": sitters, "artist": wants}
        said: list[tuple[str, dict[str, Any]]] = [
            ("ordered", {**ordered, "price": price}),
            ("promised", {"ticket": id, "ready_by": _said(told_s), "confidence": 0.85}),
        ]
        if self.happens(0.5):
            ticket.paid = price
            said.append(("paid", {"ticket": id, "amount": price, "how": "card" if self.happens(0.5) else "cash"}))
        self.write(at, "counter", *said)
        self.counts["requested"] += wants is not None
        if self.happens(self.truth.hold_share):
            self._hold(ticket, at + 2)
        else:
            self._someone_may_begin(at, ticket)
        if self.happens(self.truth.moved_share):
            self.at(at + self.between((30.0, 300.0)), self._moves(ticket))
        if self.happens(self.truth.cancel_share):
            self.at(at + self.between(CANCELS_AFTER_S), self._cancels(ticket))

    def _hold(self, ticket: _Ticket, at: float) -> None:
        why = "photo" if self.happens(0.6) else "customer"
        self.write(at, "counter", ("held", {"ticket": ticket.id, "why": why}))
        ticket.place, ticket.line_s = "held", at
        self.counts["held"] += 1
        self.at(at + float(self.truth.hold.draw(self.rng)), self._released(ticket))

    def _released(self, ticket: _Ticket) -> Callable[[float], None]:
        def released(at: float) -> None:
            if ticket.place != "held":
                return
            if not self.is_open:
                if self.day + 1 < self.truth.days:
                    next_s = (self.truth.day_offset(self.day + 1)) * DAY_S + self.truth.opens_h * 3600 + 600
                    self.at(max(next_s, at + 60), released)
                return
            self.write(at, "counter", ("released", {"ticket": ticket.id}))
            ticket.place, ticket.line_s = "waiting", at
            self._someone_may_begin(at, ticket)

        return released

    def _moves(self, ticket: _Ticket) -> Callable[[float], None]:
        def moves(at: float) -> None:
            others = [each for each in self.queue if each is not ticket]
            if ticket.place != "waiting" or not others:
                return
            before = others[int(self.rng.integers(len(others)))] if self.happens(0.7) else None
            self.queue.remove(ticket)
            self.queue.insert(self.queue.index(before) if before else len(self.queue), ticket)
            self.write(at, "counter", ("moved", {"ticket": ticket.id, "before": before.id if before else None}))
            self.counts["moved"] += 1

        return moves

    def _cancels(self, ticket: _Ticket) -> Callable[[float], None]:
        def cancels(at: float) -> None:
            if ticket in self.queue and ticket.stage == 0 and self.is_open:
                self._cancel(ticket, at, "customer")

        return cancels


def _said(at_s: float) -> str:
    return print_instant(instant(at_s))


# -- the set-up, with its guesses --------------------------------------------------------------------------------------


def set_up(truth: Truth, day: int) -> dict[str, Any]:
    """The set-up as the journal writes it on that day: the styles that there are then, with the artists' guesses."""
    offered = [style for style in truth.styles if style.from_day <= day]
    known = {style.id for style in offered}
    turnaround = Law("lognormal", truth.turnaround.cv)
    settings = {
        "name": "Quayside Portraits",
        "zone": ZONE,
        "currency": "EUR",
        "confidence": 0.85,
        "round_to_s": 300,
    }
    return {
        "booth": settings,
        "styles": [
            {
                "id": style.id,
                "name": style.id.replace("-", " ").capitalize(),
                "price": style.price,
                "stages": [_guessed(truth, style, number) for number in range(len(style.stages))],
            }
            for style in offered
        ],
        "artists": [
            {"id": artist.id, "name": f"Easel {artist.id}", "styles": [id for id in artist.styles if id in known]}
            for artist in truth.artists
        ],
        "turnaround": {
            name: max(round(truth.turnaround.mean_s * turnaround.quantile(p)), 1)
            for name, p in (("quick_s", 0.1), ("usual_s", 0.5), ("slow_s", 0.9))
        },
    }


def _guessed(truth: Truth, style: StyleTruth, number: int) -> dict[str, Any]:
    stage = style.stages[number]
    usual, slow_by, quick_by = _marginal(truth, stage.cv or truth.cv)
    usual_s = stage.mean_s * usual * style.guess_factor
    return {
        "id": stage.id,
        "name": stage.id.replace("-", " ").capitalize(),
        "quick_s": _to_five(usual_s * quick_by**truth.guess_spread),
        "usual_s": _to_five(usual_s),
        "slow_s": _to_five(usual_s * slow_by**truth.guess_spread),
        "per_sitter": stage.per_sitter,
    }


@lru_cache(maxsize=512)
def _marginal(truth: Truth, cv: float) -> tuple[float, float, float]:
    """Median of a stage's chance with its effects, and what the slow and the quick tenth are of it."""
    rng = np.random.default_rng(5)
    sd = math.hypot(truth.day_sd, truth.sketch_sd)
    law = Law(truth.law, cv, truth.hard_share, truth.hard_times)
    low, middle, high = np.quantile(law.draw(rng, 20_000) * np.exp(sd * rng.normal(size=20_000)), (0.1, 0.5, 0.9))
    return float(middle), float(high / middle), float(low / middle)


def _to_five(seconds: float) -> int:
    return max(round(seconds / 5) * 5, 5)

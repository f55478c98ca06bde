"""When is each portrait ready? The booth as it stands and the pace of its hands, scenario by scenario.

Rules, where the journal leaves room:
- a held ticket is quoted as though it were released now; for those behind it, it is passed over until it is released,
  after as long as holds last at this booth;
- an artist on a planned break, or out during one, is back when it ends;
- an artist who has not come in yet today is expected in `COMES_IN_S` during the day's first half hour, or when nobody
  who is in may draw a ticket; else artists who are out come back with the next opening;
- after `closes_at` a portrait in hand is finished, and the next is begun at the next day's same clock time; once the
  day is closed, what is on an easel waits for that too.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from copy import copy
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, timedelta
from functools import lru_cache
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import NDArray
from scipy.special import log_ndtr, ndtr, ndtri_exp

from portraitq.core.booth import Booth, TradingDay
from portraitq.core.events import Artist, Stage, Style
from portraitq.core.life import HELD, TOUCH_UP, TOUCH_UP_REST, Ticket
from portraitq.core.timing import day_index, drawing_s, pause_in_hand, stage_times
from portraitq.forecast.closing import DRAWS_ON_S
from portraitq.forecast.draws import SCENARIOS, Draws, exponential_rows, normal_rows, normals
from portraitq.forecast.easels import Easels, Hours, Seconds, Work
from portraitq.forecast.hand import DAY, GENERAL, MIDDAY_H, SKETCH, TIRING, Hand, at_hours, knowing, measured
from portraitq.forecast.lognormal import LEAST_REST_S, LogTime, mean_of_several, rest_by_log_tail, spread
from portraitq.forecast.pace import Pace, hours_open

COMES_IN_S = 300.0
BACK_LATE = timedelta(minutes=20)  # after the end of a planned break, while which the artist is still expected
SOON_BACK_S = 60.0
FIRST_HALF_HOUR_S = 1800.0
NIGHTS_AHEAD = 14  # a queue longer than a fortnight is not forecast more closely
LAST_TOUCH_S = 10.0  # all stages are done and only `finished` is missing
MOST_PAUSES = 6


@dataclass(frozen=True, slots=True)
class Outlook:
    """One ticket's future.

    ready_s   (n,) seconds after now when it is ready, one a scenario
    begins_s  (n,) seconds after now when drawing of it begins or goes on; 0 for what is on an easel now
    artist    who most likely draws it; None where nobody of the booth does
    ahead     how many are before it
    """

    ready_s: Seconds
    begins_s: Seconds
    artist: str | None
    ahead: int


class Scenarios:
    """The booth's future, drawn `n` times. Build one for each booth, pace and instant; it answers for every ticket."""

    def __init__(self, booth: Booth, pace: Pace, now: datetime, n: int = SCENARIOS) -> None:
        if booth.set_up is None:
            raise ValueError("a booth without a set-up has nothing to forecast")
        self.booth, self.pace, self.now, self.n = booth, pace, now, n
        gone = [
            artist for artist in booth.easels if booth.set_up.artist(artist) is None
        ]  # with work in hand all the same
        self.artists = (*booth.set_up.artists, *(Artist(id=artist, name=artist, styles=()) for artist in gone))
        self.day_index = day_index(booth.days, now) + (0 if booth.day else 1)
        self.known_lengths = _lengths(pace)
        self.lengths: dict[str, _World] = {}
        self.idle_lags: dict[str, Draws] = {}
        self.pause_rate = _rate(pace, n)
        self.styles = _distinct([*booth.set_up.styles, *(ticket.style for ticket in booth.waiting())])
        self.open_since_s = 3600 * (hours_open(booth.days, now) if booth.day else MIDDAY_H)
        self.hands = {artist.id: _HandWorld(self, artist.id) for artist in self.artists}
        self.tires = np.array([self.hands[artist.id].hand.mean[TIRING] for artist in self.artists], np.float32)
        self.sketch_sd = np.array([self.hands[artist.id].spreads.sketch for artist in self.artists], np.float32)
        self.sketch_sds_differ = len(set(self.sketch_sd.tolist())) > 1
        self.outlooks: dict[str, Outlook] = {}
        self.on_the_way: list[_Stand] | None = None
        self.held: list[_Held] = []
        self.paces: dict[tuple[int, int, tuple[int, ...]], _Paces] = {}
        self.drawn_by: dict[tuple[str, str | None], tuple[int, ...]] = {}
        self.is_here = [self._is_expected(artist) for artist in self.artists]
        self._set_out()
        self._draw_the_queue()

    def after_closing(self, ticket: str) -> float:
        """The chance that the drawing of `ticket` begins after today's closing time; 0 while the booth is closed."""
        hours = self.easels.hours.open_s
        if self.booth.day is None or not hours:
            return 0.0
        return float(np.mean(self.outlooks[ticket].begins_s > hours[0][1]))

    # -- the present ---------------------------------------------------------------------------------------------

    def _set_out(self) -> None:
        hours = hours_ahead(self.booth, self.now)
        if draws_on := self.pace.closing.draws_on:
            late_s = np.where(ndtr(normals("closing", 1, self.n)[0]) < draws_on, DRAWS_ON_S, 0.0)
            hours = replace(hours, late_s=late_s)
        breaks_s = [_breaks(self.booth.day, artist.id, self.now) for artist in self.artists]
        nothing = np.zeros((len(self.artists), self.n), np.float32)
        self.easels = Easels(nothing, breaks_s, hours)
        next_s = hours.open_s[1][0] if len(hours.open_s) > 1 else 0.0
        for row, artist in enumerate(self.artists):
            ticket = self.booth.on_easel(artist.id)
            if ticket is not None:
                free_s = self._on_easel(row, artist, ticket)
            elif self.booth.day is None:
                free_s = np.zeros(self.n)
            elif artist.id in self.booth.here_since:
                free_s = self._idle(artist)
            else:
                free_s = np.full(self.n, self._back_in_s(artist, next_s))
            self.easels.free_s[row] = self.easels.begin(row, free_s)
        self.free_at_first_s = self.easels.free_s.copy()

    def reordered(self, booth: Booth) -> Scenarios:
        """These scenarios for `booth`, which differs from theirs by moves in the queue alone.

        To the bit what `Scenarios` of that booth gives; but hands and what is on the easels do not hang on the order
        of the queue, so they are shared.
        """
        assert booth.set_up is not None
        styles = _distinct([*booth.set_up.styles, *(ticket.style for ticket in booth.waiting())])
        if [id(style) for style in styles] != [id(style) for style in self.styles]:
            return Scenarios(booth, self.pace, self.now, self.n)  # effects are drawn in the order of the styles
        other = copy(self)
        other.booth, other.easels, other.on_the_way = booth, copy(self.easels), None
        other.outlooks = {id: self.outlooks[id] for id in booth.easels.values()}
        if any(self._begins_first(artist) != other._begins_first(artist) for artist in self.artists):
            other._start_over()
            return other
        first = next(
            (at for at, both in enumerate(zip(self.booth.queue, booth.queue, strict=True)) if len({*both}) > 1), 0
        )
        stand = self._stand_before(first)
        other.easels.free_s, other.is_here = stand.free_s.copy(), list(stand.is_here)
        other.held = [replace(each) for each in stand.held]
        other.outlooks |= {id: self.outlooks[id] for id in booth.queue[:first]}
        other._draw_the_queue(first, stand.ahead)
        return other

    def _begins_first(self, artist: Artist) -> str | None:
        """What `artist` begins first, where their easel is empty: when they do hangs on it."""
        is_idle = artist.id in self.booth.here_since and artist.id not in self.booth.easels
        first = self.booth.next_for(artist.id) if is_idle else None
        return first.id if first else None

    def _start_over(self) -> None:
        """Draw the whole queue, idle easels' beginnings anew."""
        self.easels.free_s, self.held = self.free_at_first_s.copy(), []
        self.is_here = [self._is_expected(artist) for artist in self.artists]
        for row, artist in enumerate(self.artists):
            if self.booth.day is not None and artist.id in self.booth.here_since and artist.id not in self.booth.easels:
                self.easels.free_s[row] = self.easels.begin(row, self._idle(artist))
        self._draw_the_queue()

    def _stand_before(self, place: int) -> _Stand:
        """How the easels stand before that place of the queue is drawn; all places are remembered at the first call."""
        if self.on_the_way is None:
            again = copy(self)
            again.easels, again.outlooks, again.on_the_way = copy(self.easels), {}, []
            again._start_over()
            self.on_the_way = again.on_the_way
        return self.on_the_way[place]

    def _is_expected(self, artist: Artist) -> bool:
        booth, day = self.booth, self.booth.day
        if day is None or artist.id in booth.here_since or artist.id in booth.easels:
            return True
        if any(b.artist == artist.id and b.begins_at <= self.now < b.ends_at + BACK_LATE for b in day.breaks):
            return True
        last = booth.free_since.get(artist.id)
        came_today = last is not None and last >= day.opened_at
        return not came_today and (self.now - day.opened_at).total_seconds() < FIRST_HALF_HOUR_S

    def _back_in_s(self, artist: Artist, next_opening_s: float) -> float:
        day = self.booth.day
        assert day is not None
        for planned in day.breaks:
            if planned.artist == artist.id and planned.begins_at <= self.now < planned.ends_at + BACK_LATE:
                return max((planned.ends_at - self.now).total_seconds(), SOON_BACK_S)
        row = next(row for row, each in enumerate(self.artists) if each.id == artist.id)
        return COMES_IN_S if self.is_here[row] else next_opening_s

    def _idle(self, artist: Artist) -> Seconds:
        """When an artist with an empty easel begins: what is left of the turnaround, or of the lag of an idle one."""
        came_at, free_at = self.booth.here_since[artist.id], self.booth.free_since[artist.id]
        first = self.booth.next_for(artist.id)
        chance = normals(f"idle {artist.id}", 2, self.n)
        if first is not None:
            ready_at = _in_queue_since(first)
            waited = ready_at <= free_at and free_at > came_at
            lag_s = self._rest("turnaround" if waited else "idle", chance[0], self._since_s(max(free_at, ready_at)))
        else:
            lag_s = self._length("idle", chance[0])
        if free_at > came_at and (first is None or ready_at > free_at):
            since_s = (self.now - free_at).total_seconds()
            lag_s = np.maximum(lag_s, self._length("turnaround", chance[1]) - since_s)
        return lag_s

    def _world(self, name: str) -> _World | None:
        """The length of that name in every scenario; None where it takes no time."""
        if name not in self.lengths and (known := self.known_lengths.get(name)) is not None:
            self.lengths[name] = _World(known, f"length {name}", self.n)
        return self.lengths.get(name)

    def _length(self, name: str, z: Draws) -> Draws:
        world = self._world(name)
        return world.draw(z) if world else np.zeros(self.n, np.float32)

    def _rest(self, name: str, z: Draws, ran_s: float) -> Seconds:
        world = self._world(name)
        return world.rest(z, max(ran_s, 0.0)) if world else np.zeros(self.n)

    def _since_s(self, at: datetime) -> float:
        return (self.now - at).total_seconds()

    def _on_easel(self, row: int, artist: Artist, ticket: Ticket) -> Seconds:
        """Take the portrait on that easel to its end; when the easel is free again."""
        chance = normals(ticket.id, 2, self.n)
        delay_s = self._until_drawn_on(artist, ticket)
        if ticket.place in (TOUCH_UP, TOUCH_UP_REST):
            rest_s = self._rest("touch-up", chance[0], drawing_s(ticket, self.now, self.booth.days))
            work = Work(rest_s, rest_s[None, :])
        else:
            work = self.hands[artist.id].rest_of(ticket)
        ready_s = self.easels.through_breaks(row, delay_s, work, is_running=True)
        self.outlooks[ticket.id] = Outlook(ready_s, np.zeros(self.n, np.float32), artist.id, 0)
        return ready_s + self._length("turnaround", chance[1])

    def _until_drawn_on(self, artist: Artist, ticket: Ticket) -> Seconds:
        pause = pause_in_hand(ticket)
        rest_s: Seconds = np.zeros(self.n)
        if pause is not None:
            chance = normals(f"{ticket.id} rests", 1, self.n)[0]
            rest_s = self._rest(f"pause {pause.why}", chance, self._since_s(pause.began_at))
            for planned in self.booth.day.breaks if self.booth.day else ():
                is_on = planned.artist == artist.id and planned.begins_at - BREAK_EARLY <= self.now < planned.ends_at
                if is_on and pause.why == "break":
                    rest_s = np.full(self.n, (planned.ends_at - self.now).total_seconds())
        if self.booth.day and artist.id not in self.booth.here_since:
            row = next(row for row, each in enumerate(self.artists) if each.id == artist.id)
            back_s = self._back_in_s(artist, COMES_IN_S)
            rest_s = np.maximum(rest_s, back_s) if self.is_here[row] else rest_s
        if self.booth.day is None and self.easels.hours.open_s:
            rest_s = np.maximum(rest_s, self.easels.hours.open_s[0][0])
        return rest_s

    # -- the queue -----------------------------------------------------------------------------------------------

    def _draw_the_queue(self, first: int = 0, ahead: int | None = None) -> None:
        """Take the queue from the place `first` on, `ahead` portraits before it."""
        ahead = len(self.booth.easels) if ahead is None else ahead
        for ticket in self.booth.waiting()[first:]:
            if self.on_the_way is not None:
                held = tuple(replace(each) for each in self.held)
                self.on_the_way.append(_Stand(self.easels.free_s.copy(), tuple(self.is_here), held, ahead))
            if ticket.place == HELD:
                self.outlooks[ticket.id] = self._take(ticket, ahead, commit=False)
                self._hold(ticket)
            else:
                self._let_in_before(ticket)
                self.outlooks[ticket.id] = self._take(ticket, ahead, commit=True)
                ahead += 1
        self.ahead = ahead

    def asked(self, style: Style, sitters: int, artist: str | None, name: str, in_s: float = 0.0) -> Outlook:
        """The outlook of a portrait that would be ordered now, or `in_s` later with nothing else ordered until then.

        The next question finds everything as it was.
        """
        ticket = Ticket(name, 0, "", style, sitters, artist, 0, self.now, ())
        if not self.held and not in_s:
            return self._take(ticket, self.ahead, commit=False)
        as_they_were = self.easels.free_s, [replace(each) for each in self.held]
        self.easels.free_s = self.easels.free_s.copy()
        self._let_in_before(ticket, in_s)
        if in_s:
            self._wait_for_an_order(in_s, self._who_may_draw(ticket))
        outlook = self._take(ticket, self.ahead, commit=False, in_s=in_s)
        self.easels.free_s, self.held = as_they_were
        return outlook

    def _wait_for_an_order(self, in_s: float, may: tuple[int, ...]) -> None:
        """Who of `may` is free by then takes the order up with the lag of an idle artist."""
        for row in may:
            if self.is_here[row]:
                at_s = np.maximum(self.easels.free_s[row], self._idle_lag(self.artists[row].id) + np.float32(in_s))
                self.easels.free_s[row] = self.easels.begin(row, at_s)

    def _idle_lag(self, artist: str) -> Draws:
        """(n,) how long it takes them, when they are idle, to begin what is ordered."""
        if artist not in self.idle_lags:
            self.idle_lags[artist] = self._length("idle", normals(f"idle {artist}", 1, self.n)[0])
        return self.idle_lags[artist]

    def _hold(self, ticket: Ticket) -> None:
        """Keep a held ticket's place until it is released, sooner or later."""
        since = max(event.happened_at for event in ticket.history if event.kind == "held")
        release_s = self._rest("hold", normals(f"{ticket.id} held", 1, self.n)[0], self._since_s(since))
        if may := self._who_may_draw(ticket):
            self.held.append(_Held(ticket, may, release_s, np.ones(self.n, np.bool_)))

    def _let_in_before(self, ticket: Ticket, in_s: float = 0.0) -> None:
        """Where `ticket` would begin, those before it that were held and are released by then are drawn first."""
        may = self._who_may_draw(ticket)
        for held in self.held if may else ():
            begins_s = np.maximum(self.easels.first(may)[1], np.float32(in_s))
            goes = held.waits & (held.release_s <= begins_s)
            if not goes.any():
                continue
            as_it_was_s = self.easels.free_s.copy()
            self._drawn(held.ticket, held.may, held.release_s, commit=True)
            self.easels.free_s[:] = np.where(goes, self.easels.free_s, as_it_was_s)
            held.waits = held.waits & ~goes

    def _take(self, ticket: Ticket, ahead: int, commit: bool, in_s: float = 0.0) -> Outlook:
        may = self._who_may_draw(ticket)
        if not may:
            never_s = np.full(self.n, NEVER_S, np.float32)
            return Outlook(never_s, never_s, None, ahead)
        as_it_was_s = self.easels.free_s
        if not any(self.is_here[row] for row in may):
            self._call_in(may, commit, in_s)
        who, begins_s, ready_s = self._drawn(ticket, may, None, commit)
        if not commit:
            self.easels.free_s = as_it_was_s
        likeliest = max(may, key=lambda row: np.count_nonzero(who == row)) if len(may) > 1 else may[0]
        return Outlook(ready_s, begins_s, self.artists[likeliest].id, ahead)

    def _drawn(
        self, ticket: Ticket, may: tuple[int, ...], from_s: Seconds | None, commit: bool
    ) -> tuple[NDArray[np.intp], Seconds, Seconds]:
        """Who of `may` draws it, when it is begun, from `from_s` on, and ready; `commit` keeps their easels busy."""
        who, begins_s = self.easels.first(may, from_s)
        chance = normals(ticket.id, 2 + len(ticket.style.stages), self.n)
        ready_s = self.easels.end(who, begins_s, self._work(ticket, chance, may, who, begins_s))
        if commit:
            self.easels.free_again(who, ready_s + self._length("turnaround", chance[1]))
        return who, begins_s, ready_s

    def _who_may_draw(self, ticket: Ticket) -> tuple[int, ...]:
        asked = (ticket.style.id, ticket.wants_artist)
        if asked not in self.drawn_by:
            self.drawn_by[asked] = tuple(
                row for row, artist in enumerate(self.artists) if self.booth.may_draw(artist.id, ticket)
            )
        return self.drawn_by[asked]

    def _call_in(self, may: Sequence[int], commit: bool, in_s: float) -> None:
        """Nobody who may draw it is in: they are expected soon after it is ordered."""
        self.easels.free_s = self.easels.free_s.copy()
        for row in may:
            at_s = self.easels.begin(row, np.full(self.n, COMES_IN_S + in_s))
            self.easels.free_s[row] = np.minimum(self.easels.free_s[row], at_s)
            self.is_here[row] = self.is_here[row] or commit

    def _work(
        self, ticket: Ticket, chance: Draws, may: tuple[int, ...], who: NDArray[np.intp], begins_s: Seconds
    ) -> Work:
        """How long a waiting portrait (or what is left of one put back) takes whoever draws it in each scenario.

        chance  (2 + stages, n): the sketch's own effect, the turnaround after it, and each stage's
        """
        done = ticket.stages_done
        if done >= len(ticket.style.stages):
            return self.last_touch()
        mu, sigma = self._pace_of(who, ticket, may)
        sketch = self._sketch_sd(who) * chance[0]
        sketch += self._tiring(who, begins_s)
        stages_s = sigma[done:] * chance[2 + done :]
        stages_s += mu[done:]
        stages_s += sketch
        np.exp(stages_s, out=stages_s)
        if ticket.was_begun and (ran_s := drawing_s(ticket, self.now, self.booth.days)) > 0:
            tail = log_ndtr(-chance[2 + done].astype(np.float64))
            stages_s[0] = rest_by_log_tail(tail, ran_s, (mu[done] + sketch).astype(np.float64), sigma[done])
        return self.with_pauses(ticket.id, stages_s)

    def _pace_of(self, who: NDArray[np.intp], ticket: Ticket, may: tuple[int, ...]) -> tuple[Draws, Draws]:
        """(stages, n) each: mu and sigma of the log of each stage's time in the hand of who draws it."""
        if len(may) == 1:
            return self.hands[self.artists[may[0]].id].of_sitters(ticket.style, ticket.sitters)
        key = (id(ticket.style), ticket.sitters, may)
        if key not in self.paces:
            self.paces[key] = self._paces_of(ticket.style, ticket.sitters, may)
        mu, sigma = self.paces[key].of_each.take(self.easels.of(who), axis=1).reshape(2, -1, self.n)
        return mu, sigma

    def _paces_of(self, style: Style, sitters: int, may: tuple[int, ...]) -> _Paces:
        of_each = np.zeros((2, len(style.stages), len(self.artists), self.n), np.float32)
        for row in may:
            of_each[:, :, row] = self.hands[self.artists[row].id].of_sitters(style, sitters)
        return _Paces(style, of_each.reshape(2 * len(style.stages), -1))

    def _sketch_sd(self, who: NDArray[np.intp]) -> Draws | np.float32:
        """How far one sketch's own effect goes at the easel that draws it."""
        return self.sketch_sd[who] if self.sketch_sds_differ else np.float32(self.sketch_sd[0])

    def _tiring(self, who: NDArray[np.intp], begins_s: Seconds) -> Draws | float:
        """(n,) what the hour at which it is begun adds to the log of each stage's time in the hand of who draws it."""
        if not self.tires.any():
            return 0.0
        opens_s, closes_s = self.easels.hours.open_s[0] if self.easels.hours.open_s else (0.0, math.inf)
        since_s = self.open_since_s if self.booth.day else -opens_s
        hours = (begins_s + np.float32(since_s)) * np.float32(1 / 3600)
        hours[begins_s > closes_s + DRAWS_ON_S] = 0.0
        np.clip(hours, 0.0, 2 * MIDDAY_H, out=hours)
        hours -= np.float32(MIDDAY_H)
        hours *= self.tires[who] if len(self.tires) > 1 else self.tires[0]
        return np.asarray(hours, np.float32)

    def last_touch(self) -> Work:
        """What a portrait needs of which every stage is done."""
        last_s = np.full(self.n, LAST_TOUCH_S, np.float32)
        return Work(last_s, last_s[None, :])

    def with_pauses(self, name: str, stages_s: Seconds) -> Work:
        """The work of stages of (stages, n) seconds, interruptions spread evenly over it."""
        drawn_s = stages_s.sum(axis=0)
        total_s = drawn_s.copy()
        if self.pause_rate is not None:
            self._interrupt(total_s, name, drawn_s, self.pause_rate)
        return Work(total_s, stages_s)

    def _interrupt(self, total_s: Seconds, name: str, drawn_s: Seconds, rate: Draws) -> None:
        """Add to `total_s` what interrupts `name` while drawn for `drawn_s`; it comes at random over that time."""
        lags, expected = self.pace.lags, rate * drawn_s
        many = _most_pauses(float(expected.sum()) / self.n)
        gaps = exponential_rows(f"{name} pauses", many + 1, self.n)
        chance = normal_rows(f"{name} pauses", many + 1, self.n)
        self._add_where(gaps[0] < lags.unsaid_met / lags.over_s * drawn_s, total_s, "unsaid", chance[0])
        gone = gaps[1]
        for k in range(1, many + 1):
            self._add_where(gone < expected, total_s, "pause", chance[k])
            if k < many:
                gone = gone + gaps[k + 1]

    def _add_where(self, met: NDArray[np.bool], total_s: Seconds, kind: str, z: Draws) -> None:
        """Add one interruption of that kind wherever it was met, which is in few of the scenarios."""
        where = met.nonzero()[0]
        if len(where) and (world := self._world(kind)):
            total_s[where] += world.draw(z[where], where)


@dataclass(slots=True)
class _Held:
    """A held ticket: who may draw it, (n,) when it is released, and where it still waits for that."""

    ticket: Ticket
    may: tuple[int, ...]
    release_s: Seconds
    waits: NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class _Stand:
    """How things stand on the way through the queue: the easels, who is expected, who is held, how many are ahead."""

    free_s: Seconds
    is_here: tuple[bool, ...]
    held: tuple[_Held, ...]
    ahead: int


NEVER_S = 366 * 86_400.0  # nobody of this booth draws it: told as a year ahead, and no artist named
BREAK_EARLY = timedelta(minutes=10)  # a pause "for a break" that begins this much before the planned one is that one


def _most_pauses(expected: float) -> int:
    """How many pauses one portrait may have so that more come in less than one of a hundred."""
    chance, left, many = math.exp(-expected), 1.0 - math.exp(-expected), 0
    while left > 0.01 and many < MOST_PAUSES:
        many += 1
        chance *= expected / many
        left -= chance
    return max(many, 1)


def _lengths(pace: Pace) -> dict[str, LogTime | None]:
    lags = pace.lags
    return {
        "turnaround": lags.turnaround,
        "idle": lags.idle,
        "touch-up": lags.touch_up,
        "pause": lags.all_pauses,
        "unsaid": lags.unsaid,
        "hold": lags.hold,
        **{f"pause {why}": known for why, known in lags.pauses},
    }


def _rate(pace: Pace, n: int) -> Draws | None:
    """(n,) unplanned pauses a second drawn; gamma with the pauses met as its shape."""
    lags = pace.lags
    if not lags.met:
        return None
    factor = 1 / np.square(spread(max(lags.met, 1.0), normals("pause rate", 1, n)[0]))
    return np.asarray(lags.met / lags.over_s * factor, dtype=np.float32)


def _distinct(styles: Iterable[Style]) -> list[Style]:
    """Each style once. Tickets share theirs with the set-up, so this need not look into them."""
    return list({id(style): style for style in styles}.values())


def _in_queue_since(ticket: Ticket) -> datetime:
    came = [event.happened_at for event in ticket.history if event.kind in ("ordered", "released", "put_back")]
    return max(came, default=ticket.ordered_at)


class _World:
    """One log-normal length in every scenario: mu and sigma unknown, drawn once and the same for all tickets."""

    def __init__(self, known: LogTime, name: str, n: int) -> None:
        chance = normals(name, 2, n)
        mu, sigma = known.world(chance[0], chance[1])
        self.mu, self.sigma = np.asarray(mu, dtype=np.float32), np.asarray(sigma, dtype=np.float32)

    def draw(self, z: Draws, where: NDArray[np.intp] | slice = slice(None)) -> Draws:
        """Its length for the chance `z` of each scenario, or of those named by `where`."""
        return np.asarray(np.exp(self.mu[where] + self.sigma[where] * z))

    def rest(self, z: Draws, ran_s: float) -> Seconds:
        return np.asarray(rest_by_log_tail(log_ndtr(-z.astype(np.float64)), ran_s, self.mu, self.sigma))


@dataclass(slots=True)
class _StyleWorld:
    """A style in an artist's hand, scenario by scenario: log of each stage's time for one sitter, and its chance."""

    style: Style
    mu: NDArray[np.float32]
    sigma: NDArray[np.float32]
    of_sitters: dict[int, tuple[NDArray[np.float32], NDArray[np.float32]]] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class _Paces:
    """A style in several artists' hands: (2 * stages, artists * n), mu of the log of each stage's time, then sigma.

    The style stands here because it is known by its identity, which lasts as long as something holds it.
    """

    style: Style
    of_each: Draws


LEAST_VARIANCE = 1e-10  # so that effects known exactly have a root too: a hundred-thousandth of a time


class _HandWorld:
    """One artist's pace in every scenario, day's effect included; what the sketch in hand shows is in it."""

    def __init__(self, of: Scenarios, artist: str) -> None:
        self.of, self.artist, self.n = of, artist, of.n
        self.pace, self.spreads = of.pace, of.pace.mind(artist).spreads
        self.styles: dict[int, _StyleWorld] = {}  # by the style's identity
        self.hand = self._what_is_known()
        self.effects = self._draw_effects()

    def _what_is_known(self) -> Hand:
        """The artist's hand on this day, with every style at hand and what the sketch on the easel has shown."""
        booth, spreads = self.of.booth, self.spreads
        at_hand = booth.on_easel(self.artist)
        hand = self.pace.hand(self.artist, None, self.of.day_index)
        for style in (*self.of.styles, *([at_hand.style] if at_hand else ())):
            hand = knowing(hand, style, spreads)
        if at_hand is not None and at_hand.finished_at is None:
            for time in stage_times(at_hand, booth.days):
                if time.trusted and time.artist == self.artist:
                    hand = measured(at_hours(hand, hours_open(booth.days, time.ended_at)), time, at_hand.style)
        return at_hours(hand, self.of.open_since_s / 3600)

    def _draw_effects(self) -> Seconds:
        """(d, n) of all effects together, from what is known of them."""
        d = len(self.hand.mean)
        root = np.linalg.cholesky(self.hand.cov + np.diag(np.full(d, LEAST_VARIANCE)))
        chance = normals(f"hand {self.artist}", d, self.n)
        return np.asarray(self.hand.mean[:, None] + root.astype(np.float32) @ chance, dtype=np.float64)

    def _style(self, style: Style) -> _StyleWorld:
        found = self.styles.get(id(style))
        if found is None:
            shared = self.effects[GENERAL] + self.effects[DAY] + self.effects[self.hand.index["style", style.id]]
            mus, sigmas = [], []
            for stage in style.stages:
                key = (style.id, stage.id)
                mus.append(self.hand.base[key] + shared + self.effects[self.hand.index["stage", *key]])
                sigmas.append(self.hand.sigma(*key) * self._spread(key))
            found = self.styles[id(style)] = _StyleWorld(style, np.array(mus, np.float32), np.array(sigmas, np.float32))
        return found

    def _spread(self, key: tuple[str, str]) -> NDArray[np.float32] | float:
        alpha = self.hand.alpha[key]
        if math.isinf(alpha):
            return np.ones(self.n, np.float32)
        return np.asarray(spread(alpha, normals(f"spread {self.artist} {key[0]} {key[1]}", 1, self.n)[0]), np.float32)

    def of_sitters(self, style: Style, sitters: int) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
        """(stages, n) each: mu and sigma of the log of each stage's time for all sitters, no sketch's effect in it."""
        world = self._style(style)
        if sitters == 1 or not any(stage.per_sitter for stage in style.stages):
            return world.mu, world.sigma
        if sitters not in world.of_sitters:
            mu, sigma = world.mu.copy(), world.sigma.copy()
            for row, stage in enumerate(style.stages):
                if stage.per_sitter:
                    shift, sigma[row] = mean_of_several(world.sigma[row], sitters)
                    mu[row] += math.log(sitters) + shift
            world.of_sitters[sitters] = mu, sigma
        return world.of_sitters[sitters]

    def rest_of(self, ticket: Ticket) -> Work:
        """What is left of the portrait on this artist's easel, given its stages so far and how long this one runs.

        That the stage in hand still runs says something of the effects too: they are moved with it, scenario by
        scenario, as far as they go with its time (conditioning by kriging, Matheron's rule: Journel & Huijbregts 1978).
        """
        stages, done = ticket.style.stages, ticket.stages_done
        if done >= len(stages):
            return self.of.last_touch()
        chance = normals(ticket.id, 2 + len(stages), self.n)
        ran_s = drawing_s(ticket, self.of.now, self.of.booth.days)
        mu, sigma = self.of_sitters(ticket.style, ticket.sitters)
        logs = mu[done:] + self._own() + sigma[done:] * chance[2 + done :]
        forgot = self._forgot(ticket, logs, ran_s)
        first_s = self._run_on(ticket, stages[done], logs[0], ran_s, forgot)
        mu, sigma = self.of_sitters(ticket.style, ticket.sitters)
        rest_s = np.exp(mu[done + 1 :] + self._own() + sigma[done + 1 :] * chance[3 + done :])
        stages_s = np.concatenate([first_s[None, :], rest_s])
        if forgot is not None:
            forgot.put_into(stages_s)
        return self.of.with_pauses(ticket.id, stages_s)

    def _own(self) -> Seconds:
        """(n,) what this sketch's own effect and the hour add to the log of each of its stages."""
        return np.asarray(self.effects[SKETCH] + self.hand.hours * self.hand.mean[TIRING])

    def _forgot(self, ticket: Ticket, logs: Seconds, ran_s: float) -> _Forgotten | None:
        """Where the stage in hand was over before now and its tap forgotten, and perhaps others after it.

        logs  (stages, n) logs of the time of the stage in hand and of those after it, before its age is looked at

        After a forgotten tap the end of each later stage catches it up with the same chance. That `ran_s` went by
        without a tap weighs how many were forgotten: none, if the first stage takes that long; one, if the first two
        together do and the first alone does not; and so on.
        """
        lags = self.pace.lags
        if len(logs) < 2 or ran_s <= 0 or not lags.forgets:
            return None
        ends_s = np.cumsum(np.exp(logs), axis=0)
        sums, log_ran = np.log(ends_s), math.log(ran_s)
        lasts = ndtr((sums.mean(axis=1) - log_ran) / sums.std(axis=1))
        weights = np.diff(lasts, prepend=0.0).clip(0.0)
        weights[1:] *= lags.forgets * (1 - lags.catches_up) ** np.arange(len(logs) - 1)
        shares = np.cumsum(weights) / weights.sum() if weights.sum() else np.ones(len(logs))
        if 1 - shares[0] < LEAST_FORGOTTEN:
            return None
        chance = normals(f"{ticket.id} forgotten", 2, self.n).astype(np.float64)
        taps = np.searchsorted(shares, ndtr(chance[0])).clip(0, len(logs) - 1)
        return _Forgotten(taps, _rests_after_forgotten(ends_s, taps, ran_s, chance[1]))

    def _run_on(
        self, ticket: Ticket, stage: Stage, unmoved: Seconds, ran_s: float, forgot: _Forgotten | None
    ) -> Seconds:
        """(n,) seconds that the stage in hand still takes; moves this hand's effects with it."""
        if ran_s <= 0:
            return np.asarray(np.exp(unmoved), dtype=np.float64)
        mu, sigma = self.of_sitters(ticket.style, ticket.sitters)
        row = ticket.stages_done
        loads = np.zeros(len(self.hand.mean))
        loads[list(self.hand.rows(ticket.style.id, stage.id))] = 1.0
        together = self.hand.cov @ loads
        variance = float(loads @ together) + float(np.mean(np.square(sigma[row])))
        center, sd = float(np.mean(mu[row] + self._own())), math.sqrt(variance)
        log_tail = log_ndtr(-(unmoved - center) / sd) + log_ndtr(-(math.log(ran_s) - center) / sd)
        moved = center - sd * ndtri_exp(log_tail)
        moves = moved - unmoved if forgot is None else np.where(forgot.taps > 0, 0.0, moved - unmoved)
        self.effects = self.effects + (together / variance)[:, None] * moves
        self.styles.clear()
        return np.asarray(np.maximum(np.exp(moved) - ran_s, LEAST_REST_S))


LEAST_FORGOTTEN = 0.002  # a chance under it is none


@dataclass(frozen=True, slots=True)
class _Forgotten:
    """How many taps were forgotten in each scenario, (n,), and how long the stage really in hand takes from now on."""

    taps: NDArray[np.intp]
    rest_s: Seconds

    def put_into(self, stages_s: Seconds) -> None:
        """Into (stages, n) times from now on: what was forgotten is over, what is in hand stands at its head."""
        stages_s[0] = np.where(self.taps > 0, self.rest_s, stages_s[0])
        for stage in range(1, len(stages_s)):
            stages_s[stage, self.taps >= stage] = 0.0


FEW_PATHS = 20  # fewer scenarios that fit the story are no sample


def _rests_after_forgotten(ends_s: Seconds, taps: NDArray[np.intp], ran_s: float, z: Seconds) -> Seconds:
    """(n,) how long the stage takes from now on that is in hand after so many forgotten `taps`.

    ends_s  (stages, n) when each stage ends, counted from the beginning of the first

    Drawn from the scenarios in which the stages before it end by `ran_s` and it does not; where they are too few, as a
    log-normal sum known only to be longer than that.
    """
    rest_s = np.zeros(len(taps))
    for forgotten in np.unique(taps[taps > 0]):
        here = taps == forgotten
        fits = np.flatnonzero((ends_s[forgotten - 1] <= ran_s) & (ends_s[forgotten] > ran_s))
        if len(fits) >= FEW_PATHS:
            picked = fits[(ndtr(z[here]) * len(fits)).astype(np.intp)]
            rest_s[here] = ends_s[forgotten][picked] - ran_s
        else:
            sums = np.log(ends_s[forgotten])
            rest_s[here] = rest_by_log_tail(log_ndtr(-z[here]), ran_s, float(sums.mean()), float(sums.std()))
    return rest_s


def hours_ahead(booth: Booth, now: datetime) -> Hours:
    """When portraits may be begun from now on; the days to come are taken to be like the last one."""
    if not booth.days:
        return Hours()
    last = booth.days[-1]
    spans = []
    if booth.day is not None:
        spans.append((-math.inf, (last.closes_at - now).total_seconds()))
    first = max(1, (now - last.opened_at).days - 1)
    for opens_at, closes_at in _days_like(last, booth.zone, first):
        if closes_at > now:
            spans.append(((opens_at - now).total_seconds(), (closes_at - now).total_seconds()))
    return Hours(tuple(spans))


@lru_cache(maxsize=64)
def _days_like(last: TradingDay, zone: ZoneInfo, first: int) -> tuple[tuple[datetime, datetime], ...]:
    """Opening and closing from `first` days after `last` on, at the same times on the booth's clocks."""
    opened, closes = last.opened_at.astimezone(zone), last.closes_at.astimezone(zone)

    def on(at: datetime, step: int) -> datetime:
        return (at.replace(tzinfo=None) + timedelta(days=step)).replace(tzinfo=zone).astimezone(UTC)

    return tuple((on(opened, step), on(closes, step)) for step in range(first, first + NIGHTS_AHEAD))


def _breaks(day: TradingDay | None, artist: str, now: datetime) -> list[tuple[float, float]]:
    """The planned breaks of `artist` not yet over, in seconds after now."""
    if day is None:
        return []
    ahead = sorted((b.begins_at, b.ends_at) for b in day.breaks if b.artist == artist and b.ends_at > now)
    return [((begins - now).total_seconds(), (ends - now).total_seconds()) for begins, ends in ahead]

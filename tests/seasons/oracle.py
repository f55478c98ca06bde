"""The oracle: what a forecaster would say who knows every parameter of a booth, but no future chance.

It reads the journal up to the line and knows all laws, paces, rates and lengths, of today too. What it does not know it
infers by the true likelihood: today's effect of each artist and the effect of each sketch in hand, on a grid over both,
from the true times of the stages that are tapped (`sees="effects"`: it is told both outright). Then it runs the booth's
rules forward, `n` scenarios at once.

Simplified: a ticket that is put back, moved or wants a touch-up in the future is not foreseen; visitors who take an
artist's time are a Poisson process at the rate of the sketch's beginning; two pauses in one stage last as two in a row.
What is cancelled by the booth on the eve of a day off is never scored, so the oracle leaves those scenarios out.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from portraitq.core.booth import Booth, fold
from portraitq.core.events import Finished, Ordered
from portraitq.core.life import HELD, TOUCH_UP, TOUCH_UP_REST, Ticket
from portraitq.forecast.promise import LEVELS, round_up
from portraitq.forecast.replay import QuoteRow, ready_times
from tests.seasons.laws import Floats, Law, Length
from tests.seasons.simulate import FIRST_MIDNIGHT, Season, StageTruly
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
    Truth,
)

Sees = Literal["filtered", "effects"]
Ints = NDArray[np.int64]
N = 1000
DAYS_AHEAD = 3  # today and two more
OVERDRAWN = 12  # proposals a scenario where a stage's age is matched by rejection
VISITS_AHEAD = 5
STAYING = 0.75  # of the visitors to come who order, about


def oracle_rows(season: Season, sees: Sees = "filtered", n: int = N, seed: int = 1) -> list[QuoteRow]:
    """What the oracle says right after each `ordered` of the season; rows like the replay's."""
    oracle = _Oracle(season, sees, n, np.random.default_rng([seed, season.seed]))
    ready_at = ready_times(season.events)
    rows, booth, unread = [], Booth(), 0
    for read, event in enumerate(season.events, start=1):
        if isinstance(event.data, Finished):
            oracle.has_finished(event.data.ticket)
        if isinstance(event.data, Ordered):
            booth, unread = fold(booth, season.events[unread:read]), read
            ready_s = oracle.ready(booth, event.data.ticket, event.at)
            said = tuple(event.at + timedelta(seconds=float(q)) for q in np.quantile(ready_s, LEVELS))
            told = event.at + timedelta(seconds=float(np.quantile(ready_s, 0.85)))
            ready_by = round_up(told, 300, booth.zone)
            rows.append(
                QuoteRow(event.seq, event.at, event.data.ticket, said, ready_by, ready_at.get(event.data.ticket))
            )
    return rows


@dataclass(frozen=True)
class _Grid:
    """What an effect may be: points, the log of their chances, and how far a draw strays from its point."""

    points: Floats
    log_chance: Floats
    step: float

    @classmethod
    def of(cls, truth: Truth, sd: float) -> _Grid:
        if sd == 0:
            return cls(np.zeros(1), np.zeros(1), 0.0)
        if truth.effect == "two-point":
            return cls(np.array([-sd, sd]), np.log([0.5, 0.5]), 0.0)
        points = np.linspace(-3.5 * sd, 3.5 * sd, 29)
        log_chance = -0.5 * (points / sd) ** 2
        return cls(points, log_chance - _log_sum(log_chance), float(points[1] - points[0]))

    def draw(self, log_weight: Floats, n: int, rng: np.random.Generator) -> Floats:
        chance = np.exp(log_weight - _log_sum(log_weight))
        found = self.points[rng.choice(len(self.points), n, p=chance / chance.sum())]
        return np.asarray(found + self.step * (rng.random(n) - 0.5))


@dataclass(frozen=True)
class _Clock:
    """What the journal says of a sketch on an easel: true stages tapped, how long the next one has run, its pause."""

    done: list[StageTruly]
    age_s: float
    mark_s: float
    began_s: float
    paused: str | None
    paused_s: float


def _log_sum(log_x: Floats, axis: int | None = None) -> Floats:
    """The log of the sum of exp."""
    top = np.max(log_x, axis=axis, keepdims=True)
    return np.asarray(np.squeeze(np.log(np.sum(np.exp(log_x - top), axis=axis, keepdims=True)) + top, axis=axis))


def _seconds(at: datetime) -> float:
    return (at - FIRST_MIDNIGHT).total_seconds()


def _clock(ticket: Ticket, truly: list[StageTruly], now: float) -> _Clock:
    """The clock of `ticket`, taps that were slips left out."""
    names = [stage.id for stage in ticket.style.stages]
    ends = {stage.stage: stage.ended_at_s for stage in truly}
    ran, since, mark, began = 0.0, None, 0.0, 0.0
    done, paused, paused_s = 0, None, 0.0
    for event in ticket.history:
        at = min(_seconds(event.happened_at), now)
        if event.kind in ("started", "resumed"):
            since, paused = at, None
            if event.kind == "started":
                began, mark = at, at
        elif event.kind in ("paused", "put_back"):
            ran, since = ran + (at - since if since is not None else 0.0), None
            paused, paused_s = getattr(event.data, "why", None), at
        elif event.kind == "stage_done":
            stage = names.index(getattr(event.data, "stage"))  # noqa: B009
            if ends.get(stage, math.inf) <= at + 1.0:
                done, ran, mark = stage + 1, 0.0, at
                since = at if since is not None else None
    if since is not None:
        ran += now - since
    return _Clock([stage for stage in truly if stage.stage < done], ran, mark, began, paused, paused_s)


class _Oracle:
    """The filter of one season."""

    def __init__(self, season: Season, sees: Sees, n: int, rng: np.random.Generator) -> None:
        self.season, self.truth, self.sees, self.n, self.rng = season, season.truth, sees, n, rng
        self.of_day = _Grid.of(self.truth, self.truth.day_sd)
        self.of_sketch = _Grid.of(self.truth, self.truth.sketch_sd)
        self.known: dict[tuple[str, int], Floats] = {}
        self.finished: set[str] = set()
        ordered = [event.data for event in season.events if isinstance(event.data, Ordered)]
        self.style_of = {data.ticket: data.style for data in ordered}
        self.row_of = {artist.id: row for row, artist in enumerate(self.truth.artists)}

    # -- learning ------------------------------------------------------------------------------------------------

    def has_finished(self, ticket: str) -> None:
        """Learn the day's effect from a finished sketch."""
        if ticket in self.finished:
            return
        self.finished.add(ticket)
        stages = self.season.stages[ticket]
        artist, day = stages[-1].artist, self._day(stages[-1].ended_at_s)
        joint = self._likelihood(ticket, stages, artist) + self.of_sketch.log_chance
        self.known[artist, day] = self._knows(artist, day) + np.asarray(_log_sum(joint, axis=1))

    def _knows(self, artist: str, day: int) -> Floats:
        return self.known.get((artist, day), self.of_day.log_chance)

    def _day(self, at_s: float) -> int:
        midnight = int(at_s // 86_400)
        return next(day for day in range(self.truth.days) if self.truth.day_offset(day) >= midnight)

    def _likelihood(self, ticket: str, stages: Iterable[StageTruly], artist: str) -> Floats:
        """The log likelihood of true stage times by effect of the day (rows) and of the sketch (columns)."""
        total = np.zeros((len(self.of_day.points), len(self.of_sketch.points)))
        both = self.of_day.points[:, None] + self.of_sketch.points
        style = self.style_of[ticket]
        for stage in stages:
            effect = both if stage.artist == artist else np.broadcast_to(self.of_sketch.points, both.shape)
            law = self.truth.law_of(self.truth.style_of[style].stages[stage.stage], stage.sitters)
            total += law.log_density(stage.took_s / stage.mean_s * np.exp(-effect)) - effect
        return total

    # -- forecasting ---------------------------------------------------------------------------------------------

    def ready(self, booth: Booth, ticket: str, now: datetime) -> Floats:
        """Scenarios of when `ticket`, just ordered, is ready: seconds after now, sorted."""
        ready_s = _Future(self, booth, ticket, _seconds(now)).ready()
        return np.sort(ready_s)

    def length(self, length: Length, age_s: float = 0.0) -> Floats:
        """What is left of something that has lasted `age_s`."""
        if age_s <= 0:
            return length.draw(self.rng, self.n)
        return length.beyond(np.full(self.n, age_s), self.rng) - age_s

    def uniform(self, span: tuple[float, float], size: int | None = None) -> Floats:
        return np.asarray(self.rng.uniform(*span, size=self.n if size is None else size))


class _Future:
    """The booth from one instant on, in `n` scenarios; seconds after that instant."""

    def __init__(self, oracle: _Oracle, booth: Booth, target: str, now: float) -> None:
        self.oracle, self.truth, self.booth, self.now = oracle, oracle.truth, booth, now
        self.n, self.rng, self.target = oracle.n, oracle.rng, target
        assert booth.day is not None
        self.day = oracle._day(now)
        self.artists = self.truth.artists
        self._hours()
        self._hands()
        self._queue()

    # -- hours and hands -----------------------------------------------------------------------------------------

    def _hours(self) -> None:
        truth, booth = self.truth, self.booth
        assert booth.day is not None
        days = [min(self.day + k, truth.days - 1) for k in range(DAYS_AHEAD)]
        midnight = [truth.day_offset(day) * 86_400.0 - self.now for day in days]
        self.close_s = np.array([at + truth.closes_h * 3600 for at in midnight])
        self.open_s = np.array([at + truth.opens_h * 3600 + np.mean(OPENS_LATE_S) for at in midnight])
        self.open_s[0] = _seconds(booth.day.opened_at) - self.now
        self.pace = np.array([truth.pace_on(day) for day in days])
        most = max((len(artist.breaks) for artist in self.artists), default=0)
        self.breaks = np.full((len(self.artists), most, DAYS_AHEAD, 2), np.inf)
        for row, artist in enumerate(self.artists):
            for b, (begins_h, ends_h) in enumerate(artist.breaks):
                for k, at in enumerate(midnight):
                    self.breaks[row, b, k] = at + begins_h * 3600, at + ends_h * 3600
        self.in_s = np.stack([self.open_s[k] + self._comes_in() for k in range(DAYS_AHEAD)])[None]
        if len(self.artists) > 1:
            others = [
                np.stack([self.open_s[k] + self._comes_in() for k in range(DAYS_AHEAD)]) for _ in self.artists[1:]
            ]
            self.in_s = np.concatenate([self.in_s, np.stack(others)])

    def _comes_in(self, age_s: float = 0.0) -> Floats:
        """Seconds after the opening when an artist begins to work, given that they had not come in by `age_s`."""
        size = self.n * 4 if age_s else self.n
        is_late = self.rng.random(size) < self.truth.late_share
        came = np.where(is_late, self.rng.uniform(*COMES_LATE_S, size), self.rng.uniform(*COMES_IN_S, size))
        came = came[came > age_s]
        if len(came) < 20:
            came = age_s + self.rng.uniform(5.0, 600.0, self.n)
        return np.asarray(self.rng.choice(came, self.n) + self.rng.uniform(*IDLE_LAG_S, self.n))

    def _hands(self) -> None:
        """Each artist's effects of today and the days to come, and when they are free."""
        oracle, truth = self.oracle, self.truth
        rows = len(self.artists)
        self.effects = np.empty((rows, DAYS_AHEAD, self.n))
        self.free_s = np.empty((rows, self.n))
        self.asked_s = self._asked()
        for row, artist in enumerate(self.artists):
            for k in range(1, DAYS_AHEAD):
                self.effects[row, k] = oracle.of_day.draw(oracle.of_day.log_chance, self.n, self.rng)
            self.effects[row, 0] = oracle.of_day.draw(oracle._knows(artist.id, self.day), self.n, self.rng)
            if oracle.sees == "effects":
                self.effects[row, 0] = oracle.season.day_effects[artist.id, self.day]
            at_hand = self.booth.on_easel(artist.id)
            if at_hand is not None and at_hand.place in (TOUCH_UP, TOUCH_UP_REST):
                began = _seconds([e for e in at_hand.history if e.kind == "touched_up"][-1].happened_at)
                free_s = oracle.length(truth.touch_up, self.now - began) + self._turnaround()
            elif at_hand is not None:
                free_s = self._in_hand(row, at_hand) + self._turnaround()
            elif artist.id in self.booth.here_since:
                free_s = self._idle(artist.id)
            else:
                free_s = self._away(row)
            self.free_s[row] = self._aligned(np.full(self.n, row), free_s, np.arange(self.n))

    def _turnaround(self, size: int | None = None) -> Floats:
        return self.truth.turnaround.draw(self.rng, self.n if size is None else size)

    def _asked(self) -> Floats:
        """Which artist is put out by the order that has just been taken, and how long: (artists, n) seconds."""
        asked = np.zeros((len(self.artists), self.n))
        here = [self.oracle.row_of[id] for id in self.booth.here_since]
        if self.truth.counter_share == 0 or self.truth.counter_leads or not here:
            return asked
        host = self.rng.choice(here, self.n)
        is_asked = self.rng.random(self.n) < self.truth.counter_share
        asked[host, np.arange(self.n)] = np.where(is_asked, self.truth.talk.draw(self.rng, self.n), 0.0)
        return asked

    def _idle(self, artist: str) -> Floats:
        came, free = (_seconds(at[artist]) for at in (self.booth.here_since, self.booth.free_since))
        age_s = self.now - max(came, free)
        others = [t for t in self.booth.waiting() if t.id != self.target and t.place != HELD]
        is_wanted = any(self.booth.may_draw(artist, ticket) for ticket in others)
        if free <= came:
            return np.maximum(self.oracle.uniform(IDLE_LAG_S) - age_s, 1.0) if is_wanted else self._lag_from(age_s)
        if is_wanted:
            return self.oracle.length(self.truth.turnaround, age_s)
        ready_s = self._turnaround() - age_s
        return np.where(ready_s > 0, ready_s, self.oracle.uniform(IDLE_LAG_S))

    def _lag_from(self, age_s: float) -> Floats:
        first_s = self.oracle.uniform(IDLE_LAG_S) - age_s  # they look for work once after coming in
        lag_s = self.oracle.uniform(IDLE_LAG_S)
        return np.where(first_s > 0, np.minimum(first_s, lag_s), lag_s)

    def _away(self, row: int) -> Floats:
        """When an artist who is not in is at work: the end of a break, or late in the morning."""
        for begins, ends in self.breaks[row, :, 0]:
            if begins <= 5.0 and ends + BACK_LAG_S[1] >= 0:
                span = (max(ends + BACK_LAG_S[0], 0.5), max(ends + BACK_LAG_S[1], 1.0))
                return self.oracle.uniform(span) + self.oracle.uniform(IDLE_LAG_S)
        return np.asarray(self._comes_in(-self.open_s[0]) + self.open_s[0])

    # -- what is on an easel -------------------------------------------------------------------------------------

    def _in_hand(self, row: int, ticket: Ticket) -> Floats:
        """When the sketch on the easel of that artist is finished."""
        oracle, truth, artist = self.oracle, self.truth, self.artists[row]
        clock = _clock(ticket, oracle.season.stages.get(ticket.id, []), self.now)
        first = len(clock.done)
        stages = truth.style_of[ticket.style.id].stages
        if first == len(stages):
            return np.full(self.n, 1.0)
        delay_s, age_s = self._delay(row, clock)
        hours = (clock.began_s - self.now - self.open_s[0]) / 3600
        means = [
            truth.mean_s(artist.id, ticket.style.id, s, ticket.sitters, self.day, hours)
            for s in range(first, len(stages))
        ]
        laws = [truth.law_of(stage, ticket.sitters) for stage in stages[first:]]
        joint = self._joint(row, ticket, clock)
        if truth.forget_share or truth.stops_per_h:
            rest_s = self._rest_by_trial(row, joint, means, laws, age_s)
            if rest_s is None:
                rest_s = self._rest(row, joint, means, laws, age_s)
        else:
            rest_s = self._rest(row, joint, means, laws, age_s)
        drawn_s = rest_s + self._pauses(rest_s, delay_s, with_stops=False)
        if truth.stops_per_h:
            drawn_s[1:] += self._stops(rest_s[1:]) if not truth.forget_share else 0.0
        rows, all_of = np.full(self.n, row), np.arange(self.n)
        return self._through_breaks(rows, np.zeros(self.n, dtype=np.int64), delay_s, drawn_s, len(means), all_of)

    def _delay(self, row: int, clock: _Clock) -> tuple[Floats, float]:
        """How long until the pencil is on the paper, and how long the stage in hand was drawn."""
        oracle, truth = self.oracle, self.truth
        mark = clock.mark_s - self.now
        for begins, ends in self.breaks[row, :, 0]:
            if begins - 0.5 <= mark < ends and clock.done:
                if self.now + ends > self.now:
                    return ends + oracle.uniform(BACK_LAG_S), 0.0
                if clock.paused is None:
                    ran_on = ends - mark + np.mean(BACK_LAG_S) if clock.age_s > -ends + 1 else 0.0
                    return self.asked_s[row], max(clock.age_s - float(ran_on), 0.0)
        if clock.paused is None:
            return self.asked_s[row], clock.age_s
        paused_s = self.now - clock.paused_s
        if clock.paused == "counter":
            if truth.counter_leads:
                return oracle.uniform(TAIL_S), clock.age_s
            return oracle.length(truth.talk, paused_s), clock.age_s
        if clock.paused == "break":
            return np.full(self.n, 20.0), clock.age_s
        return oracle.length(truth.pause, paused_s), clock.age_s

    def _joint(self, row: int, ticket: Ticket, clock: _Clock) -> Floats:
        """The log chance of today's effect (rows) and the sketch's (columns), from what is tapped."""
        oracle, artist = self.oracle, self.artists[row].id
        known = oracle._knows(artist, self.day)[:, None] + oracle.of_sketch.log_chance
        return np.asarray(known + oracle._likelihood(ticket.id, clock.done, artist))

    def _effects_of(self, row: int, joint: Floats, size: int) -> tuple[Floats, Floats]:
        """Draws of today's and the sketch's effect."""
        oracle = self.oracle
        chance = np.exp(joint - _log_sum(joint)).ravel()
        cell = self.rng.choice(chance.size, size, p=chance / chance.sum())
        day, sketch = np.divmod(cell, joint.shape[1])
        of_day = oracle.of_day.points[day] + oracle.of_day.step * (self.rng.random(size) - 0.5)
        of_sketch = oracle.of_sketch.points[sketch] + oracle.of_sketch.step * (self.rng.random(size) - 0.5)
        if oracle.sees == "effects":
            at_hand = self.booth.on_easel(self.artists[row].id)
            assert at_hand is not None
            of_day = np.full(size, oracle.season.day_effects[self.artists[row].id, self.day])
            of_sketch = np.full(size, oracle.season.sketch_effects[at_hand.id])
        return np.asarray(of_day), np.asarray(of_sketch)

    def _rest(self, row: int, joint: Floats, means: list[float], laws: list[Law], age_s: float) -> Floats:
        """What is left to draw of each stage, the first given its age: (stages, n) seconds."""
        both = self.oracle.of_day.points[:, None] + self.oracle.of_sketch.points
        if age_s > 0:
            joint = joint + laws[0].log_tail(age_s / means[0] * np.exp(-both))
        of_day, of_sketch = self._effects_of(row, joint, self.n)
        self.effects[row, 0] = of_day
        slow = np.exp(of_day + of_sketch)
        first = laws[0].beyond(age_s / (means[0] * slow), self.rng) * means[0] * slow - age_s
        rest = [law.draw(self.rng, self.n) * mean * slow for law, mean in zip(laws[1:], means[1:], strict=True)]
        return np.stack([np.maximum(first, 0.0), *rest])

    def _rest_by_trial(
        self, row: int, joint: Floats, means: list[float], laws: list[Law], age_s: float
    ) -> Floats | None:
        """The same where taps may be forgotten and the clock may have run on: trials that agree with the clock."""
        size, truth = self.n * OVERDRAWN, self.truth
        of_day, of_sketch = self._effects_of(row, joint, size)
        slow = np.exp(of_day + of_sketch)
        took = np.stack([law.draw(self.rng, size) * mean * slow for law, mean in zip(laws, means, strict=True)])
        known_to = len(took) if truth.forget_share else 1
        took[:known_to] += self._stops(took[:known_to])
        ends = np.cumsum(took, axis=0)
        missed = 1 + self.rng.choice(len(FORGOTTEN), size, p=FORGOTTEN)
        missed = np.where(self.rng.random(size) < truth.forget_share, np.minimum(missed, len(took) - 1), 0)
        agrees = np.flatnonzero(ends[missed, np.arange(size)] > age_s)
        if len(agrees) < 40:
            return None
        chosen = self.rng.choice(agrees, self.n, replace=len(agrees) < self.n)
        self.effects[row, 0] = of_day[chosen]
        left = np.maximum(ends[:, chosen] - age_s, 0.0)
        return np.diff(left, axis=0, prepend=0.0)

    # -- what comes between --------------------------------------------------------------------------------------

    def _several(self, length: Length, times: Ints) -> Floats:
        """The sum of so many lengths, log-normal by its first two moments."""
        sigma2 = np.log1p(length.cv**2 / np.maximum(times, 1))
        return np.asarray(
            times * length.mean_s * np.exp(np.sqrt(sigma2) * self.rng.normal(size=times.shape) - sigma2 / 2)
        )

    def _stops(self, drawn_s: Floats) -> Floats:
        if self.truth.stops_per_h == 0:
            return np.zeros_like(drawn_s)
        return self._several(self.truth.stop, self.rng.poisson(self.truth.stops_per_h / 3600 * drawn_s))

    def _pauses(self, drawn_s: Floats, at_s: Floats, with_stops: bool = True) -> Floats:
        """Pauses that fall into so much drawing that begins at `at_s`: (stages, n) seconds."""
        truth = self.truth
        rate = sum(each for _, each in truth.pauses_per_h) / 3600
        pauses_s = self._several(truth.pause, self.rng.poisson(rate * drawn_s))
        if with_stops:
            pauses_s = pauses_s + self._stops(drawn_s)
        if truth.counter_share:
            hosts = max(len(self.booth.here_since), 1)
            rate_s = self._visits_a_s(at_s + 300.0) * truth.counter_share / hosts
            talk = Length(truth.talk.mean_s + (float(np.mean(TAIL_S)) if truth.counter_leads else 0.0), truth.talk.cv)
            pauses_s = pauses_s + self._several(talk, self.rng.poisson(rate_s * drawn_s))
        return np.asarray(pauses_s)

    def _visits_a_s(self, at_s: Floats) -> Floats:
        truth = self.truth
        hour = ((self.now + at_s) % 86_400) / 3600
        return np.where(hour < truth.closes_h - LAST_VISIT_S / 3600, np.interp(hour, *truth.rates), 0.0)

    # -- the machine ---------------------------------------------------------------------------------------------

    def _day_of(self, at_s: Floats) -> Ints:
        return np.asarray(np.minimum((at_s[None] > self.close_s[:, None]).sum(axis=0), DAYS_AHEAD - 1), dtype=np.int64)

    def _aligned(self, rows: Ints, at_s: Floats, of: Ints) -> Floats:
        """The first instant from `at_s` on at which those artists may begin a portrait."""
        is_known = np.isfinite(at_s)
        day = self._day_of(np.where(is_known, at_s, 0.0))
        at_s = np.where(is_known & (day > 0), np.maximum(at_s, self.in_s[rows, day, of]), at_s)
        for b in range(self.breaks.shape[1]):
            begins, ends = self.breaks[rows, b, day, 0], self.breaks[rows, b, day, 1]
            lag_s = self.rng.uniform(BACK_LAG_S[0] + IDLE_LAG_S[0], BACK_LAG_S[1] + IDLE_LAG_S[1], len(at_s))
            at_s = np.where((begins <= at_s) & (at_s < ends), ends + lag_s, at_s)
        return np.asarray(at_s)

    def _through_breaks(
        self, rows: Ints, day: Ints, at_s: Floats, took_s: Floats, last: Ints | int, of: Ints
    ) -> Floats:
        """When a portrait is finished that goes on at `at_s`; `took_s` (stages, n): its stages with their pauses."""
        if not self.breaks.shape[1]:
            return np.asarray(at_s + took_s.sum(axis=0))
        for stage in range(took_s.shape[0]):
            at_s = at_s + took_s[stage]
            for b in range(self.breaks.shape[1]):
                begins, ends = self.breaks[rows, b, day, 0], self.breaks[rows, b, day, 1]
                breaks_off = (begins <= at_s) & (at_s < ends) & (stage < np.asarray(last) - 1) & (took_s[stage] > 0)
                at_s = np.where(breaks_off, ends + self.rng.uniform(*BACK_LAG_S, len(at_s)), at_s)
        return np.asarray(at_s)

    def _queue(self) -> None:
        """What waits, in its order, and the visitors who may come; the one just ordered is `self.asked`."""
        truth = self.truth
        waiting = self.booth.waiting()
        styles = [(t.style.id, t.sitters, t.wants_artist) for t in waiting]
        self.asked = next(place for place, ticket in enumerate(waiting) if ticket.id == self.target)
        come_s = self._visitors_to_come() if truth.hold_share else []
        shares = np.array([s.share * (s.from_day <= self.day) for s in truth.styles])
        for _ in come_s:
            style = truth.styles[int(self.rng.choice(len(shares), p=shares / shares.sum()))]
            styles.append((style.id, 1, None))
        most = max(len(truth.style_of[id].stages) for id, _, _ in styles)
        self.may = np.zeros((len(self.artists), len(styles)), dtype=bool)
        self.mean_s = np.zeros((len(self.artists), len(styles), most))
        self.chance = np.zeros((len(styles), most, self.n))
        self.last = np.array([len(truth.style_of[id].stages) for id, _, _ in styles])
        self.release_s, self.cancel_s = np.zeros((len(styles), self.n)), np.full((len(styles), self.n), np.inf)
        for place, (id, sitters, wants) in enumerate(styles):
            ticket = waiting[place] if place < len(waiting) else None
            for row, artist in enumerate(self.artists):
                self.may[row, place] = id in artist.styles and wants in (None, artist.id)
                for s in range(self.last[place]):
                    if self.may[row, place]:
                        mean_s = truth.mean_s(artist.id, id, s, sitters, self.day, 0.0)
                        self.mean_s[row, place, s] = mean_s / self.pace[0]
            effect, first = self._effect_of(ticket)
            for s in range(first, self.last[place]):
                law = truth.law_of(truth.style_of[id].stages[s], sitters)
                self.chance[place, s] = law.draw(self.rng, self.n) * np.exp(effect)
            self.release_s[place] = self._released(ticket) if ticket else come_s[place - len(waiting)]
            if ticket and truth.cancel_share and ticket.id != self.target and not first:
                self.cancel_s[place] = self._cancelled(_seconds(ticket.ordered_at) - self.now)
        after_hours = (self.release_s > self.close_s[0]) & (self.release_s < self.open_s[1])
        self.release_s = np.where(after_hours, self.open_s[1] + 600.0, self.release_s)

    def _effect_of(self, ticket: Ticket | None) -> tuple[Floats, int]:
        """Draws of a waiting sketch's effect, and its first stage to be drawn."""
        oracle = self.oracle
        if ticket is None or not ticket.was_begun or ticket.artist is None:
            return oracle.of_sketch.draw(oracle.of_sketch.log_chance, self.n, self.rng), 0
        clock = _clock(ticket, oracle.season.stages.get(ticket.id, []), self.now)
        joint = oracle._knows(ticket.artist, self.day)[:, None] + oracle.of_sketch.log_chance
        joint = joint + oracle._likelihood(ticket.id, clock.done, ticket.artist)
        return oracle.of_sketch.draw(np.asarray(_log_sum(joint, axis=0)), self.n, self.rng), len(clock.done)

    def _visitors_to_come(self) -> list[Floats]:
        rate_s = float(self._visits_a_s(np.array([600.0]))[0]) * STAYING
        if rate_s <= 0:
            return []
        return list(np.cumsum(self.rng.exponential(1 / rate_s, (VISITS_AHEAD, self.n)), axis=0))

    def _released(self, ticket: Ticket) -> Floats:
        """When a ticket may be begun: 0 for what waits; the end of its hold; a hold that may follow its order."""
        if ticket.place == HELD:
            held = _seconds([e for e in ticket.history if e.kind == "held"][-1].happened_at)
            return self.oracle.length(self.truth.hold, self.now - held)
        if ticket.id == self.target and self.truth.hold_share:
            is_held = self.rng.random(self.n) < self.truth.hold_share
            return np.where(is_held, 2.0 + self.truth.hold.draw(self.rng, self.n), 0.0)
        return np.zeros(self.n)

    def _cancelled(self, ordered_s: float) -> Floats:
        """When a waiting ticket is cancelled; never in most scenarios."""
        at_s = ordered_s + self.rng.uniform(*CANCELS_AFTER_S, self.n)
        is_cancelled = (self.rng.random(self.n) < self.truth.cancel_share) & (at_s > 0)
        return np.where(is_cancelled, at_s, np.inf)

    def ready(self) -> Floats:
        """When the target is ready: whoever is free first takes the first in the queue that they may draw."""
        ready_s, begun_s = np.full(self.n, np.inf), np.full(self.n, np.inf)
        is_taken = np.zeros((len(self.last), self.n), dtype=bool)
        left = np.arange(self.n)
        for _ in range(40 * (len(self.last) + 2)):
            if not len(left):
                break
            rows = self.free_s[:, left].argmin(axis=0)
            at_s = self.free_s[rows, left]
            may = self.may[rows].T & ~is_taken[:, left] & (self.cancel_s[:, left] > at_s)
            begins = may & (self.release_s[:, left] <= at_s)
            finds = begins.any(axis=0)
            self._waits(rows[~finds], left[~finds], at_s[~finds], may[:, ~finds])
            place, who, of, when = begins.argmax(axis=0)[finds], rows[finds], left[finds], at_s[finds]
            ended_s = self._draws(who, place, of, when)
            is_taken[place, of] = True
            is_asked = place == self.asked
            ready_s[of[is_asked]], begun_s[of[is_asked]] = ended_s[is_asked], when[is_asked]
            self.free_s[who, of] = self._aligned(who, ended_s + self._turnaround(len(of)), of)
            left = left[~np.isfinite(ready_s[left]) & np.isfinite(self.free_s[:, left]).any(axis=0)]
        if self.truth.is_eve(self.day) and (begun_s <= self.close_s[0]).sum() >= 20:
            ready_s = ready_s[begun_s <= self.close_s[0]]
        found = ready_s[np.isfinite(ready_s)]
        return found if len(found) else np.array([3600.0])

    def _waits(self, rows: Ints, of: Ints, at_s: Floats, may: NDArray[np.bool_]) -> None:
        """Those who find nothing to draw wait for the next release."""
        release_s = self.release_s[:, of]
        next_s = np.where(may & (release_s > at_s), release_s, np.inf).min(axis=0)
        self.free_s[rows, of] = self._aligned(rows, next_s + self.rng.uniform(*IDLE_LAG_S, len(of)), of)

    def _draws(self, rows: Ints, place: Ints, of: Ints, at_s: Floats) -> Floats:
        """When portraits are finished that are begun at `at_s`."""
        day = self._day_of(at_s)
        hours = np.maximum(at_s - self.open_s[day], 0.0) / 3600
        slow = self.pace[day] * np.exp(self.truth.fatigue_per_h * hours + self.effects[rows, day, of])
        drawn_s = (self.mean_s[rows, place] * self.chance[place, :, of] * slow[:, None]).T
        took_s = drawn_s + self._pauses(drawn_s, at_s)
        return self._through_breaks(rows, day, at_s, took_s, self.last[place], of)

"""What would be told on a day that is only planned: a live quote, made small enough to be asked at every order.

A live quote plays 2 000 scenarios of the queue (`schedule.py`). Here the same queue is played `NODES` times by the same
easels, with less detail: a portrait's whole time is log-normal with the mean and spread of its scenarios; of one on an
easel only its age is known, not its stage; turnaround and the moment of an idle artist are their means. What the day
has shown of each artist so far moves what is expected of them, as one number. `tests/forecast/test_planned_quotes.py`
measures how far that is from the live quotes of the same booths.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr, ndtri

from portraitq.forecast.easels import Easels, Hours, Seconds, Work
from portraitq.forecast.hand import MIDDAY_H
from portraitq.forecast.planned_days import Flags, Played, Rows

NODES = 32
POOL = 251  # orders of the nodes; a portrait's is its place's, so that no two near each other are alike
LEAST_REST_S = 5.0
NEVER_S = 1e7
HIGHEST = 1 - 1e-6  # of a portrait far past its time nobody knows more


@dataclass(frozen=True, slots=True)
class Typical:
    """What is expected of each portrait before the day begins.

    log_s, own   (kinds, artists) mean of the log of its whole time, pauses in it, and spread of each portrait by itself
    shared       (artists,) spread of what all portraits of an artist on that day have in common
    tiring       (artists,) of log time, an hour
    parts        (stages, kinds) share of each stage, in order
    may          (kinds, artists) who draws it
    turnaround_s, idle_s  means
    """

    log_s: Seconds
    own: Seconds
    shared: Seconds
    tiring: Seconds
    parts: Seconds
    may: Flags
    turnaround_s: float = 0.0
    idle_s: float = 0.0


@dataclass(slots=True)
class Outlook:
    """The booth as it expects itself at one moment of each day, (artists, n, nodes) each.

    free_s   when each easel is free again
    pace     what each artist's day adds to the log of a time
    """

    free_s: Seconds
    pace: Seconds


class Teller:
    """Tells what a booth of such portraits would tell.

    clock_s  of the opening, seconds after midnight: promises are rounded up on the clock
    breaks_s, open_s, late_s  as `Easels` and `Hours` have them; late_s may be (n,)
    """

    def __init__(
        self,
        typical: Typical,
        confidence: float,
        round_to_s: float,
        clock_s: float,
        breaks_s: Sequence[Sequence[tuple[float, float]]],
        open_s: tuple[tuple[float, float], ...],
        late_s: Seconds | float,
    ) -> None:
        self.typical, self.confidence, self.round_to_s, self.clock_s = typical, confidence, round_to_s, clock_s
        self.open_s, self.late_s = open_s, late_s
        self.rules = Easels(np.zeros((len(breaks_s), 1)), breaks_s)
        self.artists = len(breaks_s)
        chance = np.random.Generator(np.random.SFC64(20260613))
        middles = np.tile((np.arange(NODES) + 0.5) / NODES, (POOL, 1))
        self.nodes = ndtri(chance.permuted(middles, axis=1)).astype(np.float32)

    def tell(self, played: Played, k: int) -> Seconds:
        """(n,) seconds after the opening by which the k-th portrait would be promised."""
        at_s = played.asks.at_s[k]
        return self.promised(self.queue(played, k, at_s), at_s, played.asks.kind[k], played.asks.artist[k], k)

    def queue(self, played: Played, k: int, at_s: Seconds) -> Outlook:
        """How the booth stands at `at_s` as far as it knows, with what it took of the first k who asked."""
        rows = np.flatnonzero((played.taken[:k] & (played.free_s[:k] > at_s)).any(axis=1))
        outlook = self._at_work(played, k, rows, at_s)
        waits = played.taken[rows] & (played.begins_s[rows] > at_s)
        many, in_order = waits.sum(axis=0), np.argsort(~waits, axis=0, kind="stable")
        for place in range(int(many.max(initial=0))):  # the first of every queue, the second of every queue, …
            where = np.flatnonzero(many > place)
            j = rows[in_order[place, where]]
            self._take(outlook, where, at_s[where], played.asks.kind[j, where], played.asks.artist[j, where], j)
        return outlook

    def promised(self, outlook: Outlook, at_s: Seconds, kind: Rows, artist: Rows, place: int) -> Seconds:
        """(n,) the promise for a portrait of that kind if it were ordered now, rounded up on the clock."""
        ready_s, _ = self._next(outlook, np.arange(len(at_s)), at_s, kind, artist, place)
        ready_s.sort(axis=1)
        where = min(max(self.confidence * NODES - 0.5, 0.0), NODES - 1.0)  # the nodes are middles of equal parts
        below = int(where)
        above = min(below + 1, NODES - 1)
        told_s = ready_s[:, below] + (where - below) * (ready_s[:, above] - ready_s[:, below])
        told_s = np.maximum(told_s, at_s) + self.clock_s
        return np.asarray(np.ceil(told_s / self.round_to_s) * self.round_to_s - self.clock_s)

    def _at_work(self, played: Played, k: int, rows: Rows, at_s: Seconds) -> Outlook:
        """What is on the easels, and what the day has shown of each artist."""
        mean, spread = self._seen(played, k, at_s)
        who, begins_s = played.who[rows], played.begins_s[rows]
        held = played.taken[rows] & (begins_s <= at_s) & (played.free_s[rows] > at_s)
        shape = (self.artists, len(at_s), NODES)
        outlook = Outlook(np.empty(shape, np.float32), np.empty(shape, np.float32))
        for artist in range(self.artists):
            outlook.free_s[artist] = self._out_of_breaks(artist, at_s)[:, None]
            outlook.pace[artist] = mean[artist][:, None] + spread[artist][:, None] * self.nodes[artist % POOL]
            own = held & (who == artist)
            if own.any():
                where = np.flatnonzero(own.any(axis=0))
                self._in_hand(outlook, played, artist, where, rows[own.argmax(axis=0)[where]], at_s[where],
                              mean[artist][where], spread[artist][where])  # fmt: skip
        return outlook

    def _in_hand(
        self,
        outlook: Outlook,
        played: Played,
        artist: int,
        where: Rows,
        row: Rows,
        at_s: Seconds,
        mean: Seconds,
        spread: Seconds,
    ) -> None:
        """On the days `where`, the artist has the portrait of `row` in hand, or washes up after it.

        Its age says something of the day as well: what both have in common moves with what is expected of it.
        """
        typical, z = self.typical, self.nodes[artist % POOL]
        kind, began_s, ready_s = (
            played.asks.kind[row, where],
            played.begins_s[row, where],
            played.ready_s[row, where],
        )
        sd = np.sqrt(spread**2 + typical.own[kind, artist] ** 2)[:, None]
        log_s = (typical.log_s[kind, artist] + mean + self._tired(artist, began_s))[:, None]
        ran_s = np.maximum(at_s - began_s - self._broken_s(artist, began_s, at_s), 1.0)[:, None]
        low = ndtr((np.log(ran_s) - log_s) / sd)
        later = ndtri(np.minimum(low + (1 - low) * ndtr(z.astype(np.float64)), HIGHEST))
        rest_s = np.maximum(np.exp(log_s + sd * later) - ran_s, LEAST_REST_S)
        from_s = np.repeat(self._out_of_breaks(artist, at_s), NODES)
        work = Work(rest_s.ravel(), np.repeat(typical.parts[:, kind], NODES, axis=1) * rest_s.ravel())
        ends_s = self.rules.through_breaks(artist, from_s, work, is_running=True).reshape(-1, NODES)
        is_drawn = (ready_s > at_s)[:, None]
        washed_s = np.clip(typical.turnaround_s - (at_s - ready_s), min(LEAST_REST_S, typical.turnaround_s), None)
        free_s = np.where(is_drawn, ends_s + typical.turnaround_s, from_s.reshape(-1, NODES) + washed_s[:, None])
        outlook.free_s[artist, where] = free_s
        share = spread[:, None] / sd
        moved = share * later + np.sqrt(1 - share**2) * self.nodes[(artist + 101) % POOL]
        moved = mean[:, None] + spread[:, None] * moved
        outlook.pace[artist, where] = np.where(is_drawn, moved, outlook.pace[artist, where])

    def _seen(self, played: Played, k: int, at_s: Seconds) -> tuple[Seconds, Seconds]:
        """(artists, n) each: what the portraits finished so far say of the artist's day, and how sure that is."""
        typical = self.typical
        mean, spread = np.zeros((self.artists, len(at_s))), np.empty((self.artists, len(at_s)))
        spread[:] = typical.shared[:, None]
        done = played.taken[:k] & (played.ready_s[:k] <= at_s)
        if not done.any() or not typical.shared.any():
            return mean, spread
        who, kind = played.who[:k], played.asks.kind[:k]
        begins_s = np.where(done, played.begins_s[:k], 0.0)
        off = np.log(np.maximum(played.work_s[:k], 1.0)) - typical.log_s[kind, who] - self._tired(who, begins_s)
        weight = np.where(done, 1 / np.maximum(typical.own[kind, who], 1e-6) ** 2, 0.0)
        for artist in np.flatnonzero(typical.shared > 0):
            his = np.where(who == artist, weight, 0.0)
            known = his.sum(axis=0) + typical.shared[artist] ** -2
            mean[artist], spread[artist] = (his * off).sum(axis=0) / known, 1 / np.sqrt(known)
        return mean, spread

    def _take(self, outlook: Outlook, where: Rows, at_s: Seconds, kind: Rows, artist: Rows, place: Rows) -> None:
        """One more portrait waits on the days `where`: it keeps whoever begins it first busy."""
        ready_s, who = self._next(outlook, where, at_s, kind, artist, place)
        for row in range(self.artists):
            before_s = outlook.free_s[row, where]
            outlook.free_s[row, where] = np.where(who == row, ready_s + np.float32(self.typical.turnaround_s), before_s)

    def _next(
        self, outlook: Outlook, where: Rows, at_s: Seconds, kind: Rows, artist: Rows, place: Rows | int
    ) -> tuple[Seconds, Rows]:
        """(days, nodes) when one more portrait would be ready on the days `where`, and who would draw it."""
        typical, z = self.typical, self.nodes[(place * 3 + 11) % POOL]
        late_s = np.asarray(self.late_s)
        self.rules.hours = Hours(self.open_s, np.repeat(late_s[where], NODES) if late_s.ndim else float(late_s))
        begins_s = np.full((len(where), NODES), np.float32(NEVER_S))
        asked_s = at_s.astype(np.float32)[:, None]  # as exact as `free_s`: who is idle is free from that very moment on
        free_s, log_s, who = begins_s, np.zeros_like(begins_s), np.zeros(begins_s.shape, np.intp)
        for row in range(self.artists):
            may = typical.may[kind, row] & ((artist < 0) | (artist == row))
            if not may.any():
                continue
            own_free_s = outlook.free_s[row, where]
            idle_s = np.where(own_free_s <= asked_s, np.float32(typical.idle_s), np.float32(0))
            from_s = np.maximum(own_free_s, asked_s + idle_s)
            start_s = self.rules.begin(row, from_s.ravel()).reshape(begins_s.shape)
            better = may[:, None] & ((start_s < begins_s) | ((start_s == begins_s) & (own_free_s < free_s)))
            of_kind = typical.log_s[kind, row][:, None] + typical.own[kind, row][:, None] * z
            own_log_s = outlook.pace[row, where] + of_kind.astype(np.float32) + self._tired(row, start_s)
            begins_s, free_s = np.where(better, start_s, begins_s), np.where(better, own_free_s, free_s)
            log_s, who = np.where(better, own_log_s, log_s), np.where(better, row, who)
        total_s = np.exp(log_s).ravel()
        parts = None
        if self._meets_a_break(float(begins_s.min()), float(begins_s.max() + total_s.max())):
            parts = np.repeat(typical.parts[:, kind], NODES, axis=1) * total_s
        ready_s = self.rules.end(who.ravel(), begins_s.ravel(), Work(total_s, parts))
        return ready_s.reshape(begins_s.shape), who

    def _meets_a_break(self, from_s: float, until_s: float) -> bool:
        return any(begins_s < until_s and ends_s > from_s for each in self.rules.breaks_s for begins_s, ends_s in each)

    def _tired(self, who: Rows | int, begins_s: Seconds) -> Seconds | np.float32:
        if not self.typical.tiring.any():
            return np.float32(0.0)
        hours = np.clip(begins_s * np.float32(1 / 3600), 0, 2 * MIDDAY_H) - np.float32(MIDDAY_H)
        return np.asarray(self.typical.tiring[who] * hours)

    def _out_of_breaks(self, artist: int, at_s: Seconds) -> Seconds:
        for begins_s, ends_s in self.rules.breaks_s[artist]:
            at_s = np.where((at_s >= begins_s) & (at_s < ends_s), ends_s, at_s)
        return at_s

    def _broken_s(self, artist: int, from_s: Seconds, until_s: Seconds) -> Seconds:
        """Seconds of planned breaks between two moments."""
        found = np.zeros_like(from_s)
        for begins_s, ends_s in self.rules.breaks_s[artist]:
            found += np.clip(np.minimum(until_s, ends_s) - np.maximum(from_s, begins_s), 0.0, None)
        return found


def shares_of_stages(stages_s: NDArray[np.floating]) -> Seconds:
    """(stages,) what part of a portrait each stage is, of (stages, n) times."""
    total = stages_s.mean(axis=1)
    return np.asarray(total / total.sum())

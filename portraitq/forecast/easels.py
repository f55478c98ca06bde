"""Who draws what when: easels that take portraits in the order of the queue, scenario by scenario.

Times are seconds after now. A portrait goes to whichever of those who may draw it is free first; taken in the order
of the queue this is what happens when each artist, once free, takes the first portrait that they may draw: nobody
who could take an earlier one is ever passed over. Which portraits there are, and how long they take, is
`schedule.py`'s.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

Seconds = NDArray[np.floating[Any]]  # float32 tells a week's seconds to a sixteenth, in half the room and time


@dataclass(frozen=True, slots=True)
class Hours:
    """When portraits may be begun.

    open_s  (opens, closes) of each day of trading, in order; no portrait is begun after `closes`, or before `opens`.
            After the last one nothing closes any more.
    late_s  how long after `closes` the booth draws on all the same, one for all or (n,)
    """

    open_s: tuple[tuple[float, float], ...] = ()
    late_s: float | Seconds = 0.0

    def begin(self, at_s: Seconds) -> Seconds:
        """The first instant from `at_s` on at which a portrait may be begun."""
        if not self.open_s:
            return at_s
        if self.open_s[0][0] > -np.inf:
            at_s = np.maximum(at_s, self.open_s[0][0])
        latest = float(at_s.max())
        for (_, closes_s), (opens_s, _) in zip(self.open_s, self.open_s[1:], strict=False):
            if latest <= closes_s:
                break
            at_s = np.where((at_s > closes_s + self.late_s) & (at_s < opens_s), opens_s, at_s)
        return at_s


@dataclass(frozen=True, slots=True)
class Work:
    """How long one portrait takes at one easel: (n,) seconds in all, and (stages, n) of its stages.

    The stages may be given without the pauses in between, which are spread evenly over them; or not at all where no
    break lies ahead.
    """

    total_s: Seconds
    stages_s: Seconds | None = None

    def ends_s(self, where: NDArray[np.intp]) -> Seconds:
        """(stages, k) seconds from its beginning to the end of each stage, in the `where` scenarios."""
        if self.stages_s is None:
            raise ValueError("work to be divided by a break must say how long its stages take")
        ends_s = self.stages_s.take(where, axis=1)
        for stage in range(1, len(ends_s)):
            ends_s[stage] += ends_s[stage - 1]
        return np.asarray(ends_s * (self.total_s[where] / ends_s[-1]))


class Easels:
    """A booth's easels, each free from some instant on in each scenario. `take` gives them work.

    free_s    (artists, n), when each may begin the next portrait, turnaround over; it stays as exact as it is given
    breaks_s  for each artist their planned breaks, (begins, ends), in order
    """

    def __init__(
        self,
        free_s: Sequence[Seconds] | Seconds,
        breaks_s: Sequence[Sequence[tuple[float, float]]],
        hours: Hours | None = None,
    ) -> None:
        self.hours = hours or Hours()
        self.breaks_s = [tuple(each) for each in breaks_s]
        self.free_s = np.array(free_s, dtype=np.result_type(*free_s, np.float32))
        self._scenarios = np.arange(self.free_s.shape[1])
        for artist, at_s in enumerate(self.free_s):
            self.free_s[artist] = self.begin(artist, at_s)

    def begin(self, artist: int, at_s: Seconds) -> Seconds:
        """The first instant from `at_s` on at which `artist` may begin a portrait: no break, not after closing."""
        at_s = self.hours.begin(at_s)
        as_it_was_s = at_s
        for begins_s, ends_s in self.breaks_s[artist]:
            if (met := (at_s >= begins_s) & (at_s < ends_s)).any():
                at_s = np.where(met, ends_s, at_s)
        return at_s if at_s is as_it_was_s else self.hours.begin(at_s)

    def through_breaks(self, artist: int, begins_s: Seconds, work: Work, is_running: bool = False) -> Seconds:
        """When `work`, begun at `begins_s`, is ready: the stage in hand is finished before a break begins.

        `is_running` says that its first stage is in hand already, break or not.
        """
        ready_s = begins_s + work.total_s
        self._wait_out(artist, ready_s, begins_s, work, is_running)
        return ready_s

    def _wait_out(
        self,
        artist: int,
        ready_s: Seconds,
        begins_s: Seconds,
        work: Work,
        is_running: bool = False,
        who: NDArray[np.intp] | None = None,
    ) -> None:
        """Make `ready_s` later by the breaks of `artist` that begin before it, where they are `who` draws it.

        Most portraits meet no break: only those scenarios are looked at in which one does.
        """
        for break_begins_s, break_ends_s in self.breaks_s[artist]:
            where = _between(ready_s, break_begins_s, begins_s, break_ends_s)
            if who is not None:
                where = where[who[where] == artist]
            if not len(where):
                continue
            begun_s = begins_s[where]
            late_s = ready_s[where] - begun_s - work.total_s[where]  # breaks before this one
            starts_s = begun_s + late_s + work.ends_s(where)[:-1]
            if not is_running:
                starts_s = np.concatenate([begun_s[None, :], starts_s])
            caught = (starts_s >= break_begins_s) & (starts_s < break_ends_s)
            first_s = np.where(caught, starts_s, np.inf).min(axis=0, initial=np.inf)
            ready_s[where] += np.where(np.isfinite(first_s), break_ends_s - first_s, 0)

    def first(self, may: Sequence[int], from_s: float | Seconds | None = None) -> tuple[NDArray[np.intp], Seconds]:
        """Who of `may` begins the next portrait, and when, (n,) each; it can be begun from `from_s` on, or at once."""
        starts_s: Sequence[Seconds] = [self.free_s[artist] for artist in may]
        if from_s is not None and np.any(np.asarray(from_s) > 0):
            starts_s = [self.begin(artist, np.maximum(self.free_s[artist], from_s)) for artist in may]
            chosen = _first_free(np.array(starts_s), self.free_s[list(may)])
            return np.asarray(may)[chosen], np.min(starts_s, axis=0)
        step, begins_s = np.zeros(len(starts_s[0]), np.intp), starts_s[0].copy()
        for later, own_s in enumerate(starts_s[1:], start=1):
            np.maximum(step, (own_s < begins_s) * later, out=step)  # no branch that half of the scenarios would miss
            np.minimum(begins_s, own_s, out=begins_s)
        return step if tuple(may) == tuple(range(len(may))) else np.asarray(may)[step], begins_s

    def of(self, who: NDArray[np.intp]) -> NDArray[np.intp]:
        """(n,) where in a raveled (artists, n) what belongs to `who` stands."""
        return who * len(self._scenarios) + self._scenarios

    def end(self, who: NDArray[np.intp], begins_s: Seconds, work: Work) -> Seconds:
        """When the work that `who` begins at `begins_s` is ready."""
        ready_s = begins_s + work.total_s
        if any(self.breaks_s):
            first_s, last_s = float(begins_s.min()), float(ready_s.max())
            for artist, breaks_s in enumerate(self.breaks_s):
                if any(until_s > first_s and from_s < last_s for from_s, until_s in breaks_s):
                    self._wait_out(artist, ready_s, begins_s, work, who=who)
        return ready_s

    def free_again(self, who: NDArray[np.intp], from_s: Seconds) -> None:
        """The easels of `who` are free again from then on."""
        at_s = self.hours.begin(from_s)
        if any(self.breaks_s):
            at_s = self.hours.begin(self._out_of_breaks(who, at_s))
        self.free_s.reshape(-1)[self.of(who)] = at_s

    def _out_of_breaks(self, who: NDArray[np.intp], at_s: Seconds) -> Seconds:
        at_s, first_s, last_s = at_s.copy(), float(at_s.min()), float(at_s.max())
        for artist, breaks_s in enumerate(self.breaks_s):
            for begins_s, ends_s in breaks_s:
                if ends_s > first_s and begins_s <= last_s:
                    where = _between(at_s, begins_s, at_s, ends_s, or_at=True)
                    at_s[where[who[where] == artist]] = ends_s
                    last_s = max(last_s, ends_s)
        return at_s

    def take(
        self, work: Sequence[Work | None], turnaround_s: Seconds, from_s: float | Seconds = 0.0
    ) -> tuple[Seconds, NDArray[np.intp], Seconds]:
        """Give one portrait to whoever may begin it first.

        work          for each artist how long it takes them; None for who may not draw it
        turnaround_s  (n,), between its end and that easel's next beginning
        from_s        when it can be begun at the earliest
        Returns       (n,) each: when it is ready, who draws it, when it is begun
        """
        who, begins_s = self.first([a for a, each in enumerate(work) if each is not None], from_s)
        ready_s = begins_s
        for artist, each in enumerate(work):
            if each is not None:
                ready_s = np.where(who == artist, self.end(who, begins_s, each), ready_s)
        self.free_again(who, ready_s + turnaround_s)
        return ready_s, who, begins_s


def _first_free(starts_s: Seconds, free_s: Seconds) -> NDArray[np.intp]:
    """Which row begins first; of several that could begin at once the one that has been idle longest."""
    at_once = starts_s <= starts_s.min(axis=0)
    first: NDArray[np.intp] = np.where(at_once, free_s, np.inf).argmin(axis=0)
    return first


def _between(late_s: Seconds, from_s: float, early_s: Seconds, until_s: float, or_at: bool = False) -> NDArray[np.intp]:
    """The scenarios in which `late_s` is after `from_s` (`or_at` it) and `early_s` before `until_s`."""
    begun = late_s >= from_s if or_at else late_s > from_s
    return (begun & (early_s < until_s)).nonzero()[0]

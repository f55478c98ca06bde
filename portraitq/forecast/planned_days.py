"""Days that have not happened, played many at a time: who asks, what they hear, who stays, who draws what when.

The rules of the easels are `easels.py`'s, those of a live quote. Customers are taken in the order in which they ask,
all days side by side: the k-th customer of every day at once. How long portraits take, what would be told and who
leaves is asked of others (`Hands`, `tell`, `stays`), so that one play serves a booth's learned pace and a closed form.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from portraitq.forecast.easels import Easels, Seconds, Work

Rows = NDArray[np.intp]
Flags = NDArray[np.bool_]
Progress = Callable[[int, int], None]


@dataclass(frozen=True, slots=True)
class Asks:
    """Who asks when for what, (k, n) each: the k-th customer of each of n days, in order of their coming.

    at_s     seconds after the opening
    comes    whether there is a k-th customer on that day
    kind     what they ask for: a row of what `Hands` knows
    artist   the row of the artist whom they ask for, -1 for whoever is free first
    """

    at_s: Seconds
    comes: Flags
    kind: Rows
    artist: Rows


class Hands(Protocol):
    """How long things take at each easel."""

    may: Flags  # (kinds, artists): who draws what

    def work(self, k: int, kind: Rows, who: Rows, begins_s: Seconds) -> Work:
        """(n,) of the k-th customer's portrait in the hands of `who`."""
        ...

    def turnaround_s(self, k: int) -> Seconds | float:
        """After the k-th portrait."""
        ...

    def idle_s(self, k: int) -> Seconds | float:
        """Until an idle artist begins the k-th portrait."""
        ...


@dataclass(slots=True)
class Played:
    """What came of it, (k, n) each; what was not taken has no place in the rest.

    told_s   when it would be ready by what was told, seconds after the opening; NaN where nothing was told
    taken    whether it was ordered
    begins_s, ready_s, free_s   begun, ready, and its easel free again, seconds after the opening
    work_s   the time it took without planned breaks
    who      the row of who drew it
    """

    asks: Asks
    told_s: Seconds
    taken: Flags
    begins_s: Seconds
    ready_s: Seconds
    free_s: Seconds
    work_s: Seconds
    who: Rows
    seen: int = field(default=0)  # customers played so far

    @classmethod
    def nothing(cls, asks: Asks) -> Played:
        """Before the first customer."""
        shape = asks.at_s.shape
        far = np.full(shape, np.inf)
        nobody = np.full(shape, -1, np.intp)
        return cls(
            asks,
            np.full(shape, np.nan),
            np.zeros(shape, np.bool_),
            far,
            far.copy(),
            far.copy(),
            np.zeros(shape),
            nobody,
        )


def play(
    asks: Asks,
    hands: Hands,
    easels: Easels,
    tell: Callable[[Played, int], Seconds] | None = None,
    stays: Callable[[int, Seconds], Flags] | None = None,
    progress: Progress | None = None,
) -> Played:
    """Play all days from an empty booth on; `easels` are left as they stand after the last customer.

    tell    (played so far, k) -> (n,) when the k-th customer is told that it would be ready; None tells nothing
    stays   (k, (n,) seconds that they are told to wait) -> who orders all the same
    """
    played, (customers, n) = Played.nothing(asks), asks.at_s.shape
    artists = len(easels.free_s)
    drawn_until_s = np.full((artists, n), -np.inf)
    for k in range(customers):
        at_s, comes, kind, may = asks.at_s[k], asks.comes[k], asks.kind[k], _may(asks, hands, k)
        taken = comes & may.any(axis=0)
        if tell is not None:
            played.told_s[k] = np.where(taken, tell(played, k), np.nan)
            if stays is not None:
                taken = taken & stays(k, np.where(taken, played.told_s[k] - at_s, 0.0))
        who, begins_s = _first(easels, may, at_s, np.asarray(hands.idle_s(k)), drawn_until_s)
        work = hands.work(k, kind, who, begins_s)
        ready_s = easels.end(who, begins_s, work)
        as_it_was_s = easels.free_s.copy()
        easels.free_again(who, ready_s + hands.turnaround_s(k))
        easels.free_s[:] = np.where(taken, easels.free_s, as_it_was_s)
        at = (who, np.arange(n))
        drawn_until_s[at] = np.where(taken, ready_s, drawn_until_s[at])
        played.taken[k] = taken
        played.begins_s[k] = np.where(taken, begins_s, np.inf)
        played.ready_s[k] = np.where(taken, ready_s, np.inf)
        played.free_s[k] = np.where(taken, easels.free_s[at], np.inf)
        played.work_s[k] = np.where(taken, work.total_s, 0.0)
        played.who[k] = np.where(taken, who, -1)
        played.seen = k + 1
        if progress is not None:
            progress(k + 1, customers)
    return played


def _may(asks: Asks, hands: Hands, k: int) -> Flags:
    """(artists, n): who may draw what the k-th customer asks for, asked of one artist or not."""
    may = hands.may[asks.kind[k]].T
    wanted = asks.artist[k]
    is_wanted = np.arange(len(may))[:, None] == wanted
    return np.asarray(may & ((wanted < 0) | is_wanted))


def _first(easels: Easels, may: Flags, at_s: Seconds, idle_s: Seconds, drawn_until_s: Seconds) -> tuple[Rows, Seconds]:
    """Who begins it and when. An artist who was idle when it came takes a moment; of several the longest idle one."""
    starts_s = np.empty_like(drawn_until_s)
    for artist, free_s in enumerate(easels.free_s):
        from_s = at_s + np.where(at_s > drawn_until_s[artist], idle_s, 0.0)
        starts_s[artist] = easels.begin(artist, np.maximum(free_s, from_s))
    return first_of(starts_s, easels.free_s, may)


def first_of(starts_s: Seconds, free_s: Seconds, may: Flags) -> tuple[Rows, Seconds]:
    """(n,) which row of those who `may` starts first, and when; of several at once the one free longest."""
    starts_s = np.where(may, starts_s, np.inf)
    begins_s = starts_s.min(axis=0)
    who = np.where(starts_s <= begins_s, free_s, np.inf)
    if not may.any(axis=0).all():
        who = np.where(may, who, np.inf)
    return who.argmin(axis=0), np.where(np.isfinite(begins_s), begins_s, free_s.max(axis=0))

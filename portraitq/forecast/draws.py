"""Where chance comes from: standard normals and exponentials for each thing by its name, the same at every refresh.

A ticket's quote must not flicker, so its draws follow from its id alone. Each row is stratified, one draw in each of n
equally likely strata in a random order: the error of a quantile is a fraction of what independent draws leave (McKay,
Beckman & Conover 1979, Technometrics 21:239–245). The orders come from a pool of shuffles, each used from a place of
its own on: two rows are as good as independent, and a row costs no more than its copy.
"""

from __future__ import annotations

from functools import lru_cache
from hashlib import shake_128

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtri

SCENARIOS = 2000
POOL = 64 * SCENARIOS  # draws in the pool of shuffles: 128 000 different rows, and small enough for a cache
LEAST_SHUFFLES = 16
Draws = NDArray[np.float32]


def normals(name: str, rows: int, n: int = SCENARIOS) -> Draws:
    """(rows, n) standard normal draws for `name`, float32; asked for more rows, the first ones stay the same."""
    return _together(normal_rows(name, rows, n), n)


def exponentials(name: str, rows: int, n: int = SCENARIOS) -> Draws:
    """(rows, n) exponential draws of mean 1 for `name`, float32; as `normals`."""
    return _together(exponential_rows(name, rows, n), n)


def normal_rows(name: str, rows: int, n: int = SCENARIOS) -> list[Draws]:
    """`normals` row by row where they stand in the pool, not to be written to: for who needs but a few of each."""
    return _rows(_shuffles(n)[0], name, rows, n)


def exponential_rows(name: str, rows: int, n: int = SCENARIOS) -> list[Draws]:
    """`exponentials` as `normal_rows`."""
    return _rows(_shuffles(n)[1], f"{name} exponentials", rows, n)  # never in step with its normals


def _together(rows: list[Draws], n: int) -> Draws:
    found = np.empty((len(rows), n), np.float32)
    for place, row in enumerate(rows):
        found[place] = row
    return found


def _rows(pool: Draws, name: str, rows: int, n: int) -> list[Draws]:
    """Row by row a shuffle and a place to begin in it, by a hash of the name (its first bytes stay)."""
    shuffles, found = len(pool), []
    for shuffle, place in _picks(name, rows):
        begin = place % n
        found.append(pool[shuffle % shuffles, begin : begin + n])
    return found


@lru_cache(maxsize=4096)
def _picks(name: str, rows: int) -> tuple[tuple[int, int], ...]:
    picks = iter(np.frombuffer(shake_128(name.encode()).digest(8 * rows), dtype="<u4").tolist())
    return tuple(zip(picks, picks, strict=True))


@lru_cache(maxsize=2)
def _shuffles(n: int) -> tuple[Draws, Draws]:
    """The pool, (shuffles, 2n) each: every shuffle twice in a row, so that it can be read from any place on."""
    chance = np.random.Generator(np.random.SFC64(20260606))
    middles = (np.arange(n) + 0.5) / n
    orders = np.tile(np.arange(n), (max(POOL // n, LEAST_SHUFFLES), 1))
    chance.permuted(orders, axis=1, out=orders)
    orders = np.concatenate([orders, orders], axis=1)
    pools = ndtri(middles).astype(np.float32)[orders], (-np.log1p(-middles)).astype(np.float32)[orders]
    for pool in pools:
        pool.flags.writeable = False
    return pools

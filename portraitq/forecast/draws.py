"""Where chance comes from: standard normals for each thing by its name, the same ones at every refresh.

A ticket's quote must not flicker, so its draws come from a stream of its own that is seeded by its id. Each row is
stratified (one draw in each of n equally likely strata, in random order): the error of a quantile is a fraction of
what independent draws leave. McKay, Beckman & Conover 1979, Technometrics 21:239–245.
"""

from __future__ import annotations

from functools import lru_cache
from hashlib import blake2b

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtri

SCENARIOS = 2000
Draws = NDArray[np.float32]


def stream(name: str) -> np.random.Generator:
    """The random stream that belongs to `name`, the same on every machine and at every start."""
    return np.random.Generator(np.random.SFC64(int.from_bytes(blake2b(name.encode(), digest_size=16).digest())))


@lru_cache(maxsize=4)
def _strata(n: int) -> Draws:
    middles: Draws = ndtri((np.arange(n) + 0.5) / n).astype(np.float32)
    return middles


@lru_cache(maxsize=512)
def normals(name: str, rows: int, n: int = SCENARIOS) -> Draws:
    """(rows, n) standard normal draws for `name`, float32, read-only.

    A ticket that needs more rows later keeps those it had: rows are drawn one after the other.
    """
    chance = stream(name)
    found = np.empty((rows, n), dtype=np.float32)
    for row in found:
        row[:] = _strata(n)
        chance.shuffle(row)
    found.flags.writeable = False
    return found

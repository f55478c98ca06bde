"""How large a share is, and how little a few cases say about it: the Wilson interval."""

from __future__ import annotations

import math
from dataclasses import dataclass

Z_95 = 1.959963984540054  # the normal quantile at 0.975


@dataclass(frozen=True, slots=True)
class Share:
    """`hits` of `n`; `n` is 1 or more."""

    hits: int
    n: int

    @property
    def value(self) -> float:
        """The share itself, 0–1."""
        return self.hits / self.n

    def interval(self, z: float = Z_95) -> tuple[float, float]:
        """The Wilson score interval, 95 % unless `z` says otherwise.

        Source: E. B. Wilson, J. Am. Stat. Assoc. 22 (1927), 209–212.

        >>> [round(bound, 7) for bound in Share(34, 40).interval()]
        [0.7092768, 0.9293881]
        """
        p, n = self.value, self.n
        middle = p + z * z / (2 * n)
        half = z * math.sqrt(p * (1 - p) / n + z * z / (4 * n * n))
        whole = 1 + z * z / n
        return max((middle - half) / whole, 0.0), min((middle + half) / whole, 1.0)


def share(hits: int, n: int) -> Share | None:
    """`hits` of `n`; None of nothing, which has no share."""
    return Share(hits, n) if n else None

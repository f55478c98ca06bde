"""Does the booth draw on after closing what it took before? As far as the record shows it.

A forecast takes it that no portrait is begun after `closes_at`. Many booths still draw what they promised for that day,
and hardly take what they could not. Each order that a forecast saw begun only on the next day, with some chance, says
something: it was, or it was not. As long as nothing speaks against the rule, it is kept.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

GRID = tuple(step / 10 for step in range(11))  # the chance that a booth draws on
DOUBT = 0.4  # of the rule, beforehand
LEAST = 0.23  # a chance under it is none
DRAWS_ON_S = 5400.0  # so long after closing at most


@dataclass(frozen=True, slots=True)
class Closing:
    """What is known of a booth that closes: log likelihoods of the chances on GRID that it draws on."""

    likely: tuple[float, ...] = (0.0,) * len(GRID)

    def learned(self, foreseen: float, carried_over: bool) -> Closing:
        """With one order: the forecast's chance, by the rule, that it is begun only on a later day; and what came.

        >>> Closing().learned(0.9, carried_over=False).draws_on > 0.15
        True
        """
        foreseen = min(foreseen, 0.99)
        seen = (foreseen * (1 - chance) if carried_over else 1 - foreseen * (1 - chance) for chance in GRID)
        return Closing(
            tuple(likely + math.log(max(each, 0.001)) for likely, each in zip(self.likely, seen, strict=True))
        )

    @property
    def draws_on(self) -> float:
        """The chance that a portrait which would be begun after closing is begun that same day all the same."""
        prior = (1 - DOUBT, *(DOUBT / (len(GRID) - 1),) * (len(GRID) - 1))
        most = max(self.likely)
        weights = [before * math.exp(likely - most) for before, likely in zip(prior, self.likely, strict=True)]
        found = sum(weight * chance for weight, chance in zip(weights, GRID, strict=True)) / sum(weights)
        return found if found >= LEAST else 0.0

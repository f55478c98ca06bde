"""What people ask for: styles, how many sitters, and of which artist, as counted in the record.

The mix of styles and of sitters is Dirichlet, so a young record leaves it open; a typed mix is taken as it stands.
"""

from __future__ import annotations

import math
from collections import Counter, defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray
from scipy.special import gammaincinv

from portraitq.core.booth import Booth
from portraitq.core.events import SetUp, WalkedAway
from portraitq.core.life import Ticket

Floats = NDArray[np.float64]
GUESSED_ORDERS = 2.0  # what an even mix of styles, and one sitter each, count for before anything is known
MOST_SITTERS = 12


@dataclass(frozen=True, slots=True)
class Mix:
    """Shares of several choices: `weights` are Dirichlet, or shares taken as given where `is_given`."""

    weights: tuple[float, ...]
    is_given: bool = False

    @property
    def shares(self) -> tuple[float, ...]:
        """The shares as expected."""
        return tuple(weight / sum(self.weights) for weight in self.weights)

    def draw(self, chance: Floats) -> Floats:
        """(choices, n) shares as they may be, from uniforms (choices, n)."""
        if self.is_given or len(self.weights) == 1:
            return np.repeat(np.array(self.shares)[:, None], chance.shape[1], axis=1)
        gammas = np.array(
            [gammaincinv(weight, u) if weight else 0 * u for weight, u in zip(self.weights, chance, strict=True)]
        )
        return np.asarray(gammas / np.maximum(gammas.sum(axis=0), 1e-300))


@dataclass(frozen=True, slots=True)
class Wishes:
    """What is known of what people ask for.

    styles   ids in the set-up's order, `mix` their shares
    sitters  style -> shares of 1, 2, … sitters
    artists  style -> share that asks for each artist, the rest for whoever is free first
    asked    how many orders and walk-aways the mix was counted in
    charged  (style, sitters) -> how many times the style's price was asked for so many sitters, on average
    """

    styles: tuple[str, ...]
    mix: Mix
    sitters: Mapping[str, Mix]
    artists: Mapping[str, Mapping[str, float]]
    asked: int = 0
    charged: Mapping[tuple[str, int], float] = field(default_factory=dict)


def wishes_of(booth: Booth, typed: Mapping[str, float] | None = None) -> Wishes:
    """What `booth` was asked for; with `typed` shares of styles, those stand for the record's mix of styles."""
    set_up = booth.set_up
    if set_up is None:
        raise ValueError("a booth without a set-up can be asked for nothing")
    tickets = list(booth.tickets.values())
    styles = tuple(style.id for style in set_up.styles)
    counts = Counter(ticket.style.id for ticket in tickets)
    counts.update(e.data.style for e in booth.walked_away if isinstance(e.data, WalkedAway) and e.data.style)
    sitters = {id: Counter[int]() for id in styles}
    asked = {id: Counter[str]() for id in styles}
    for ticket in tickets:
        if ticket.style.id in sitters:
            sitters[ticket.style.id][ticket.sitters] += 1
            asked[ticket.style.id][ticket.wants_artist or ""] += 1
    if typed is None:
        mix = Mix(tuple(counts[id] + GUESSED_ORDERS / len(styles) for id in styles))
    else:
        mix = typed_mix(set_up, typed)
    return Wishes(
        styles=styles,
        mix=mix,
        sitters={id: _sitters(sitters[id]) for id in styles},
        artists={id: _artists(asked[id]) for id in styles},
        asked=sum(counts[id] for id in styles),
        charged=_charged(tickets, styles),
    )


def _charged(tickets: Sequence[Ticket], styles: Sequence[str]) -> dict[tuple[str, int], float]:
    """What the record says of prices for several sitters; what it says nothing of costs what other styles did."""
    ratios: dict[tuple[str, int], list[float]] = defaultdict(list)
    for ticket in tickets:
        if ticket.style.price:
            ratios[ticket.style.id, ticket.sitters].append(ticket.price / ticket.style.price)
    found = {}
    for sitters in {sitters for _, sitters in ratios}:
        of_all = [ratio for (_, many), each in ratios.items() if many == sitters for ratio in each]
        for id in styles:
            own = ratios.get((id, sitters)) or of_all
            found[id, sitters] = sum(own) / len(own)
    return found


def typed_mix(set_up: SetUp, typed: Mapping[str, float]) -> Mix:
    """Typed shares of styles; ValueError names a style that is none, or shares that are none."""
    for id, share in typed.items():
        if set_up.style(id) is None:
            known = ", ".join(style.id for style in set_up.styles)
            raise ValueError(f'"{id}" is no style of this booth (it has {known})')
        if not 0 <= share < math.inf:
            raise ValueError(f"a share of {id} of 0 or more was expected, not {share}")
    if not sum(typed.values()) > 0:
        raise ValueError("at least one style must have a share above 0")
    return Mix(tuple(float(typed.get(style.id, 0.0)) for style in set_up.styles), is_given=True)


def given_sitters(shares: Sequence[float]) -> Mix:
    """Typed shares of 1, 2, … sitters."""
    if not shares or len(shares) > MOST_SITTERS or min(shares) < 0 or not 0 < sum(shares) < math.inf:
        raise ValueError(f"shares of 1, 2, … up to {MOST_SITTERS} sitters were expected, one of them above 0")
    return Mix(tuple(float(share) for share in shares), is_given=True)


def _sitters(counts: Counter[int]) -> Mix:
    most = max(counts, default=1)
    return Mix(tuple(counts[n] + (GUESSED_ORDERS if n == 1 else 0.0) for n in range(1, most + 1)))


def _artists(counts: Counter[str]) -> Mapping[str, float]:
    total = counts.total() + GUESSED_ORDERS
    return {artist: count / total for artist, count in sorted(counts.items()) if artist}

"""How good were the quotes? Their score on a past journal, beside three plain ways in which booths do it today.

Each way says a distribution by the journal's eleven levels. The plain ways say one time; what they missed by so far is
put around it, so that they are compared at their best:

- mean × place: the mean time of a portrait so far, times the place in the queue, shared among the artists who are in;
- last ten: what the last ten took from order to ready;
- per-style mean: the mean drawing time of each style, summed over everybody ahead and oneself, shared likewise.
"""

from __future__ import annotations

import itertools
import math
from bisect import bisect_left
from collections import defaultdict, deque
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import Any

import numpy as np
from numpy.typing import NDArray

from portraitq.core.booth import Booth, fold
from portraitq.core.events import Event, Finished, Ordered
from portraitq.core.life import Ticket
from portraitq.core.timing import stays
from portraitq.forecast.promise import LEVELS
from portraitq.forecast.replay import QuoteRow, replay

FIRST_DAYS = 2  # a booth is new for its first two days of trading
Floats = NDArray[np.float64]
# each level stands for the probabilities nearer to it than to any other
WEIGHTS = np.diff([0.0, *[(a + b) / 2 for a, b in itertools.pairwise(LEVELS)], 1.0])


def pinball(quantiles: Floats, levels: Floats, came: Floats | float) -> Floats:
    """The pinball loss of each quantile: (y − q)(α − 1{y < q}). Koenker & Bassett 1978.

    >>> float(pinball(np.array([10.0]), np.array([0.9]), 12.0)[0])
    1.8
    """
    off = np.asarray(came) - quantiles
    return np.asarray(off * (levels - (off < 0)))


def crps_of_quantiles(quantiles: Floats, came: Floats) -> Floats:
    """CRPS of forecasts known by the journal's levels: twice the pinball loss, integrated over the levels.

    quantiles  (n, 11); came (n,). Source: Gneiting & Raftery 2007, JASA 102:359–378 (CRPS = 2 ∫ pinball dα)
    """
    losses = pinball(quantiles, np.array(LEVELS), came[:, None])
    return np.asarray(2 * losses @ WEIGHTS)


def crps_of_sample(sample: Floats, came: float) -> float:
    """CRPS of an ensemble, energy form: mean |x − y| − ½ mean |x − x'|.

    >>> round(crps_of_sample(np.array([9.0, 10, 11, 13, 17]), 12.0), 12)
    0.88
    """
    ordered = np.sort(np.asarray(sample, dtype=np.float64))
    n = len(ordered)
    spread = float(np.sum((2 * np.arange(1, n + 1) - n - 1) * ordered)) / n**2
    return float(np.mean(np.abs(ordered - came))) - spread


def pit(quantiles: Sequence[float], came: float) -> float:
    """Where in its forecast the truth came, 0–1; straight between the levels, half of what is left beyond the ends."""
    place = bisect_left(quantiles, came)
    if place == 0:
        return LEVELS[0] / 2
    if place == len(LEVELS):
        return (1 + LEVELS[-1]) / 2
    below, above = quantiles[place - 1], quantiles[place]
    share = (came - below) / (above - below) if above > below else 0.5
    return LEVELS[place - 1] + share * (LEVELS[place] - LEVELS[place - 1])


def ks_distance(values: Iterable[float]) -> float:
    """The Kolmogorov–Smirnov distance of values from the uniform law on 0–1.

    >>> round(ks_distance([.07, .12, .23, .31, .38, .52, .61, .66, .83, .95]), 12)
    0.14
    """
    ordered = np.sort(np.fromiter(values, dtype=np.float64))
    n = len(ordered)
    steps = np.arange(n + 1) / n
    return float(max(np.max(steps[1:] - ordered), np.max(ordered - steps[:-1])))


def binomial_error(share: float, n: int) -> float:
    """The standard error of a share of n."""
    return math.sqrt(share * (1 - share) / n) if n else math.nan


def score_rows(rows: Sequence[QuoteRow], confidence: float) -> dict[str, Any]:
    """The figures of quotes whose portraits became ready; seconds, and shares 0–1.

    n, crps_s, pinball_s (mean over the levels), coverage_80 (between 10 % and 90 %) and promise_kept with their
    binomial errors, earliness_s (promise less ready), width_80_s, ks.
    """
    rows = [row for row in rows if row.ready_at is not None]
    n = len(rows)
    if not n:
        return {"n": 0}
    quantiles = np.array([[(q - row.at).total_seconds() for q in row.quantiles] for row in rows])
    came = np.array([(row.ready_at - row.at).total_seconds() for row in rows if row.ready_at is not None])
    told = np.array([(row.ready_by - row.at).total_seconds() for row in rows])
    low, high = quantiles[:, LEVELS.index(0.1)], quantiles[:, LEVELS.index(0.9)]
    covered, kept = float(np.mean((came >= low) & (came <= high))), float(np.mean(came <= told))
    unrounded = np.array([np.interp(confidence, LEVELS, each) for each in quantiles])
    covered_unrounded = float(np.mean(came <= unrounded))
    return {
        "n": n,
        "crps_s": float(crps_of_quantiles(quantiles, came).mean()),
        "pinball_s": float(pinball(quantiles, np.array(LEVELS), came[:, None]).mean()),
        "coverage_80": covered,
        "coverage_80_error": binomial_error(0.8, n),
        "confidence": confidence,
        "quantile_kept": covered_unrounded,
        "promise_kept": kept,
        "promise_kept_error": binomial_error(confidence, n),
        "earliness_s": float(np.mean(told - came)),
        "width_80_s": float(np.mean(high - low)),
        "ks": ks_distance(pit(tuple(each), float(y)) for each, y in zip(quantiles, came, strict=True)),
    }


def report(events: Sequence[Event], progress: Callable[[int, int], None] | None = None) -> dict[str, Any]:
    """Scores of the forecast and of the plain ways on a journal: over all, the first two days, and after."""
    rows = {"portraitq": list(replay(events, "ordered", progress)), **plain_ways(events)}
    confidence = _confidence(events)
    opened = [event.happened_at for event in events if event.kind == "day_opened"]

    def is_first(row: QuoteRow) -> bool:
        return len([at for at in opened if at <= row.at]) <= FIRST_DAYS

    parts: dict[str, Callable[[QuoteRow], bool]] = {
        "all": lambda row: True,
        "first two days": is_first,
        "after": lambda row: not is_first(row),
    }
    return {
        part: {way: score_rows([row for row in found if belongs(row)], confidence) for way, found in rows.items()}
        for part, belongs in parts.items()
    }


def _confidence(events: Sequence[Event]) -> float:
    told = [event.data for event in events if event.kind == "set_up"]
    return float(getattr(told[-1], "booth").confidence) if told else 0.85  # noqa: B009


HEADINGS = (
    ("n", "n", 0),
    ("CRPS s", "crps_s", 0),
    ("pinball s", "pinball_s", 0),
    ("80 % covers", "coverage_80", 3),
    ("±", "coverage_80_error", 3),
    ("quantile kept", "quantile_kept", 3),
    ("promise kept", "promise_kept", 3),
    ("±", "promise_kept_error", 3),
    ("early s", "earliness_s", 0),
    ("width s", "width_80_s", 0),
    ("KS", "ks", 3),
)


def table(scores: Mapping[str, Mapping[str, Mapping[str, Any]]]) -> str:
    """A report as text, one line a way."""
    lines = []
    for part, ways in scores.items():
        lines.append(f"{part:<18}" + "".join(f"{heading:>14}" for heading, _, _ in HEADINGS))
        for way, figures in ways.items():
            cells = [f"{figures[key]:.{digits}f}" if key in figures else "–" for _, key, digits in HEADINGS]
            lines.append(f"{way:<18}" + "".join(f"{cell:>14}" for cell in cells))
        lines.append("")
    return "\n".join(lines).rstrip()


# -- three plain ways ------------------------------------------------------------------------------------------------


@dataclass(slots=True)
class _Plain:
    """One plain way: a time for a portrait just ordered, with what it missed by so far around it."""

    say: Callable[[_Record, Booth, Ticket], float]
    said_s: dict[str, float] = field(default_factory=dict)
    missed_s: deque[float] = field(default_factory=lambda: deque(maxlen=100))


@dataclass(slots=True)
class _Record:
    """What a booth with a notebook knows: how long portraits were drawn, by style, and how long the last ones took."""

    drawn_s: list[float] = field(default_factory=list)
    of_style_s: dict[str, list[float]] = field(default_factory=lambda: defaultdict(list))
    flow_s: deque[float] = field(default_factory=lambda: deque(maxlen=10))

    def usual_s(self, ticket: Ticket) -> float:
        """The mean of its style so far, or its guesses while there is none."""
        known = self.of_style_s.get(ticket.style.id)
        return float(np.mean(known)) if known else _guessed_s(ticket)

    def mean_s(self, ticket: Ticket) -> float:
        """The mean of all portraits so far, or its guesses while there is none."""
        return float(np.mean(self.drawn_s)) if self.drawn_s else _guessed_s(ticket)


def plain_ways(events: Sequence[Event]) -> dict[str, list[QuoteRow]]:
    """What the three plain ways would have said right after each `ordered`."""
    ways = {"mean × place": _Plain(_by_place), "last ten": _Plain(_by_last_ten), "per-style mean": _Plain(_by_style)}
    rows: dict[str, list[QuoteRow]] = {way: [] for way in ways}
    finished_at: dict[str, datetime] = {
        event.data.ticket: event.happened_at for event in reversed(events) if isinstance(event.data, Finished)
    }
    booth, record, unread = Booth(), _Record(), 0
    seen: set[str] = set()
    for read, event in enumerate(events, start=1):
        if not isinstance(event.data, Ordered | Finished):
            continue
        booth, unread = fold(booth, events[unread:read]), read
        ticket = booth.tickets[event.data.ticket]
        if isinstance(event.data, Ordered):
            for way, plain in ways.items():
                rows[way].append(_said(plain, record, booth, ticket, event, finished_at.get(ticket.id)))
        elif ticket.id not in seen:
            seen.add(ticket.id)
            _note(record, ticket, ways.values(), event.happened_at)
    return rows


def _said(
    plain: _Plain, record: _Record, booth: Booth, ticket: Ticket, event: Event, ready_at: datetime | None
) -> QuoteRow:
    point_s = plain.say(record, booth, ticket)
    plain.said_s[ticket.id] = point_s
    missed = np.array(plain.missed_s or [0.0])
    told_s = np.maximum(point_s + np.quantile(missed, LEVELS), 0.0)
    levels = tuple(event.at + timedelta(seconds=float(each)) for each in told_s)
    assert booth.set_up is not None
    confidence = booth.set_up.booth.confidence
    ready_by = event.at + timedelta(seconds=max(point_s + float(np.quantile(missed, confidence)), 0.0))
    return QuoteRow(event.seq, event.at, ticket.id, levels, ready_by, ready_at)


def _note(record: _Record, ticket: Ticket, ways: Iterable[_Plain], at: datetime) -> None:
    drawn = stays(ticket)
    took_s = sum((stay.ended_at - stay.began_at).total_seconds() for stay in drawn if stay.ended_at)
    flow_s = (at - ticket.ordered_at).total_seconds()
    record.drawn_s.append(took_s)
    record.of_style_s[ticket.style.id].append(took_s)
    record.flow_s.append(flow_s)
    for plain in ways:
        if ticket.id in plain.said_s:
            plain.missed_s.append(flow_s - plain.said_s[ticket.id])


def _guessed_s(ticket: Ticket) -> float:
    return sum(stage.usual_s * (ticket.sitters if stage.per_sitter else 1) for stage in ticket.style.stages)


def _ahead(booth: Booth, ticket: Ticket) -> list[Ticket]:
    on_easels = [booth.tickets[id] for id in booth.easels.values()]
    return [each for each in (*on_easels, *booth.waiting()) if each.id != ticket.id]


def _by_place(record: _Record, booth: Booth, ticket: Ticket) -> float:
    place = len(_ahead(booth, ticket)) / max(len(booth.here_since), 1) + 1
    return record.mean_s(ticket) * place


def _by_last_ten(record: _Record, booth: Booth, ticket: Ticket) -> float:
    return float(np.mean(record.flow_s)) if record.flow_s else _by_place(record, booth, ticket)


def _by_style(record: _Record, booth: Booth, ticket: Ticket) -> float:
    ahead_s = sum(record.usual_s(each) for each in _ahead(booth, ticket))
    return ahead_s / max(len(booth.here_since), 1) + record.usual_s(ticket)

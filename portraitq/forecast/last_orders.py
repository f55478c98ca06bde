"""Until when a portrait can be ordered so that it can still be promised for today.

"Today" ends with the trading day's closing. Where the record shows that the booth draws on after closing as often as it
wants its promises kept, a portrait may be ready as late as the forecast takes it to draw on (`closing.py`); but nothing
is ordered after closing.

A portrait ordered later is begun later and is the same portrait: one set of scenarios answers for every instant. How
each of them ends gives a first guess, which is tried and moved by as much as its promise missed, so that the promise of
the answer keeps to the day. It is the last such instant to the second, or within `CLOSE_S` where a break lies ahead.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import datetime, timedelta

import numpy as np

from portraitq.core.booth import Booth
from portraitq.core.events import Style
from portraitq.forecast.closing import DRAWS_ON_S
from portraitq.forecast.pace import Pace
from portraitq.forecast.promise import Ordered, at_level, promise, round_down
from portraitq.forecast.schedule import NEVER_S, Outlook, Scenarios

CLOSE_S = 120.0  # so close a guess needs no other; the screens say five minutes
TRIES = 12  # one does, unless a break, or an artist of another pace, lies between


@dataclass(frozen=True, slots=True)
class Portrait:
    """What is asked for: a style, how many sitters, and the artist who is to draw it (None: whoever is free first)."""

    style: Style
    sitters: int = 1
    artist: str | None = None


def today_until(booth: Booth, pace: Pace) -> datetime | None:
    """By when a portrait must be promised to be one of today; None while the booth is closed."""
    if booth.set_up is None or booth.day is None:
        return None
    draws_on = pace.closing.draws_on >= booth.set_up.booth.confidence
    return booth.day.closes_at + timedelta(seconds=DRAWS_ON_S if draws_on else 0.0)


def last_order(
    scenarios: Scenarios, asked: Portrait, ordered_now: Outlook, promise_at: datetime, name: str
) -> datetime | None:
    """The last instant at which `asked` can be ordered and promised for today, if nothing else is ordered until then.

    ordered_now  its outlook if it is ordered now
    promise_at   what would be promised then
    name         that of its draws
    Returns      from now on to closing; None where it is too late already, or while the booth is closed
    """
    booth, now, until = scenarios.booth, scenarios.now, today_until(scenarios.booth, scenarios.pace)
    if until is None or booth.day is None or booth.set_up is None or now >= booth.day.closes_at or promise_at > until:
        return None
    settings = booth.set_up.booth
    level = scenarios.pace.calibration.level(settings.confidence)
    until_s = (round_down(until, settings.round_to_s, booth.zone) - now).total_seconds()
    fits_s, fits_not_s = 0.0, (booth.day.closes_at - now).total_seconds()
    try_s = _first_guess_s(ordered_now, level, until_s) - _lag_s(scenarios.pace) - CLOSE_S / 2
    for _ in range(TRIES):
        try_s = min(max(try_s, fits_s), fits_not_s)
        ready_s = _at_its_place(scenarios.asked(asked.style, asked.sitters, asked.artist, name, in_s=try_s), level)
        missed_s = at_level(ready_s, level) - until_s
        if promise(ready_s, level, settings.round_to_s, now, booth.zone) > until:
            fits_not_s = try_s
        else:
            fits_s = try_s
            if fits_s >= fits_not_s:
                break
            if missed_s > -CLOSE_S:
                fits_s += _little_later_s(scenarios, -missed_s, fits_not_s - fits_s)
                break
        if fits_not_s - fits_s < CLOSE_S:
            break
        try_s -= missed_s + CLOSE_S / 4  # a little earlier: on the side that can be promised
        if not fits_s < try_s < fits_not_s:
            try_s = (fits_s + fits_not_s) / 2
    return now + timedelta(seconds=fits_s)


def _little_later_s(scenarios: Scenarios, spare_s: float, most_s: float) -> float:
    """How much later it may be ordered of the `spare_s` left: all, as nothing is ready later than it is ordered later,
    unless somebody's break may come between; a second is kept for hands that tire."""
    return 0.0 if any(scenarios.easels.breaks_s) else min(max(spare_s - 1.0, 0.0), most_s)


def _lag_s(pace: Pace) -> float:
    """How long an artist who is free usually takes to begin: an order of later finds one idle more likely."""
    return math.exp(pace.lags.idle.mu) if pace.lags.idle else 0.0


def _at_its_place(outlook: Outlook, level: float) -> Ordered:
    """(n,) when it is ready, in order as far as the `level` quantile is read off it."""
    below = int(level * (len(outlook.ready_s) - 1))
    places = (below, min(below + 1, len(outlook.ready_s) - 1))
    return np.partition(np.minimum(outlook.ready_s, NEVER_S).astype(np.float32), places)


def _first_guess_s(ordered_now: Outlook, level: float, until_s: float) -> float:
    """When it must be begun at the latest so that the work that it is now keeps to the day as surely as promised."""
    latest_s = until_s - (ordered_now.ready_s - ordered_now.begins_s)
    latest_s[ordered_now.ready_s > until_s] = -np.inf
    place = len(latest_s) - 1 - int(np.ceil(level * (len(latest_s) - 1)))
    return float(np.partition(latest_s, place)[place])

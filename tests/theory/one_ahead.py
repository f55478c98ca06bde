"""Measured times told to a booth one by one, each forecast by it before it is known."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from datetime import datetime, timedelta

import numpy as np

from portraitq.core.booth import Booth, fold
from portraitq.core.events import ArtistIn, Collected, Data, DayClosed, Event, Finished, Ordered, StageDone, Started
from portraitq.forecast.draws import SCENARIOS
from portraitq.forecast.interruptions import Lags
from portraitq.forecast.pace import Pace, pace_of
from portraitq.forecast.schedule import Scenarios
from tests.builders import a_journal, artist, instant
from tests.forecast.test_schedule import set_up

NEVER_INTERRUPTED = Lags(turnaround=None, idle=None, met=0, unsaid_met=0)


def one_ahead(
    times: Iterable[tuple[int, str, float]], guesses: tuple[float, float, float], n: int = SCENARIOS
) -> np.ndarray:
    """(times, n) sorted seconds: what the booth expected of each time, knowing those before it.

    times    (day, artist, seconds) in order, each an artist's only stage of a portrait drawn on that day
    guesses  seconds that one of ten, half and nine of ten were guessed to take less than
    """
    times = list(times)
    style = {"id": "one", "name": "One", "price": 1800, "stages": [_stage(*guesses)]}
    artists = sorted({who for _, who, _ in times})
    booth = a_journal().set_up(set_up([style], [artist(who, "one") for who in artists])).booth
    pace, expected, today, at = Pace(), [], None, instant("08:00")
    for count, (day, who, seconds) in enumerate(times):
        if day != today:
            booth = _say(booth, at, *([] if today is None else [DayClosed()]))
            today, at = day, instant("09:00") + timedelta(days=day)
            booth = _open(booth, at, artists)
        ticket, number = f"T{count}", booth.last_number + 1
        booth = _say(booth, at, Ordered(ticket=ticket, number=number, style="one", sitters=1, artist=who, price=1800))
        pace = pace_of(booth, pace)
        scenarios = Scenarios(booth, replace(pace, lags=NEVER_INTERRUPTED), at, n)
        expected.append(np.sort(scenarios.outlooks[ticket].ready_s))
        booth = _say(booth, at, Started(ticket=ticket, artist=who))
        at += timedelta(milliseconds=round(1000 * seconds))
        done = StageDone(ticket=ticket, stage="s1")
        booth = _say(booth, at, done, Finished(ticket=ticket, rack=None), Collected(ticket=ticket))
    return np.array(expected)


def _stage(quick_s: float, usual_s: float, slow_s: float) -> dict[str, object]:
    told = {"quick_s": quick_s, "usual_s": usual_s, "slow_s": slow_s}
    return {"id": "s1", "name": "Stage", **told, "per_sitter": True}


def _open(booth: Booth, at: datetime, artists: list[str]) -> Booth:
    opened = a_journal().set_up().day_opened(f"{at:%Y-%m-%d}").events[-1].data
    return _say(booth, at, opened, *(ArtistIn(artist=who) for who in artists))


def _say(booth: Booth, at: datetime, *said: Data) -> Booth:
    lines = [Event(booth.seq + step, f"c{booth.seq + step}", at, "counter", data) for step, data in enumerate(said, 1)]
    return fold(booth, lines)

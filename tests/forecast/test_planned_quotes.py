"""What a planned day tells, beside what the live forecast would tell of the same booth."""

from __future__ import annotations

from datetime import timedelta

import numpy as np
import pytest

from portraitq.core.booth import Booth
from portraitq.core.life import WAITING
from portraitq.core.timing import day_index, stays
from portraitq.forecast.arrivals import typed
from portraitq.forecast.pace import Pace, pace_of
from portraitq.forecast.patience import ENDLESS
from portraitq.forecast.plan import Combo, LearnedHands, Plan
from portraitq.forecast.planned_days import Asks, Played
from portraitq.forecast.planned_quotes import Teller, Typical
from portraitq.forecast.quotes import quote_order
from portraitq.forecast.schedule import Scenarios
from portraitq.forecast.wishes import wishes_of
from tests.builders import Told, a_booth, instant
from tests.forecast.test_pace import draw

OPENS, CLOSES = instant("09:00"), instant("18:00")
FAR_S = 1e6


def a_record() -> Told:
    """A day of twelve portraits by each artist, a fifth quicker and a fifth slower than guessed."""
    told = a_booth(day="2026-06-05")
    for number in range(12):
        for who, by in (("a1", 0.8), ("a2", 1.2)):
            stages_s = (usual_s * by * (0.9 + number % 3 / 10) for usual_s in (100, 380, 110))
            told = draw(told, f"{who}-{number}", *stages_s, artist=who)
    return told.day_closed()


def a_morning(*waiting: str, a1_for: float = 0.0, a2_for: float = 0.0) -> Told:
    """The next day at 10:00: each artist busy for so many minutes with an ink head (0: free), these styles waiting.

    What is on an easel was tapped at the times that its artist usually takes.
    """
    told = a_record().day_opened("2026-06-06", "09:00", "18:00", a1=("12:00", "12:30")).artist_in("a1", "a2")
    busy = {who: minutes for who, minutes in (("a1", a1_for), ("a2", a2_for)) if minutes}
    begun = {who: instant("10:00") - timedelta(minutes=minutes) for who, minutes in busy.items()}
    taps = sorted(
        (at + timedelta(seconds=after_s * (0.8 if who == "a1" else 1.2)), who)
        for who, at in begun.items()
        for after_s in (0, 100, 480)
    )
    for at, who in taps:
        id = f"on-{who}"
        if at == begun[who]:
            told = told.ordered(id, artist=who, at=at).started(id, who, at=at)
        elif at < instant("10:00"):
            told = told.stage_done(id, at=at)
    for number, style in enumerate(waiting):
        told = told.ordered(f"w{number}", style=style, at=instant("10:00") - timedelta(seconds=len(waiting) - number))
    return told


def told_live(booth: Booth, pace: Pace, style: str) -> float:
    quote = quote_order(booth, pace, instant("10:00"), style=style, sitters=1, artist=None)
    return (quote.promise_at - instant("10:00")).total_seconds() / 60


def told_planned(booth: Booth, pace: Pace, style: str) -> float:
    """The same moment as a planned day sees it; every day of it is the same."""
    set_up, n = booth.set_up, 500
    assert set_up is not None
    morning = Told(booth=a_record().day_opened("2026-06-06").artist_in("a1", "a2").booth).booth
    plan = Plan(600, 9 * 3600.0, typed([1] * 9, 9 * 3600.0), wishes_of(morning), ENDLESS, ("a1", "a2"),
                tuple(each.id for each in set_up.styles), 0.85)  # fmt: skip
    combos = [Combo(each, 1, True) for each in set_up.styles]
    hands = LearnedHands(Scenarios(morning, pace, OPENS, n), plan, combos, 1)
    teller = Teller(hands.typical(), 0.85, 300.0, 36_000.0, [[(10_800.0, 12_600.0)], []],
                    ((-np.inf, 32_400.0), (86_400.0, 118_800.0)), 0.0)  # fmt: skip
    tickets = [ticket for ticket in booth.tickets.values() if day_index(booth.days, ticket.ordered_at) == 2]
    rows = [next(row for row, combo in enumerate(combos) if combo.style.id == ticket.style.id) for ticket in tickets]
    rows.append(next(row for row, combo in enumerate(combos) if combo.style.id == style))
    at_s = [(ticket.ordered_at - OPENS).total_seconds() for ticket in tickets] + [3600.0]
    shape = (len(rows), n)
    everybody, nobody = np.ones(shape, np.bool_), np.full(shape, -1, np.intp)
    asks = Asks(np.tile(np.array(at_s)[:, None], n), everybody, np.tile(np.array(rows)[:, None], n), nobody)
    played = Played.nothing(asks)
    for k, ticket in enumerate(tickets):
        played.taken[k], played.ready_s[k], played.free_s[k] = True, FAR_S, FAR_S
        played.begins_s[k] = FAR_S
        if ticket.place != WAITING:
            (stay,) = stays(ticket)
            played.begins_s[k] = (stay.began_at - OPENS).total_seconds()
            played.who[k] = int(stay.artist == "a2")
    told_s = teller.tell(played, len(tickets))
    return float(np.mean(told_s) - 3600.0) / 60


INK, CHALK = "ink-head", "chalk-half"
STATES = [
    ((), {}),
    ((INK,), {"a1_for": 4, "a2_for": 2}),
    ((INK, INK), {"a1_for": 9, "a2_for": 3}),
    ((INK, CHALK, INK), {"a1_for": 1, "a2_for": 10}),
    ((CHALK, CHALK, INK, INK), {"a1_for": 5, "a2_for": 5}),
    ((INK,) * 8, {"a1_for": 2, "a2_for": 8}),
    ((INK,) * 14 + (CHALK,) * 2, {"a1_for": 6, "a2_for": 1}),
]


def test_what_is_told_on_a_planned_day_is_near_what_would_be_told_live():
    off, far = [], []
    for waiting, busy in STATES:
        told = a_morning(*waiting, **busy)
        pace = pace_of(told.booth)
        for style in (INK, CHALK):
            live, planned = told_live(told.booth, pace, style), told_planned(told.booth, pace, style)
            off.append(planned - live)
            far.append(abs(planned - live) / live)

    # measured: 0 min on average, and at most one step of rounding (5 min) or an eighth of the wait
    assert abs(np.mean(off)) < 2.5
    assert np.median(far) < 0.1
    assert all(abs(each) <= 5.5 or share <= 0.12 for each, share in zip(off, far, strict=True))


def test_a_portrait_takes_as_long_as_live_quotes_have_it():
    told = a_record().day_opened("2026-06-06").artist_in("a1", "a2")
    pace, n = pace_of(told.booth), 2000
    asked = told.ordered("T1", artist="a1", at="09:00").ordered("T2", style=CHALK, sitters=2, at="09:00").booth
    live = Scenarios(asked, pace, OPENS, n)
    set_up = told.booth.set_up
    assert set_up is not None
    plan = Plan(
        600, 9 * 3600.0, typed([1] * 9, 9 * 3600.0), wishes_of(told.booth), ENDLESS, ("a1", "a2"), (INK, CHALK), 0.85
    )
    combos = [Combo(set_up.styles[0], 1, True), Combo(set_up.styles[1], 2, True)]
    hands = LearnedHands(Scenarios(told.booth, pace, OPENS, n), plan, combos, 3)

    for kind, id in enumerate(("T1", "T2")):
        theirs = live.outlooks[id].ready_s - live.outlooks[id].begins_s
        begins_s = np.asarray(live.outlooks[id].begins_s, np.float64)
        ours = hands.work(1, np.full(n, kind), np.zeros(n, np.intp), begins_s).total_s
        for level in (0.1, 0.3, 0.5, 0.7, 0.9):
            # 4 standard errors of the share under a quantile of the other, both of 2 000 draws
            share = float(np.mean(ours <= np.quantile(theirs, level)))
            assert share == pytest.approx(level, abs=4 * np.sqrt(2 * level * (1 - level) / n))


def test_an_idle_artist_takes_the_same_moment_to_begin_whenever_somebody_asks():
    at_s = np.random.default_rng(5).uniform(0.0, 30_000.0, (1, 200))  # not all of them are float32 numbers
    one, nobody = np.zeros(at_s.shape, np.intp), np.full(at_s.shape, -1, np.intp)
    sure = np.array([[1e-9]])
    typical = Typical(np.log([[600.0]]), sure, sure[0], np.zeros(1), np.ones((1, 1)), sure > 0, idle_s=300.0)
    teller = Teller(typical, 0.85, 1e-3, 0.0, [[]], (), 0.0)

    told_s = teller.tell(Played.nothing(Asks(at_s, one == 0, one, nobody)), 0)

    assert told_s - at_s[0] == pytest.approx(np.full(200, 900.0), abs=0.1)

"""The simulated seasons do what their truths say, by the booth's own rules."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from datetime import datetime
from functools import lru_cache
from itertools import pairwise

import pytest

from portraitq.core.booth import Booth, fold
from portraitq.core.events import (
    DayOpened,
    Event,
    Finished,
    Held,
    OfTicket,
    Ordered,
    Paused,
    SetUp,
    StageDone,
    Started,
    print_line,
)
from tests.seasons.simulate import Season, instant, simulate
from tests.seasons.truths import TRUTHS

DAYS = 5
MANY = {"two-easels", "three-easels"}


@lru_cache(maxsize=32)
def _season(name: str, days: int = DAYS, seed: int = 3) -> Season:
    return simulate(replace(TRUTHS[name], days=days), seed)


def _kinds(season: Season) -> set[str]:
    return {event.kind for event in season.events}


def _of_ticket(season: Season, ticket: str) -> list[Event]:
    return [e for e in season.events if isinstance(e.data, OfTicket) and e.data.ticket == ticket]


def _opened(season: Season) -> list[DayOpened]:
    return [event.data for event in season.events if isinstance(event.data, DayOpened)]


@pytest.mark.parametrize("name", TRUTHS)
def test_every_truth_gives_a_season_that_can_have_happened(name: str):
    season = _season(name)

    # simulate imports its own lines, so that an impossible one would have raised
    assert len(_opened(season)) == DAYS
    assert sum(isinstance(event.data, Finished) for event in season.events) > 10 * DAYS


@pytest.mark.parametrize("name", TRUTHS)
def test_a_whole_season_has_four_hundred_portraits(name: str):
    season = simulate(TRUTHS[name], 1)

    assert len({event.data.ticket for event in season.events if isinstance(event.data, Finished)}) >= 400


def test_the_same_seed_gives_the_same_bytes_and_another_seed_another_season():
    truth = replace(TRUTHS["three-easels"], days=2)

    first, again, other = ([print_line(event) for event in simulate(truth, seed).events] for seed in (1, 1, 2))

    assert first == again
    assert first != other


def _starts(season: Season) -> Iterator[tuple[Booth, Event, Started]]:
    """The booth right before each `started`."""
    booth, unread = Booth(), 0
    for read, event in enumerate(season.events):
        if isinstance(event.data, Started):
            booth, unread = fold(booth, season.events[unread:read]), read
            yield booth, event, event.data


@pytest.mark.parametrize("name", ["calm-solo", *sorted(MANY)])
def test_whoever_is_free_takes_the_first_in_the_queue_that_they_may_draw(name: str):
    for booth, event, started in _starts(_season(name)):
        first = booth.next_for(started.artist)

        assert first is not None, f"line {event.seq}"
        assert first.id == started.ticket, f"line {event.seq}"


@pytest.mark.parametrize("name", TRUTHS)
def test_nobody_begins_after_closing_nor_during_their_break(name: str):
    for booth, event, started in _starts(_season(name, days=2)):
        assert booth.day is not None
        assert event.at <= booth.day.closes_at
        for planned in booth.day.breaks:
            assert planned.artist != started.artist or not planned.begins_at <= event.at < planned.ends_at


@pytest.mark.parametrize("name", TRUTHS)
def test_the_rate_of_visitors_keeps_to_the_hours_of_the_day(name: str):
    truth = TRUTHS[name]
    hours, rates = truth.rates

    total = sum((a + b) / 2 for a, b in pairwise(rates)) * (hours[1] - hours[0]) * 3600

    assert total == pytest.approx(truth.visitors_a_day, rel=0.01)


def test_taps_without_pauses_measure_the_true_times():
    season = _season("gamma-days")
    checked = 0

    for ticket, stages in season.stages.items():
        lines = _of_ticket(season, ticket)
        if any(isinstance(line.data, Paused) for line in lines):
            continue
        taps = [line.happened_at for line in lines if isinstance(line.data, Started | StageDone)]
        measured = [(after - before).total_seconds() for before, after in pairwise(taps)]
        assert measured == pytest.approx([stage.took_s for stage in stages], abs=0.002)
        checked += 1

    assert checked > 50


def test_forgotten_taps_come_in_bursts_of_less_than_two_seconds_each():
    season = _season("forgotten-taps")

    gaps_s = [
        (after - before).total_seconds()
        for ticket in season.stages
        for before, after in pairwise(
            [e.happened_at for e in _of_ticket(season, ticket) if isinstance(e.data, StageDone)]
        )
    ]

    assert len([gap for gap in gaps_s if gap < 2]) >= season.counts["burst"] > 0
    assert not [gap for gap in gaps_s if gap < 0]


def test_late_and_mistaken_taps_are_there():
    season = _season("forgotten-taps")

    late = [event for event in season.events if event.ago_s]

    assert len(late) == season.counts["late tap"] > 0
    assert sum(event.kind == "stage_undone" for event in season.events) == season.counts["slip"] > 0


def _asked_at(season: Season) -> list[datetime]:
    return [event.at for event in season.events if event.kind in ("ordered", "walked_away")]


def test_the_artist_who_sees_to_visitors_pauses_before_their_order():
    season = _season("counter-alone")
    asked_at, answered, pauses = _asked_at(season), 0, 0

    for ticket in season.stages:
        paused_at = None
        for event in _of_ticket(season, ticket):
            if isinstance(event.data, Paused):
                paused_at = event.at if event.data.why == "counter" else None
            elif event.kind == "resumed" and paused_at is not None:
                pauses += 1
                answered += any(paused_at <= at <= event.at for at in asked_at)

    # towards closing time a visitor may find that no orders are taken any more
    assert pauses > 30
    assert answered >= 0.9 * pauses


def test_at_a_booth_where_the_order_comes_first_the_pause_follows_at_once():
    season = _season("three-easels")
    asked_at = set(_asked_at(season))

    pauses = [e for e in season.events if isinstance(e.data, Paused) and e.data.why == "counter"]

    assert len(pauses) > 10
    assert all(any(0 < (pause.at - at).total_seconds() <= 0.501 for at in asked_at) for pause in pauses)


def test_a_clock_that_runs_on_counts_the_lunch():
    truth = replace(TRUTHS["run-on-clocks"], run_on_share=1.0, stops_per_h=0.0, days=8)

    season = simulate(truth, 1)

    assert season.counts["run-on"] > 0
    assert "break" not in {e.data.why for e in season.events if isinstance(e.data, Paused)}
    longest_s = max(stage.took_s for stages in season.stages.values() for stage in stages)
    assert any(
        (after.at - before.at).total_seconds() > max(longest_s, 1500)
        for ticket in season.stages
        for before, after in pairwise(
            [e for e in _of_ticket(season, ticket) if isinstance(e.data, Started | StageDone)]
        )
    )


def test_the_queue_has_its_holds_moves_requests_and_returns():
    season = _season("three-easels", days=25, seed=1)

    assert {"held", "released", "moved", "put_back", "cancelled", "erased", "artist_out"} <= _kinds(season)
    assert any(event.data.artist for event in season.events if isinstance(event.data, Ordered))
    lags_s = [
        (held.at - ordered.at).total_seconds()
        for ordered, held in pairwise(season.events)
        if isinstance(ordered.data, Ordered) and isinstance(held.data, Held)
    ]
    assert all(0 <= lag <= 2.001 for lag in lags_s)
    assert season.counts["late"] > 0


def test_touch_ups_and_no_shows_come_after_the_portrait_is_ready():
    season = _season("two-easels", days=25, seed=1)

    assert season.counts["touch-up"] > 0
    assert season.counts["cancelled no_show"] > 0
    assert "touched_up" in _kinds(season)


def test_days_off_empty_the_queue_first():
    season = _season("two-easels", days=25, seed=1)
    days = [datetime.fromisoformat(opened.day) for opened in _opened(season)]
    gaps = [(after - before).days for before, after in pairwise(days)]

    assert set(gaps) == {1, 2}
    began = {data.ticket: event.at.date() for _, event, data in _starts(season)}
    ordered = {e.data.ticket: e.at.date() for e in season.events if isinstance(e.data, Ordered)}
    assert all((began[ticket] - ordered[ticket]).days <= 1 for ticket in began)


def test_a_new_style_comes_with_a_new_set_up_and_its_guesses():
    season = _season("new-styles", days=16)

    said = [event.data for event in season.events if isinstance(event.data, SetUp)]

    assert [len(data.styles) for data in said] == [2, 3, 4]
    orders = {event.data.style for event in season.events if isinstance(event.data, Ordered)}
    assert orders == {style.id for style in said[-1].styles}


def test_wrong_guesses_are_wrong_by_as_much_as_the_truth_says():
    truth = TRUTHS["wrong-guesses"]
    right = simulate(
        replace(truth, days=1, styles=tuple(replace(style, guess_factor=1.0) for style in truth.styles)), 1
    )

    wrong = simulate(replace(truth, days=1), 1)

    for style, (said, honest) in zip(truth.styles, zip(_styles(wrong), _styles(right), strict=True), strict=True):
        usual_s, honest_s = (sum(stage.usual_s for stage in each.stages) for each in (said, honest))  # type: ignore[attr-defined]
        assert usual_s / honest_s == pytest.approx(style.guess_factor, rel=0.04)


def _styles(season: Season) -> list[object]:
    return [style for event in season.events if isinstance(event.data, SetUp) for style in event.data.styles]


def test_drift_and_step_change_everybodys_pace():
    truth = TRUTHS["drift-and-step"]

    assert truth.pace_on(0) == 1
    assert truth.pace_on(12) / truth.pace_on(11) == pytest.approx(1.35 * 0.988, rel=0.001)
    assert instant(0).hour == 0

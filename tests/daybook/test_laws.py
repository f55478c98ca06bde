"""What holds on every day of every journal: parts add up to their whole, however untidy the day was."""

from __future__ import annotations

from pathlib import Path

import pytest

from portraitq.core.booth import import_lines
from portraitq.daybook.attendance import attendances
from portraitq.daybook.days import days_of
from portraitq.daybook.figures import in_hand, of_day
from portraitq.daybook.presence import area_s, flow_span
from portraitq.forecast.pace import pace_of

JOURNALS = sorted((Path(__file__).parents[1] / "journals").glob("*.jsonl"))


def every_day(path: Path):
    booth, events = import_lines(path.read_text("utf-8").splitlines())
    assert booth.last_at is not None
    pace = pace_of(booth)
    for day in days_of(booth):
        yield day, of_day(booth, day, attendances(events), booth.last_at, pace), booth


@pytest.mark.parametrize("path", JOURNALS, ids=lambda path: path.stem)
def test_the_parts_of_the_hours_make_the_whole(path: Path):
    for _, figures, _ in every_day(path):
        for one in figures.hours:
            parts_s = one.drawing_s + one.touch_up_s + sum(one.paused_s.values())
            parts_s += one.break_s + one.turnaround_s + one.idle_s

            assert parts_s == pytest.approx(one.total_s, abs=1e-6)
            assert min(one.drawing_s, one.turnaround_s, one.break_s, one.idle_s) >= -1e-6


@pytest.mark.parametrize("path", JOURNALS, ids=lambda path: path.stem)
def test_littles_law_holds_on_every_day(path: Path):
    # Operations Research 9 (1961), 383–387: Σ flow times = ∫ (number in hand) dt, both cut at the day's edges
    for day, figures, _ in every_day(path):
        from_at, to_at = day.opened_at, figures.until
        flows = [flow_span(line.ticket, figures.until) for line in figures.lines]

        within_s = sum(
            max((min(ends_at, to_at) - max(begins_at, from_at)).total_seconds(), 0.0) for begins_at, ends_at in flows
        )

        assert area_s(in_hand(figures, from_at, to_at), to_at) == pytest.approx(within_s, abs=1e-6)


@pytest.mark.parametrize("path", JOURNALS, ids=lambda path: path.stem)
def test_every_ticket_of_a_day_is_finished_carried_or_cancelled(path: Path):
    for _, figures, _ in every_day(path):
        ordered = set(figures.behind["ordered"])
        ended = [set(figures.behind[name]) & ordered for name in ("finished", "carried", "cancelled")]

        assert set().union(*ended) == ordered
        assert not ended[0] & ended[1]


@pytest.mark.parametrize("path", JOURNALS, ids=lambda path: path.stem)
def test_the_days_takings_are_all_that_was_ever_paid(path: Path):
    days = list(every_day(path))

    assert sum(figures.takings.net for _, figures, _ in days) == sum(t.paid for t in days[-1][2].tickets.values())


@pytest.mark.parametrize("path", JOURNALS, ids=lambda path: path.stem)
def test_every_measured_time_is_in_the_figures_of_its_stage_or_set_aside(path: Path):
    for _, figures, _ in every_day(path):
        counted = sum(one.measured.n for one in figures.stages.stages if one.measured)

        assert counted + len(figures.stages.set_aside) == len(figures.stages.times)
        assert all(one.why for one in figures.stages.set_aside)

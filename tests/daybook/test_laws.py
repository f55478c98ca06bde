"""What holds on every day of every journal: parts add up to their whole, however untidy the day was."""

from __future__ import annotations

from itertools import pairwise
from pathlib import Path

import pytest

from portraitq.core.booth import import_lines
from portraitq.core.life import CANCELLED
from portraitq.daybook.attendance import attendances
from portraitq.daybook.days import days_of
from portraitq.daybook.figures import in_hand, of_day
from portraitq.daybook.presence import area_s, count, flow_span
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
def test_a_window_that_holds_every_flow_gives_l_equals_lambda_w(path: Path):
    # Little, Operations Research 9 (1961), 383–387: L = λW, an identity where nobody is in hand at either edge
    days = list(every_day(path))
    booth = days[-1][2]
    assert booth.last_at is not None
    spans = [flow_span(ticket, booth.last_at) for ticket in booth.tickets.values()]
    from_at, to_at = min(begins_at for begins_at, _ in spans), booth.last_at
    window_s = (to_at - from_at).total_seconds()

    in_system = area_s(count(spans, from_at, to_at), to_at) / window_s
    rate = len(spans) / window_s
    time_s = sum((ends_at - begins_at).total_seconds() for begins_at, ends_at in spans) / len(spans)

    assert in_system == pytest.approx(rate * time_s, rel=1e-12)
    # and the days, from the opening of each to that of the next, are the same window cut in pieces
    edges = [*(max(day.begins_at, from_at) for day, _, _ in days), to_at]
    pieces_s = [
        area_s(in_hand(figures, begins_at, ends_at), ends_at)
        for (_, figures, _), (begins_at, ends_at) in zip(days, pairwise(edges), strict=True)
    ]
    assert sum(pieces_s) == pytest.approx(in_system * window_s, abs=1e-6)


@pytest.mark.parametrize("path", JOURNALS, ids=lambda path: path.stem)
def test_the_days_tips_are_all_that_was_ever_paid_above_the_price(path: Path):
    days = list(every_day(path))
    tickets = days[-1][2].tickets.values()

    assert sum(figures.takings.tipped for _, figures, _ in days) == sum(
        max(ticket.paid - ticket.price, 0) for ticket in tickets if ticket.place != CANCELLED
    )


@pytest.mark.parametrize("path", JOURNALS, ids=lambda path: path.stem)
def test_every_figure_of_a_day_opens_tickets_that_the_day_lists(path: Path):
    for _, figures, _ in every_day(path):
        listed = {line.ticket.id for line in figures.lines}

        assert {name: set(ids) - listed for name, ids in figures.behind.items() if set(ids) - listed} == {}
        assert sum(len(one.tickets) for one in figures.by_hour) == figures.n("ordered")


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

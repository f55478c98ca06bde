"""A portrait's time on the easel, stretch by stretch, tells the same as `core/timing.py` measures."""

from __future__ import annotations

import pytest

from portraitq.core.timing import drawn_s, stage_times
from portraitq.daybook.segments import STAGE, segments
from tests.builders import Told, instant
from tests.daybook.evening import quay_day


def told_of(told: Told, id: str = "T1"):
    return [(one.kind, one.name, one.from_at, one.to_at) for one in segments(told.ticket(id))]


def begun() -> Told:
    return Told().set_up(at="08:00").day_opened().artist_in("a1").ordered("T1", at="09:01").started("T1", at="09:02")


def test_each_stage_and_each_pause_is_a_stretch():
    told = begun().stage_done("T1", at="09:04").paused("T1", "supplies", at="09:05").resumed("T1", at="09:06")

    assert told_of(told) == [
        ("stage", "layout", instant("09:02"), instant("09:04")),
        ("stage", "likeness", instant("09:04"), instant("09:05")),
        ("pause", "supplies", instant("09:05"), instant("09:06")),
        ("stage", "likeness", instant("09:06"), None),
    ]


def test_a_stage_taken_back_goes_on_as_if_the_tap_had_not_been_said():
    told = begun().stage_done("T1", at="09:04").stage_undone("T1", at="09:05").stage_done("T1", at="09:06")

    stretches = [(name, from_at, to_at) for _, name, from_at, to_at in told_of(told)]

    assert stretches == [
        ("layout", instant("09:02"), instant("09:04")),
        ("layout", instant("09:04"), instant("09:06")),
        ("likeness", instant("09:06"), None),
    ]


def test_a_touch_up_is_a_stretch_of_its_own():
    told = (
        begun().stages_all_done("T1").finished("T1", at="09:10").touched_up("T1", at="09:20").finished("T1", at="09:25")
    )

    assert told_of(told)[-1] == ("touch-up", "", instant("09:20"), instant("09:25"))


@pytest.mark.parametrize("id", ["T1", "T2", "T3", "T6"])
def test_the_stretches_of_a_stage_add_up_to_its_measured_time(id: str):
    ticket, booth = quay_day().ticket(id), quay_day().booth

    by_stage: dict[str, float] = {}
    for one in segments(ticket):
        if one.kind == STAGE and one.to_at is not None:
            by_stage[one.name] = by_stage.get(one.name, 0.0) + (one.to_at - one.from_at).total_seconds()

    assert by_stage == {time.stages[0]: time.total_s for time in stage_times(ticket, booth.days)}
    assert sum(by_stage.values()) == drawn_s(ticket)

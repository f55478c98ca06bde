"""Ninety seconds without a network in the middle of a sketch: what is measured afterwards is what the hand did."""

from __future__ import annotations

import pytest
from playwright.sync_api import expect

from portraitq.core.timing import pauses, stage_times
from tests.journeys.at_the_easel import (
    SAME_S,
    Opens,
    answered,
    kept,
    main_target,
    note_presses,
    press_main,
    pressed_s,
    says,
    told,
    under_way_s,
)
from tests.web.conftest import Web

AWAY_S = 90
TAPS = ("stage_done", "stage_done", "paused", "resumed", "stage_done", "finished")  # the last one ends its stage too


def test_six_taps_without_a_network_for_ninety_seconds_are_measured_to_half_a_second(web: Web, easel: Opens):
    ticket = web.order("chalk-half")
    page = easel()
    note_presses(page)
    press_main(page, "Start number 1")
    says(page, "Layout done")
    answered(page)
    page.context.set_offline(True)
    page.evaluate("document.querySelector('main').live.lost()")  # a line left open keeps Chromium busy all the while
    away_from = page.evaluate("performance.now()") / 1000

    def at_s(second: float) -> None:
        gone_s = page.evaluate("performance.now()") / 1000 - away_from
        page.wait_for_timeout(max(0.0, second - gone_s) * 1000)

    for second, words in ((9, "Layout done"), (21.4, "Likeness done")):
        at_s(second)
        press_main(page, words)
    at_s(33)
    page.get_by_role("button", name="Pause").click()
    at_s(35.5)
    page.get_by_role("button", name="Supplies").click()
    for second, words in ((48.2, "Go on"), (61, "Clothes and hands done"), (77.7, "Signed: rack it"), (80, "At A1")):
        at_s(second)
        press_main(page, words)
    expect(page.locator("#unsent")).to_contain_text("6 taps are not sent yet")
    assert kept(page) == len(TAPS)
    at_s(AWAY_S)
    page.context.set_offline(False)
    answered(page)

    exactly_s = SAME_S + under_way_s(page)
    started, layout, likeness, paused, _why, resumed, clothes, signed, _rack = pressed_s(page)
    times = {stage: time for time in stage_times(web.desk.ticket(ticket)) for stage in time.stages}
    expected = {
        "layout": layout - started,
        "likeness": likeness - layout,
        "clothes": clothes - likeness - (resumed - paused),
        "colour": signed - clothes,
    }
    assert {stage: time.total_s for stage, time in times.items()} == pytest.approx(expected, abs=exactly_s)
    assert all(time.trusted for time in times.values())
    [pause] = pauses(web.desk.ticket(ticket))
    assert pause.ended_at is not None
    assert (pause.ended_at - pause.began_at).total_seconds() == pytest.approx(resumed - paused, abs=exactly_s)
    assert told(web, *TAPS) == ["stage_done", "stage_done", "paused", "resumed", "stage_done", "stage_done", "finished"]
    expect(main_target(page)).to_have_count(0)

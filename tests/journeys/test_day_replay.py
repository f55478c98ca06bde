"""The day once more in a browser: the slider by keys, the ways to other minutes, nothing in anybody's way."""

from __future__ import annotations

import re
import threading

import pytest
from playwright.sync_api import Route, expect

from portraitq.core.events import Event
from portraitq.forecast.past import PastDay, day_once_more
from portraitq.web import past_days
from tests.daybook.evening import quay_day
from tests.journeys.conftest import Screens
from tests.web.conftest import PASSPHRASE, Web


def test_a_day_is_gone_through_by_keys_and_from_one_broken_promise_to_the_next(
    web: Web, address: str, screens: Screens
) -> None:
    web.desks.import_journal("past", quay_day().lines)
    screen = screens("the day once more", 820, 1180)
    screen.open(f"{address}/sign-in?next=/past/daybook/replay?at=10:04")
    screen.sign_in(PASSPHRASE)
    page, slider = screen.page, screen.part("#replay-minute")
    expect(screen.part(".replay__clock time")).to_have_text("10:04")
    said: list[str] = []

    for key, clock in (("ArrowRight", "10:05"), ("PageUp", "10:15"), ("PageDown", "10:05"), ("ArrowUp", "10:06")):
        slider.press(key)
        expect(screen.part(".replay__clock time")).to_have_text(clock)
        expect(slider).to_have_attribute("aria-valuetext", re.compile(f"^{clock}, \\d waiting$"))
        said.append(str(slider.get_attribute("aria-valuetext")))

    assert said == ["10:05, 1 waiting", "10:15, 1 waiting", "10:05, 1 waiting", "10:06, 1 waiting"]
    expect(screen.part(".wall__waiting")).to_have_text(re.compile(r"^\s*2\s"))
    slider.press("End")
    expect(screen.part(".replay__clock time")).to_have_text("19:00")
    slider.press("Home")
    expect(screen.part(".replay__clock time")).to_have_text("10:00")

    further = page.get_by_role("link", name="Next broken promise")
    for clock, which in (("10:40", "2"), ("13:10", "6")):
        further.press("Enter")
        expect(screen.part(".replay__clock time")).to_have_text(clock)
        expect(further).to_be_focused()
        late = screen.part(".replay__ticket[data-then=late]")
        expect(late.locator(".number")).to_have_text(which)
    expect(slider).to_have_value("190")
    assert page.url.endswith("?day=2026-06-06&at=13:10")
    assert screen.loads == 2  # the sign-in and the page: every minute since came as a part of it
    for size in ((820, 1180), (360, 740), (1280, 800)):
        page.set_viewport_size({"width": size[0], "height": size[1]})
        assert screen.sideways_px() <= 0
        assert screen.cut_off() == []
        assert screen.grave_faults() == []


def test_a_long_record_shows_itself_when_it_is_read_and_of_many_moves_only_the_newest_is_asked(
    web: Web, address: str, screens: Screens, monkeypatch: pytest.MonkeyPatch
) -> None:
    web.desks.import_journal("past", quay_day().lines)
    is_read = threading.Event()

    def slowly(events: list[Event], day: str) -> PastDay | None:
        is_read.wait(60)
        return day_once_more(events, day)

    monkeypatch.setattr(past_days, "day_once_more", slowly)
    monkeypatch.setattr("portraitq.web.day_replay.READ_WITHIN_S", 0.05)
    screen = screens("the day once more", 820, 1180)
    screen.open(f"{address}/sign-in?next=/past/daybook/replay")
    screen.sign_in(PASSPHRASE)

    screen.says("Reading the record up to this day")
    is_read.set()
    expect(screen.part(".replay__clock time")).to_have_text("10:05")

    held: list[Route] = []
    asked: list[str] = []

    def hold_the_first(route: Route) -> None:
        asked.append(route.request.url)
        held.append(route) if len(asked) == 1 else route.continue_()

    screen.page.route("**/daybook/replay?*", hold_the_first)
    screen.part("#replay-minute").press("ArrowRight")
    screen.wait_until(lambda: bool(held))
    for _ in range(8):
        screen.part("#replay-minute").press("ArrowRight")
    held[0].continue_()
    expect(screen.part(".replay__clock time")).to_have_text("10:14")
    assert [re.search(r"minute=(\d+)", one)[1] for one in asked] == ["6", "14"]  # type: ignore[index]

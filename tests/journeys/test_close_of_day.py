"""The owner's evening: take the measured times over, count the box, close the day, in a real browser."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import expect

from tests.daybook.seasons import season
from tests.journeys.conftest import Screens
from tests.web.conftest import PASSPHRASE, Web, make_web, serving

SIZES = ((320, 640), (820, 1180), (1280, 800))


@pytest.fixture
def web(tmp_path: Path) -> Iterator[Web]:
    made = make_web(tmp_path)
    made.desks.import_journal("market", season(3, 6, (100.0, 600.0, 110.0)).lines)
    yield made
    made.desks.close()


@pytest.fixture
def address(web: Web) -> Iterator[str]:
    with serving(web) as served:
        yield served


def test_measured_times_are_taken_over_with_one_tap_and_put_back_with_another(address: str, screens: Screens, web: Web):
    screen = screens("day book", 820, 1180)
    screen.open(f"{address}/market/daybook#suggestions")
    screen.sign_in(PASSPHRASE)
    assert screen.grave_faults() == []
    desk = web.desks.at("market")
    before = desk.standing(wait_s=10).booth.set_up
    assert before is not None

    screen.touch_button("Take these as my guesses")

    screen.says("Taken over. Everything else in the set-up is as it was.")
    taken = desk.standing(wait_s=10).booth.set_up
    assert taken is not None
    assert taken.styles[0].stages[1].usual_s == 600
    assert screen.grave_faults() == []

    screen.touch_button("Put it back as it was")

    screen.says("Put back as it was.")
    assert desk.standing(wait_s=10).booth.set_up == before
    for width_px, height_px in SIZES:
        screen.page.set_viewport_size({"width": width_px, "height": height_px})
        assert screen.sideways_px() <= 0, width_px
        assert screen.cut_off() == [], width_px


def test_a_day_is_closed_step_by_step(address: str, screens: Screens, web: Web):
    ticket = web.order()
    web.do("paid", ticket=ticket, amount=2000, how="cash")
    web.desk.standing(wait_s=10)
    screen = screens("close of day", 820, 1180)
    screen.open(f"{address}/quay/daybook/close")
    screen.sign_in(PASSPHRASE)
    screen.says("1 waiting. All of it carries over as it is, in its order.")
    for width_px, height_px in SIZES:
        screen.page.set_viewport_size({"width": width_px, "height": height_px})
        assert screen.sideways_px() <= 0, width_px
        assert screen.cut_off() == [], width_px
        assert screen.grave_faults() == [], width_px

    screen.page.get_by_label("Float that the box began with").fill("50")
    screen.page.get_by_label("In the box now").fill("68,50")
    screen.page.get_by_label("Note").fill("A coin fell")
    screen.page.keyboard.press("Enter")

    screen.says("€1.50 less than the record says", "A coin fell")

    screen.touch_button("Close the day")

    screen.says("The day is closed")
    expect(screen.page.get_by_role("link", name="The day book, to read and to print")).to_be_visible()
    assert screen.grave_faults() == []
    assert web.desk.standing(wait_s=10).booth.day is None

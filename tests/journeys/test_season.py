"""Days and seasons in a browser: choosing two ranges by hand, on a phone, on a tablet and on paper."""

from __future__ import annotations

from playwright.sync_api import expect

from tests.daybook.quick_season import a_season
from tests.journeys.conftest import Screens
from tests.web.conftest import PASSPHRASE, Web


def test_two_ranges_are_chosen_and_read_without_a_barrier(web: Web, address: str, screens: Screens) -> None:
    web.desks.import_journal("season", a_season(12, portraits=5, seed=3).lines)
    screen = screens("days and seasons", 360, 740)
    screen.open(f"{address}/season/daybook/season")
    screen.sign_in(PASSPHRASE)
    page = screen.page
    expect(page.locator("svg.plot")).to_have_count(7)
    screen.touch(page.get_by_text("Other days, one artist"))
    beside, other = page.get_by_label("Beside"), page.get_by_label("The other: from")
    expect(other).to_be_hidden()

    beside.select_option(label="another range of days")
    expect(other).to_be_visible()
    page.get_by_label("From", exact=True).fill("2026-04-07")
    screen.touch_button("Show")

    expect(page.get_by_role("heading", name="7 Apr – 12 Apr 2026 beside 1 Apr – 6 Apr 2026")).to_be_visible()
    for size in ({"width": 360, "height": 740}, {"width": 1280, "height": 800}):
        page.set_viewport_size(size)  # type: ignore[arg-type]
        assert screen.sideways_px() <= 0
        assert screen.cut_off() == []
        assert screen.grave_faults() == []
    page.emulate_media(media="print")
    expect(page.locator("#left .chart-of__table table")).to_be_visible()
    expect(page.get_by_text("Other days, one artist")).to_be_hidden()

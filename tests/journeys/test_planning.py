"""A day planned in a browser: from the form that the record fills in to the answer, and beside another plan."""

from __future__ import annotations

import re

from playwright.sync_api import Page, expect

from tests.journeys.conftest import Screens
from tests.journeys.screens import Screen
from tests.web.conftest import PASSPHRASE, Web
from tests.web.test_plan import a_fortnight

HEADLINE = re.compile(r"About \d+ portraits \(\d+ to \d+\) and €[\d,]+ \(€[\d,]+ to €[\d,]+\) on such a day")


def test_a_day_is_planned_and_another_put_beside_it(web: Web, address: str, screens: Screens) -> None:
    web.desks.import_journal("fair", a_fortnight().lines)
    screen = screens("plan", 360, 740)
    screen.open(f"{address}/sign-in?next=/fair/daybook/plan")
    screen.sign_in(PASSPHRASE)
    page = screen.page
    expect(page.get_by_label("Opens")).to_have_value("10:00")
    fits_without_barrier(screen)
    only_what_counts_can_be_typed(page)
    page.get_by_text("How it is played").click()
    page.get_by_label("Days to play").fill("60")

    page.get_by_role("button", name="Play the day").click()

    expect(screen.part(".plan__headline")).to_have_text(HEADLINE)
    fits_without_barrier(screen)
    page.get_by_text("Change the plan").click()
    page.get_by_label("Times").fill("2")
    page.get_by_role("button", name="Play the day").click()
    expect(screen.part(".plan__name")).to_have_text("Plan 2")
    page.get_by_role("button", name="Compare").click()
    expect(screen.part("#beside table")).to_contain_text("Plan 1 against Plan 2")
    for size in ((360, 740), (1280, 800)):
        page.set_viewport_size({"width": size[0], "height": size[1]})
        fits_without_barrier(screen)


def only_what_counts_can_be_typed(page: Page) -> None:
    """A table of people, or minutes, typed while the record is asked would be passed over without a word."""
    for choice, record, typed, field in (
        ("How many ask", "record", "typed", "Typed: people in each hour"),
        ("How long they wait", "learned", "half", "Typed: half leave at, minutes"),
    ):
        expect(page.get_by_label(field)).to_be_hidden()
        page.get_by_label(choice).select_option(typed)
        expect(page.get_by_label(field)).to_be_visible()
        page.get_by_label(choice).select_option(record)


def fits_without_barrier(screen: Screen) -> None:
    assert screen.sideways_px() <= 0
    assert screen.cut_off() == []
    assert screen.grave_faults() == []

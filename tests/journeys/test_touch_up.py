"""The customer sees something: back to the easel of whoever drew it by one tap, timed apart, and ready again."""

from __future__ import annotations

from datetime import datetime

import pytest
from playwright.sync_api import expect

from portraitq.core.life import COLLECTED, READY
from portraitq.core.timing import stage_times
from portraitq.daybook.segments import PAUSE, TOUCH_UP, segments
from tests.journeys.conftest import Screens
from tests.journeys.nearby import Nearby
from tests.journeys.orders import ARTIST, easel_of, large_field
from tests.journeys.screens import BOUNCE_MS, Screen
from tests.journeys.served import Journal

STAGES = ("layout", "likeness", "shading")
BY = f"easel:{ARTIST}"


def _drawn(nearby: Nearby) -> tuple[str, str]:
    """A portrait on the rack: its ticket and code."""
    nearby.do("artist_in", by=BY, artist=ARTIST)
    taken = nearby.order()
    nearby.do("started", by=BY, ticket=taken["ticket"], artist=ARTIST)
    for stage in STAGES:
        nearby.do("stage_done", by=BY, ticket=taken["ticket"], stage=stage)
    return taken["ticket"], taken["code"]


def _hand_over_page(nearby: Nearby, screen: Screen, code: str) -> Screen:
    screen.open(f"{nearby.booth}/counter")
    screen.sign_in(nearby.passphrase)
    screen.open(f"{nearby.address}/t/{code}")
    return screen


def _at(journal: Journal, kind: str, ticket: str) -> datetime:
    return journal.of_kind(kind, ticket)[-1].happened_at


@pytest.mark.parametrize("already_handed_over", [False, True], ids=["at the hand-over", "brought back later"])
def test_a_touch_up_is_one_tap_from_the_hand_over_page_and_timed_apart(
    nearby: Nearby, screens: Screens, already_handed_over: bool
) -> None:
    ticket, code = _drawn(nearby)
    if already_handed_over:
        nearby.do("collected", ticket=ticket)
    before = nearby.journal()
    easel = easel_of(nearby, screens("easel", 820, 1180))
    desk = _hand_over_page(nearby, screens("hand-over", 390, 640), code)

    desk.touch(desk.page.get_by_role("button", name="Touch up: back to"))
    expect(desk.part(".hand-over__place")).to_contain_text("Touch-up")
    expect(desk.part(".hand-over__place")).to_be_focused()
    expect(desk.part(".hand-over__place")).to_be_in_viewport()
    assert len(desk.acknowledged) == 1

    expect(easel.part(".sketch:visible")).to_have_attribute("data-state", "touch-up")
    expect(easel.part(".sketch:visible")).to_contain_text("Touch-up")
    easel.page.wait_for_timeout(1200)
    easel.touch(easel.part("[data-pause]:visible"))
    easel.page.wait_for_timeout(BOUNCE_MS)
    easel.touch(easel.page.get_by_role("button", name="Supplies"))
    easel.page.wait_for_timeout(1200)
    large_field(easel, "Go on")
    easel.page.wait_for_timeout(BOUNCE_MS)
    large_field(easel, "Touched up: rack it")
    easel.page.wait_for_timeout(BOUNCE_MS)
    large_field(easel, "At A1")
    expect(desk.part(".hand-over__place")).to_contain_text("A1")  # the page follows without being touched

    journal = nearby.journal()
    again = journal.booth.tickets[ticket]
    assert (again.place, again.rack) == (READY, "A1")
    assert again.finished_at == before.booth.tickets[ticket].finished_at  # it was ready when it was ready first
    assert stage_times(again) == stage_times(before.booth.tickets[ticket])
    touched = [one for one in segments(again) if one.to_at and one.from_at >= _at(journal, "touched_up", ticket)]
    assert [one.kind for one in touched] == [TOUCH_UP, PAUSE, TOUCH_UP]
    lasted_s = sum((one.to_at - one.from_at).total_seconds() for one in touched if one.to_at and one.kind == TOUCH_UP)
    whole_s = (_at(journal, "finished", ticket) - _at(journal, "touched_up", ticket)).total_seconds()
    paused_s = (_at(journal, "resumed", ticket) - _at(journal, "paused", ticket)).total_seconds()
    assert lasted_s == pytest.approx(whole_s - paused_s, abs=0.01)
    assert paused_s > 1.2

    desk.touch(desk.page.get_by_role("button", name="Hand over"))
    expect(desk.page.get_by_role("link", name="Next customer")).to_be_visible()
    assert nearby.journal().booth.tickets[ticket].place == COLLECTED


def test_while_no_easel_is_free_the_page_says_who_will_be_and_when(nearby: Nearby, screens: Screens) -> None:
    _, code = _drawn(nearby)
    nearby.do("started", by=BY, ticket=nearby.order()["ticket"], artist=ARTIST)
    desk = _hand_over_page(nearby, screens("hand-over", 360, 740, is_mobile=True), code)

    desk.touch(desk.page.get_by_text("The customer wants a change …"))

    desk.says("who drew it, is at number 2 until about", "does not wait in the queue")

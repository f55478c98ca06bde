"""Moving in the queue at the Counter: what it does is read before it is done, by touch and key, while others work."""

from __future__ import annotations

import re

from playwright.sync_api import expect

from tests.journeys.conftest import Screens
from tests.journeys.screens import Screen
from tests.web.conftest import PASSPHRASE, Web
from tests.web.test_moving import in_trade


def counter_of(web: Web, address: str, screens: Screens, width_px: int, height_px: int) -> Screen:
    screen = screens("counter", width_px, height_px)
    screen.open(f"{address}/sign-in?next=/quay/counter")
    screen.sign_in(PASSPHRASE)
    screen.wait_for_its_line()
    return screen


def queue(web: Web) -> tuple[str, ...]:
    return web.desk.standing(wait_s=10).booth.queue


def test_what_a_move_does_is_read_beside_its_place_and_stays_true_while_others_work(
    web: Web, address: str, screens: Screens
) -> None:
    ids = in_trade(web)
    screen = counter_of(web, address, screens, 360, 740)
    page = screen.page

    page.locator(".queue__part--waiting .ticket-row__open").nth(2).tap()
    page.locator("#sheet summary", has_text="Move in the queue").press("Enter")
    last = page.get_by_role("button", name=re.compile("^Last"))
    expect(last).to_have_text("Last, after 5")
    expect(last).to_have_accessible_description(re.compile("4 itself later by about .* 5 sooner by about"))
    assert (screen.sideways_px(), screen.cut_off(), screen.grave_faults()) == (0, [], [])
    first = page.get_by_role("button", name="First, before 2")
    first.focus()
    another = web.order()
    expect(last).to_have_text("Last, after 6")
    expect(first).to_be_focused()
    assert queue(web) == (*ids, another)
    page.keyboard.press("Enter")
    expect(page.locator(".queue__part--waiting .number").first).to_have_text("4")

    assert queue(web) == (ids[2], ids[0], ids[1], ids[3], another)


def test_a_better_order_is_left_or_done_by_one_tap(web: Web, address: str, screens: Screens) -> None:
    ids = in_trade(web)
    screen = counter_of(web, address, screens, 820, 1180)
    page, card = screen.page, screen.part("#better-order")

    expect(card.get_by_role("heading")).to_have_text("A better order: 5 before 2?")
    expect(screen.part("#better-said")).to_have_text("A better order: 5 before 2?")
    assert screen.grave_faults() == []
    screen.touch(card.get_by_role("link", name="Leave it"))
    expect(card).to_be_empty()
    with page.expect_response(re.compile("better-order")):
        another = web.order()
    expect(card).not_to_contain_text("5 before 2")  # a slow machine may have another one to suggest by now
    assert queue(web) == (*ids, another)

    page.evaluate("sessionStorage.clear()")
    page.reload()
    screen.touch(card.get_by_role("button", name="Do it"))
    expect(screen.part("#said")).to_contain_text("Done")
    expect(card).to_be_empty()
    expect(page.locator(".queue__part--waiting .number").first).to_have_text("5")

    then = queue(web)
    assert [id for id in then if id != another] == [ids[-1], *ids[:-1]]
    assert another in then  # on a slow machine it may be late as well, and moved with the first

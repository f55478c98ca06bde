"""The last hour of the day in a real browser: the wall calls for last orders, and the counter says what still is."""

from __future__ import annotations

import re
from datetime import time
from pathlib import Path

from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, Page, expect

from portraitq.core.events import SetUp
from portraitq.demo import scenario
from tests.journeys.evening import an_evening
from tests.web.conftest import PASSPHRASE, serving

TELEVISION, TABLET = {"width": 1920, "height": 1080}, {"width": 820, "height": 1180}
CAPITAL_OF_A_TIME = """() => {
    const style = getComputedStyle(document.querySelector('.wall__today b'));
    const pen = document.createElement('canvas').getContext('2d');
    pen.font = `${style.fontWeight} ${style.fontSize} ${style.fontFamily}`;
    return pen.measureText('H').actualBoundingBoxAscent;
}"""
ONE_OVER_THE_OTHER = """() => {
    const edge = document.querySelector('.wall__now').getBoundingClientRect().top;
    const outside = (part) => part.bottom > innerHeight + 1 || part.right > innerWidth + 1;
    const boxes = (names) => [...document.querySelectorAll(names)].map((part) => part.getBoundingClientRect());
    return boxes('.wall__number, .wall__waiting').filter((box) => box.bottom > edge).length
        + boxes('.wall__name, .wall__window, .wall__today').filter(outside).length;
}"""
BEYOND_ITS_COLUMN = """([lead, time]) => [...document.querySelectorAll('.wall__window')].filter(told => {
  const part = document.createElement('span');
  part.className = 'wall__lead';
  part.textContent = lead;
  told.replaceChildren(part, ' ' + time);  // the longest that is ever told, which no evening of one day brings
  return told.getBoundingClientRect().right > told.parentElement.getBoundingClientRect().right + 1;
}).length"""


def no_barrier(page: Page) -> None:
    found = Axe().run(page)
    assert found.violations_count == 0, found.generate_report()


def test_in_the_last_hour_wall_and_counter_say_until_when_and_what_still_is(browser: Browser, tmp_path: Path):
    with (
        an_evening(tmp_path, time(22, 10), waiting=("ink-head", "ink-head"), ready=3) as web,
        serving(web) as address,
        browser.new_context(viewport=TELEVISION, color_scheme="dark") as hall,
        browser.new_context(viewport=TABLET) as stall,
    ):
        wall, counter = hall.new_page(), stall.new_page()
        wall.goto(f"{address}/quay/wall")
        counter.context.request.post(f"{address}/sign-in", form={"passphrase": PASSPHRASE}, max_redirects=0)
        counter.goto(f"{address}/quay/counter")

        chalk = wall.locator(".wall__style", has_text="Chalk half-length").locator(".wall__today")
        expect(wall.locator(".wall__now h2")).to_have_text("Last orders for today. A portrait ordered now is ready:")
        expect(chalk).to_have_text(re.compile("order until about 22:[23]."))
        assert wall.evaluate(CAPITAL_OF_A_TIME) >= 44  # 16′ at 6 m are 27.9 mm (ISO 9241-303); a 55″ pixel is 0.634 mm
        no_barrier(wall)

        web.order("chalk-half")
        web.order("ink-head")
        expect(chalk).to_have_text("not surely before closing")  # pushed: nobody has loaded the page anew

        counter.locator("label.style", has_text="Chalk half-length").click()
        instead = counter.locator("[data-instead-said]")
        expect(instead).to_contain_text("Not surely before closing. Still today: Ink head study (until 22:")
        no_barrier(counter)
        counter.locator("label.style", has_text="Ink head study").click()
        expect(instead).to_have_text("")


def eight_styles() -> SetUp:
    twice = [
        style.model_copy(update={"id": f"{style.id}{more}", "name": f"{style.name}{said}"})
        for more, said in (("", ""), ("-large", ", large"))
        for style in scenario.SET_UP.styles
    ]
    artists = [
        one.model_copy(update={"styles": (*one.styles, *(f"{style}-large" for style in one.styles))})
        for one in scenario.SET_UP.artists
    ]
    return scenario.SET_UP.model_copy(update={"styles": tuple(twice), "artists": tuple(artists)})


def test_the_wall_has_room_for_the_last_orders_of_eight_styles(browser: Browser, tmp_path: Path):
    waiting = ("ink-head", "pet-pencil") * 2
    with (
        an_evening(tmp_path, time(21, 40), waiting, ready=20, set_up=eight_styles()) as web,
        serving(web) as address,
        browser.new_context(viewport=TELEVISION) as hall,
    ):
        wall = hall.new_page()

        wall.goto(f"{address}/quay/wall")

        expect(wall.locator(".wall__today")).to_have_count(8)
        assert wall.evaluate(ONE_OVER_THE_OTHER) == 0
        assert wall.evaluate(BEYOND_ITS_COLUMN, ["Wednesday from", "17:10"]) == 0
        for height_px in range(1080, 880, -40):  # at one of them there is room for half a heading and nobody under it
            wall.set_viewport_size({"width": 1920, "height": height_px})
            assert wall.locator(".wall__next").evaluate("part => part.scrollHeight <= part.clientHeight + 1")

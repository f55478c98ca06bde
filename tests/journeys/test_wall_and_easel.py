"""The wall and the easel in a real browser: sizes that are read across a room, and a hand that draws by touch, key,
pedal and without a network."""

from __future__ import annotations

from collections.abc import Iterator
from io import BytesIO

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, BrowserContext, Page, expect

from portraitq.photo.intake import take_in
from tests.journeys.at_the_easel import (
    BOUNCE_MS,
    PHONES,
    SAME_S,
    TABLETS,
    Opens,
    answered,
    events,
    main_target,
    note_presses,
    press_main,
    pressed_s,
    says,
    told,
)
from tests.web.conftest import Web, jpeg

TELEVISION = {"width": 1920, "height": 1080}


@pytest.fixture
def wall(browser: Browser, address: str) -> Iterator[Opens]:
    contexts: list[BrowserContext] = []

    def opens(size: dict[str, int] = TELEVISION, query: str = "", **how: str) -> Page:
        contexts.append(browser.new_context(viewport=size, **how))
        page = contexts[-1].new_page()
        page.goto(f"{address}/quay/wall{query}")
        return page

    yield opens
    for context in contexts:
        context.close()


def racked(web: Web, count: int) -> None:
    for _ in range(count):
        ticket = web.order()
        web.do("started", ticket=ticket, artist="a1")
        for stage in web.desk.ticket(ticket).style.stages[:-1]:
            web.do("stage_done", ticket=ticket, stage=stage.id)
        web.do("finished", ticket=ticket, rack=None)
    web.desk.standing(wait_s=10)


def capital_px(page: Page) -> float:
    """How high a capital letter stands in the wall's ready numbers, in CSS pixels."""
    return page.evaluate(
        """() => {
            const style = getComputedStyle(document.querySelector('.wall__number .number'));
            const pen = document.createElement('canvas').getContext('2d');
            pen.font = `${style.fontWeight} ${style.fontSize} ${style.fontFamily}`;
            return pen.measureText('H').actualBoundingBoxAscent;
        }"""
    )


# The wall


@pytest.mark.parametrize(("ready", "least_px"), [(2, 139), (6, 139), (12, 95), (20, 70)])
def test_ready_numbers_are_read_from_six_metres(web: Web, wall: Opens, ready: int, least_px: int):
    """Visual angle, ISO 9241-303: 22′ at 6 m is 38.4 mm, on a 24″ television (pitch .277 mm) a capital of 139 px.

    With more of them 20′ (34.9 mm) still stand at 95 px on a 32″ one and at 70 px on a 43″ one.
    """
    racked(web, ready)

    assert capital_px(wall()) >= least_px


@pytest.mark.parametrize("ready", [0, 2, 6, 12, 25])
def test_a_full_wall_stays_within_the_television(web: Web, wall: Opens, ready: int):
    racked(web, ready)
    for _ in range(12):
        web.order("chalk-half")
    web.do("started", ticket=web.order(), artist="a1")
    web.desk.standing(wait_s=10)

    page = wall()

    outside = page.evaluate(
        """() => [...document.querySelectorAll('.wall .number, .wall__window, .wall__name')].filter((part) => {
            const box = part.getBoundingClientRect();
            return box.right > innerWidth + 1 || box.bottom > innerHeight + 1;
        }).map((part) => part.textContent)"""
    )
    assert outside == []
    assert page.evaluate("document.documentElement.scrollHeight <= innerHeight")


def test_the_wall_on_a_phone_needs_no_sideways_scrolling(web: Web, wall: Opens):
    racked(web, 3)

    page = wall({"width": 320, "height": 640})

    assert page.evaluate("document.documentElement.scrollWidth") <= 320


def test_the_wall_follows_what_is_said_at_the_booth(web: Web, wall: Opens):
    page = wall()
    expect(page.locator(".wall__now h2")).to_have_text("Nobody is waiting: a portrait ordered now is begun at once.")

    racked(web, 1)

    expect(page.locator(".wall__number .number")).to_have_text("1")


def test_the_wall_is_dark_where_its_address_wishes_so(web: Web, wall: Opens):
    page = wall(query="?evening=1", color_scheme="light")

    page.wait_for_selector("html[data-evening=on]")

    assert page.evaluate("getComputedStyle(document.body).backgroundColor") == "rgb(29, 27, 25)"


@pytest.mark.parametrize("light", ["light", "dark"])
def test_axe_finds_nothing_on_the_wall(web: Web, wall: Opens, light: str):
    racked(web, 3)
    web.do("started", ticket=web.order(), artist="a1")
    web.order()
    web.desk.standing(wait_s=10)

    found = Axe().run(wall(color_scheme=light))

    assert found.violations_count == 0, found.generate_report()


# The easel, by touch


def test_a_pause_counts_from_its_first_touch_and_its_reason_from_the_second(web: Web, easel: Opens):
    web.order()
    page = easel()
    press_main(page, "Start number 1")

    note_presses(page)
    page.get_by_role("button", name="Pause").click()
    page.wait_for_timeout(1500)
    page.get_by_role("button", name="Supplies").click()
    expect(page.get_by_text("Paused since")).to_contain_text("supplies")

    answered(page)
    [paused] = [event for event in events(web) if event.kind == "paused"]
    assert paused.data.why == "supplies"  # type: ignore[attr-defined]
    meant, said = pressed_s(page)
    assert paused.ago_s == pytest.approx(said - meant, abs=SAME_S)


def test_a_pause_without_a_reason_is_sent_before_drawing_goes_on(web: Web, easel: Opens):
    web.order()
    page = easel()
    press_main(page, "Start number 1")

    page.get_by_role("button", name="Pause").click()
    page.wait_for_timeout(BOUNCE_MS)
    press_main(page, "Go on")

    says(page, "Layout done")
    answered(page)
    assert told(web, "paused", "resumed") == ["paused", "resumed"]


def test_a_slip_is_taken_back_and_a_signature_too(web: Web, easel: Opens):
    web.order()
    page = easel()
    for words in ("Start number 1", "Layout done", "Likeness done", "Signed: rack it"):
        press_main(page, words)

    page.get_by_role("button", name="Not done yet").click()
    page.wait_for_timeout(BOUNCE_MS)
    page.get_by_role("button", name="Take back Likeness").click()

    says(page, "Likeness done")
    answered(page)

    assert told(web, "stage_undone", "finished") == ["stage_undone"]


def test_every_target_on_the_easel_is_at_least_64_px(web: Web, easel: Opens):
    web.order()
    web.order()
    page = easel()
    press_main(page, "Start number 1")
    press_main(page, "Layout done")
    page.get_by_role("button", name="Pause").click()

    for size in (*TABLETS.values(), *PHONES.values()):
        page.set_viewport_size(size)
        small = page.evaluate(
            """() => [...document.querySelectorAll('main button, main a, summary')]
                .map((one) => [one.textContent, one.getBoundingClientRect()])
                .filter(([, box]) => box.width && (box.width < 64 || box.height < 64)).map(([text]) => text)"""
        )
        assert small == [], size


@pytest.mark.parametrize("held", PHONES)
def test_on_a_phone_every_tap_is_seen_without_scrolling(web: Web, easel: Opens, held: str):
    ticket = web.order()
    web.desk.add_photo(ticket, take_in(BytesIO(jpeg(900, 1200))))
    web.desk.change_card(ticket, name="Anouk", contact="", note="freckles, please, and the scarf", is_child=False)
    web.order()
    page = easel(PHONES[held])
    press_main(page, "Start number 1")
    press_main(page, "Layout done")
    says(page, "Likeness done")

    out_of_sight = page.evaluate(
        """() => [...document.querySelectorAll('main button')].filter((one) => one.offsetParent)
            .filter((one) => {
                const box = one.getBoundingClientRect();
                return !one.contains(document.elementFromPoint(box.x + box.width / 2, box.y + box.height / 2));
            }).map((one) => one.textContent)"""
    )

    assert out_of_sight == []


def test_an_upright_photo_gets_more_than_half_of_an_upright_tablet(web: Web, easel: Opens):
    ticket = web.order()
    web.desk.add_photo(ticket, take_in(BytesIO(jpeg(900, 1200))))
    page = easel(TABLETS["upright"])
    press_main(page, "Start number 1")
    says(page, "Layout done")

    box = page.locator(".sketch__photo img").bounding_box()

    assert box is not None
    assert min(box["width"], box["height"] * 3 / 4) > TABLETS["upright"]["width"] * 0.55


def test_stage_done_fills_the_lower_third_and_a_long_note_hides_no_stage(web: Web, easel: Opens):
    ticket = web.order("chalk-half", sitters=3)
    web.desk.add_photo(ticket, take_in(BytesIO(jpeg(1200, 900))))
    web.desk.change_card(
        ticket, name="Grandmother's family", note="the smallest in front, less teeth, more curls; " * 4
    )
    page = easel()
    press_main(page, "Start number 1")

    for size in TABLETS.values():
        page.set_viewport_size(size)
        box, last = main_target(page).bounding_box(), page.locator(".sketch__stage:visible").last.bounding_box()
        tools, photo = (page.locator(f".sketch__{part}:visible").first.bounding_box() for part in ("tools", "photos"))
        assert box is not None
        assert last is not None
        assert tools is not None
        assert photo is not None
        assert last["y"] + last["height"] <= tools["y"]
        assert photo["height"] > size["height"] / 4
        assert box["width"] == size["width"]
        assert box["height"] >= size["height"] / 3
        assert box["y"] + box["height"] == pytest.approx(size["height"], abs=1)


# By keyboard and pedal


def test_a_pedal_that_is_held_down_counts_once(web: Web, easel: Opens):
    web.order()
    page = easel()
    press_main(page, "Start number 1")

    for _ in range(3):
        page.keyboard.down("PageDown")
        page.wait_for_timeout(BOUNCE_MS / 2)
    page.keyboard.up("PageDown")

    says(page, "Likeness done")
    answered(page)
    assert told(web, "stage_done") == ["stage_done"]


# Without a network


def test_a_reload_between_signature_and_rack_asks_again_and_counts_from_the_signature(web: Web, easel: Opens):
    web.order()
    page = easel()
    for words in ("Start number 1", "Layout done", "Likeness done", "Signed: rack it"):
        press_main(page, words)
    page.reload()
    page.wait_for_timeout(BOUNCE_MS)

    press_main(page, "At A1")

    answered(page)
    [finished] = [event for event in events(web) if event.kind == "finished"]
    assert finished.ago_s > 1.5


def test_what_the_booth_refuses_is_not_left_on_the_screen(web: Web, easel: Opens):
    web.order()
    page = easel()
    no = '{"detail": "Number 1 is held: it can be released."}'
    page.route("**/commands", lambda route: route.fulfill(status=409, content_type="application/problem+json", body=no))

    says(page, "Start number 1")
    main_target(page).click()

    expect(page.locator("[data-misfit]")).to_contain_text("Number 1 is held")
    says(page, "Start number 1")

"""A whole sketch by touch alone, by keyboard alone, by pedal alone: with a slip, a pause, the rack and the next one."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Page, expect

from portraitq.core.timing import pauses
from tests.journeys.at_the_easel import BOUNCE_MS, TABLETS, Opens, answered, events, main_target, press_main, says, told
from tests.web.conftest import Web

# What the tablet says to a hand: each note with whether it can be heard, each buzz, each sweep of colour. Its sound is
# let in by a finger that lifts, not by one that comes down, as browsers of some tablets have it.
SENSES = """
(() => {
    const said = window.said = { notes: [], buzzes: [], sweeps: [] };
    let isLifted = false;
    addEventListener("pointerup", () => { isLifted = true; }, true);
    const Real = window.AudioContext;
    window.AudioContext = class extends Real {
        constructor() { super(); super.suspend(); }
        resume() { return isLifted ? super.resume() : new Promise(() => {}); }
    };
    const { start } = OscillatorNode.prototype;
    OscillatorNode.prototype.start = function (at) {
        said.notes.push(this.context.state);
        return start.call(this, at);
    };
    Navigator.prototype.vibrate = (ms) => { said.buzzes.push(ms); return true; };
    document.addEventListener("DOMContentLoaded", () => {
        const sweep = document.querySelector(".easel-sweep");
        const noted = () => { if (!sweep.hidden) said.sweeps.push(sweep.dataset.kind); };
        new MutationObserver(noted).observe(sweep, { attributes: true, attributeFilter: ["hidden"] });
    });
})();
"""

WORK = ("started", "stage_done", "stage_undone", "paused", "resumed", "finished")
WHOLE = ["started", "stage_done", "stage_undone", "stage_done", "paused", "resumed", "stage_done", "stage_done"]
AND_ON = [*WHOLE, "finished", "started"]


def two_orders(web: Web) -> None:
    web.order()
    web.order()


def is_drawn_and_the_next_begun(web: Web, page: Page, rack: str) -> None:
    says(page, "Layout done")
    answered(page)
    assert told(web, *WORK) == AND_ON
    assert {event.by for event in events(web) if event.kind in WORK} == {"easel:a1"}
    assert (web.desk.ticket("T1").rack, web.desk.ticket("T2").place) == (rack, "on the easel")


def test_by_touch_alone(web: Web, easel: Opens):
    two_orders(web)
    page = easel(has_touch=True)
    page.context.add_init_script(SENSES)
    page.reload()
    page.wait_for_selector("main[data-is-ready]")

    def touch(words: str) -> None:
        says(page, words)
        main_target(page).tap()
        page.wait_for_timeout(BOUNCE_MS)

    def touch_beside(name: str) -> None:
        page.get_by_role("button", name=name, exact=True).tap()
        page.wait_for_timeout(BOUNCE_MS)

    touch("Start number 1")
    assert page.evaluate("said") == {
        "notes": ["running"] * 2,
        "buzzes": [40],
        "sweeps": ["started"],
    }  # from the first on
    page.locator(".easel-menu__open").tap()
    touch("Layout done")
    expect(page.locator(".easel-menu")).not_to_have_attribute("open", "")
    touch_beside("Take back Layout")
    touch("Layout done")
    touch_beside("Pause")
    touch_beside("Supplies")
    touch("Go on")
    touch("Likeness done")
    touch("Signed: rack it")
    touch_beside("A3")
    touch("Start number 2")

    is_drawn_and_the_next_begun(web, page, "A3")
    [pause] = pauses(web.desk.ticket("T1"))
    assert pause.why == "supplies"
    assert len(page.evaluate("said.sweeps")) == len(page.evaluate("said.buzzes")) == 10


def test_by_keyboard_alone(web: Web, easel: Opens):
    """Tab reaches what has no key of its own: the reason of a pause, another rack place."""
    two_orders(web)
    page = easel()

    def key(name: str) -> None:
        page.keyboard.press(name)
        page.wait_for_timeout(BOUNCE_MS)

    def tab_to(words: str) -> None:
        for _ in range(60):
            page.keyboard.press("Tab")
            if page.evaluate("document.activeElement.textContent.trim()") == words:
                return key("Enter")
        raise AssertionError(f"{words} cannot be reached by Tab")

    says(page, "Start number 1")
    key("Enter")
    says(page, "Layout done")
    key("ArrowRight")
    key("ArrowLeft")
    says(page, "Layout done")
    key(" ")
    key("p")
    tab_to("Supplies")
    says(page, "Go on")
    page.evaluate("document.activeElement.blur()")
    key("Enter")
    says(page, "Likeness done")
    key("Enter")
    says(page, "Signed: rack it")
    key("Enter")
    tab_to("A3")
    says(page, "Start number 2")
    page.evaluate("document.activeElement.blur()")
    key("Enter")

    is_drawn_and_the_next_begun(web, page, "A3")
    assert [pause.why for pause in pauses(web.desk.ticket("T1"))] == ["supplies"]


def by_pedal(page: Page, press: Callable[[str], None], next_key: str, back_key: str, pause_key: str) -> None:
    def foot(key: str, then: str) -> None:
        press(key)
        page.wait_for_timeout(BOUNCE_MS)
        says(page, then)

    says(page, "Start number 1")
    foot(next_key, "Layout done")
    foot(next_key, "Likeness done")
    foot(back_key, "Layout done")
    foot(next_key, "Likeness done")
    foot(pause_key, "Go on")
    foot(next_key, "Likeness done")
    foot(next_key, "Signed: rack it")
    foot(next_key, "At A1")
    foot(next_key, "Start number 2")
    foot(next_key, "Layout done")


def learns(page: Page, **keys: dict[str, str]) -> None:
    """As the pedal's page keeps it (tests/journeys/test_pedal.py)."""
    kept = [{**press, "means": means} for means, press in keys.items()]
    page.evaluate("(kept) => localStorage.setItem('portraitq-pedal', JSON.stringify(kept))", kept)


def test_by_pedal_keys_alone(web: Web, easel: Opens):
    """A pedal of two keys pauses by a third one that it, or another, was taught; a pause needs no reason."""
    two_orders(web)
    page = easel()
    learns(page, pause={"key": "End", "code": "End"})

    by_pedal(page, page.keyboard.press, "PageDown", "PageUp", "End")

    is_drawn_and_the_next_begun(web, page, "A1")
    assert [pause.why for pause in pauses(web.desk.ticket("T1"))] == ["other"]


def test_by_learned_keys_alone_which_win_over_the_usual_ones(web: Web, easel: Opens):
    two_orders(web)
    page = easel()
    learns(
        page,
        next={"key": "MediaTrackNext", "code": "MediaTrackNext"},
        back={"key": "PageDown", "code": "PageDown"},
        pause={"key": "b", "code": "KeyB"},
    )

    def press(key: str) -> None:
        """As a pedal does; the keyboard of playwright has no media keys."""
        pressed = {"key": key, "code": "KeyB" if key == "b" else key, "bubbles": True, "cancelable": True}
        page.evaluate("(pressed) => document.body.dispatchEvent(new KeyboardEvent('keydown', pressed))", pressed)

    by_pedal(page, press, "MediaTrackNext", "PageDown", "b")

    is_drawn_and_the_next_begun(web, page, "A1")


# Between two portraits


def test_the_turnaround_card_says_what_to_do_and_starts_the_next_with_one_touch(web: Web, easel: Opens):
    two_orders(web)
    page = easel()
    for words in ("Start number 1", "Layout done", "Likeness done", "Signed: rack it", "At A1"):
        press_main(page, words)

    expect(page.locator(".between__steps:visible li")).to_have_text(
        ["Wash your hands.", "Swap blunt pencils for sharp ones.", "Tape down fresh paper."]
    )
    expect(page.locator(".between__care:visible")).to_contain_text("safety data sheet")
    press_main(page, "Start number 2")

    says(page, "Layout done")


def test_when_nobody_waits_the_card_says_so_and_the_next_order_shows_up_by_itself(web: Web, easel: Opens):
    page = easel()
    expect(page.get_by_text("Nothing is waiting for you", exact=True)).to_be_visible()
    expect(page.locator(".between__steps:visible li").first).to_have_text("Wash your hands.")

    web.order()

    says(page, "Start number 1")


def test_an_unplanned_break_between_two_portraits_is_one_touch_and_its_end_another(web: Web, easel: Opens):
    web.order()
    page = easel()
    says(page, "Start number 1")

    page.get_by_role("button", name="Take a break").click()
    page.wait_for_timeout(BOUNCE_MS)
    expect(page.get_by_text("Away from the easel")).to_be_visible()
    press_main(page, "I am back")

    says(page, "Start number 1")
    answered(page)
    assert told(web, "artist_in", "artist_out") == ["artist_in", "artist_out", "artist_in"]


def test_what_was_put_back_goes_on_by_its_name(web: Web, easel: Opens):
    web.order()
    page = easel()
    press_main(page, "Start number 1")
    press_main(page, "Layout done")
    page.get_by_role("button", name="Put back").click()
    page.wait_for_timeout(BOUNCE_MS)

    press_main(page, "Go on with number 1")

    says(page, "Likeness done")


@pytest.mark.parametrize(("size", "light"), [("upright", "dark"), ("wide", "light")])
def test_axe_finds_nothing_on_any_face_and_every_target_is_64_px(web: Web, easel: Opens, size: str, light: str):
    web.do("artist_out", artist="a1")
    page = easel(TABLETS[size], color_scheme=light, reduced_motion="reduce")
    wrong: list[str] = []

    def look(face: str) -> None:
        page.wait_for_timeout(600)  # a sweep of colour passes
        report = Axe().run(page)
        if report.violations_count:
            wrong.append(f"{face}: {report.generate_report()}")
        small = page.evaluate(
            """() => [...document.querySelectorAll('main button, main a, summary, .misfits button, #said button')]
                .map((one) => [one.textContent, one.getBoundingClientRect()])
                .filter(([, box]) => box.width && (box.width < 64 || box.height < 64)).map(([text]) => text.trim())"""
        )
        wrong.extend(f"{face}: {name} is small" for name in small)

    look("out")
    press_main(page, "I am back")
    look("nothing")
    two_orders(web)
    says(page, "Start number 1")
    look("card")
    press_main(page, "Start number 1")
    page.get_by_role("button", name="Pause").click()
    look("why")
    page.wait_for_timeout(BOUNCE_MS)
    for words in ("Go on", "Layout done", "Likeness done", "Signed: rack it"):
        press_main(page, words)
    look("rack")
    press_main(page, "At A1")
    page.get_by_role("button", name="Touch up number 1").click()
    says(page, "Touched up: rack it")
    look("touch-up")
    web.do("day_closed")
    expect(page.get_by_text("No day is open.")).to_be_visible()
    look("closed")

    assert wrong == []

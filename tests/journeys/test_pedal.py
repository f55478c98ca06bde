"""The pedal's page on a real tablet: it says what a press sends and does, learns it, and the Easel follows."""

from __future__ import annotations

import json
from typing import Any

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import BrowserContext, Page, expect

from tests.journeys.at_the_easel import BOUNCE_MS, PHONES, TABLETS, Opens, answered, says, told
from tests.web.conftest import Web

PAGE = "/quay/set-up/pedal"


@pytest.fixture
def pedal(easel: Opens, address: str) -> Page:
    """The pedal's page on the tablet of the easel of a1."""
    page = easel(has_touch=True)
    page.goto(f"{address}{PAGE}")
    expect(page.get_by_text("Nothing yet: press the pedal.")).to_be_visible()
    return page


def sends(page: Page, key: str, code: str = "", **more: Any) -> None:
    """A press as any pedal may send it."""
    pressed = {"key": key, "code": code, "bubbles": True, "cancelable": True, **more}
    page.evaluate("(pressed) => document.body.dispatchEvent(new KeyboardEvent('keydown', pressed))", pressed)


def heard(page: Page, part: str, words: str) -> None:
    expect(page.locator(f"[data-heard={part}]")).to_contain_text(words)


def teach(page: Page, words: str, key: str, code: str = "") -> None:
    page.get_by_role("button", name=f"Press what should say “{words}”").tap()
    sends(page, key, code)


def asked(page: Page, words: str) -> None:
    expect(page.locator("[data-asks]")).to_contain_text(words)


def learned(context: BrowserContext) -> list[dict[str, str]]:
    kept = {one["name"]: one["value"] for one in context.storage_state()["origins"][0]["localStorage"]}
    found: list[dict[str, str]] = json.loads(kept.get("portraitq-pedal", "[]"))
    return found


# What a press sends


def test_a_usual_pedal_is_known_and_what_it_does_is_said(pedal: Page):
    pedal.keyboard.press("PageDown")

    heard(pedal, "key", "Page Down")
    heard(pedal, "does", "The Easel knows it: “stage done”.")
    heard(pedal, "code", "PageDown")
    heard(pedal, "gap", "the first")


def test_how_long_lay_between_two_presses_and_whether_a_press_repeats_is_said(pedal: Page):
    sends(pedal, "PageUp", "PageUp")
    sends(pedal, "PageUp", "PageUp", repeat=True)
    heard(pedal, "repeat", "the Easel counts it once")

    pedal.keyboard.press("PageUp")

    heard(pedal, "gap", " s")
    heard(pedal, "repeat", "no")


def test_two_presses_in_one_are_told_of(pedal: Page):
    pedal.evaluate(
        """() => { for (let at = 0; at < 2; at += 1) document.body.dispatchEvent(
            new KeyboardEvent("keydown", { key: "PageDown", code: "PageDown", bubbles: true })); }"""
    )
    sends(pedal, "F9", "F9")
    sends(pedal, "F9", "F9")

    heard(pedal, "why", "the Easel takes both for one press")


@pytest.mark.parametrize(
    ("key", "code", "sentence"),
    [
        ("AudioVolumeUp", "AudioVolumeUp", "The tablet keeps this key for itself"),
        ("F5", "F5", "The browser keeps this key for itself"),
        ("Control", "ControlLeft", "held together with others"),
        ("Unidentified", "", "neither a key nor a code"),
    ],
)
def test_what_cannot_be_learned_says_why_and_another_press_is_awaited(pedal: Page, key: str, code: str, sentence: str):
    teach(pedal, "stage done", key, code)

    asked(pedal, sentence)
    asked(pedal, "Press another one for “stage done”")
    assert learned(pedal.context) == []


# Learning


@pytest.mark.parametrize(
    ("key", "code"), [("MediaTrackNext", "MediaTrackNext"), ("Unidentified", "Lang5"), ("b", "KeyB"), ("ArrowDown", "")]
)
def test_the_easel_does_what_a_press_was_taught(web: Web, address: str, pedal: Page, key: str, code: str):
    teach(pedal, "stage done", key, code)
    asked(pedal, "says “stage done” from now on")
    web.order()
    pedal.goto(f"{address}/quay/easel/a1")
    says(pedal, "Start number 1")
    pedal.wait_for_selector("main[data-is-ready]")

    sends(pedal, key, code)

    says(pedal, "Layout done")
    answered(pedal)
    assert told(web, "started") == ["started"]


def test_a_learned_meaning_wins_over_the_usual_one_and_is_asked_for(web: Web, address: str, pedal: Page):
    teach(pedal, "take back", "PageDown", "PageDown")
    asked(pedal, "Page Down says “stage done” until now. One press cannot say two things.")
    pedal.get_by_role("button", name="Let it say “take back”").tap()
    asked(pedal, "Page Down says “take back” from now on.")
    web.order()
    pedal.goto(f"{address}/quay/easel/a1")
    pedal.wait_for_selector("main[data-is-ready]")
    says(pedal, "Start number 1")
    pedal.keyboard.press("Enter")
    pedal.wait_for_timeout(BOUNCE_MS)
    pedal.keyboard.press("Enter")
    says(pedal, "Likeness done")
    pedal.wait_for_timeout(BOUNCE_MS)

    pedal.keyboard.press("PageDown")

    says(pedal, "Layout done")


def test_a_press_that_says_something_else_may_stay_as_it_is(pedal: Page):
    teach(pedal, "pause", "PageUp", "PageUp")

    pedal.get_by_role("button", name="Leave it “take back”").tap()

    asked(pedal, "Nothing was changed.")
    assert learned(pedal.context) == []


def test_one_press_never_has_two_meanings(pedal: Page):
    teach(pedal, "stage done", "F9", "F9")
    teach(pedal, "pause", "F9", "F9")
    pedal.get_by_role("button", name="Let it say “pause”").tap()
    asked(pedal, "F9 says “pause” from now on.")

    assert learned(pedal.context) == [{"key": "F9", "code": "F9", "means": "pause"}]


def test_what_was_learned_is_shown_and_forgotten_one_by_one_or_all(pedal: Page):
    teach(pedal, "stage done", "F9", "F9")
    teach(pedal, "take back", "F8", "F8")
    pedal.reload()

    pedal.get_by_role("button", name="Forget F9 for “stage done”").tap()
    asked(pedal, "F9 is forgotten.")
    assert [one["key"] for one in learned(pedal.context)] == ["F8"]
    teach(pedal, "stage done", "F7", "F7")
    pedal.get_by_role("button", name="Forget all that this tablet learned").tap()

    asked(pedal, "All is forgotten")
    assert learned(pedal.context) == []


def test_the_page_is_used_by_keyboard_alone(pedal: Page):
    def tab_to(words: str) -> None:
        for _ in range(40):
            pedal.keyboard.press("Tab")
            if words in pedal.evaluate("document.activeElement.textContent"):
                return
        raise AssertionError(f"{words} cannot be reached by Tab")

    tab_to("Press what should say “pause”")
    pedal.keyboard.press("Space")
    asked(pedal, "Now press the pedal for “pause”.")
    pedal.keyboard.press("Escape")
    asked(pedal, "Nothing was changed.")
    pedal.keyboard.press("Enter")
    pedal.keyboard.press("F9")
    asked(pedal, "F9 says “pause” from now on.")
    tab_to("Forget F9")
    pedal.keyboard.press("Space")
    asked(pedal, "F9 is forgotten.")

    assert learned(pedal.context) == []


def test_the_page_is_reached_from_the_easel_and_from_set_up(address: str, easel: Opens):
    page = easel()
    page.locator("summary").click()
    page.get_by_role("link", name="Pedal of this tablet").click()
    page.wait_for_url(f"**{PAGE}")

    page.goto(f"{address}/quay/set-up")
    page.get_by_role("link", name="Pedal of this tablet").click()

    page.wait_for_url(f"**{PAGE}")


@pytest.mark.parametrize("light", ["light", "dark"])
def test_axe_finds_nothing_and_every_target_is_64_px(address: str, easel: Opens, light: str):
    page = easel(TABLETS["upright"], color_scheme=light, has_touch=True)
    page.goto(f"{address}{PAGE}")
    teach(page, "stage done", "F9", "F9")
    teach(page, "pause", "F9", "F9")
    expect(page.get_by_role("button", name="Let it say “pause”")).to_be_visible()

    report = Axe().run(page)

    assert report.violations_count == 0, report.generate_report()
    for size in (*TABLETS.values(), *PHONES.values()):
        page.set_viewport_size(size)
        small = page.evaluate(
            """() => [...document.querySelectorAll('main button, main a')]
                .map((one) => [one.textContent, one.getBoundingClientRect()])
                .filter(([, box]) => box.width && (box.width < 64 || box.height < 64)).map(([text]) => text.trim())"""
        )
        assert small == [], size
        assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")

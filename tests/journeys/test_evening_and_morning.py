"""The owner's evening with the day book and the morning with the set-up, in a real browser."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import expect

from tests.daybook.evening import quay_day
from tests.journeys.conftest import Screens
from tests.journeys.screens import Screen
from tests.web.conftest import PASSPHRASE, Web, make_web, serving

SIZES = {"phone": (360, 740), "upright tablet": (820, 1180), "wide tablet": (1280, 800), "television": (1920, 1080)}


@pytest.fixture
def web(tmp_path: Path) -> Iterator[Web]:
    made = make_web(tmp_path)
    made.desks.import_journal("past", quay_day().lines)
    yield made
    made.desks.close()


@pytest.fixture
def address(web: Web) -> Iterator[str]:
    with serving(web) as served:
        yield served


def signed_in(screens: Screens, address: str, path: str, size: str = "upright tablet") -> Screen:
    screen = screens(path, *SIZES[size])
    screen.open(address + path)
    screen.sign_in(PASSPHRASE)
    return screen


@pytest.mark.parametrize("size", ["upright tablet", "wide tablet"])
def test_a_tablet_shows_the_five_answers_without_scrolling(address: str, screens: Screens, size: str):
    screen = signed_in(screens, address, "/past/daybook", size)

    answers = screen.part(".answer")

    expect(answers).to_have_count(5)
    boxes = [answers.nth(at).bounding_box() for at in range(5)]
    assert all(box and box["y"] + box["height"] <= SIZES[size][1] for box in boxes)


@pytest.mark.parametrize("path", ["/past/daybook", "/quay/set-up"])
def test_pages_fit_every_screen_and_shut_nobody_out(address: str, screens: Screens, path: str):
    screen = signed_in(screens, address, path)

    for width_px, height_px in (*SIZES.values(), (320, 640)):
        screen.page.set_viewport_size({"width": width_px, "height": height_px})
        assert screen.sideways_px() == 0, width_px

    assert screen.grave_faults() == []


def test_a_bar_of_the_day_leads_to_its_ticket(address: str, screens: Screens):
    screen = signed_in(screens, address, "/past/daybook")

    screen.part('.timeline a[aria-label^="Number 3,"]').click()

    expect(screen.part("tr:target th")).to_contain_text("3")


def test_the_day_book_prints_its_tables_whole(address: str, screens: Screens):
    screen = signed_in(screens, address, "/past/daybook")

    screen.page.emulate_media(media="print")
    screen.page.set_viewport_size({"width": 688, "height": 1000})  # A4 less its margins, in CSS pixels

    expect(screen.part(".nav")).to_be_hidden()
    expect(screen.part("#take-home")).to_be_hidden()
    assert screen.page.evaluate(
        "[...document.querySelectorAll('.scroll')].every(part => part.scrollWidth <= part.clientWidth + 1)"
    )
    expect(screen.part(".ways")).to_be_hidden()
    # what is folded away on the screen is open on paper
    folded = screen.page.locator("details > :not(summary)")
    assert all(box and box["height"] for box in (folded.nth(at).bounding_box() for at in range(folded.count())))
    printed = screen.page.pdf(prefer_css_page_size=True)
    sizes = {
        (round(float(w)), round(float(h))) for w, h in re.findall(rb"/MediaBox \[0 0 ([\d.]+) ([\d.]+)\]", printed)
    }
    assert sizes == {(595, 842)}  # A4 in points
    assert 2 <= len(re.findall(rb"/Type /Page\b", printed)) <= 8


def test_a_style_is_added_and_saved_by_keyboard_alone(address: str, screens: Screens, web: Web):
    screen = signed_in(screens, address, "/quay/set-up")
    keys, loads = screen.page.keyboard, screen.loads

    screen.part("#add-style").press("Enter")
    expect(screen.part("#style-3-name")).to_be_focused()  # the hand goes on where the new row is
    for text in ("Pet in pencil", "25"):
        keys.type(text)
        keys.press("Tab")
    for guess, text in (("name", "All of it"), ("quick", "5:00"), ("usual", "8:00"), ("slow", "13:00")):
        screen.part(f"#style-3-stage-0-{guess}").fill(text)
    assert screen.loads == loads
    expect(screen.part("[data-unsaved]")).to_be_visible()
    keys.press("Enter")

    screen.says("Saved.")
    set_up = web.desk.standing().booth.set_up
    assert set_up is not None
    assert (set_up.styles[3].id, set_up.styles[3].price) == ("pet-in-pencil", 2500)
    assert all("pet-in-pencil" in artist.styles for artist in set_up.artists)


def test_moving_a_stage_keeps_the_hand_on_it_and_what_was_typed(address: str, screens: Screens):
    screen = signed_in(screens, address, "/quay/set-up")

    screen.part("#booth-name").fill("Half typed")
    screen.part("#down-style-0-stage-0").press("Enter")

    expect(screen.part("#down-style-0-stage-1")).to_be_focused()
    expect(screen.part("#style-0-stage-1-name")).to_have_value("Layout")
    expect(screen.part("#booth-name")).to_have_value("Half typed")


def test_a_wrong_field_has_the_focus_and_its_sentence_beside_it(address: str, screens: Screens):
    screen = signed_in(screens, address, "/quay/set-up", "phone")

    screen.part("#style-1-stage-0-usual").fill("soon")
    screen.part("text=Save the set-up").click()

    expect(screen.part("#style-1-stage-0-usual")).to_be_focused()
    expect(screen.part("#style-1-stage-0-usual-about")).to_contain_text("such as 1:40")
    screen.page.wait_for_load_state("networkidle")
    screen.complaints.clear()  # Chromium notes the 422 in its console


def test_a_set_up_half_typed_outlives_a_sign_in_that_ran_out(address: str, screens: Screens, web: Web):
    screen = signed_in(screens, address, "/quay/set-up")
    screen.part("#booth-name").fill("Quayside by Night")
    cookies = screen.page.context.cookies()
    screen.page.context.clear_cookies()

    screen.part(".button--main[value=save]").click()
    expect(screen.part("#said")).to_contain_text("nothing typed is lost")
    screen.page.context.add_cookies(cookies)
    screen.part(".button--main[value=save]").click()

    screen.says("Saved.")
    set_up = web.desk.standing().booth.set_up
    assert set_up is not None
    assert set_up.booth.name == "Quayside by Night"


def test_house_rules_half_typed_outlive_a_sign_in_that_ran_out_and_a_wrong_field(
    address: str, screens: Screens, web: Web
):
    screen = signed_in(screens, address, "/quay/set-up")
    save = screen.page.get_by_role("button", name="Save the house rules")
    screen.part("#rules-between").fill("Wash the brush.\nChange the water.")
    screen.part("#rules-rest-after").fill("soon")
    cookies = screen.page.context.cookies()
    screen.page.context.clear_cookies()

    save.click()
    expect(screen.part("#said")).to_contain_text("nothing typed is lost")
    screen.page.context.add_cookies(cookies)
    screen.may_answer_no = True
    save.click()
    screen.says("Whole minutes from 0 to 600 were expected")
    expect(screen.part("#rules-rest-after")).to_be_focused()
    screen.part("#rules-rest-after").fill("45")
    save.click()

    screen.says("The house rules were saved.")
    rules = web.desk.house_rules()
    assert (rules.between, rules.rest_after_min) == ("Wash the brush.\nChange the water.", 45)

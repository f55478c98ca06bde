"""What the counter does for the hand that fills in an order: nothing typed is lost, and no tap counts twice."""

from __future__ import annotations

from playwright.sync_api import Page, expect

from tests.journeys.conftest import Screens
from tests.journeys.nearby import Nearby
from tests.journeys.orders import a_phone_photo, counter_of
from tests.journeys.screens import Screen

GOOD = {"name": "IMG_0001.jpg", "mimeType": "image/jpeg", "buffer": a_phone_photo(300, 400)}
BAD = {"name": "letter.jpg", "mimeType": "image/jpeg", "buffer": b"Dear customer, this is no photo."}


def fill_in(page: Page) -> None:
    """An order with everything in it, a child and one photo that is none."""
    page.locator("label.style").first.tap()
    page.get_by_role("button", name="One sitter more").tap()
    page.locator(".photos__input").nth(1).set_input_files([GOOD, BAD])
    page.get_by_role("radio", name="paid cash").check()
    page.locator("#more summary").tap()
    page.get_by_label("Name or nickname").fill("Anouk")
    page.get_by_label("Note for the artist").fill("freckles")
    page.get_by_label("A sitter is a child").check()


def typed(page: Page) -> dict[str, object]:
    """What stands in the form, the promise that moves with the clock left out."""
    form = page.evaluate("Object.fromEntries(new FormData(document.querySelector('#order')))")
    return {name: value for name, value in form.items() if name not in ("photo", "ready_by")}


def take(counter: Screen) -> None:
    counter.page.get_by_role("button", name="Take the order").tap()


def test_a_refusal_stands_beside_its_field_and_everything_typed_stays(nearby: Nearby, screens: Screens) -> None:
    counter = counter_of(nearby, screens("counter", 820, 1180))
    counter.may_answer_no = True
    page = counter.page
    fill_in(page)
    before = typed(page)

    take(counter)
    expect(page.locator("[data-refusal=consent_by]")).to_contain_text("which parent or guardian agreed")
    assert typed(page) == before
    page.get_by_label("Which parent or guardian agrees?").fill("her mother")
    take(counter)
    expect(page.locator(".photo--refused .photo__said")).to_contain_text("but this is a text")
    assert typed(page) == {**before, "consent_by": "her mother"}
    expect(page.locator(".photo")).to_have_count(2)
    page.get_by_role("button", name="Remove photo 2").tap()
    take(counter)

    expect(page.locator(".taken")).to_contain_text("Order taken for Anouk")
    kept = page.evaluate("JSON.stringify([{...localStorage}, {...sessionStorage}, document.cookie])")
    assert [word for word in ("Anouk", "freckles", "her mother") if word in kept] == []  # OWASP ASVS 5.0, 14.3.3
    assert [event.kind for event in nearby.journal().events][-3:] == ["ordered", "promised", "paid"]


def test_two_quick_taps_are_one_order(nearby: Nearby, screens: Screens) -> None:
    counter = counter_of(nearby, screens("counter", 820, 1180))
    counter.page.locator("label.style").first.tap()

    counter.page.get_by_role("button", name="Take the order").dblclick()
    expect(counter.page.locator(".taken__number")).to_contain_text("1")

    assert len(nearby.journal().booth.tickets) == 1


def test_a_push_takes_neither_the_focus_nor_what_is_half_typed(nearby: Nearby, screens: Screens) -> None:
    counter = counter_of(nearby, screens("counter", 820, 1180))
    page = counter.page
    page.locator("#more summary").tap()
    name = page.get_by_label("Name or nickname")
    name.fill("Ano")

    nearby.order()
    expect(page.locator(".queue__part--waiting .number")).to_have_text("1")

    expect(name).to_be_focused()
    page.keyboard.type("uk")
    expect(name).to_have_value("Anouk")


def test_the_quotes_follow_the_sitters(nearby: Nearby, screens: Screens) -> None:
    counter = counter_of(nearby, screens("counter", 820, 1180))
    page = counter.page
    page.locator("label.style").first.tap()
    one = page.locator("#order [name=ready_by]").input_value()

    for _ in range(4):
        page.get_by_role("button", name="One sitter more").tap()

    counter.wait_until(lambda: page.locator("#order [name=ready_by]").input_value() > one)
    assert one


def test_asked_and_left_is_one_tap_with_the_time_that_was_shown(nearby: Nearby, screens: Screens) -> None:
    counter = counter_of(nearby, screens("counter", 820, 1180))
    counter.page.locator("label.style").first.tap()

    counter.page.get_by_role("button", name="Walked away").tap()
    expect(counter.page.locator("#said")).to_contain_text("Noted")

    (gone,) = nearby.journal().booth.walked_away
    assert gone.data.ready_by is not None


def test_a_ticket_is_held_moved_and_cancelled_from_its_sheet(nearby: Nearby, screens: Screens) -> None:
    nearby.order()
    nearby.order()
    counter = counter_of(nearby, screens("counter", 820, 1180))
    page, sheet = counter.page, counter.page.locator("#sheet")

    page.locator(".queue__part--waiting .ticket-row__open").nth(1).tap()
    sheet.get_by_text("Move in the queue …").tap()
    sheet.get_by_role("button", name="First, before 1").tap()
    expect(page.locator(".queue__part--waiting .number").first).to_have_text("2")
    sheet.get_by_text("Hold, so that it is passed over").tap()
    counter.touch(sheet.get_by_role("button", name="The customer asked to wait"))
    expect(sheet.get_by_role("button", name="Put it back in the queue")).to_be_visible()
    sheet.get_by_text("Cancel the order …").tap()
    counter.touch(sheet.get_by_role("button", name="The customer does not want it"))
    expect(sheet).to_contain_text("cancelled")
    sheet.get_by_role("button", name="Close").tap()

    expect(page.locator(".queue__part--waiting .number")).to_have_text(["1"])

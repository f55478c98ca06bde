"""A photo is judged while its sitter still stands there: taken again, used anyway, marked, replaced, on any line."""

from __future__ import annotations

import io
from functools import cache

import pytest
from PIL import Image, ImageFilter
from playwright.sync_api import Locator, expect

from portraitq.demo.faces import face
from portraitq.photo.face import Face, read_faces, tapped
from portraitq.store import photos as kept
from portraitq.store.photos import LOOSE, PhotoRef
from portraitq.store.store import open_store
from tests.journeys.conftest import Screens
from tests.journeys.nearby import Nearby
from tests.journeys.orders import counter_of
from tests.journeys.screens import Screen

SIZE_PX = (660, 880)
BLURRED = "The face is blurred: hold still and take it again."
MOST_TOUCHES = 8
CAMERA_TOUCHES = 2  # the shutter and "use it", in the camera's own app
PIXEL = 3 / 200  # of a picture that is shown some 200 px wide, where a finger's place is known to a pixel or two


@cache
def good() -> bytes:
    return as_jpeg(face(4, size_px=SIZE_PX))


@cache
def blurred() -> bytes:
    return as_jpeg(face(3, size_px=SIZE_PX).filter(ImageFilter.GaussianBlur(5)))


def as_jpeg(image: Image.Image, quality: int = 90) -> bytes:
    out = io.BytesIO()
    image.save(out, "JPEG", quality=quality)
    return out.getvalue()


def named(name: str, content: bytes) -> dict[str, object]:
    return {"name": name, "mimeType": "image/jpeg", "buffer": content}


def choose(screen: Screen, *files: bytes, within: str = "#photos") -> None:
    """Photos from files, all at once."""
    sent = [named(f"IMG_{number}.jpg", content) for number, content in enumerate(files, 1)]
    screen.part(f"{within} .photos__input").nth(1).set_input_files(sent)  # type: ignore[arg-type]


def card(screen: Screen, number: int, within: str = "#photos") -> Locator:
    return screen.part(f"{within} .photo").nth(number - 1)


def until_kept(screen: Screen, count: int = 1, within: str = "#photos") -> None:
    """Wait until so many photos are at the booth."""
    expect(screen.part(f"{within} .photo[data-photo]")).to_have_count(count)


def at_the_booth(nearby: Nearby, ticket: str = LOOSE) -> list[PhotoRef]:
    store = open_store(nearby.folder / "data")
    with store.reading() as connection:
        found = kept.of_tickets(connection, "booth", [ticket]).get(ticket, [])
    store.close()
    return found


def faces_of(ref: PhotoRef) -> tuple[Face, ...]:
    return read_faces(ref.faces)


def is_above_the_bar(screen: Screen, part: Locator) -> bool:
    """Whether all of it is on the screen, above the row that takes the order."""
    box, bar = part.bounding_box(), screen.part(".order__end").bounding_box()
    assert box is not None
    assert bar is not None
    return box["y"] >= 0 and box["y"] + box["height"] <= bar["y"]


def take(screen: Screen) -> None:
    screen.page.get_by_role("button", name="Take the order").tap()


@pytest.fixture
def counter(nearby: Nearby, screens: Screens) -> Screen:
    return counter_of(nearby, screens("counter", 820, 1180))


def test_a_blurred_photo_is_told_before_the_order_is_sent_and_taken_again(nearby: Nearby, counter: Screen) -> None:
    page = counter.page
    page.locator("label.style").first.tap()
    with page.expect_file_chooser() as camera:
        page.locator("label", has_text="Take a photo").tap()
    camera.value.set_files(named("IMG_1.jpg", blurred()))  # type: ignore[arg-type]
    expect(card(counter, 1).locator(".photo__advice")).to_have_text(BLURRED)
    counter.wait_until(lambda: is_above_the_bar(counter, card(counter, 1).locator(".photo__beside")))
    first = at_the_booth(nearby)

    with page.expect_file_chooser() as camera:
        page.locator("label:visible", has_text="Take it again").tap()
    camera.value.set_files(named("IMG_2.jpg", good()))  # type: ignore[arg-type]
    expect(card(counter, 1).locator(".photo__advice")).to_be_empty()
    counter.wait_until(lambda: [ref.id for ref in at_the_booth(nearby)] != [ref.id for ref in first])
    take(counter)
    expect(page.locator(".taken__number")).to_contain_text("1")

    assert counter.touches() + 2 * CAMERA_TOUCHES <= MOST_TOUCHES
    assert at_the_booth(nearby) == []
    assert len(at_the_booth(nearby, "T1")) == 1
    assert at_the_booth(nearby, "T1")[0].id != first[0].id


def test_advice_moves_no_page_under_a_typing_hand_and_use_it_anyway_puts_it_away(
    nearby: Nearby, counter: Screen
) -> None:
    counter.page.locator("label.style").first.tap()
    counter.page.locator("[name=price]").evaluate(
        "(field) => { scrollTo(0, 0); field.focus({ preventScroll: true }); }"
    )
    said = counter.part("[data-photo-said]")
    choose(counter, blurred())
    expect(said).to_have_text(BLURRED)
    assert counter.page.evaluate("scrollY") == 0
    said.tap()
    expect(said).to_be_hidden()
    assert is_above_the_bar(counter, card(counter, 1).locator(".photo__advice"))

    counter.page.get_by_role("button", name="Use it anyway").tap()
    expect(card(counter, 1).locator(".photo__advice")).to_be_empty()
    counter.page.evaluate("scrollTo(0, 0)")
    take(counter)
    expect(counter.page.locator(".taken__number")).to_contain_text("1")

    assert len(at_the_booth(nearby, "T1")) == 1


def test_a_tap_marks_the_face_and_a_good_photo_needs_none(nearby: Nearby, counter: Screen) -> None:
    page = counter.page
    choose(counter, good())
    until_kept(counter)
    expect(page.locator(".mark--guess")).to_have_count(1)
    frame = card(counter, 1).locator(".photo__frame")
    box = frame.bounding_box()
    assert box

    frame.tap(position={"x": box["width"] * 0.5, "y": box["height"] * 0.4})
    counter.wait_until(lambda: at_the_booth(nearby)[0].faces != "")

    (marked,) = faces_of(at_the_booth(nearby)[0])
    meant = tapped(0.5, 0.4, *SIZE_PX)
    assert (marked.left, marked.top) == pytest.approx((meant.left, meant.top), abs=PIXEL)
    assert (marked.width, marked.height) == pytest.approx((meant.width, meant.height), abs=1e-3)
    expect(page.locator(".mark")).to_have_count(1)
    expect(page.locator(".mark--guess")).to_have_count(0)


def test_a_mark_off_the_blur_takes_the_advice_away_and_unmarking_brings_it_back(counter: Screen) -> None:
    page = counter.page
    half = face(3, size_px=SIZE_PX).filter(ImageFilter.GaussianBlur(5))
    half.paste(face(4, size_px=SIZE_PX).crop((180, 190, 480, 580)).resize((190, 247)), (0, 0))
    choose(counter, as_jpeg(half))
    said = card(counter, 1).locator(".photo__advice")
    expect(said).to_have_text(BLURRED)
    frame = card(counter, 1).locator(".photo__frame")
    box = frame.bounding_box()
    assert box

    page.mouse.move(box["x"] + 2, box["y"] + 2)
    page.mouse.down()
    page.mouse.move(box["x"] + box["width"] * 0.285, box["y"] + box["height"] * 0.28, steps=4)
    page.mouse.up()
    expect(said).to_be_empty()
    page.get_by_role("button", name="Unmark").tap()

    expect(said).to_have_text(BLURRED)


def test_each_tap_marks_one_more_sitter_and_then_moves_the_nearest(nearby: Nearby, counter: Screen) -> None:
    page = counter.page
    page.get_by_role("button", name="One sitter more").tap()
    choose(counter, good())
    until_kept(counter)
    frame = card(counter, 1).locator(".photo__frame")
    box = frame.bounding_box()
    assert box

    hint = card(counter, 1).locator(".photo__hint")
    hints = (
        "Tap each face: the artist gets its eyes and colours close up.",
        "1 of 2 faces marked: tap the next one, if it is in this photo.",
        "",
    )

    for across, said in zip((0.2, 0.8, 0.62), hints, strict=True):
        expect(hint).to_have_text(said)
        frame.tap(position={"x": box["width"] * across, "y": box["height"] * 0.5})
    expect(hint).to_be_hidden()
    counter.wait_until(lambda: len(faces_of(at_the_booth(nearby)[0])) == 2)

    left, right = faces_of(at_the_booth(nearby)[0])
    assert left.left + left.width / 2 == pytest.approx(0.2, abs=PIXEL)
    assert right.left + right.width / 2 == pytest.approx(0.62, abs=PIXEL)


def test_the_keyboard_alone_moves_sizes_and_removes_a_mark(nearby: Nearby, counter: Screen) -> None:
    page = counter.page
    choose(counter, good())
    until_kept(counter)
    middle = tapped(0.5, 0.5, *SIZE_PX)

    page.locator(".mark--guess").focus()
    for key in ("ArrowRight", "ArrowUp", "ArrowUp", "+", "Shift+ArrowLeft"):
        page.keyboard.press(key)
    expect(page.locator(".mark")).to_be_focused()
    counter.wait_until(lambda: at_the_booth(nearby)[0].faces != "")
    (moved,) = faces_of(at_the_booth(nearby)[0])
    page.keyboard.press("Delete")
    counter.wait_until(lambda: at_the_booth(nearby)[0].faces == "")

    assert moved.width == pytest.approx(1.1 * middle.width, abs=1e-3)
    assert moved.left + moved.width / 2 == pytest.approx(0.5 + 0.02 - 0.005, abs=2e-3)
    assert moved.top + moved.height / 2 == pytest.approx(0.5 - 0.04, abs=2e-3)
    expect(page.locator(".mark--guess")).to_have_count(1)


def test_one_of_three_files_is_refused_and_the_others_stay(nearby: Nearby, counter: Screen) -> None:
    counter.may_answer_no = True
    page = counter.page
    page.locator("label.style").first.tap()

    choose(counter, good(), b"Dear customer, this is no photo.", blurred())
    expect(card(counter, 2).locator(".photo__said")).to_contain_text("this is a text")
    expect(card(counter, 2).locator(".photo__name")).to_have_text("IMG_2.jpg")
    until_kept(counter, 2)

    assert len(at_the_booth(nearby)) == 2
    take(counter)
    expect(card(counter, 2).locator(".photo__said")).to_contain_text("this is a text")
    page.get_by_role("button", name="Remove photo 2").tap()
    take(counter)
    expect(page.locator(".taken__number")).to_contain_text("1")
    assert len(at_the_booth(nearby, "T1")) == 2


def test_a_photo_that_is_removed_or_whose_customer_walks_away_is_gone(nearby: Nearby, counter: Screen) -> None:
    page = counter.page
    page.locator("label.style").first.tap()
    choose(counter, good(), good())
    until_kept(counter, 2)

    page.get_by_role("button", name="Remove photo 1").tap()
    counter.wait_until(lambda: len(at_the_booth(nearby)) == 1)
    page.get_by_role("button", name="Walked away").tap()
    expect(page.locator("#said")).to_contain_text("Noted")

    assert at_the_booth(nearby) == []
    expect(page.locator("#photos .photo")).to_have_count(0)


def test_a_slow_line_says_how_far_the_photo_is_and_the_order_waits_for_it(nearby: Nearby, counter: Screen) -> None:
    page = counter.page
    page.locator("label.style").first.tap()
    large = as_jpeg(face(4, size_px=(1200, 1600)), 95)
    line = counter.context.new_cdp_session(page)
    line.send("Network.enable")
    slow = {"offline": False, "latency": 50, "downloadThroughput": 1e6, "uploadThroughput": len(large) / 4}
    line.send("Network.emulateNetworkConditions", slow)

    choose(counter, large)
    sent = card(counter, 1).locator(".photo__sent")
    seen: set[str] = set()
    counter.wait_until(lambda: len(seen_so_far(seen, sent)) >= 3)
    assert page.get_by_role("progressbar", name="Photo 1 on its way").is_visible()
    take(counter)
    expect(page.locator(".taken__number")).to_contain_text("1")

    assert all(words.endswith(" % sent") for words in seen)
    assert len(at_the_booth(nearby, "T1")) == 1


def seen_so_far(seen: set[str], words: Locator) -> set[str]:
    if (said := words.inner_text()).endswith("sent"):
        seen.add(said)
    return seen


def test_out_of_reach_nothing_is_lost_and_the_photo_is_sent_when_the_booth_is_back(
    nearby: Nearby, counter: Screen
) -> None:
    counter.may_be_cut_off = True
    page = counter.page
    page.locator("label.style").first.tap()
    counter.context.set_offline(True)

    choose(counter, good())
    expect(card(counter, 1).locator(".photo__said")).to_contain_text("kept here and sent again")
    take(counter)
    expect(page.locator("#order .refusal:visible").first).to_contain_text("out of reach")
    counter.context.set_offline(False)
    until_kept(counter)
    expect(card(counter, 1).locator(".photo__said")).to_be_hidden()
    take(counter)

    expect(page.locator(".taken__number")).to_contain_text("1")
    assert len(at_the_booth(nearby, "T1")) == 1


def test_a_booth_that_cannot_take_a_photo_just_now_is_not_said_to_be_out_of_reach(counter: Screen) -> None:
    counter.may_answer_no = True
    busy = {
        "status": 503,
        "content_type": "application/problem+json",
        "body": '{"detail": "The store does not answer."}',
    }
    counter.page.route("**/counter/photos", lambda route: route.fulfill(**busy), times=1)

    choose(counter, good())

    expect(card(counter, 1).locator(".photo__said")).to_contain_text("could not take the photo just now")
    until_kept(counter)


def test_a_photo_that_is_gone_from_the_booth_is_sent_again_by_itself(nearby: Nearby, counter: Screen) -> None:
    counter.may_answer_no = True
    page = counter.page
    page.locator("label.style").first.tap()
    choose(counter, good())
    until_kept(counter)
    gone = at_the_booth(nearby)[0].id
    store = open_store(nearby.folder / "data")
    with store.writing() as connection:
        kept.remove(connection, "booth", LOOSE, gone)
    store.close()

    take(counter)
    counter.wait_until(lambda: bool(at_the_booth(nearby)))
    expect(card(counter, 1).locator(".photo__on-its-way")).to_be_hidden()
    take(counter)

    expect(page.locator(".taken__number")).to_contain_text("1")
    assert at_the_booth(nearby, "T1")[0].id != gone


def test_on_a_ticket_a_photo_is_added_taken_again_and_removed_until_it_is_finished(
    nearby: Nearby, counter: Screen
) -> None:
    ticket = str(nearby.order(photo=blurred())["ticket"])
    page, sheet = counter.page, "#sheet"
    page.locator(".ticket-row__open").tap()
    until_kept(counter, 1, sheet)
    first = at_the_booth(nearby, ticket)[0].id

    choose(counter, blurred(), within=sheet)
    expect(card(counter, 2, sheet).locator(".photo__advice")).to_have_text(BLURRED)
    with page.expect_file_chooser() as camera:
        card(counter, 1, sheet).locator("label", has_text="Take it again").tap()
    camera.value.set_files(named("IMG_3.jpg", good()))  # type: ignore[arg-type]
    counter.wait_until(lambda: first not in [ref.id for ref in at_the_booth(nearby, ticket)])
    better, second = (ref.id for ref in at_the_booth(nearby, ticket))
    expect(card(counter, 1, sheet)).to_have_attribute("data-photo", better)
    page.get_by_role("button", name="Remove photo 2").tap()
    counter.wait_until(lambda: [ref.id for ref in at_the_booth(nearby, ticket)] == [better])

    nearby.do("artist_in", by="easel:a1", artist="a1")
    nearby.do("started", by="easel:a1", ticket=ticket, artist="a1")
    for stage in ("layout", "likeness", "shading"):
        nearby.do("stage_done", by="easel:a1", ticket=ticket, stage=stage)
    page.reload()
    page.locator(".ticket-row__open").tap()
    until_kept(counter, 1, sheet)
    expect(page.locator(f"{sheet} .photos__input")).to_have_count(0)
    expect(page.locator(f"{sheet} .photo__input")).to_have_count(0)
    assert second != better


@pytest.mark.parametrize("size_px", [(360, 740), (820, 1180), (1280, 800)])
def test_photos_with_advice_marks_and_refusals_are_in_nobodys_way(
    size_px: tuple[int, int], nearby: Nearby, screens: Screens
) -> None:
    screen = counter_of(nearby, screens("counter", *size_px))
    screen.may_answer_no = True
    choose(screen, good(), blurred(), b"Dear customer, this is no photo.")
    expect(screen.part(".photo--refused")).to_have_count(1)
    expect(screen.part(".photo__advice p")).to_have_count(1)
    card(screen, 1).locator(".photo__frame").tap()

    assert (screen.sideways_px(), screen.cut_off(), screen.grave_faults()) == (0, [], [])

    card(screen, 2).locator(".photo__larger").tap()
    expect(screen.part("dialog.larger .mark")).to_have_count(1)
    assert (screen.sideways_px(), screen.cut_off(), screen.grave_faults()) == (0, [], [])
    screen.page.keyboard.press("Escape")
    expect(card(screen, 2).locator(".photo__larger")).to_be_focused()

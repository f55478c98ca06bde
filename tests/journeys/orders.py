"""What a hand does at the Counter and at the Easel, in the words of the booth."""

from __future__ import annotations

from dataclasses import dataclass

from PIL import Image
from playwright.sync_api import expect

from portraitq.demo.faces import as_phone_jpeg
from tests.journeys.screens import Screen
from tests.journeys.served import Served

ARTIST = "a1"
# Corners of the upright photo, so that any wrong turn or mirroring shows: left to right, top to bottom.
CORNERS = ((200, 40, 40), (40, 160, 40), (40, 40, 200), (210, 200, 40))


def a_phone_photo(width_px: int = 900, height_px: int = 1200) -> bytes:
    """A JPEG as a phone makes it when held upright: stored lying (EXIF orientation 6), with place and camera in it."""
    upright = Image.new("RGB", (width_px, height_px))
    across, down = width_px // 2, height_px // 2
    for place, colour in enumerate(CORNERS):
        upright.paste(colour, (place % 2 * across, place // 2 * down, width_px, height_px))
    return as_phone_jpeg(upright, orientation=6)


def corners_of(image: Image.Image) -> list[tuple[int, ...]]:
    """The colours of the four corners, left to right, top to bottom."""
    width, height = image.size
    quarters = [(x * width // 4, y * height // 4) for y in (1, 3) for x in (1, 3)]
    return [image.convert("RGB").getpixel(place) for place in quarters]  # type: ignore[misc]


@dataclass(frozen=True)
class Handed:
    """What the customer is given: the number, and the address that the QR on the screen says."""

    number: str
    address: str
    command: str
    touches: int


def counter_of(served: Served, screen: Screen) -> Screen:
    """The Counter, signed in."""
    screen.open(f"{served.booth}/counter")
    screen.sign_in(served.passphrase)
    screen.wait_for_its_line()
    return screen


def easel_of(served: Served, screen: Screen) -> Screen:
    """The first artist's Easel, signed in."""
    screen.open(f"{served.booth}/easel/{ARTIST}")
    screen.sign_in(served.passphrase)
    screen.wait_for_its_line()
    return screen


def wall_of(served: Served, screen: Screen) -> Screen:
    """The Wall, which anybody may see."""
    screen.open(f"{served.booth}/wall")
    screen.wait_for_its_line()
    return screen


def phone_with(address: str, screen: Screen) -> Screen:
    """A customer's phone that opened just what the QR says."""
    screen.open(address)
    screen.wait_for_its_line()
    return screen


def order(counter: Screen, photo: bytes, style: str = "Pencil head study") -> Handed:
    """A plain order: style, photo by the tablet's camera, taken; the QR is read from a picture of the screen."""
    page = counter.page
    before = counter.touches()
    command = page.locator("#order input[name=id]").input_value()
    page.locator("label.style", has_text=style).tap()
    with page.expect_file_chooser() as camera:
        page.locator("label", has_text="Take a photo").tap()
    camera.value.set_files({"name": "IMG_0001.jpg", "mimeType": "image/jpeg", "buffer": photo})
    expect(page.get_by_role("list", name="Photos of this order").get_by_role("img")).to_be_visible()
    page.get_by_role("button", name="Take the order").tap()
    number = page.locator(".taken__number .number").inner_text()
    touches = counter.touches() - before
    address = counter.scanned()
    counter.acknowledged.append(command)
    return Handed(number, address, command, touches)


def large_field(easel: Screen, says: str) -> None:
    """Touch the Easel's one large field, once it says this."""
    field = easel.part("[data-main]:visible")
    expect(field).to_have_count(1)
    expect(field).to_contain_text(says)
    easel.touch(field)


def photo_address(easel: Screen) -> str:
    """Where the large photo on the Easel comes from, once it is there."""
    image = easel.part(".sketch__photo:visible img")
    expect(image).to_be_visible()
    easel.wait_until(lambda: bool(image.evaluate("image => image.complete && image.naturalWidth > 0")))
    return str(image.evaluate("image => image.src"))

"""One portrait from the order to the evening's figures, through four real screens and a photo as phones make them."""

from __future__ import annotations

import io

from PIL import Image
from playwright.sync_api import expect

from tests.journeys.conftest import Screens
from tests.journeys.nearby import Nearby
from tests.journeys.orders import (
    CORNERS,
    a_phone_photo,
    corners_of,
    counter_of,
    easel_of,
    large_field,
    order,
    phone_with,
    photo_address,
    wall_of,
)
from tests.journeys.screens import Screen
from tests.journeys.served import Served

MOST_TOUCHES = 8
CAMERA_TOUCHES = 2  # the shutter and "use it", in the camera's own app
PERSONAL = (b"Exif\0\0", b"http://ns.adobe.com/xap", b"Example Phone", b"2026:06:06")
COLOUR_OFF = 12  # what JPEG may change of a plain colour, of 255
# started, done, taken back, done, done, finished; the phone is told of the pause and its end as well
PUSHES = {"wall": 6, "phone": 8}
POLL_WITHIN_MS = 40_000  # the first question by plain HTTP comes 5 s after the line was lost, the next after 15 s


def test_a_whole_order_from_the_photo_to_the_days_figures(served: Served, screens: Screens) -> None:
    counter = counter_of(served, screens("counter", 1280, 800))
    easel = easel_of(served, screens("easel", 1280, 800))
    wall = wall_of(served, screens("wall", 1920, 1080))
    photo = a_phone_photo()

    given = order(counter, photo)
    assert given.touches + CAMERA_TOUCHES <= MOST_TOUCHES
    assert given.number == "1"
    assert given.address.lower().startswith(f"{served.address}/t/")
    phone = phone_with(given.address, screens("phone", 360, 740, is_mobile=True))
    phone.says("Be back at", "It is the next one to be drawn.")
    loads = {screen.name: screen.loads for screen in (easel, wall, phone)}

    draw_it(easel, wall, phone)
    each_screen_was_pushed(wall, phone, loads)

    assert counter.scanned() == given.address
    counter.open(given.address)
    pay_and_hand_over(counter)
    expect(wall.part(".wall__ready")).not_to_contain_text("1")
    phone.says("It was handed over")
    the_day_book_has_it(counter, served)

    the_journal_has_it_once(served, [*counter.acknowledged, *easel.acknowledged])


def draw_it(easel: Screen, wall: Screen, phone: Screen) -> None:
    """Every touch on the Easel is seen on the Wall and on the phone before the next is made."""
    on_the_wall = wall.part(".wall__easels")
    large_field(easel, "I am here")
    the_photo_is_upright_and_bare(easel)
    large_field(easel, "Start number 1")
    expect(on_the_wall).to_contain_text("Layout")
    phone.says("It is being drawn", "Stage 1 of 3: Layout.")
    large_field(easel, "Layout done")
    expect(on_the_wall).to_contain_text("Likeness")
    phone.says("Stage 2 of 3: Likeness.")
    easel.touch_button("Take back Layout")
    expect(on_the_wall).to_contain_text("Layout")
    phone.says("Stage 1 of 3: Layout.")
    large_field(easel, "Layout done")
    phone.says("Stage 2 of 3: Likeness.")
    easel.touch_button("Pause")
    easel.touch(easel.part("[data-why=counter]:visible"))
    phone.says("The artist pauses for a moment.")
    large_field(easel, "Go on")
    expect(phone.part("main")).not_to_contain_text("pauses")
    large_field(easel, "Likeness done")
    expect(on_the_wall).to_contain_text("Shading and signature")
    phone.says("Stage 3 of 3: Shading and signature.")
    large_field(easel, "Signed: rack it")
    large_field(easel, "A1")
    expect(wall.part(".wall__ready .number")).to_have_text("1")
    phone.says("It is ready", "rack A1")
    easel.says("Nothing is waiting for you")


def the_photo_is_upright_and_bare(easel: Screen) -> None:
    """What the Easel gets is turned as it was meant, and says nothing but the picture."""
    photo = a_phone_photo()
    assert all(mark in photo for mark in PERSONAL[:3])

    served = easel.context.request.get(photo_address(easel)).body()

    assert [mark for mark in PERSONAL if mark in served] == []
    picture = Image.open(io.BytesIO(served))
    assert not picture.getexif()
    assert picture.width < picture.height
    for seen, meant in zip(corners_of(picture), CORNERS, strict=True):
        assert max(abs(a - b) for a, b in zip(seen, meant, strict=True)) <= COLOUR_OFF


def each_screen_was_pushed(wall: Screen, phone: Screen, loads: dict[str, int]) -> None:
    """What they show came over one WebSocket each, in order, into the page that was loaded once."""
    for screen in (wall, phone):
        assert screen.loads == loads[screen.name]
        assert screen.lines == 1
        assert screen.pushes == sorted(screen.pushes)
        assert len(set(screen.pushes)) >= PUSHES[screen.name]


def pay_and_hand_over(counter: Screen) -> None:
    """The ticket's own QR, opened on a device of the booth."""
    expect(counter.page.get_by_role("img", name="Photo of number 1")).to_be_visible()
    counter.says("A1", "€20.00")
    counter.touch_button("€20.00 paid in cash")
    expect(counter.page.get_by_role("button", name="Hand over unpaid")).to_have_count(0)
    counter.touch(counter.page.get_by_role("button", name="Hand over", exact=True))
    expect(counter.page.get_by_role("link", name="Next customer")).to_be_visible()


def the_day_book_has_it(counter: Screen, served: Served) -> None:
    counter.open(f"{served.booth}/daybook")
    counter.says("1 portrait finished", "1 of 1 promises kept", "€20.00")


def the_journal_has_it_once(served: Served, acknowledged: list[str]) -> None:
    journal = served.journal()
    ticket = journal.booth.tickets["T1"]
    assert journal.wrongly_kept(acknowledged) == []
    assert ticket.place == "collected"
    assert ticket.due == 0
    assert [event.data.why for event in journal.of_kind("paused", "T1")] == ["counter"]


def test_a_wall_without_a_websocket_follows_by_plain_http(nearby: Nearby, screens: Screens) -> None:
    nearby.order()
    wall = screens("wall", 1920, 1080)
    wall.context.route_web_socket("**/socket.io/**", lambda line: line.close())
    wall.open(f"{nearby.booth}/wall")
    expect(wall.part(".wall__next .number")).to_have_text(["1"])

    nearby.order()

    expect(wall.part(".wall__next .number")).to_have_text(["1", "2"], timeout=POLL_WITHIN_MS)
    assert wall.pushes == []
    assert wall.loads == 1


def test_only_the_booths_people_get_to_the_counter(nearby: Nearby, screens: Screens) -> None:
    counter = screens("counter")

    counter.open(f"{nearby.booth}/counter")
    assert "/sign-in" in counter.page.url
    counter.sign_in(nearby.passphrase)

    assert counter.page.url == f"{nearby.booth}/counter"
    expect(counter.page.get_by_role("button", name="Take the order")).to_be_visible()

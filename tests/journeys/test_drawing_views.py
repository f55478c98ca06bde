"""The photo on the easel as an artist draws from it: turned, squared, enlarged, in grey and values, also out of range.

Geometry is read off screenshots of pictures whose parts have known colours, not asked of the code that made it.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator
from io import BytesIO
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from axe_playwright_python.sync_playwright import Axe
from PIL import Image, ImageChops, ImageDraw
from playwright.sync_api import Browser, BrowserContext, ConsoleMessage, Page, Request, Route, expect

from portraitq.photo.face import Face, print_faces
from portraitq.photo.intake import take_in
from portraitq.store import photos as kept
from tests.web.conftest import PASSPHRASE, Web, make_web, serving

SIZES = {
    "upright": {"width": 820, "height": 1180},
    "wide": {"width": 1280, "height": 800},
    "phone": {"width": 360, "height": 740},
    "phone on its side": {"width": 844, "height": 390},
}
BOUNCE_MS = 850  # longer than what counts as one press
RED, GREEN, BLUE, YELLOW = (200, 40, 40), (40, 160, 60), (40, 60, 200), (220, 200, 40)
LINE = (255, 253, 248)  # the light line
NEAR = 40  # so far may a JPEG move a flat colour

PHOTO = (20, 100, 500, 600)  # inside the photo of an upright tablet

ALL_ANSWERED = "() => Object.keys(localStorage).every((key) => !key.startsWith('portraitq-tap:'))"

Booth = tuple[Web, str, Any]
Opens = Callable[..., Page]


# The booth: number 1 on the easel, number 2 after it; each test brings its own photos.


@pytest.fixture(scope="module")
def booth(browser: Browser, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Booth]:
    web = make_web(Path(tmp_path_factory.mktemp("views")))
    web.do("started", ticket=web.order(), artist="a1")
    web.order()
    with serving(web) as address:
        context = browser.new_context()
        page = context.new_page()
        page.goto(f"{address}/sign-in?next=/quay/easel/a1")
        page.fill("[name=passphrase]", PASSPHRASE)
        page.press("[name=passphrase]", "Enter")
        page.wait_for_url("**/quay/easel/a1")
        signed_in = context.storage_state()
        context.close()
        yield web, address, signed_in
    web.desks.close()


@pytest.fixture
def web(booth: Booth) -> Web:
    return booth[0]


@pytest.fixture
def easel(browser: Browser, booth: Booth) -> Iterator[Opens]:
    """Opens the easel on a tablet of its own once its photo is there; nothing may complain in the console."""
    web, address, signed_in = booth
    contexts: list[BrowserContext] = []
    complaints: list[str] = []

    def heard(message: ConsoleMessage) -> None:
        if message.type in ("error", "warning") and "Failed to load resource" not in message.text:
            complaints.append(message.text)

    def opens(*pictures: bytes, size: str = "upright", faces: tuple[Face, ...] = (), **how: Any) -> Page:
        photographed(web, "T1", *pictures, faces=faces)
        state = {**signed_in, "origins": []}
        contexts.append(browser.new_context(viewport=SIZES[size], storage_state=state, **how))
        page = contexts[-1].new_page()
        page.on("console", heard)
        page.on("pageerror", lambda error: complaints.append(str(error)))
        page.requests = []  # type: ignore[attr-defined]
        page.on("request", lambda request: page.requests.append(request))  # type: ignore[attr-defined]
        page.goto(f"{address}/quay/easel/a1")
        there(page)
        return page

    yield opens
    for context in contexts:
        context.close()
    assert complaints == []


def photographed(web: Web, ticket: str, *pictures: bytes, faces: tuple[Face, ...] = ()) -> None:
    """Give the ticket these photos instead of those it had."""
    for old in web.desk.photo_refs([ticket]).get(ticket, []):
        web.desk.remove_photo(ticket, old.id)
    for picture in pictures:
        id = web.desk.add_photo(ticket, take_in(BytesIO(picture)))
        if faces:
            mark(web, id, faces)
    web.desk.standing(wait_s=10)


def mark(web: Web, id: str, faces: tuple[Face, ...]) -> None:
    with web.desks.store.writing() as connection:
        kept.mark_faces(connection, "quay", id, print_faces(faces))


def pushed(web: Web, page: Page) -> None:
    """Let something happen at the booth that changes what this easel shows, and wait until it does."""
    note = f"note {len(page.requests)} {page.evaluate('performance.now()')}"  # type: ignore[attr-defined]
    web.desk.change_card("T1", name="Anouk", contact="", note=note, is_child=False)
    expect(page.locator(".sketch:not([hidden]) .sketch__note")).to_contain_text(note)


def until(page: Page, script: str, *, tries: int = 200) -> None:
    """Wait for something of the page; Playwright's own way asks for eval, which our policy forbids."""
    for _ in range(tries):
        if page.evaluate(script):
            return
        page.wait_for_timeout(30)
    raise AssertionError(f"it did not come true: {script}")


def there(page: Page) -> None:
    until(
        page,
        """() => { const image = document.querySelector('.sketch:not([hidden]) .frame img');
                   return image?.complete && image.naturalWidth && image.style.transform; }""",
    )


def fetched_ahead(page: Page) -> None:
    """Wait until the last thing that is fetched ahead of the photo in front has come."""
    photo = page.locator(".sketch:not([hidden]) .sketch__photo:not([hidden])").get_attribute("data-photo")
    for _ in range(300):
        if any(f"{photo}/colours" in request.url and request.response() for request in made(page)):
            page.wait_for_timeout(100)
            return
        page.wait_for_timeout(50)
    raise AssertionError(f"of what was made of the photo came only {[request.url for request in made(page)]}")


def made(page: Page) -> list[Request]:
    """Every request for something made of a photo."""
    asked: list[Request] = page.requests  # type: ignore[attr-defined]
    return [request for request in asked if "/views/" in request.url or "/colours?" in request.url]


def of_photos(page: Page) -> list[str]:
    return [request.url for request in page.requests if "/photos/" in request.url]  # type: ignore[attr-defined]


def keys(page: Page, *pressed: str) -> None:
    for key in pressed:
        page.keyboard.press(key)
    page.wait_for_timeout(60)


def says(page: Page, words: str) -> None:
    expect(page.locator(".sketch:not([hidden]) [data-now]")).to_have_text(words)


def tool(page: Page, name: str) -> Any:
    return page.locator(f".sketch:not([hidden]) .drawing__tool[data-tool='{name}']")


def picture_box(page: Page) -> dict[str, float]:
    return page.locator(".sketch:not([hidden]) .sketch__photo:not([hidden]) img").bounding_box()


EDGES = """(areHidden) => {
    const sheet = new CSSStyleSheet();
    sheet.replaceSync('.drawing__corner, .drawing__side, .sketch__after { visibility: hidden !important; }');
    document.adoptedStyleSheets = areHidden ? [sheet] : [];
}"""


def block(page: Page) -> Image.Image:
    """The photo's block as it is seen, without what stands at its edges, also where a push has just printed it anew."""
    page.evaluate(EDGES, True)
    seen = Image.open(BytesIO(page.screenshot())).convert("RGB")
    page.evaluate(EDGES, False)
    return seen


def colour_at(page: Page, across: float, downwards: float) -> tuple[int, int, int]:
    box = picture_box(page)
    x, y = box["x"] + across * box["width"], box["y"] + downwards * box["height"]
    found = block(page).getpixel((round(x), round(y)))
    assert isinstance(found, tuple)
    return found[0], found[1], found[2]


def is_near(one: tuple[int, ...], other: tuple[int, ...]) -> bool:
    return all(abs(a - b) <= NEAR for a, b in zip(one, other, strict=True))


def name_of(colour: tuple[int, int, int]) -> str:
    named = {"red": RED, "green": GREEN, "blue": BLUE, "yellow": YELLOW}
    return next((name for name, one in named.items() if is_near(colour, one)), f"{colour}")


def corners(page: Page) -> list[str]:
    """The colours of the corners: upper left, upper right, lower left, lower right."""
    return [name_of(colour_at(page, x, y)) for y in (0.2, 0.8) for x in (0.2, 0.8)]


def jpeg(picture: Image.Image) -> bytes:
    out = BytesIO()
    picture.save(out, "JPEG", quality=95)
    return out.getvalue()


def four_corners(width: int = 600, height: int = 800) -> bytes:
    picture = Image.new("RGB", (width, height))
    pen = ImageDraw.Draw(picture)
    for at, colour in enumerate((RED, GREEN, BLUE, YELLOW)):
        left, top = at % 2 * width // 2, at // 2 * height // 2
        pen.rectangle((left, top, left + width // 2, top + height // 2), fill=colour)
    return jpeg(picture)


def chequered(width: int, height: int, xs: list[float], ys: list[float]) -> bytes:
    """Two greys that change places at those pixels."""
    across = np.searchsorted(xs, np.arange(width) + 0.5)
    downwards = np.searchsorted(ys, np.arange(height) + 0.5)
    odd = (across[None, :] + downwards[:, None]) % 2
    return jpeg(Image.fromarray(np.where(odd, 150, 80).astype(np.uint8)).convert("RGB"))


def runs(values: list[bool]) -> list[float]:
    """The middles of the stretches that are true."""
    edges = [at for at, (one, two) in enumerate(pairwise([False, *values, False])) if one != two]
    return [(start + end) / 2 for start, end in zip(edges[::2], edges[1::2], strict=True)]


def steps_along(line: list[tuple[int, int, int]]) -> list[float]:
    """Where the two greys of `chequered` meet."""
    dark = [sum(pixel) < 3 * 115 for pixel in line]
    return [at + 1.0 for at, (one, two) in enumerate(pairwise(dark)) if one != two]


def lines_along(line: list[tuple[int, int, int]]) -> list[float]:
    return runs([is_near(pixel, LINE) and min(pixel) > 225 for pixel in line])


def row_and_column(page: Page, downwards: float, across: float) -> tuple[list[Any], list[Any]]:
    """The pixels of one row and one column of what is seen of the picture."""
    box, frame, seen = picture_box(page), page.locator(".sketch:not([hidden]) .frame").first.bounding_box(), block(page)
    assert frame is not None
    left, right = max(box["x"], frame["x"]), min(box["x"] + box["width"], frame["x"] + frame["width"])
    top, bottom = max(box["y"], frame["y"]), min(box["y"] + box["height"], frame["y"] + frame["height"])
    y, x = round(top + downwards * (bottom - top)), round(left + across * (right - left))
    row = [seen.getpixel((at, y)) for at in range(round(left) + 2, round(right) - 2)]
    column = [seen.getpixel((x, at)) for at in range(round(top) + 2, round(bottom) - 2)]
    return row, column


def all_near(lines: list[float], edges: list[float]) -> bool:
    return len(lines) == len(edges) and all(abs(a - b) <= 1 for a, b in zip(lines, edges, strict=True))


# Turning


@pytest.mark.parametrize(
    ("pressed", "words", "seen"),
    [
        ("", "", ["red", "green", "blue", "yellow"]),
        ("m", "Mirrored", ["green", "red", "yellow", "blue"]),
        ("u", "Upside down", ["yellow", "blue", "green", "red"]),
        ("mu", "Mirrored · upside down", ["blue", "yellow", "red", "green"]),
    ],
)
def test_mirrored_swaps_left_and_right_and_upside_down_both(easel: Opens, pressed: str, words: str, seen: list[str]):
    page = easel(four_corners())

    keys(page, *pressed)

    assert corners(page) == seen
    says(page, words)


def test_a_mirror_is_taken_off_by_the_same_touch(easel: Opens):
    page = easel(four_corners())
    keys(page, "v")

    tool(page, "mirrored").click()
    mirrored = corners(page)
    page.wait_for_timeout(BOUNCE_MS)
    tool(page, "mirrored").click()

    assert (mirrored[0], corners(page)[0]) == ("green", "red")


def test_grey_and_values_are_mirrored_and_soft_as_the_photo_is(easel: Opens):
    page = easel(four_corners())
    fetched_ahead(page)

    keys(page, "m", "g", "s")

    says(page, "Mirrored · grey · soft")
    left, right = colour_at(page, 0.2, 0.8), colour_at(page, 0.8, 0.8)
    assert max(left) - min(left) <= 3
    assert left[0] > right[0] + 60  # yellow stands left of blue now
    image = page.locator(".sketch:not([hidden]) .frame img")
    assert "blur" in image.evaluate("(one) => one.style.filter")


def test_the_eyes_of_each_marked_face_come_in_turn_and_then_the_photo_again(easel: Opens):
    faces = (Face(0.1, 0.1, 0.3, 0.3), Face(0.6, 0.6, 0.3, 0.3))
    page = easel(four_corners(), faces=faces)
    fetched_ahead(page)

    seen = []
    for words in ("Eyes 1 of 2", "Eyes 2 of 2", ""):
        keys(page, "e")
        says(page, words)
        page.wait_for_timeout(100)
        seen.append(name_of(colour_at(page, 0.5, 0.3)))

    assert seen[:2] == ["red", "yellow"]


# Lines


@pytest.mark.parametrize(
    ("width", "height", "across", "zooms", "turn"),
    [
        (600, 800, 6, 0, ""),
        (1801, 2403, 5, 0, "m"),
        (2400, 1007, 12, 0, ""),
        (1801, 2400, 7, 2, ""),
        (1600, 1600, 2, 1, "mu"),
    ],
)
def test_squares_stand_on_the_parts_of_the_picture(
    easel: Opens, width: int, height: int, across: int, zooms: int, turn: str
):
    """Edges painted at k/n of the width, and as far apart downwards, are found in one screenshot, the lines in another.

    The pictures are large, so that a pixel of theirs is less than one of the screen.
    """
    side = width / across
    xs = [side * at for at in range(1, across)]
    ys = [side * at for at in range(1, across * 4) if side * at < height - 1]
    page = easel(chequered(width, height, xs, ys))
    keys(page, *turn, *["+"] * zooms)
    off_grid = 0.5 / (across * 2) if not zooms else 0.03
    row, column = row_and_column(page, off_grid, off_grid)

    keys(page, "q", *["9"] * max(0, across - 6), *["8"] * max(0, 6 - across))
    lined_row, lined_column = row_and_column(page, off_grid, off_grid)

    assert all_near(lines_along(lined_row), steps_along(row)), (lines_along(lined_row), steps_along(row))
    assert all_near(lines_along(lined_column), steps_along(column)), (lines_along(lined_column), steps_along(column))
    if not zooms:
        assert len(lines_along(lined_row)) == across - 1


@pytest.mark.parametrize(("width", "height"), [(1200, 1600), (1100, 700)])
def test_thirds_stand_at_one_and_two_thirds_both_ways(easel: Opens, width: int, height: int):
    page = easel(chequered(width, height, [width / 3, width * 2 / 3], [height / 3, height * 2 / 3]))
    row, column = row_and_column(page, 0.1, 0.1)

    keys(page, "t")
    lined_row, lined_column = row_and_column(page, 0.1, 0.1)

    assert len(lines_along(lined_row)) == len(lines_along(lined_column)) == 2
    assert all_near(lines_along(lined_row), steps_along(row))
    assert all_near(lines_along(lined_column), steps_along(column))
    says(page, "Thirds")


def test_squares_go_from_two_to_twelve_and_say_how_many_there_are_both_ways(easel: Opens):
    page = easel(four_corners(600, 800))

    keys(page, "q")
    says(page, "6 × 8 squares")
    keys(page, *["9"] * 10)
    says(page, "12 × 16 squares")
    keys(page, *["8"] * 15)

    says(page, "2 × 2.7 squares")


@pytest.mark.parametrize("ground", [0, 128, 255])
@pytest.mark.parametrize("dark", ["", "d"])
def test_a_line_is_seen_on_black_on_grey_and_on_white(easel: Opens, ground: int, dark: str):
    page = easel(jpeg(Image.new("RGB", (600, 800), (ground,) * 3)))

    keys(page, "t", *dark)
    row, _ = row_and_column(page, 0.1, 0.1)

    around = [sum(pixel) / 3 for pixel in row[len(row) // 3 - 6 : len(row) // 3 + 6]]
    assert max(abs(value - ground) for value in around) >= 100  # one of the line's two colours stands out
    assert max(around) - min(around) >= 100


def test_lines_grow_thicker_in_steps_and_thin_again(easel: Opens):
    page = easel(jpeg(Image.new("RGB", (600, 800), (90, 90, 90))))
    keys(page, "t")

    widths = []
    for _ in range(4):
        row, _ = row_and_column(page, 0.1, 0.1)
        widths.append(sum(min(pixel) > 225 for pixel in row) / 2)
        keys(page, "w")

    assert widths == [1, 2, 4, 1]


# Near and far


def test_larger_keeps_the_middle_where_it_is_and_whole_brings_all_back(easel: Opens):
    page = easel(four_corners(), size="wide")
    whole = picture_box(page)
    frame = page.locator(".sketch:not([hidden]) .frame").first.bounding_box()
    assert frame is not None

    keys(page, "+", "+")
    larger = picture_box(page)
    keys(page, "0")

    assert larger["width"] == pytest.approx(whole["width"] * 2.25, abs=1)
    assert larger["x"] + larger["width"] / 2 == pytest.approx(frame["x"] + frame["width"] / 2, abs=1)
    assert larger["y"] + larger["height"] / 2 == pytest.approx(frame["y"] + frame["height"] / 2, abs=1)
    assert picture_box(page) == pytest.approx(whole)


def pinch(page: Page, start: list[tuple[float, float]], end: list[tuple[float, float]], steps: int = 8) -> None:
    """Two fingers from `start` to `end`, as a touch screen sends them."""
    session = page.context.new_cdp_session(page)
    for at in range(steps + 1):
        fingers = [
            {"x": x0 + (x1 - x0) * at / steps, "y": y0 + (y1 - y0) * at / steps, "id": id}
            for id, ((x0, y0), (x1, y1)) in enumerate(zip(start, end, strict=True))
        ]
        session.send("Input.dispatchTouchEvent", {"type": "touchMove" if at else "touchStart", "touchPoints": fingers})
    session.send("Input.dispatchTouchEvent", {"type": "touchEnd", "touchPoints": []})
    page.wait_for_timeout(50)


@pytest.mark.parametrize("turn", ["", "m", "u"])
def test_two_fingers_hold_the_point_between_them(easel: Opens, turn: str):
    page = easel(four_corners(), has_touch=True)
    keys(page, *turn)
    before = picture_box(page)
    x, y = before["x"] + 0.4 * before["width"], before["y"] + 0.6 * before["height"]
    under = name_of(colour_at(page, 0.4, 0.6))

    pinch(page, [(x - 40, y), (x + 40, y)], [(x - 120, y - 10), (x + 120, y + 10)])

    after = picture_box(page)
    assert after["width"] == pytest.approx(before["width"] * 3, rel=0.03)
    assert (x - after["x"]) / after["width"] == pytest.approx(0.4, abs=0.004)
    assert (y - after["y"]) / after["height"] == pytest.approx(0.6, abs=0.004)
    assert name_of(colour_at(page, 0.4, 0.6)) == under


def test_arrows_on_the_sides_lead_to_the_edge_and_then_go(easel: Opens):
    page = easel(four_corners())
    keys(page, "v", "+", "+", "+")
    right = page.locator(".sketch:not([hidden]) .drawing__side[data-tool='right']")

    for _ in range(8):
        if not right.is_visible():
            break
        right.click()
        page.wait_for_timeout(300)

    frame, box = page.locator(".sketch:not([hidden]) .frame").first.bounding_box(), picture_box(page)
    assert frame is not None
    assert box["x"] + box["width"] == pytest.approx(frame["x"] + frame["width"], abs=1)
    expect(right).to_be_hidden()
    expect(page.locator(".sketch:not([hidden]) .drawing__side[data-tool='left']")).to_be_visible()


def test_one_finger_moves_what_is_enlarged_and_a_tap_does_nothing(easel: Opens):
    page = easel(four_corners(), has_touch=True)
    before = picture_box(page), page.locator(".sketch:not([hidden])").get_attribute("data-step")
    frame = page.locator(".sketch:not([hidden]) .frame").first
    frame.tap()
    frame.dblclick()
    untouched = picture_box(page), page.locator(".sketch:not([hidden])").get_attribute("data-step")
    keys(page, "+", "+")
    enlarged = picture_box(page)

    pinch(page, [(300, 400)], [(240, 430)])

    assert untouched == before
    moved = picture_box(page)
    assert moved["x"] == pytest.approx(enlarged["x"] - 60, abs=12)
    assert moved["y"] == pytest.approx(enlarged["y"] + 30, abs=12)


def test_every_view_and_every_photo_keeps_its_own_place(web: Web, easel: Opens):
    page = easel(four_corners(), four_corners(800, 600))
    fetched_ahead(page)

    keys(page, "+", "l")  # the plain photo, a step nearer and to the right
    plain = picture_box(page)
    keys(page, "g")
    follows = picture_box(page)
    keys(page, "+", "+", "j")
    grey = picture_box(page)
    keys(page, "f")
    other = picture_box(page)
    keys(page, "f")

    assert follows == pytest.approx(plain)
    assert other["width"] < grey["width"]
    assert picture_box(page) == pytest.approx(grey)
    keys(page, "1")
    assert picture_box(page) == pytest.approx(plain)
    keys(page, "e")
    says(page, "Eyes")  # the close-up has a geometry of its own: whole at first


def test_the_view_and_its_place_stay_over_a_push_and_a_reload_and_nothing_is_fetched_twice(web: Web, easel: Opens):
    page = easel(four_corners())
    fetched_ahead(page)
    keys(page, "v", "m", "5", "q", "+", "l")
    before, words = picture_box(page), page.locator(".sketch:not([hidden]) [data-now]").inner_text()
    seen = block(page)

    pushed(web, page)

    assert picture_box(page) == pytest.approx(before)
    changed = ImageChops.difference(block(page).crop(PHOTO), seen.crop(PHOTO))
    assert max(band[1] for band in changed.getextrema()) <= NEAR  # type: ignore[index]
    assert sorted(of_photos(page)) == sorted(set(of_photos(page)))
    page.reload()
    says(page, words)
    until(page, "() => document.querySelector('.sketch:not([hidden]) .frame img')?.src.startsWith('blob:')")
    assert picture_box(page) == pytest.approx(before)
    expect(page.locator(".sketch:not([hidden]) [data-tools]")).to_be_visible()


def test_a_lying_photo_keeps_its_size_over_a_push_while_the_tools_are_open(web: Web, easel: Opens):
    page = easel(four_corners(800, 600))
    pushed(web, page)  # from now on there is a note, which takes its room
    for opened, seen in (("v", "[data-tools]"), ("c", "[data-colours] .swatch")):
        keys(page, opened)
        expect(page.locator(f".sketch:not([hidden]) {seen}").first).to_be_visible()
        before = picture_box(page)

        pushed(web, page)

        assert picture_box(page) == pytest.approx(before, abs=1)


# Quick, and out of range


def test_a_switch_asks_nobody_and_works_out_of_range(web: Web, easel: Opens):
    page = easel(four_corners())
    fetched_ahead(page)
    asked = len(made(page))
    page.context.set_offline(True)

    for key, words in (("g", "Grey"), ("3", "3 values"), ("5", "5 values"), ("7", "7 values"), ("e", "Eyes")):
        keys(page, key)
        says(page, words)
        until(page, "() => document.querySelector('.sketch:not([hidden]) .frame img').src.startsWith('blob:')")
    keys(page, "c")
    expect(page.locator(".sketch:not([hidden]) [data-colours] .swatch").first).to_be_visible()

    assert len(made(page)) == asked


def test_the_next_sketch_is_fetched_ahead_as_well(web: Web, easel: Opens):
    photographed(web, "T2", four_corners(800, 600))
    page = easel(four_corners())
    (following,) = web.desk.photo_refs(["T2"])["T2"]

    for _ in range(200):
        if any(f"{following.id}/colours" in request.url for request in made(page)):
            break
        page.wait_for_timeout(50)

    names = [request.url.split("/photos/")[1] for request in made(page)]
    photographed(web, "T2")
    assert names[-6:] == sorted(names[-6:], key=names.index)
    assert all(name.startswith(following.id) for name in names[6:])  # after everything of the sketch in hand
    assert len(names) == 12


def test_nothing_is_fetched_ahead_while_a_tap_waits_for_its_answer(easel: Opens):
    page = easel(four_corners())
    page.route("**/commands", lambda route: route.abort())
    page.keyboard.press("PageDown")
    page.reload()
    there(page)
    page.requests.clear()  # type: ignore[attr-defined]
    page.wait_for_timeout(1000)
    while_waiting = len(made(page))

    page.unroute("**/commands")
    fetched_ahead(page)
    page.keyboard.press("PageUp")

    assert while_waiting == 0
    until(page, ALL_ANSWERED)


def test_a_view_that_is_on_its_way_says_so_and_comes_when_it_is_there(easel: Opens):
    page = easel(four_corners())
    fetched_ahead(page)
    held: list[Route] = []
    page.route("**/views/grey", lambda route: held.append(route))
    page.reload()
    there(page)

    keys(page, "g")
    says(page, "Grey is on its way")
    keys(page, "m")
    seen = corners(page)
    held[0].continue_()

    says(page, "Mirrored · grey")
    assert seen == ["green", "red", "yellow", "blue"]
    assert max(colour := colour_at(page, 0.2, 0.2)) - min(colour) <= 3


def test_a_view_that_cannot_be_fetched_says_so_and_the_plain_photo_stays(easel: Opens):
    page = easel(four_corners())
    fetched_ahead(page)
    page.route("**/views/**", lambda route: route.abort())
    page.reload()
    there(page)

    keys(page, "g")

    says(page, "Grey could not be fetched: out of range of the booth. This is the plain photo.")
    assert corners(page) == ["red", "green", "blue", "yellow"]
    keys(page, "m")
    says(page, "Mirrored")


def test_new_marks_bring_new_eyes_and_the_rest_stays(web: Web, easel: Opens):
    page = easel(four_corners(), faces=(Face(0.1, 0.1, 0.3, 0.3),))
    fetched_ahead(page)
    keys(page, "e")
    says(page, "Eyes")
    (photo,) = web.desk.photo_refs(["T1"])["T1"]
    before = len(made(page))

    mark(web, photo.id, (Face(0.6, 0.6, 0.3, 0.3),))
    pushed(web, page)
    for _ in range(100):
        if len(made(page)) >= before + 2:
            break
        page.wait_for_timeout(50)
    page.wait_for_timeout(300)

    anew = [request.url.rpartition("/")[2].partition("?")[0] for request in made(page)[before:]]
    assert sorted(anew) == ["colours", "eyes-1"]
    assert name_of(colour_at(page, 0.5, 0.3)) == "yellow"


def test_what_leaves_the_easel_is_forgotten_and_its_memory_given_back(web: Web, easel: Opens):
    page = easel(four_corners())
    page.evaluate(
        """() => { window.freed = 0; const free = URL.revokeObjectURL.bind(URL);
                   URL.revokeObjectURL = (address) => { window.freed += 1; free(address); }; }"""
    )
    fetched_ahead(page)
    keys(page, "m", "g")
    (photo,) = web.desk.photo_refs(["T1"])["T1"]

    photographed(web, "T1")
    pushed(web, page)

    expect(page.locator(".sketch:not([hidden]) .sketch__no-photo")).to_be_visible()
    assert page.evaluate("window.freed") == 5
    page.wait_for_timeout(250)
    assert photo.id not in page.evaluate("JSON.stringify(localStorage)")


def test_a_shared_tablet_keeps_no_photo(easel: Opens):
    page = easel(four_corners())
    fetched_ahead(page)
    keys(page, "g", "+", "q")
    page.wait_for_timeout(300)

    stored = page.evaluate(
        """async () => ({ local: JSON.stringify(localStorage), session: JSON.stringify(sessionStorage),
                          caches: await caches.keys(), databases: await indexedDB.databases() })"""
    )

    assert (stored["caches"], stored["databases"], stored["session"]) == ([], [], "{}")
    assert len(stored["local"]) < 2000
    for request in made(page):
        response = request.response()
        assert response is not None
        assert response.header_value("cache-control") == "private, no-store"


# By hand and key


def test_a_bounce_counts_once_but_another_view_counts_at_once(easel: Opens):
    page = easel(four_corners())
    fetched_ahead(page)
    keys(page, "v")

    for _ in range(3):
        tool(page, "mirrored").click()
    tool(page, "grey").click()

    says(page, "Mirrored · grey")


def test_a_view_never_stands_in_the_way_of_stage_done_nor_takes_the_pedals_enter(web: Web, easel: Opens):
    page = easel(four_corners())
    keys(page, "v")
    step = int(page.locator(".sketch:not([hidden])").get_attribute("data-step") or 0)

    tool(page, "mirrored").click()
    page.keyboard.press("Enter")

    expect(page.locator(".sketch:not([hidden])")).to_have_attribute("data-step", str(step + 1))
    says(page, "Mirrored")
    page.wait_for_timeout(BOUNCE_MS)
    page.keyboard.press("PageUp")
    expect(page.locator(".sketch:not([hidden])")).to_have_attribute("data-step", str(step))
    until(page, ALL_ANSWERED)


def test_by_keyboard_alone_enter_and_space_act_on_the_tool_in_focus(web: Web, easel: Opens):
    page = easel(four_corners())
    step = page.locator(".sketch:not([hidden])").get_attribute("data-step")
    page.locator(".sketch:not([hidden]) [data-tool='tools']").focus()

    page.keyboard.press("Enter")
    tool(page, "upside-down").focus()
    page.keyboard.press(" ")

    says(page, "Upside down")
    expect(tool(page, "upside-down")).to_be_focused()
    expect(page.locator("[data-view-said]")).to_have_text("Upside down")
    assert page.locator(".sketch:not([hidden])").get_attribute("data-step") == step
    pushed(web, page)
    expect(tool(page, "upside-down")).to_be_focused()


def test_the_tools_fold_away_leave_the_photo_as_large_as_before_and_are_remembered(easel: Opens):
    for size in ("upright", "wide"):
        page = easel(four_corners(), size=size)
        folded = picture_box(page)

        keys(page, "v")
        opened = picture_box(page)
        page.reload()
        there(page)

        assert opened == pytest.approx(folded, abs=1)
        expect(page.locator(".sketch:not([hidden]) [data-tools]")).to_be_visible()


@pytest.mark.parametrize("size", SIZES)
def test_every_tool_is_large_seen_and_off_the_middle_of_the_photo(easel: Opens, size: str):
    page = easel(four_corners(), four_corners(), size=size)
    keys(page, "v", "q", "+", "+")

    wrong = []
    for shown in ("look", "lines", "zoom", "colours"):
        if shown == "colours":
            keys(page, "c")
        elif (tab := page.locator(f".sketch:not([hidden]) [data-tool='page-{shown}']")).is_visible():
            tab.click()
        wrong += page.evaluate(
            """() => {
                const sketch = document.querySelector('.sketch:not([hidden])');
                const photo = sketch.querySelector('.sketch__photos').getBoundingClientRect();
                const [x, y] = [photo.x + photo.width / 2, photo.y + photo.height / 2];
                const tools = [...sketch.querySelectorAll('[data-tool], [data-pause]')];
                return tools.filter((one) => one.offsetParent).filter((one) => {
                    const box = one.getBoundingClientRect();
                    const hit = document.elementFromPoint(box.x + box.width / 2, box.y + box.height / 2);
                    const isOverMiddle = box.left < x && x < box.right && box.top < y && y < box.bottom;
                    const isSmall = box.width < 64 || box.height < 64;
                    return isSmall || box.right > innerWidth || !one.contains(hit) || isOverMiddle;
                }).map((one) => [one.textContent.trim(), JSON.stringify(one.getBoundingClientRect())]);
            }"""
        )

    assert wrong == []
    assert page.locator(".sketch:not([hidden]) [data-pause]").is_visible()
    assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")


@pytest.mark.parametrize(("size", "light"), [("upright", "light"), ("wide", "dark"), ("phone", "light")])
def test_axe_finds_nothing_while_the_tools_are_open(easel: Opens, size: str, light: str):
    page = easel(four_corners(), four_corners(), size=size, color_scheme=light, reduced_motion="reduce")
    fetched_ahead(page)
    reports = []

    for pressed in (["v"], ["m", "g", "q", "+", "+"], ["c"]):
        keys(page, *pressed)
        page.wait_for_timeout(100)
        reports.append(Axe().run(page))

    assert [report.generate_report() for report in reports if report.violations_count] == []


def test_the_tools_give_way_while_something_else_is_asked(easel: Opens):
    page = easel(four_corners())
    keys(page, "v", "m")
    tools = page.locator(".sketch:not([hidden]) [data-tools]")

    page.keyboard.press("p")
    expect(tools).to_be_hidden()
    keys(page, "v", "c")
    expect(tools).to_be_hidden()
    page.wait_for_timeout(BOUNCE_MS)
    page.keyboard.press("PageDown")

    expect(tools).to_be_visible()
    expect(tool(page, "mirrored")).to_have_attribute("aria-pressed", "true")
    until(page, ALL_ANSWERED)


def test_nothing_moves_by_itself(easel: Opens):
    page = easel(four_corners(), reduced_motion="reduce")

    keys(page, "v", "m", "+")

    assert page.evaluate("document.getAnimations().length") == 0


def test_what_is_chosen_is_kept_by_words_that_can_be_read_back(easel: Opens):
    page = easel(four_corners())
    keys(page, "v", "u", "t", "+")
    page.wait_for_timeout(300)

    stored = json.loads(page.evaluate("localStorage.getItem('portraitq-views:quay:a1')"))

    (photo,) = stored["photos"].values()
    assert (photo["upsideDown"], photo["grid"], stored["tools"]["isOpen"]) == (True, "thirds", True)

import io
import re
import xml.etree.ElementTree as ET

import pytest
import segno
import zxingcpp
from PIL import Image, ImageDraw, ImageFilter

from portraitq.core.errors import Malformed
from portraitq.ticket.codes import new_code
from portraitq.ticket.qr import QUIET_MODULES, as_png, as_svg, as_terminal, compact, modules

TICKET = "HTTP://192.168.4.1:8750/T/K7QX2M"
CODE = new_code(lambda bits: 12_345_678_901_234_567_890)

# ISO/IEC 18004, table of data capacities, found by trial with segno: alphanumeric L M Q H, byte L M Q H
CAPACITY = {
    1: ((25, 20, 16, 10), (17, 14, 11, 7)),
    2: ((47, 38, 29, 20), (32, 26, 20, 14)),
    3: ((77, 61, 47, 35), (53, 42, 32, 24)),
    4: ((114, 90, 67, 50), (78, 62, 46, 34)),
    5: ((154, 122, 87, 64), (106, 84, 60, 44)),
    6: ((195, 154, 108, 84), (134, 106, 74, 58)),
    7: ((224, 178, 125, 93), (154, 122, 86, 64)),
    8: ((279, 221, 157, 122), (192, 152, 108, 84)),
    9: ((335, 262, 189, 143), (230, 180, 130, 98)),
    10: ((395, 311, 221, 174), (271, 213, 151, 119)),
}

# versions at L M Q H, by segno and by qrcode
ADDRESSES = {
    "HTTP://192.168.4.1:8750/T/K7QX2M": (2, 2, 3, 3),
    "http://192.168.4.1:8750/t/K7QX2M": (2, 3, 3, 4),
    "HTTPS://BOOTH.LOCAL/T/K7QX2M": (2, 2, 2, 3),
    "https://booth.local/t/K7QX2M": (2, 3, 3, 4),
    "HTTP://192.168.100.100:8750/T/K7QX2M9RTF": (2, 3, 3, 4),
    "http://192.168.100.100:8750/t/K7QX2M9RTF": (3, 3, 4, 5),
    "WIFI:T:WPA;S:Quayside;P:chalk and ink 26;;": (3, 3, 4, 5),
}


def version(text, level):
    return (len(modules(text, level)) - 17) // 4


def picture(text=TICKET, level="M"):
    return Image.open(io.BytesIO(as_png(text, level=level))).convert("L")


def read(image):
    return [code.text for code in zxingcpp.read_barcodes(image)]


@pytest.mark.parametrize(("text", "versions"), ADDRESSES.items())
def test_an_address_takes_the_smallest_version_that_segno_finds(text, versions):
    assert tuple(version(text, level) for level in "LMQH") == versions
    assert tuple(segno.make_qr(text, error=level, boost_error=False).version for level in "LMQH") == versions


@pytest.mark.parametrize("number", [1, 2, 5, 7, 10])
def test_a_version_holds_what_the_standard_says_and_not_one_more(number):  # ISO/IEC 18004
    for sign, capacities in zip("Aa", CAPACITY[number], strict=True):
        for level, characters in zip("LMQH", capacities, strict=True):
            assert version(sign * characters, level) == number
            assert version(sign * (characters + 1), level) == number + 1


@pytest.mark.parametrize("degrees", [0, 7, 15, 30, 45, 60, 90, 135, 180, 270])
def test_a_turned_code_is_read(degrees):
    turned = picture().rotate(degrees, expand=True, fillcolor=255, resample=Image.Resampling.BILINEAR)

    assert read(turned) == [TICKET]


@pytest.mark.parametrize("level", "LMQH")
def test_a_blurred_code_is_read(level):  # a third of a module at 8 px a module
    assert read(picture(level=level).filter(ImageFilter.GaussianBlur(2.4))) == [TICKET]


@pytest.mark.parametrize(("level", "erased_modules"), [("M", 5), ("Q", 8)])
def test_a_code_whose_corner_is_torn_off_is_read(level, erased_modules):
    image = picture(level=level)
    edge = image.width - 8 * QUIET_MODULES

    ImageDraw.Draw(image).rectangle((edge - 8 * erased_modules, edge - 8 * erased_modules, edge, edge), fill=255)

    assert read(image) == [TICKET]


@pytest.mark.parametrize(("level", "share"), [("M", 0.05), ("Q", 0.09)])
def test_a_code_with_a_blot_in_its_middle_is_read(level, share):
    image = picture(level=level)
    middle, half = image.width / 2, (image.width - 64) * share**0.5 / 2

    ImageDraw.Draw(image).rectangle((middle - half, middle - half, middle + half, middle + half), fill=255)

    assert read(image) == [TICKET]


def test_a_badly_compressed_and_a_tiny_code_are_read():
    squeezed = io.BytesIO()
    picture().save(squeezed, "JPEG", quality=15)

    assert read(Image.open(squeezed)) == [TICKET]
    assert read(Image.open(io.BytesIO(as_png(TICKET, module_px=1))).convert("L")) == [TICKET]


def test_the_quiet_zone_is_four_modules_so_that_a_dark_ground_does_no_harm():  # ISO/IEC 18004
    image = picture()
    ground = Image.new("L", (image.width + 200, image.height + 200), 0)

    ground.paste(image, (100, 100))

    assert read(ground) == [TICKET]
    assert image.width == 8 * (len(modules(TICKET)) + 2 * 4)
    assert image.crop((0, 0, image.width, 32)).getextrema() == (255, 255)


@pytest.mark.parametrize(
    "address",
    [
        f"http://192.168.4.1:8750/t/{CODE}",
        f"https://booth.local/t/{CODE}",
        "http://192.168.4.1:8750/",
        "http://192.168.4.1:8750",
    ],
)
def test_an_address_that_means_the_same_in_capitals_is_written_in_capitals(address):
    written = compact(address)

    assert written == address.upper()
    assert version(written, "M") <= version(address, "M")


@pytest.mark.parametrize(
    "address",
    [
        "http://192.168.4.1:8750/quay/counter",
        f"http://192.168.4.1:8750/t/{CODE}?from=slip",
        f"http://192.168.4.1:8750/t/{CODE}#now",
        f"http://someone@192.168.4.1:8750/t/{CODE}",
        f"http://[fe80::1]:8750/t/{CODE}",
        "http://192.168.4.1:8750/t/not-a-code",
        f"http://host.example/market/t/{CODE}",
        f"http://my_board:8750/t/{CODE}",
    ],
)
def test_an_address_that_might_change_its_meaning_stays_as_it_is(address):
    assert compact(address) == address


def test_a_ticket_on_a_slip_stays_at_version_three():  # 37 modules with quiet zone, .68 mm each on 25 mm
    assert version(compact(f"http://192.168.4.1:8750/t/{CODE}"), "Q") == 3


def test_the_svg_shows_the_same_modules_as_the_png():
    svg = ET.fromstring(as_svg(TICKET, title="Ticket 17"))
    side = int(svg.get("viewBox").split()[2])
    image = Image.new("1", (side, side), 1)

    for x, y, length in re.findall(r"M(\d+) (\d+)h(\d+)v1h-\d+z", svg[-1].get("d")):
        ImageDraw.Draw(image).line((int(x), int(y), int(x) + int(length) - 1, int(y)), fill=0)

    assert image.tobytes() == Image.open(io.BytesIO(as_png(TICKET, module_px=1))).tobytes()


def test_the_svg_is_black_on_white_and_says_what_it_is():
    text = as_svg(TICKET, title='Ticket "17" & <more>')

    svg = ET.fromstring(text)

    assert svg.get("role") == "img"
    assert svg.get("aria-label") == svg[0].text == 'Ticket "17" & <more>'
    assert [path.get("fill") for path in svg[1:]] == ["#fff", "#000"]
    assert "currentColor" not in text


def test_the_terminal_shows_a_code_that_can_be_read():
    text = as_terminal(TICKET)
    lines = [re.fullmatch(r"\x1b\[38;5;16;48;5;231m(.*)\x1b\[0m", line)[1] for line in text.split("\n")]
    image = Image.new("L", (len(lines[0]), 2 * len(lines)), 255)

    for row, line in enumerate(lines):
        for x, block in enumerate(line):
            image.putpixel((x, 2 * row), 0 if block in "▀█" else 255)
            image.putpixel((x, 2 * row + 1), 0 if block in "▄█" else 255)

    assert read(image.resize((image.width * 8, image.height * 8), Image.Resampling.NEAREST)) == [TICKET]


@pytest.mark.parametrize("text", ["", "x" * 3000])
def test_nothing_and_too_much_are_refused(text):
    with pytest.raises(Malformed, match=str(len(text))) as refusal:
        modules(text)

    assert refusal.value.field == "text"

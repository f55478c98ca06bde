"""Files with more than one picture give their first or primary one; what turns a picture turns it once."""

from __future__ import annotations

import io
import struct
import zlib

import numpy as np
import pillow_heif
import pytest
from PIL import Image

from portraitq.photo.intake import take_in
from tests.photo.test_intake import cells_of, exif_with, opened, six_cells, with_segments, written

WHITE = Image.new("RGB", (96, 64), "white")


def shown(data: bytes) -> str:
    return cells_of(opened(take_in(data).jpeg))


def test_of_a_phone_s_jpeg_with_a_second_picture_the_first_is_taken() -> None:  # CIPA DC-007, multi-picture format
    file = io.BytesIO()
    six_cells().save(file, "MPO", save_all=True, append_images=[WHITE], quality=95)

    with Image.open(file) as theirs:
        assert theirs.format == "MPO"
    assert shown(file.getvalue()) == "123/456"


def test_what_follows_a_jpeg_is_of_no_matter() -> None:
    film = b"\0\0\0\x18ftypmp42" + bytes(5000)  # a "motion photo": the phone hangs a film behind the picture

    assert shown(written(six_cells(), quality=95) + film) == "123/456"


def test_of_several_pictures_in_a_heic_the_primary_one_is_taken() -> None:
    heif = pillow_heif.from_pillow(WHITE)
    heif.add_from_pillow(six_cells())
    file = io.BytesIO()
    heif.save(file, primary_index=1, quality=95)

    assert shown(file.getvalue()) == "123/456"


def test_a_png_whose_still_picture_is_not_in_its_animation_gives_the_still_one() -> None:
    file = io.BytesIO()
    six_cells().save(file, "PNG", save_all=True, default_image=True, append_images=[WHITE, WHITE], duration=50)

    assert b"acTL" in file.getvalue()
    assert shown(file.getvalue()) == "123/456"


def with_orientation_in_exif_as_well(form: str, turned: int, said: int) -> bytes:
    """A picture that its container turns as `turned`, while its EXIF, which then counts for nothing, says `said`.

    The writers move an Orientation out of the EXIF into the container, so it is put there under another tag and the
    tag changed afterwards.
    """
    exif = Image.Exif()
    exif[0x0112] = turned
    exif[0x010D] = "a document's name"
    exif[0x0103] = said  # Compression
    block = exif.tobytes()
    data = bytearray(written(six_cells(), form, exif=block, quality=95))
    for order in "<>":
        was, now = (struct.pack(f"{order}HHL", tag, 3, 1) for tag in (0x0103, 0x0112))
        data = data.replace(was, now)
    return bytes(data)


# ISO/IEC 23008-12: irot and imir are part of the picture, and an Orientation in the EXIF beside them is not applied
@pytest.mark.parametrize("said", [1, 3, 6])
@pytest.mark.parametrize(
    ("turned", "rows"),
    [
        (2, "321/654"),
        (3, "654/321"),
        (4, "456/123"),
        (5, "14/25/36"),
        (6, "41/52/63"),
        (7, "63/52/41"),
        (8, "36/25/14"),
    ],
)
@pytest.mark.parametrize("form", ["HEIF", "AVIF"])
def test_a_picture_that_its_container_turns_is_turned_once(form: str, turned: int, rows: str, said: int) -> None:
    data = with_orientation_in_exif_as_well(form, turned, said)

    assert struct.pack("<HHLH", 0x0112, 3, 1, said) in data or struct.pack(">HHLH", 0x0112, 3, 1, said) in data
    assert b"irot" in data or b"imir" in data
    assert shown(data) == rows


@pytest.mark.parametrize("form", ["HEIF", "AVIF"])
def test_a_picture_that_only_its_exif_would_turn_lies_as_it_lies(form: str) -> None:
    data = with_orientation_in_exif_as_well(form, 1, 6)

    assert b"irot" not in data
    assert shown(data) == "123/456"


def test_ten_bits_a_colour_come_out_as_eight() -> None:
    ramp = np.repeat(np.repeat(np.linspace(0, 65535, 64).astype(np.uint16)[None, :, None], 64, 0), 3, 2)
    file = io.BytesIO()
    pillow_heif.from_bytes("RGB;16", (64, 64), ramp.tobytes()).save(file, quality=100, chroma=444)

    kept = np.asarray(opened(take_in(file.getvalue()).jpeg)).astype(int)

    assert b"heix" in file.getvalue()[:32]  # the brand of ten bits
    assert np.abs(kept[32, :, 1] - np.linspace(0, 255, 64)).max() < 4


def test_sixteen_bits_a_colour_come_out_as_eight() -> None:
    def chunk(name: bytes, content: bytes) -> bytes:
        return struct.pack(">L", len(content)) + name + content + struct.pack(">L", zlib.crc32(name + content))

    row = b"\0" + np.tile(np.array([0x80FF, 0x40FF, 0xC0FF], ">u2"), 64).tobytes()
    png = b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", struct.pack(">2L5B", 64, 64, 16, 2, 0, 0, 0))
    png += chunk(b"IDAT", zlib.compress(row * 64)) + chunk(b"IEND", b"")

    assert opened(take_in(png).jpeg).getpixel((32, 32)) == pytest.approx((0x80, 0x40, 0xC0), abs=3)


def test_a_jpeg_of_printer_s_colours_by_luminance_is_read() -> None:
    """YCCK is CMYK whose first three were turned into luminance and colour: Adobe's APP14 segment, transform 2."""
    cmyk = written(Image.new("CMYK", (64, 64), (0, 155, 155, 0)), quality=95)
    adobe = b"Adobe\0\x64\0\0\0\0\x02"
    ycck = with_segments(b"\xff\xd8" + cmyk[cmyk.index(b"\xff\xdb") :], (0xEE, adobe))

    with Image.open(io.BytesIO(ycck)) as theirs:
        expected = theirs.convert("RGB").getpixel((32, 32))

    assert opened(take_in(ycck).jpeg).getpixel((32, 32)) == pytest.approx(expected, abs=4)


@pytest.mark.parametrize("form", ["JPEG", "PNG", "WEBP", "HEIF"])
@pytest.mark.parametrize("orientation", range(1, 9))
def test_no_picture_is_ever_turned_twice(form: str, orientation: int) -> None:
    """What left here once comes in again as it is: no orientation is left in it."""
    once = take_in(written(six_cells(), form, exif=exif_with(orientation), quality=95))

    twice = take_in(once.jpeg)

    assert cells_of(opened(twice.jpeg)) == cells_of(opened(once.jpeg))

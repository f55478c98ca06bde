import io
import struct
import subprocess
import sys
import zlib
from concurrent.futures import ThreadPoolExecutor
from contextlib import suppress

import numpy as np
import pillow_heif
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from PIL import Image, ImageCms, ImageDraw
from PIL.PngImagePlugin import PngInfo

from portraitq.core.errors import Malformed
from portraitq.photo.intake import LONGEST_PX, SMALL_PX, orientation_of, take_in

CELL_PX = 32
SIX = [(200, 30, 30), (30, 160, 30), (30, 30, 200), (220, 220, 30), (30, 30, 30), (240, 240, 240)]
SECRET = b"QUAYSIDE-SECRET-7731"
FORMATS = ["JPEG", "PNG", "WEBP", "AVIF", "HEIF"]


def written(image, form="JPEG", **options):
    file = io.BytesIO()
    if form == "HEIF":
        heif = pillow_heif.from_pillow(image)
        heif.save(file, **options)
    else:
        image.save(file, form, **options)
    return file.getvalue()


def opened(jpeg):
    image = Image.open(io.BytesIO(jpeg))
    image.load()
    return image


def six_cells():
    """Rows [1 2 3] / [4 5 6] as squares of six colours."""
    image = Image.new("RGB", (3 * CELL_PX, 2 * CELL_PX))
    for index, colour in enumerate(SIX):
        x, y = index % 3 * CELL_PX, index // 3 * CELL_PX
        ImageDraw.Draw(image).rectangle((x, y, x + CELL_PX - 1, y + CELL_PX - 1), fill=colour)
    return image


def cells_of(image):
    """The cells' numbers row by row, each read at the middle of its square."""
    rows = []
    for y in range(CELL_PX // 2, image.height, CELL_PX):
        middles = [image.getpixel((x, y)) for x in range(CELL_PX // 2, image.width, CELL_PX)]
        rows.append("".join(str(1 + nearest(middle)) for middle in middles))
    return "/".join(rows)


def nearest(colour):
    return min(range(6), key=lambda index: sum((a - b) ** 2 for a, b in zip(SIX[index], colour, strict=True)))


def exif_with(orientation=None, secret=b""):
    exif = Image.Exif()
    if orientation is not None:
        exif[0x0112] = orientation
    if secret:
        exif[0x010F] = secret.decode()  # camera
        exif[0x9286] = secret  # user's comment
        exif.get_ifd(0x8825).update({1: "N", 2: (38.0, 42.0, 7.5), 29: secret.decode()})
    return exif.tobytes()


# --- upright


# CIPA DC-008 (EXIF), as Pillow's ImageOps.exif_transpose shows it
@pytest.mark.parametrize(
    ("orientation", "shown"),
    [
        (1, "123/456"),
        (2, "321/654"),
        (3, "654/321"),
        (4, "456/123"),
        (5, "14/25/36"),
        (6, "41/52/63"),
        (7, "63/52/41"),
        (8, "36/25/14"),
        (0, "123/456"),
        (9, "123/456"),
        (None, "123/456"),
    ],
)
@pytest.mark.parametrize("form", ["JPEG", "PNG", "WEBP"])
def test_a_photo_stands_upright_whatever_way_the_phone_was_held(form, orientation, shown):
    photo = take_in(written(six_cells(), form, exif=exif_with(orientation), quality=95))

    assert cells_of(opened(photo.jpeg)) == shown
    assert cells_of(opened(photo.small_jpeg)) == shown
    assert (photo.width_px, photo.height_px) == opened(photo.jpeg).size


@pytest.mark.parametrize(("orientation", "shown"), [(1, "123/456"), (3, "654/321"), (6, "41/52/63"), (8, "36/25/14")])
def test_a_heic_that_its_decoder_has_turned_is_not_turned_again(orientation, shown):
    # pillow-heif writes the orientation as a rotation of the container, as phones do, and turns it when it reads
    photo = take_in(written(six_cells(), "HEIF", exif=exif_with(orientation), quality=95))

    assert cells_of(opened(photo.jpeg)) == shown


@pytest.mark.parametrize("orientation", range(1, 9))
def test_orientation_is_read_as_pillow_reads_it_in_both_byte_orders(orientation):  # Pillow
    little = Image.Exif()
    little[0x010E] = "first"
    little[0x0112] = orientation
    entry = struct.pack(">HHLHH", 0x0112, 3, 1, orientation, 0)
    big = b"Exif\0\0MM\0*" + struct.pack(">LH", 8, 1) + entry + bytes(4)

    assert orientation_of(little.tobytes()) == orientation
    assert orientation_of(big) == orientation


@given(st.binary(max_size=80), st.sampled_from([b"", b"II*\0", b"MM\0*", b"Exif\0\0II*\0\x08\0\0\0"]))
def test_exif_that_cannot_be_read_counts_as_none(junk, beginning):
    assert orientation_of(beginning + junk) in range(1, 9)


def test_a_photo_whose_exif_is_cut_off_is_taken_all_the_same():
    exif = exif_with(6, SECRET)[:40]

    photo = take_in(written(six_cells(), exif=exif))

    assert sorted((photo.width_px, photo.height_px)) == [2 * CELL_PX, 3 * CELL_PX]


# --- nothing private


def with_segments(jpeg, *segments):
    """`jpeg` with more segments right behind its beginning: (marker, content)."""
    added = b"".join(b"\xff" + bytes([mark]) + struct.pack(">H", len(body) + 2) + body for mark, body in segments)
    return jpeg[:2] + added + jpeg[2:]


def secret_jpeg():
    jpeg = written(six_cells(), exif=exif_with(6, SECRET), comment=SECRET)
    return (
        with_segments(
            jpeg,
            (0xE1, b"http://ns.adobe.com/xap/1.0/\0<x exif:GPSLatitude='" + SECRET + b"'/>"),
            (0xED, b"Photoshop 3.0\x008BIM\x04\x04\0\0\0\x14" + SECRET),
            (0xE2, b"MPF\0" + SECRET),
            (0xEF, SECRET),
            (0xFE, SECRET),
        )
        + SECRET
    )


def secret_png():
    info = PngInfo()
    info.add_text("Comment", SECRET.decode())
    info.add_itxt("XML:com.adobe.xmp", SECRET.decode())
    info.add_text("Zipped", SECRET.decode(), zip=True)
    return written(six_cells(), "PNG", pnginfo=info, exif=exif_with(6, SECRET)) + SECRET


def secret_webp():
    return written(six_cells(), "WEBP", exif=exif_with(6, SECRET), xmp=b"<x>" + SECRET + b"</x>")


def secret_avif():
    return written(six_cells(), "AVIF", exif=exif_with(1, SECRET), xmp=b"<x>" + SECRET + b"</x>")


def secret_heic():
    return written(six_cells(), "HEIF", exif=exif_with(1, SECRET), xmp=b"<x>" + SECRET + b"</x>")


@pytest.mark.parametrize("file", [secret_jpeg, secret_png, secret_webp, secret_avif, secret_heic])
def test_nothing_private_is_kept(file):
    data = file()

    photo = take_in(data)

    assert SECRET in data
    for kept in (photo.jpeg, photo.small_jpeg):
        assert SECRET not in kept
        assert {mark for mark, _ in segments(kept)} <= {0xE0, 0xDB, 0xC0, 0xC4, 0xDA}
        assert set(opened(kept).info) <= {"jfif", "jfif_version", "jfif_unit", "jfif_density"}


def segments(jpeg):
    """(marker, length) up to the start of the scan."""
    at = 2
    while True:
        mark, (length,) = jpeg[at + 1], struct.unpack_from(">H", jpeg, at + 2)
        yield mark, length
        if mark == 0xDA:
            return
        at += 2 + length


def test_a_profile_is_not_carried_on():
    srgb = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()

    photo = take_in(written(six_cells(), icc_profile=srgb))

    assert "icc_profile" not in opened(photo.jpeg).info


# --- every usual kind, every mode


@pytest.mark.parametrize("form", FORMATS)
def test_every_usual_kind_of_photo_is_taken(form):
    photo = take_in(written(six_cells(), form, quality=90))

    assert photo.jpeg.startswith(b"\xff\xd8\xff")
    assert cells_of(opened(photo.jpeg)) == "123/456"


@pytest.mark.parametrize(
    ("mode", "form"),
    [
        ("L", "JPEG"),
        ("CMYK", "JPEG"),
        ("1", "PNG"),
        ("L", "PNG"),
        ("P", "PNG"),
        ("I;16", "PNG"),
        ("LA", "PNG"),
        ("RGBA", "PNG"),
        ("RGBA", "WEBP"),
        ("RGBA", "AVIF"),
        ("RGBA", "HEIF"),
    ],
)
def test_every_kind_of_pixel_comes_out_as_rgb(mode, form):
    half = Image.new("L", (64, 64), 0)
    half.paste(255, (32, 0, 64, 64))
    image = (
        Image.fromarray(np.asarray(half).astype(np.uint16) * 257)
        if mode == "I;16"
        else half.convert("RGB").convert(mode)
    )
    options = {"quality": 95} if form != "PNG" else {}

    kept = opened(take_in(written(image, form, **options)).jpeg)

    assert kept.mode == "RGB"
    assert max(kept.getpixel((8, 32))) < 12
    assert min(kept.getpixel((56, 32))) > 243


def test_sixteen_bits_of_grey_keep_their_middle():
    grey = Image.fromarray(np.full((64, 64), 0x8080, np.uint16))

    kept = opened(take_in(written(grey, "PNG")).jpeg)

    assert kept.getpixel((32, 32)) == (128, 128, 128)


@pytest.mark.parametrize("form", ["PNG", "WEBP"])
def test_what_is_see_through_is_laid_on_white(form):
    image = Image.new("RGBA", (64, 64), (200, 0, 0, 0))
    image.paste((200, 0, 0, 128), (32, 0, 64, 64))

    kept = opened(take_in(written(image, form, lossless=True)).jpeg)

    assert kept.getpixel((8, 32)) == pytest.approx((255, 255, 255), abs=3)
    assert kept.getpixel((56, 32)) == pytest.approx((227, 127, 127), abs=4)  # half of each, by hand


def test_a_palette_with_a_clear_colour_is_laid_on_white():
    image = Image.new("P", (64, 64), 0)
    image.putpalette([10, 10, 10, 200, 0, 0])
    image.paste(1, (32, 0, 64, 64))

    kept = opened(take_in(written(image, "PNG", transparency=0)).jpeg)

    assert kept.getpixel((8, 32)) == pytest.approx((255, 255, 255), abs=3)
    assert kept.getpixel((56, 32)) == pytest.approx((200, 0, 0), abs=4)


@pytest.mark.parametrize("form", ["PNG", "WEBP", "AVIF"])
def test_of_an_animation_the_first_picture_is_taken(form):
    second = Image.new("RGB", (96, 64), "white")

    photo = take_in(written(six_cells(), form, save_all=True, append_images=[second], duration=100, quality=95))

    assert cells_of(opened(photo.jpeg)) == "123/456"


# --- colour


def icc_profile(red, green, blue, gamma):
    """A minimal ICC version 2 profile of an RGB screen: D50 colorants (X, Y, Z) and one gamma. ICC.1:2001-04."""

    def s15(*values):
        return b"".join(struct.pack(">i", round(value * 65536)) for value in values)

    curve = b"curv\0\0\0\0" + struct.pack(">LH", 1, round(gamma * 256)) + bytes(2)
    text = b"desc\0\0\0\0" + struct.pack(">L", 5) + b"test\0" + bytes(78)
    tags = {b"desc": text, b"cprt": b"text\0\0\0\0none\0", b"wtpt": b"XYZ \0\0\0\0" + s15(0.9642, 1.0, 0.8249)}
    tags |= {b"rXYZ": b"XYZ \0\0\0\0" + s15(*red), b"gXYZ": b"XYZ \0\0\0\0" + s15(*green)}
    tags |= {b"bXYZ": b"XYZ \0\0\0\0" + s15(*blue), b"rTRC": curve, b"gTRC": curve, b"bTRC": curve}
    at, table, body = 128 + 4 + 12 * len(tags), b"", b""
    for name, content in tags.items():
        content += bytes(-len(content) % 4)
        table += name + struct.pack(">LL", at + len(body), len(content))
        body += content
    rest = struct.pack(">L", len(tags)) + table + body
    head = struct.pack(">L4sL4s4s4s", 128 + len(rest), b"lcms", 0x02100000, b"mntr", b"RGB ", b"XYZ ")
    head += struct.pack(">6H", 2026, 1, 1, 0, 0, 0) + b"acsp" + bytes(28) + s15(0.9642, 1.0, 0.8249) + bytes(48)
    return head + rest


# Bruce Lindbloom, "RGB/XYZ matrices", adapted to D50: Adobe RGB (1998) to XYZ, and XYZ to sRGB
ADOBE_TO_XYZ = np.array(
    [[0.6097559, 0.2052401, 0.1492240], [0.3111242, 0.6256560, 0.0632197], [0.0194811, 0.0608902, 0.7448387]]
)
XYZ_TO_SRGB = np.array(
    [[3.1338561, -1.6168667, -0.4906146], [-0.9787684, 1.9161415, 0.0334540], [0.0719453, -0.2289914, 1.4052427]]
)
ADOBE_GAMMA = 563 / 256


def adobe_in_srgb(colour):
    linear = XYZ_TO_SRGB @ ADOBE_TO_XYZ @ (np.array(colour) / 255) ** ADOBE_GAMMA
    linear = np.clip(linear, 0, 1)
    return np.where(linear <= 0.0031308, 12.92 * linear, 1.055 * linear ** (1 / 2.4) - 0.055) * 255  # IEC 61966-2-1


@pytest.mark.parametrize("colour", [(200, 100, 60), (90, 140, 120), (128, 128, 128), (255, 255, 255), (60, 40, 150)])
@pytest.mark.parametrize("form", ["JPEG", "PNG", "WEBP", "HEIF"])
def test_a_wide_colour_space_is_turned_into_srgb(form, colour):  # IEC 61966-2-1, Adobe RGB (1998)
    profile = icc_profile(*ADOBE_TO_XYZ.T, ADOBE_GAMMA)
    image = Image.new("RGB", (64, 64), colour)
    image.info["icc_profile"] = profile

    kept = opened(take_in(written(image, form, icc_profile=profile, quality=100)).jpeg)

    assert kept.getpixel((32, 32)) == pytest.approx(tuple(adobe_in_srgb(colour)), abs=4)


# Display P3's colorants adapted to D50, as its registered profile has them (color.org, "Display P3")
P3_TO_XYZ = np.array([[0.51512, 0.29198, 0.15710], [0.24120, 0.69225, 0.06657], [-0.00105, 0.04189, 0.78407]])


@pytest.mark.parametrize("colour", [(200, 100, 60), (90, 140, 120), (128, 128, 128), (180, 200, 150)])
@pytest.mark.parametrize("form", ["JPEG", "HEIF", "AVIF"])
def test_a_phone_s_wide_colours_are_turned_into_srgb(form, colour):  # IEC 61966-2-1, Display P3
    profile = icc_profile(*P3_TO_XYZ.T, 2.2)
    image = Image.new("RGB", (64, 64), colour)
    image.info["icc_profile"] = profile
    linear = np.clip(XYZ_TO_SRGB @ P3_TO_XYZ @ (np.array(colour) / 255) ** 2.2, 0, 1)
    expected = np.where(linear <= 0.0031308, 12.92 * linear, 1.055 * linear ** (1 / 2.4) - 0.055) * 255

    kept = opened(take_in(written(image, form, icc_profile=profile, quality=100)).jpeg)

    assert kept.getpixel((32, 32)) == pytest.approx(tuple(expected), abs=4)


def grey_profile(gamma):
    """A minimal ICC version 2 profile of a grey screen with one gamma. ICC.1:2001-04."""
    white = b"XYZ \0\0\0\0" + b"".join(struct.pack(">i", round(value * 65536)) for value in (0.9642, 1.0, 0.8249))
    curve = b"curv\0\0\0\0" + struct.pack(">LH", 1, round(gamma * 256)) + bytes(2)
    table = struct.pack(">L4sLL4sLL", 2, b"wtpt", 156, 20, b"kTRC", 176, 16)
    head = struct.pack(">L4sL4s4s4s", 192, b"lcms", 0x02100000, b"mntr", b"GRAY", b"XYZ ")
    head += struct.pack(">6H", 2026, 1, 1, 0, 0, 0) + b"acsp" + bytes(28) + white[8:] + bytes(48)
    return head + table + white + curve


def test_a_grey_photo_is_read_by_its_own_profile():
    image = Image.new("L", (64, 64), 128)
    light = (128 / 255) ** 1.4  # more of it than sRGB means by 128
    expected = 255 * (1.055 * light ** (1 / 2.4) - 0.055)

    kept = opened(take_in(written(image, "PNG", icc_profile=grey_profile(1.4))).jpeg)

    assert kept.getpixel((32, 32)) == pytest.approx((expected,) * 3, abs=3)


def test_a_profile_agrees_with_little_cms_by_itself():  # ImageCms
    profile = icc_profile(*ADOBE_TO_XYZ.T, ADOBE_GAMMA)
    image = Image.new("RGB", (64, 64), (200, 100, 60))
    alone = ImageCms.profileToProfile(image, io.BytesIO(profile), ImageCms.createProfile("sRGB"))

    kept = opened(take_in(written(image, "PNG", icc_profile=profile)).jpeg)

    assert kept.getpixel((32, 32)) == pytest.approx(alone.getpixel((32, 32)), abs=2)


@pytest.mark.parametrize("mode", ["RGB", "L", "CMYK"])
@pytest.mark.parametrize("profile", [b"no profile at all", icc_profile(*ADOBE_TO_XYZ.T, 2.2)[:200]])
def test_a_broken_profile_counts_as_none(profile, mode):
    image = Image.new("L", (64, 64), 100).convert("RGB").convert(mode)

    kept = opened(take_in(written(image, icc_profile=profile, quality=95)).jpeg)

    assert kept.getpixel((32, 32)) == pytest.approx((100, 100, 100), abs=3)


def test_a_profile_for_other_channels_counts_as_none():
    profile = icc_profile(*ADOBE_TO_XYZ.T, ADOBE_GAMMA)
    image = Image.new("CMYK", (64, 64), (0, 155, 155, 0))

    kept = opened(take_in(written(image, icc_profile=profile, quality=95)).jpeg)

    assert kept.getpixel((32, 32)) == pytest.approx((255, 100, 100), abs=4)


# --- size


@pytest.mark.parametrize(("size", "kept"), [((4032, 3024), (2400, 1800)), ((1500, 3000), (1200, 2400))])
@pytest.mark.parametrize("form", ["JPEG", "WEBP"])
def test_a_large_photo_is_bounded_in_its_proportion(form, size, kept):
    photo = take_in(written(Image.new("RGB", size, "grey"), form))

    assert (photo.width_px, photo.height_px) == kept
    assert max(photo.small_width_px, photo.small_height_px) == SMALL_PX
    assert opened(photo.small_jpeg).size == (photo.small_width_px, photo.small_height_px)


def test_a_small_photo_is_not_enlarged():
    photo = take_in(written(six_cells()))

    assert (photo.width_px, photo.height_px) == (96, 64)
    assert (photo.small_width_px, photo.small_height_px) == (96, 64)


def test_a_long_strip_keeps_at_least_a_pixel_of_breadth():
    photo = take_in(written(Image.new("L", (32, 40_000), 200)))

    assert (photo.width_px, photo.height_px) == (2, LONGEST_PX)
    assert photo.small_width_px == 1


# the peak of this program's own memory: getrusage would count what the test held when it started the program
MEASURE = """
import sys
from pathlib import Path
from portraitq.photo.intake import take_in

def peak_kb():
    lines = Path("/proc/self/status").read_text().splitlines()
    return next(int(line.split()[1]) for line in lines if line.startswith("VmHWM"))

take_in(Path(sys.argv[2]).read_bytes())
before_kb = peak_kb()
photo = take_in(Path(sys.argv[1]).read_bytes())
print(photo.width_px, photo.height_px, peak_kb() - before_kb)
"""


@pytest.mark.skipif(sys.platform != "linux", reason="reads /proc")
def test_eighty_megapixels_take_the_memory_of_their_quarter(tmp_path):
    large, small = tmp_path / "large.jpg", tmp_path / "small.jpg"
    large.write_bytes(written(Image.new("RGB", (10_400, 7_800), (120, 90, 60))))
    small.write_bytes(written(six_cells()))

    run = subprocess.run(
        [sys.executable, "-c", MEASURE, str(large), str(small)], capture_output=True, text=True, check=True
    )

    width_px, height_px, grown_kb = map(int, run.stdout.split())
    assert (width_px, height_px) == (2400, 1800)
    # whole, Pillow would hold 10400 × 7800 × 4 bytes = 317 MB; at a quarter of each side 20 MB and what is made of it
    assert grown_kb < 120_000


# --- refusals


def png_that_claims(width, height):
    def chunk(name, content):
        return struct.pack(">L", len(content)) + name + content + struct.pack(">L", zlib.crc32(name + content))

    header = struct.pack(">2L5B", width, height, 8, 2, 0, 0, 0)
    return b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", header) + chunk(b"IDAT", zlib.compress(bytes(9))) + chunk(b"IEND", b"")


def jpeg_that_claims(width, height):
    jpeg = bytearray(written(six_cells()))
    at = jpeg.index(b"\xff\xc0")
    jpeg[at + 5 : at + 9] = struct.pack(">HH", height, width)
    return bytes(jpeg)


REFUSED = {
    "empty": (lambda: b"", "empty"),
    "text": (lambda: b"Dear customer, see the photo attached.", "a text"),
    "web page": (lambda: b"<!doctype html><title>Sign in</title>", "a text"),
    "gif": (lambda: written(six_cells(), "GIF"), "GIF"),
    "tiff": (lambda: written(six_cells(), "TIFF"), "TIFF"),
    "bmp": (lambda: written(six_cells(), "BMP"), "BMP"),
    "pdf": (lambda: written(six_cells(), "PDF"), "PDF"),
    "zip called .jpg": (lambda: b"PK\x03\x04" + bytes(500), "ZIP"),
    "video": (lambda: b"\0\0\0\x18ftypmp42\0\0\0\0isommp42" + bytes(500), "video"),
    "noise": (lambda: bytes(range(128, 256)) * 8, "unknown kind"),
    "jpeg's first bytes": (lambda: b"\xff\xd8\xff\xe0", "damaged"),
    "png's first bytes": (lambda: b"\x89PNG\r\n\x1a\n", "damaged"),
    "webp's first bytes": (lambda: b"RIFF\x10\0\0\0WEBPVP8 ", "damaged"),
    "heic's first bytes": (lambda: b"\0\0\0\x18ftypheic\0\0\0\0mif1heic", "damaged"),
    "avif's first bytes": (lambda: b"\0\0\0\x18ftypavif\0\0\0\0mif1avif", "damaged"),
    "png bomb": (lambda: png_that_claims(60_000, 60_000), "60000 × 60000"),
    "jpeg bomb": (lambda: jpeg_that_claims(65_000, 65_000), "65000 × 65000"),
    "just too many pixels": (lambda: png_that_claims(10_001, 10_000), "100 megapixels"),
    "one pixel": (lambda: written(Image.new("RGB", (1, 1))), "1 × 1"),
    "a line": (lambda: written(Image.new("RGB", (400, 3))), "400 × 3"),
}


@pytest.mark.parametrize("case", REFUSED)
def test_what_cannot_be_a_photo_is_refused_in_one_sentence(case):
    file, said = REFUSED[case]

    with pytest.raises(Malformed, match=said) as refusal:
        take_in(file())

    assert refusal.value.field == "photo"
    assert "\n" not in str(refusal.value)


def hollow(form, **options):
    return lambda: written(Image.new("RGB", (8000, 8000), (90, 80, 70)), form, **options)


HOLLOW = {
    "webp": hollow("WEBP", lossless=True, method=0),
    "png": hollow("PNG"),
    "beginning of a progressive jpeg": lambda: hollow("JPEG", progressive=True, quality=10)()[:200_000],
}


@pytest.mark.parametrize("kind", HOLLOW)
def test_a_large_picture_out_of_next_to_nothing_is_refused_before_it_takes_memory(kind):
    with pytest.raises(Malformed, match="8000 × 8000 pixels, but its file holds next to nothing"):
        take_in(HOLLOW[kind]())


def with_scans(count):
    """A progressive JPEG whose last scan comes again and again."""
    jpeg = written(six_cells(), progressive=True)
    scan = jpeg[jpeg.rindex(b"\xff\xda") : -2]
    return jpeg[:-2] + scan * (count - jpeg.count(b"\xff\xda")) + b"\xff\xd9"


def test_a_jpeg_of_very_many_scans_is_refused():
    with pytest.raises(Malformed, match="in 3000 scans"):
        take_in(with_scans(3000))


def test_scans_are_not_counted_in_thumbnails_or_in_what_follows():
    jpeg = with_segments(written(six_cells(), progressive=True, quality=95), (0xE1, b"\xff\xda" * 200))

    assert cells_of(opened(take_in(jpeg + b"\xff\xda" * 200).jpeg)) == "123/456"


@pytest.mark.parametrize("form", FORMATS)
@pytest.mark.parametrize("share", [0.2, 0.5, 0.9])
def test_a_photo_that_is_cut_off_is_refused(form, share):
    noise = Image.fromarray(np.random.default_rng(7).integers(0, 255, (200, 200, 3), np.uint8))
    data = written(noise, form)

    with pytest.raises(Malformed, match="cut off or damaged") as refusal:
        take_in(data[: int(len(data) * share)])

    assert refusal.value.field == "photo"


class Endless(io.RawIOBase):
    """A file of `length` bytes that takes no room."""

    def __init__(self, length):
        self.length, self.at = length, 0

    def readable(self):
        return True

    def seekable(self):
        return True

    def seek(self, offset, whence=io.SEEK_SET):
        self.at = offset + (self.length if whence == io.SEEK_END else 0)
        return self.at


def test_a_file_that_is_too_large_is_refused_unread():
    with pytest.raises(Malformed, match="200 MB"):
        take_in(Endless(200_000_001))


def test_a_file_is_taken_from_its_beginning_whether_or_not_it_was_read_before():
    file = io.BytesIO(written(six_cells()))
    file.read(100)

    assert take_in(file) == take_in(file.getvalue())


def test_a_stream_that_cannot_go_back_is_taken_too():
    file = io.BytesIO(written(six_cells()))
    file.seekable = lambda: False

    assert take_in(file).width_px == 96


# Pillow says on stderr that an AVIF's EXIF or a PNG's animation is odd, and takes the picture: so do we
@pytest.mark.filterwarnings("ignore::UserWarning")
@pytest.mark.parametrize("form", FORMATS)
def test_a_bent_photo_is_taken_or_refused_and_nothing_else(form):
    data = bytearray(written(six_cells(), form, **({"exif": exif_with(6, SECRET)} if form != "PNG" else {})))

    @settings(max_examples=60, deadline=None, suppress_health_check=list(HealthCheck))
    @given(st.lists(st.tuples(st.integers(16, len(data) - 1), st.integers(0, 255)), min_size=1, max_size=12))
    def bend(changes):
        bent = bytearray(data)
        for place, byte in changes:
            bent[place] = byte
        with suppress(Malformed):
            take_in(bytes(bent))

    bend()


def test_many_threads_take_photos_in_alike():
    files = [written(six_cells(), form) for form in FORMATS] * 4
    alone = [take_in(file) for file in files]

    with ThreadPoolExecutor(8) as pool:
        together = list(pool.map(take_in, files))

    assert together == alone


def test_the_limits_of_pillow_stay_as_they_were():
    limit, openers = Image.MAX_IMAGE_PIXELS, set(Image.OPEN)

    take_in(written(six_cells(), "HEIF"))

    assert limit == Image.MAX_IMAGE_PIXELS
    assert set(Image.OPEN) == openers

import io

import pillow_heif
import pytest
from PIL import Image

from portraitq.photo.kind import HEAD_BYTES, TAKEN, kind_of


def brands(major, *compatible):
    box = b"ftyp" + major + bytes(4) + b"".join(compatible)
    return (len(box) + 4).to_bytes(4, "big") + box + bytes(20)


@pytest.mark.parametrize("form", ["JPEG", "PNG", "WebP", "AVIF", "GIF", "TIFF", "BMP"])
def test_what_pillow_writes_is_recognised(form):  # Pillow's encoders
    file = io.BytesIO()
    Image.new("RGB", (64, 64)).save(file, form)

    kind = kind_of(file.getvalue()[:HEAD_BYTES])

    assert kind == form if form in TAKEN else form in kind


def test_what_libheif_writes_is_recognised():  # pillow-heif
    file = io.BytesIO()
    pillow_heif.from_pillow(Image.new("RGB", (64, 64))).save(file)

    assert kind_of(file.getvalue()[:HEAD_BYTES]) == "HEIC"


@pytest.mark.parametrize("major", [b"heic", b"heix", b"heim", b"heis", b"hevc", b"hevx"])
def test_every_brand_of_heic_is_taken(major):  # ISO/IEC 23008-12
    assert kind_of(brands(major, b"mif1")) == "HEIC"


@pytest.mark.parametrize(
    ("head", "kind"),
    [
        (brands(b"mif1", b"heic", b"mif1"), "HEIC"),
        (brands(b"msf1", b"hevc"), "HEIC"),
        (brands(b"mif1", b"avif", b"miaf"), "AVIF"),
        (brands(b"mp42", b"isom", b"mp42"), "a video"),
        (brands(b"qt  "), "a video"),
    ],
)
def test_the_compatible_brands_tell_what_a_general_brand_does_not(head, kind):  # ISO/IEC 23008-12
    assert kind_of(head) == kind


@pytest.mark.parametrize(
    ("head", "kind"),
    [
        (b"", "an empty file"),
        (b"GIF89a\x01\x00", "a GIF picture"),
        (b"II*\x00", "a TIFF or raw camera picture"),
        (b"%PDF-1.7", "a PDF document"),
        (b"PK\x03\x04", "a ZIP archive or office document"),
        (b"\x1aE\xdf\xa3", "a video"),
        (b"RIFF\x00\x00\x00\x00AVI LIST", "a video"),
        ("Liebe Grüße".encode(), "a text"),
        (("x" * 511 + "ü").encode()[:HEAD_BYTES], "a text"),
        (b"\x00\x01\x02\x03", "a file of an unknown kind"),
        (b"\xff\xfe\xfd", "a file of an unknown kind"),
    ],
)
def test_what_is_no_photo_is_named_in_plain_words(head, kind):
    assert kind_of(head) == kind

"""What is kept of a photo, as others read it: OpenCV and Debian's heif-convert for the picture, exiftool for the rest.

OpenCV brings its own libjpeg, libpng and libwebp and turns pictures by its own code; heif-convert is Debian's
own build of libheif. The photos are rendered portraits with a camera's noise, uneven light and a phone's sharpening.
"""

from __future__ import annotations

import io
import json
import struct
import subprocess
from functools import cache
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pillow_heif
import pytest
from PIL import Image, ImageCms, ImageFilter
from PIL.PngImagePlugin import PngInfo

from portraitq.demo.faces import face
from portraitq.photo.intake import take_in
from tests.programs import path_of

SIZE = (300, 400)
SECRET = "quayside-secret-7731"
SAME_DB = 30.0  # of two pictures of one photo that were compressed twice; of different ones it is under 20
FORMS = ["JPEG", "PNG", "WEBP", "HEIF"]  # of AVIF, OpenCV does not apply what turns it


@cache
def portrait() -> Image.Image:
    """A rendered sitter as a phone takes one: light that falls off, noise, sharpening."""
    clean = np.asarray(face(11).convert("RGB").resize(SIZE, Image.Resampling.LANCZOS)).astype(float)
    rows, columns = np.mgrid[0 : SIZE[1], 0 : SIZE[0]]
    light = 1.1 - 0.35 * np.hypot(columns / SIZE[0] - 0.3, rows / SIZE[1] - 0.3)
    noise = np.random.default_rng(8).normal(0, 3, (SIZE[1], SIZE[0], 3))
    taken = np.clip(clean * light[..., None] + noise, 0, 255).astype(np.uint8)
    return Image.fromarray(taken).filter(ImageFilter.UnsharpMask(1.2, 60, 2))


def written(form: str, orientation: int, **options: Any) -> bytes:
    exif = Image.Exif()
    exif[0x0112] = orientation
    file = io.BytesIO()
    if form == "HEIF":
        pillow_heif.from_pillow(portrait()).save(file, exif=exif.tobytes(), quality=90, **options)
    else:
        portrait().save(file, form, exif=exif.tobytes(), quality=92, **options)
    return file.getvalue()


def as_others_show(data: bytes, form: str, folder: Path) -> np.ndarray:
    """The picture in `data`, upright, BGR, by a decoder that is not ours."""
    if form != "HEIF":
        return cv2.imdecode(np.frombuffer(data, np.uint8), cv2.IMREAD_COLOR)
    (folder / "photo.heic").write_bytes(data)
    command = [path_of("heif-convert"), str(folder / "photo.heic"), str(folder / "photo.png")]
    subprocess.run(command, check=True, capture_output=True)
    return cv2.imread(str(folder / "photo.png"), cv2.IMREAD_COLOR | cv2.IMREAD_IGNORE_ORIENTATION)


def alike_db(one: np.ndarray, other: np.ndarray) -> float:
    """Their peak signal-to-noise ratio; 0 where they have different sides."""
    return cv2.PSNR(one, other) if one.shape == other.shape else 0.0


def turned(image: np.ndarray) -> list[np.ndarray]:
    """`image` in all eight ways to lie, itself first."""
    ways = [image, cv2.rotate(image, cv2.ROTATE_180)]
    ways += [cv2.rotate(image, cv2.ROTATE_90_CLOCKWISE), cv2.rotate(image, cv2.ROTATE_90_COUNTERCLOCKWISE)]
    return ways + [cv2.flip(way, 1) for way in ways]


@pytest.mark.parametrize("orientation", range(1, 9))
@pytest.mark.parametrize("form", FORMS)
def test_a_photo_looks_as_an_independent_decoder_shows_it(form: str, orientation: int, tmp_path: Path) -> None:
    data = written(form, orientation)

    photo = take_in(data)

    ours = cv2.imdecode(np.frombuffer(photo.jpeg, np.uint8), cv2.IMREAD_COLOR | cv2.IMREAD_IGNORE_ORIENTATION)
    theirs = as_others_show(data, form, tmp_path)
    alike = [alike_db(ours, way) for way in turned(theirs)]
    assert alike[0] > SAME_DB
    assert max(alike[1:]) < 20
    assert ours.shape[:2] == (SIZE if orientation > 4 else SIZE[::-1])


@pytest.mark.parametrize("orientation", range(1, 9))
def test_the_small_one_lies_as_the_large_one_does(orientation: int) -> None:
    photo = take_in(written("JPEG", orientation))

    large, small = (cv2.imdecode(np.frombuffer(jpeg, np.uint8), 1) for jpeg in (photo.jpeg, photo.small_jpeg))
    reduced = cv2.resize(large, (small.shape[1], small.shape[0]), interpolation=cv2.INTER_AREA)
    assert [alike_db(small, way) > 28 for way in turned(reduced)] == [True] + 7 * [False]


def test_the_kept_photo_is_as_sharp_as_opencv_s_area_reduction(tmp_path: Path) -> None:
    large = portrait().resize((3000, 4000), Image.Resampling.BICUBIC)
    file = io.BytesIO()
    large.save(file, "JPEG", quality=95)

    ours = cv2.imdecode(np.frombuffer(take_in(file.getvalue()).jpeg, np.uint8), cv2.IMREAD_COLOR)

    theirs = cv2.imdecode(np.frombuffer(file.getvalue(), np.uint8), cv2.IMREAD_COLOR)
    theirs = cv2.resize(theirs, (1800, 2400), interpolation=cv2.INTER_AREA)
    assert alike_db(ours, theirs) > 35


# Nothing is left, says exiftool

ALLOWED = {
    "SourceFile",
    "ExifTool:ExifToolVersion",
    "File:FileType",
    "File:FileTypeExtension",
    "File:MIMEType",
    "File:ImageWidth",
    "File:ImageHeight",
    "File:EncodingProcess",
    "File:BitsPerSample",
    "File:ColorComponents",
    "File:YCbCrSubSampling",
    "JFIF:JFIFVersion",
    "JFIF:ResolutionUnit",
    "JFIF:XResolution",
    "JFIF:YResolution",
    "Composite:ImageSize",
    "Composite:Megapixels",
}


def tags_of(file: Path) -> dict[str, Any]:
    """Every tag that exiftool finds in `file`, known or not, also in what is embedded or hangs behind."""
    asked = [path_of("exiftool"), "-json", "-G0", "-a", "-u", "-ee", "-b", "--System:all", str(file)]
    read = subprocess.run(asked, capture_output=True, check=False)
    found: dict[str, Any] = json.loads(read.stdout)[0]
    return found


def profile_with_a_name() -> bytes:
    profile = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
    return profile + SECRET.encode()


def maker_note() -> bytes:
    """A phone's own directory in the EXIF, as Apple lays it out: one entry, the "content identifier"."""
    entry = struct.pack(">HHLL", 0x0011, 2, len(SECRET) + 1, 32)
    return b"Apple iOS\0\0\1MM" + struct.pack(">H", 1) + entry + bytes(4) + SECRET.encode() + b"\0"


def stuffed_by_pillow(form: str) -> bytes:
    """A photo with everything that Pillow can put beside a picture."""
    thumbnail = io.BytesIO()
    portrait().resize((120, 160)).save(thumbnail, "JPEG", comment=SECRET)
    exif = Image.Exif()
    exif[0x0112], exif[0x010F], exif[0x013B] = 6, SECRET, SECRET
    exif.get_ifd(0x8769).update({0x9286: SECRET.encode(), 0x927C: maker_note()})
    exif.get_ifd(0x8825).update({1: "N", 2: (38.0, 42.0, 7.5), 3: "W", 4: (9.0, 8.0, 1.0), 29: SECRET})
    options: dict[str, Any] = {"exif": exif.tobytes(), "icc_profile": profile_with_a_name()}
    xmp = f'<x:xmpmeta xmlns:x="adobe:ns:meta/"><!-- {SECRET} --></x:xmpmeta>'.encode()
    file = io.BytesIO()
    if form == "HEIF":
        image = portrait().copy()
        image.info["icc_profile"] = options["icc_profile"]
        pillow_heif.from_pillow(image).save(file, exif=options["exif"], xmp=xmp, thumbnails=[128])
    elif form == "MPO":
        second = portrait().transpose(Image.Transpose.ROTATE_180)
        portrait().save(file, "MPO", save_all=True, append_images=[second], comment=SECRET, **options)
    elif form == "PNG":
        info = PngInfo()
        info.add_text("Author", SECRET)
        info.add_text("Comment", SECRET, zip=True)
        info.add_itxt("XML:com.adobe.xmp", xmp.decode())
        info.add_itxt("Description", SECRET, "en", "Beschreibung", zip=True)
        portrait().save(file, "PNG", pnginfo=info, **options)
    elif form == "JPEG":
        portrait().save(file, "JPEG", comment=SECRET, xmp=xmp, **options)
    else:
        portrait().save(file, form, xmp=xmp, **options)
    return file.getvalue()


BESIDES = {
    "JPEG": ["IPTC", "MakerNotes"],
    "MPO": ["IPTC", "MPF"],
    "PNG": ["PNG"],
}  # what else exiftool has to find first
MORE = (
    "-EXIF:GPSLatitude=38.7",
    "-EXIF:GPSLongitude=9.1",
    "-EXIF:SerialNumber=quayside-secret-7731",
    "-EXIF:OwnerName=quayside-secret-7731",
    "-XMP-dc:Creator=quayside-secret-7731",
    "-XMP-exif:GPSLatitude=38.7",
    "-XMP-mwg-rs:RegionName=quayside-secret-7731",
    "-XMP-mwg-rs:RegionType=Face",
    "-IPTC:Keywords=quayside-secret-7731",
    "-IPTC:By-line=quayside-secret-7731",
    "-Comment=quayside-secret-7731",
)


@pytest.mark.parametrize(
    ("form", "ending"),
    [("JPEG", "jpg"), ("MPO", "jpg"), ("PNG", "png"), ("WEBP", "webp"), ("HEIF", "heic"), ("AVIF", "avif")],
)
def test_exiftool_finds_nothing_but_the_structure_of_the_file(form: str, ending: str, tmp_path: Path) -> None:
    sent = tmp_path / f"sent.{ending}"
    sent.write_bytes(stuffed_by_pillow(form))
    thumbnail = tmp_path / "thumbnail.jpg"
    portrait().resize((120, 160)).save(thumbnail, "JPEG")
    added = [*MORE, *([f"-ThumbnailImage<={thumbnail}"] if ending == "jpg" else [])]
    subprocess.run([path_of("exiftool"), "-q", "-m", "-overwrite_original", *added, str(sent)], check=False)
    before = tags_of(sent)

    photo = take_in(sent.read_bytes())

    (tmp_path / "kept.jpg").write_bytes(photo.jpeg)
    (tmp_path / "small.jpg").write_bytes(photo.small_jpeg)
    assert {"EXIF:GPSLatitude", "EXIF:Artist"} <= set(before)  # it knows what to look for
    assert {tag.split(":")[0] for tag in before} >= {"EXIF", "XMP", "ICC_Profile", *BESIDES.get(form, ())}
    assert SECRET in json.dumps(before)
    for kept in ("kept.jpg", "small.jpg"):
        assert set(tags_of(tmp_path / kept)) <= ALLOWED
        assert SECRET.encode() not in (tmp_path / kept).read_bytes()

"""A photo comes in: what is taken, and what is kept of it.

Whatever a phone sends leaves here as a plain sRGB JPEG, upright, bounded in size, made anew from bare pixels, so that
no place, time, camera or comment travels on; with a small one beside it. What is no photo is refused in one sentence.
Which kind of file it is says `kind.py`; whether the photo is good enough to draw from is not asked here.

What decoding takes at its peak, in bytes a pixel of the file, as measured on pictures of 100 megapixels: a JPEG 1, for
libjpeg decodes it smaller; a progressive JPEG 6, for its coefficients lie there until the last scan; PNG 6, HEIC 7,
AVIF 9 and WebP 16, which their libraries decode whole. So 100 megapixels take 1.6 GB at the worst, and the largest HEIC
that phones make, of 50 megapixels, 350 MB. What would take more than `LARGE_BYTES` and is hollow, a bomb, is refused
before it is decoded. `darkroom.py` sees to it that only one photo at a time takes that.

A kept JPEG is baseline with 4:2:0 colour. Measured on a rendered portrait with camera noise at 2400 px: progressive
makes it 5 % smaller, but six times as slow to write and two and a half times to show; optimised Huffman tables make it
4 % smaller and twice as slow to write; 4:4:4 makes it 9 % larger and slower both ways, for colour that has 1200 px of
its own already. Quality 85 would save a quarter of 0.8 MB, from what is looked at closest.

Nothing global of Pillow is touched (no opener registered, no limit moved), so that many threads may take photos in.
"""

from __future__ import annotations

import io
import struct
from dataclasses import dataclass
from typing import BinaryIO

from PIL import Image, ImageCms
from PIL.AvifImagePlugin import AvifImageFile
from PIL.ImageFile import ImageFile
from PIL.JpegImagePlugin import JpegImageFile
from PIL.PngImagePlugin import PngImageFile
from PIL.WebPImagePlugin import WebPImageFile
from pillow_heif import HeifImageFile

from portraitq.core.errors import Malformed
from portraitq.photo.kind import HEAD_BYTES, TAKEN, kind_of

LARGEST_BYTES = 200_000_000
LARGEST_PX = 100_000_000  # the best phones of today take 50 to 100 megapixels
LARGE_BYTES = 250_000_000  # of memory while decoding; only true photos may take more
HOLLOW = 1 / 100  # bytes of file a pixel: even a soft photo, saved small, has several times as much
PEAK_BYTES = {"JPEG": 1, "progressive JPEG": 6, "PNG": 6, "HEIC": 7, "AVIF": 9, "WebP": 16}  # a pixel, see above
MOST_SCANS = 64  # of a JPEG; a progressive one has about ten, and each costs as much as a small picture
SHORTEST_SIDE_PX = 32  # less is an icon or a slip of the finger: nobody draws from it
LONGEST_PX = 2400  # an easel's tablet at double density, with room to zoom in on the eyes
SMALL_PX = 480  # a thumb in the queue and on the hand-over page
QUALITY = 90
SMALL_QUALITY = 80

ORIENTATION = 0x0112  # the tag of EXIF (CIPA DC-008, out of TIFF 6.0 p. 36)
UPRIGHT = {
    2: Image.Transpose.FLIP_LEFT_RIGHT,
    3: Image.Transpose.ROTATE_180,
    4: Image.Transpose.FLIP_TOP_BOTTOM,
    5: Image.Transpose.TRANSPOSE,
    6: Image.Transpose.ROTATE_270,
    7: Image.Transpose.TRANSVERSE,
    8: Image.Transpose.ROTATE_90,
}

# What Pillow and libheif throw at a file that is cut off, bent or lying about itself.
_BROKEN = (
    OSError,
    ValueError,
    SyntaxError,
    EOFError,
    LookupError,
    TypeError,
    ArithmeticError,
    AttributeError,
    RuntimeError,
    struct.error,
)


@dataclass(frozen=True)
class Photo:
    """A photo as it is kept: two JPEGs of bare pixels, upright, sRGB; sizes in pixels as shown."""

    jpeg: bytes
    width_px: int
    height_px: int
    small_jpeg: bytes
    small_width_px: int
    small_height_px: int
    came_as: str


class _Jpeg(JpegImageFile):
    """The first picture of a JPEG file. Its resolution is never asked for, so odd EXIF cannot make Pillow warn."""

    def _read_dpi_from_exif(self) -> None:
        return


OPENERS: dict[str, type[ImageFile]] = {
    "JPEG": _Jpeg,
    "PNG": PngImageFile,
    "WebP": WebPImageFile,
    "HEIC": HeifImageFile,
    "AVIF": AvifImageFile,
}


def take_in(data: bytes | BinaryIO, *, longest_px: int = LONGEST_PX, small_px: int = SMALL_PX) -> Photo:
    """The photo that `data` holds, made ready to keep.

    data         a whole file: JPEG, PNG, WebP, HEIC or AVIF; of an animation the first picture is taken
    longest_px   the longest side of what is kept; a smaller photo is not enlarged
    small_px     the longest side of the small one
    Raises       Malformed, field "photo", with one sentence for whoever took the photo
    """
    file = _checked(data)
    kind = _kind(file)
    try:
        image = _open(file, kind)
        _no_bomb(image, file, kind)
        orientation = _orientation(image, kind)
        pixels = _pixels(image, longest_px)
    except MemoryError as error:
        raise Malformed(
            f"Reading this {kind} photo takes more memory than one photo may. Choose a smaller copy.", field="photo"
        ) from error
    except _BROKEN as error:
        if isinstance(error, Malformed):
            raise
        raise Malformed(
            f"This {kind} photo is cut off or damaged and cannot be read. Send it again, or take another.",
            field="photo",
        ) from error
    if orientation in UPRIGHT:
        pixels = pixels.transpose(UPRIGHT[orientation])
    small = pixels.resize(_bounded(pixels.size, small_px), Image.Resampling.LANCZOS, reducing_gap=2.0)
    return Photo(
        jpeg=_jpeg(pixels, QUALITY),
        width_px=pixels.width,
        height_px=pixels.height,
        small_jpeg=_jpeg(small, SMALL_QUALITY),
        small_width_px=small.width,
        small_height_px=small.height,
        came_as=kind,
    )


def _checked(data: bytes | BinaryIO) -> BinaryIO:
    """`data` as a file at its beginning, no longer than may be."""
    file = io.BytesIO(data) if isinstance(data, bytes) else data
    if not file.seekable():
        file = io.BytesIO(file.read(LARGEST_BYTES + 1))
    length = _length(file)
    file.seek(0)
    if length > LARGEST_BYTES:
        raise Malformed(
            f"The photo is larger than {LARGEST_BYTES // 10**6} MB, and that is too much. Choose a smaller copy.",
            field="photo",
        )
    return file


def _kind(file: BinaryIO) -> str:
    kind = kind_of(file.read(HEAD_BYTES))
    file.seek(0)
    if kind not in TAKEN:
        raise Malformed(
            f"A JPEG, PNG, WebP or HEIC photo was expected, but this is {kind}. "
            "Take a photo with the camera, or choose another file.",
            field="photo",
        )
    return kind


def _open(file: BinaryIO, kind: str) -> ImageFile:
    """The picture with its header read and nothing decoded yet; refused here when it is too large or too small.

    The plugin is named and not searched for: `Image.open` would try every format that Pillow knows, and answers a
    large picture with a warning where a refusal is meant.
    """
    try:
        image = OPENERS[kind](file)
    except Image.DecompressionBombError as error:
        raise _too_large("") from error
    width, height = image.size
    if width * height > LARGEST_PX:
        raise _too_large(f" of {width} × {height} pixels")
    if min(width, height) < SHORTEST_SIDE_PX:
        raise Malformed(
            f"The picture has only {width} × {height} pixels, and a portrait cannot be drawn from that: "
            f"each side needs {SHORTEST_SIDE_PX} at least. Take a photo with the camera, or choose another file.",
            field="photo",
        )
    return image


def _no_bomb(image: ImageFile, file: BinaryIO, kind: str) -> None:
    """Malformed where little in the file is made to take much memory or time."""
    if isinstance(image, JpegImageFile) and image.info.get("progressive"):
        scans = _scans_of(file)
        if scans > MOST_SCANS:
            raise Malformed(
                f"This JPEG is drawn in {scans} scans, and no camera makes more than {MOST_SCANS}. "
                "Take a photo with the camera, or choose another file.",
                field="photo",
            )
        kind = "progressive JPEG"
    width, height = image.size
    if width * height * PEAK_BYTES[kind] > LARGE_BYTES and _length(file) < width * height * HOLLOW:
        raise Malformed(
            f"The picture says that it has {width} × {height} pixels, but its file holds next to nothing. "
            "Take a photo with the camera, or choose another file.",
            field="photo",
        )


def _scans_of(file: BinaryIO) -> int:
    """How many scans the JPEG in `file` has, as its markers say (ITU-T T.81, B.1.1); thumbnails are not counted."""
    before = file.tell()
    file.seek(0)
    data = file.read()
    file.seek(before)
    scans, at = 0, 2
    while 0 <= at < len(data) - 4:
        mark = data[at + 1]
        if data[at] != 0xFF or mark in (0x00, 0xFF, *range(0xD0, 0xD9)):  # picture data, filling, restarts
            at = data.find(b"\xff", at + 1)
            continue
        if mark == 0xD9:
            break
        scans += mark == 0xDA
        at += 2 + int.from_bytes(data[at + 2 : at + 4], "big")
    return scans


def _length(file: BinaryIO) -> int:
    at = file.tell()
    length = file.seek(0, io.SEEK_END)
    file.seek(at)
    return length


def _too_large(said: str) -> Malformed:
    return Malformed(
        f"The picture{said} is larger than {LARGEST_PX // 10**6} megapixels, which is more than is taken. "
        "Choose a smaller copy.",
        field="photo",
    )


def _pixels(image: ImageFile, longest_px: int) -> Image.Image:
    """The first picture decoded: RGB in sRGB on white, as it lies in the file, bounded by `longest_px`."""
    said = image.size
    size = _bounded(said, longest_px)
    profile = image.info.get("icc_profile")
    if isinstance(image, JpegImageFile):
        image.draft(None, size)  # libjpeg itself decodes to 1/2, 1/4 or 1/8, never below `size`
        image.load()
    else:
        image.load()
        if image.size != said:  # libheif finds out while it decodes
            raise ValueError(f"a picture of {image.size} that said {said}")
    pixels = _workable(image)
    if pixels.size != size:
        pixels = pixels.resize(size, Image.Resampling.LANCZOS, reducing_gap=2.0)
    alpha = pixels.getchannel("A") if pixels.mode in ("LA", "RGBA") else None
    if alpha:
        pixels = pixels.convert(pixels.mode.removesuffix("A"))
    pixels = _in_srgb(pixels, profile)
    if not alpha:
        return pixels
    ground = Image.new("RGB", pixels.size, "white")
    ground.paste(pixels, mask=alpha)
    return ground


def _bounded(size: tuple[int, int], longest_px: int) -> tuple[int, int]:
    """`size` in its proportion with the longest side at most `longest_px` and no side under 1."""
    scale = min(1.0, longest_px / max(size))
    return max(1, round(size[0] * scale)), max(1, round(size[1] * scale))


def _workable(image: Image.Image) -> Image.Image:
    """`image` in a mode that resizes and converts without loss of meaning: L, LA, RGB, RGBA or CMYK, 8 bits each."""
    if image.mode in ("L", "LA", "RGB", "RGBA", "CMYK"):
        return image
    if image.mode.startswith("I"):
        return image.convert("I").point(lambda level: level * (1 / 257) + 0.5).convert("L")
    if image.mode == "1":
        return image.convert("L")
    if image.mode in ("P", "PA", "RGBa", "La") or "transparency" in image.info:
        return image.convert("RGBA")
    return image.convert("RGB")


def _in_srgb(image: Image.Image, icc: bytes | None) -> Image.Image:
    """`image` as sRGB, read by its colour profile; one that is broken or for other channels counts as none."""
    plain = image.convert("RGB")
    if not icc:
        return plain
    try:
        profile = ImageCms.ImageCmsProfile(io.BytesIO(icc))
        channels = {"RGB": "RGB", "CMYK": "CMYK", "GRAY": "L"}.get(profile.profile.xcolor_space.strip())
        if channels != image.mode and not (channels == "RGB" and image.mode == "L"):
            return plain
        turned = ImageCms.profileToProfile(
            plain if channels == "RGB" else image, profile, ImageCms.createProfile("sRGB"), outputMode="RGB"
        )
    except (ImageCms.PyCMSError, OSError, ValueError, TypeError):
        return plain  # a photo in slightly wrong colours is better than none
    return turned or plain


def _orientation(image: ImageFile, kind: str) -> int:
    """How the pixels lie, 1–8; 1 when nothing (or nonsense) is said. HEIC is turned by its decoder already."""
    if kind == "HEIC":
        return 1
    return orientation_of(image.info.get("exif", b""))


def orientation_of(exif: bytes) -> int:
    """The Orientation that an EXIF block names, 1–8; 1 when it names none or cannot be read.

    Only this one tag is looked up: the rest of EXIF is of no use here, and not read is not tripped over.
    """
    tiff = exif.removeprefix(b"Exif\x00\x00")
    order = {b"II": "<", b"MM": ">"}.get(tiff[:2])
    if order is None:
        return 1
    try:
        (first,) = struct.unpack_from(f"{order}L", tiff, 4)
        (count,) = struct.unpack_from(f"{order}H", tiff, first)
        for entry in range(first + 2, first + 2 + 12 * count, 12):
            tag, form = struct.unpack_from(f"{order}HH", tiff, entry)
            if tag == ORIENTATION:
                (value,) = struct.unpack_from(f"{order}L" if form == 4 else f"{order}H", tiff, entry + 8)
                return value if value in UPRIGHT else 1
    except struct.error:
        return 1  # cut off: the photo lies as it lies
    return 1


def _jpeg(image: Image.Image, quality: int) -> bytes:
    """A JPEG of the pixels and nothing else: a new image carries no EXIF, XMP, profile or comment along."""
    bare = Image.new("RGB", image.size)
    bare.paste(image)
    out = io.BytesIO()
    bare.save(out, "JPEG", quality=quality)
    return out.getvalue()

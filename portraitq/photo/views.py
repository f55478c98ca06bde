"""Views of a photo to draw from that are pictures of their own: grey, a few flat values, the eyes close up.

Each is a pure function of the photo as it is kept (upright sRGB JPEG, at most 2400 px) and, for the eyes, of the faces
marked on it. What only turns or overlays the photo (mirrored, upside down, grid) is the browser's. Who asks for a
view, and that it is made once, is not known here. How light something is says `cielab.py`.
"""

from __future__ import annotations

import io
import re
from functools import cache

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from portraitq.photo.cielab import LUMINANCE, coded, lightness, linear, luminance_of
from portraitq.photo.face import MOST_FACES, Face, faces_or_middle

Bytes = NDArray[np.uint8]
Floats = NDArray[np.float32]

VALUES = (3, 5, 7)  # how many flat values there are to choose from
QUALITY = 90  # as the photo itself is kept
STRIP_ROWS = 64  # so many rows at a time stay in the processor's cache; twice as fast as the whole picture at once
FINE = 65_530  # steps of linear light: black differs from the next grey by 20 of them; three rounded shares fit 16 bits

MASSES_PX = 1000  # the longest side at which flat values are found: what is finer is drawn, not massed
ENDS = (1.0, 99.0)  # per cent of the pixels: a glint or a black speck does not stretch the scale
AROUND_PX = 6  # how far the smoothing looks, on the copy of that size: a fingernail's breadth on a face
GRAIN = 4.0  # of L*: what varies less within there is a camera's noise or a soft shade, not an edge
NARROWEST = 2.0  # of L*: a picture with less between its ends is one flat tone, not noise in seven

EYE_LINE = 0.47  # of the marked box from its top: eyes lie at half of a head's height, a little less of a face
EYES_HIGH = 0.46  # of the box: brows to the middle of the nose, with room for a mark that is somewhat off
EYES_WIDE = 1.0  # of the box: temple to temple, an eye's breadth more than the eyes on each side
EYES_PX = 1600  # as wide as a tablet is sharp
MOST_ENLARGED = 4.0  # beyond that there is nothing more to see

_EYES = re.compile(r"eyes-([1-9]\d?)")


class NoSuchView(LookupError):
    """No view is called that, or this photo has no face of that number."""


def names(faces: tuple[Face, ...]) -> list[str]:
    """The views that a photo with those faces has, in the order in which an artist mostly wants them.

    >>> names(())
    ['grey', 'values-3', 'values-5', 'values-7', 'eyes-1']
    """
    return ["grey", *(f"values-{n}" for n in VALUES), *(f"eyes-{n + 1}" for n in range(len(faces) or 1))]


def need(name: str, faces: tuple[Face, ...]) -> None:
    """NoSuchView, with one sentence, when a photo with those faces has no view of that name."""
    if name in names(faces):
        return
    if (eyes := _EYES.fullmatch(name)) and int(eyes[1]) <= MOST_FACES:
        marked = "one face is" if len(faces) <= 1 else f"{len(faces)} faces are"
        raise NoSuchView(f"There is no face {eyes[1]} on this photo: {marked} marked.")
    known = ", ".join(names(()))
    raise NoSuchView(f"There is no view {name[:40]!r} of a photo (there is: {known}).")


def made(name: str, jpeg: bytes, faces: tuple[Face, ...] = ()) -> bytes:
    """The view of that name: a JPEG or, of flat values, a PNG; as large as the photo, but for the eyes.

    name    grey, values-3, values-5, values-7, or eyes-1 … for the eyes of the first, … marked face
    jpeg    the photo as it is kept
    faces   those marked on it; where there is none, the middle is taken
    Raises  NoSuchView
    """
    need(name, faces)
    if name == "grey":
        return _jpeg(grey(_photo(jpeg)))
    if name.startswith("values-"):
        return _masses(jpeg, int(name.removeprefix("values-")))
    photo = _photo(jpeg)
    return _jpeg(eyes(photo, faces_or_middle(faces, *photo.size)[int(name.removeprefix("eyes-")) - 1]))


def media_type(view: bytes) -> str:
    """What a view is sent as.

    >>> media_type(bytes.fromhex("FFD8FFE0"))
    'image/jpeg'
    """
    return "image/png" if view.startswith(b"\x89PNG") else "image/jpeg"


def grey(photo: Image.Image) -> Image.Image:
    """What an artist calls value: each pixel of an RGB picture as the grey of the same luminance, mode L.

    Light is weighed as light (WCAG 2.2, relative luminance) and coded again by the sRGB curve. The luma of television
    (Pillow's mode L) weighs coded values instead, which makes reds and blues too dark.
    """
    shares, back = _tables()
    pixels = np.asarray(photo)
    values = np.empty(pixels.shape[:2], np.uint8)
    for top in range(0, len(pixels), STRIP_ROWS):
        strip = pixels[top : top + STRIP_ROWS]
        light = shares[0].take(strip[..., 0])
        light += shares[1].take(strip[..., 1])
        light += shares[2].take(strip[..., 2])
        back.take(light, out=values[top : top + STRIP_ROWS], mode="clip")
    return Image.fromarray(values)


def eyes(photo: Image.Image, face: Face) -> Image.Image:
    """Both eyes and brows of one face, enlarged; never outside the picture.

    Eyes lie at half of the head's height (classical proportion, common practice); nobody is found by a machine.
    """
    return _enlarged(photo.crop(eyes_box(face, *photo.size)))


def eyes_box(face: Face, width_px: int, height_px: int) -> tuple[int, int, int, int]:
    """Where the eyes of `face` are looked for: left, upper, right, lower edge in pixels, inside the picture."""
    middle_x, eye_y = face.left + face.width / 2, face.top + EYE_LINE * face.height
    wide, high = EYES_WIDE * face.width, EYES_HIGH * face.height
    left, right = max(0.0, middle_x - wide / 2), min(1.0, middle_x + wide / 2)
    top, bottom = max(0.0, eye_y - high / 2), min(1.0, eye_y + high / 2)
    return Face(left, top, right - left, bottom - top).in_px(width_px, height_px)


def _enlarged(part: Image.Image) -> Image.Image:
    scale = min(MOST_ENLARGED, EYES_PX / part.width)
    if scale <= 1:
        return part
    size = max(1, round(part.width * scale)), max(1, round(part.height * scale))
    return part.resize(size, Image.Resampling.LANCZOS)


def values(photo: Image.Image, n: int, size_px: tuple[int, int]) -> Image.Image:
    """An RGB picture in `n` flat values, enlarged to `size_px`, mode P; its palette goes from dark to light.

    The steps are equal in CIE L* between the picture's own dark and light end, and so are the tones, from end to end:
    a value scale (CIE 15; equal steps of L* are meant to look equal). A picture without light and dark is one tone.
    """
    masses = _even(_without_specks(np.asarray(grey(photo))))
    dark, light = (float(end) for end in np.percentile(masses, ENDS))
    if light - dark < NARROWEST:
        dark, light, n = (dark + light) / 2, (dark + light) / 2 + 1, 1
    coarse = np.clip((masses - dark) * (255 / (light - dark)), 0, 255).astype(np.uint8)
    fine = Image.fromarray(coarse).resize(size_px, Image.Resampling.BICUBIC)  # after which borders are round
    steps = fine.point([min(n - 1, level * n // 255) for level in range(256)])
    picture = Image.frombytes("P", steps.size, steps.tobytes())
    picture.putpalette([level for tone in tones(dark, light, n) for level in (tone, tone, tone)])
    return picture


def tones(dark: float, light: float, n: int) -> list[int]:
    """The greys, 0–255, of `n` values at equal steps of L* from `dark` to `light`; of one value, the dark one's.

    >>> tones(20, 80, 3)
    [48, 119, 198]
    """
    return [round(level) for level in (255 * coded(luminance_of(np.linspace(dark, light, n)))).tolist()]


def _without_specks(values: Bytes) -> Bytes:
    """Two medians of five, along rows and then along columns: specks go, an edge stays where it is."""
    return _median_of_five(_median_of_five(values, axis=1), axis=0)


def _even(values: Bytes) -> Floats:
    """The L* of greys, smoothed where little happens and left alone at edges, so that masses have quiet borders.

    The guided filter with the picture as its own guide: He, Sun, Tang, Guided Image Filtering, IEEE TPAMI 35(6), 2013.
    """
    light = _lightness_of_greys()[values]
    mean = _mean_around(light)
    spread = _mean_around(light * light) - mean * mean
    kept = (spread / (spread + GRAIN**2)).astype(np.float32)
    even: Floats = _mean_around(kept) * light + _mean_around(mean - kept * mean)
    return even


def _mean_around(values: Floats) -> Floats:
    from scipy.ndimage import uniform_filter  # not at start: a booth without photos never needs it

    mean: Floats = uniform_filter(values, 2 * AROUND_PX + 1, mode="nearest")
    return mean


def _median_of_five(values: Bytes, axis: int) -> Bytes:
    """Each pixel as the median of five in a row, or in a column; those at the border repeat it."""
    wide = np.pad(values, [(2, 2) if along == axis else (0, 0) for along in (0, 1)], mode="edge")
    a, b, c, d, e = (wide.take(range(at, at + values.shape[axis]), axis) for at in range(5))
    low = np.maximum(np.minimum(a, b), np.minimum(c, d))  # neither the least of the first four
    high = np.minimum(np.maximum(a, b), np.maximum(c, d))  # nor the greatest can be the median
    return np.maximum(np.minimum(low, high), np.minimum(np.maximum(low, high), e))


@cache
def _lightness_of_greys() -> Floats:
    return lightness(linear(np.arange(256) / 255)).astype(np.float32)


def _masses(jpeg: bytes, n: int) -> bytes:
    """The flat values as PNG, found on a smaller copy, which the decoder makes by halves nearly for nothing."""
    photo = Image.open(io.BytesIO(jpeg), formats=["JPEG"])
    size = photo.size
    share = min(1.0, MASSES_PX / max(size))
    small = max(1, round(size[0] * share)), max(1, round(size[1] * share))
    photo.draft("RGB", small)
    out = io.BytesIO()
    values(photo.convert("RGB").resize(small, Image.Resampling.BILINEAR), n, size).save(out, "PNG", compress_level=3)
    return out.getvalue()


def _photo(jpeg: bytes) -> Image.Image:
    return Image.open(io.BytesIO(jpeg), formats=["JPEG"]).convert("RGB")


def _jpeg(picture: Image.Image) -> bytes:
    out = io.BytesIO()
    picture.save(out, "JPEG", quality=QUALITY)
    return out.getvalue()


@cache
def _tables() -> tuple[list[NDArray[np.uint16]], Bytes]:
    """What each level of red, green and blue adds to the light, in `FINE` steps, and the grey of each sum."""
    light = linear(np.arange(256) / 255)
    shares = [np.round(FINE * weight * light).astype(np.uint16) for weight in LUMINANCE]
    back = np.round(255 * coded(np.minimum(1, np.arange(FINE + 3) / FINE))).astype(np.uint8)
    return shares, back

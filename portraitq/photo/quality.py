"""Is a photo good enough to draw from while its sitter still stands there? Advice in plain words, never a block.

Looked at is each marked face, or the middle where none is marked: is there light on it, is it sharp, are there pixels
enough, does light reach both its sides. Every measure is a share or a ratio of the face itself, so that skin and hair
of any shade, a dim evening and a large or a small picture are judged alike. Marking faces is `face.py`'s.

Sharpness is the variance of the Laplacian (Pech-Pacheco et al., "Diatom autofocusing in brightfield microscopy",
ICPR 2000) on the face in one fixed size. Alone it grows with contrast and with noise, so three things are done to it.
What the median of its absolute values says about noise is taken off (a face's outlines are few; grain is everywhere).
It is taken at two scales: a Gaussian-blurred edge of width s has a second derivative of energy proportional to s to
the power of -3, so the ratio of both energies gives s, whatever the contrast. And it is taken along four directions as
well, because a moved camera blurs only one of them.
"""

from __future__ import annotations

import io
import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from portraitq.photo.cielab import LUMINANCE, linear
from portraitq.photo.face import Face, faces_or_middle

About = Literal["dark", "light", "blur", "size", "side"]

FACE_PX = 256  # the width at which every face is measured; at it, a sharp photo's edges are under 1 px wide
# Of faces drawn sharp the softest has edges 1.0 px wide. At 1.5 px (3 px on a face of 500) lashes and the rim of the
# iris, 20 px here, run into each other. Held by `test_a_good_photo_…` and `test_a_blurred_face_is_told_…`.
BLURRED_PX = 1.5
# An iris is 12 mm of a head 150 mm broad. On 180 px it has 14 px: its light spot and the lid's edge are still there.
FEWEST_PX = 180  # held by `test_a_face_of_too_few_pixels_…`
# Of ten points on the face nine are darker than this, of 255: lightened, they are mostly noise. It is two stops under
# the darkest skin in ordinary light. Held by `test_the_darker_…` and, that no skin is told of, `test_a_good_photo_…`.
DARK_LUMA = 48
BLACK_LUMA, MOST_BLACK = 16, 0.5  # and half of it without any drawing in it is too dark whatever the rest shows
WHITE_LUMA, MOST_WHITE = 250, 0.25  # shines on a nose and on glasses stay under a tenth; a quarter is a cheek
# Portrait photographers call 2 : 1 flat and 4 : 1 dramatic (common practice): between them the dark side's eye goes.
LOPSIDED = 3.0
INSIDE = 0.8  # of the box's half axes: the ellipse in which there is skin rather than hair and backdrop
OUTER = 1 / 3  # each side is what lies further out than this, of the box's half width: the nose belongs to both
MOST_ADVICE = 2  # what is shot again is shot with one or two things in mind

FINE, COARSE = 1.0, 9.0  # the two scales: variances in px² of the smoothing before the Laplacian
STEP = 0.5  # the variance of one smoothing by 1 2 1
ROUNDING = 0.03  # energies below this are made by whole levels of grey, not by outlines

WORST_FIRST: tuple[About, ...] = ("dark", "light", "blur", "size", "side")
SAID: dict[About, tuple[str, str]] = {
    "dark": ("is too dark", "turn towards a lamp and take it again"),
    "light": ("is washed out to white", "turn away from the glare and take it again"),
    "blur": ("is blurred", "hold still and take it again"),
    "size": ("is too small", "go closer and take it again"),
    "side": ("is lit from one side only", "turn towards the light and take it again"),
}

Grey = NDArray[np.floating]


@dataclass(frozen=True, slots=True)
class Advice:
    """One reason to take a photo again: what it is about, and the sentence for whoever took it."""

    about: About
    said: str


def judged(jpeg: bytes, faces: Sequence[Face] = (), *, sitters: int = 1) -> tuple[Advice, ...]:
    """What would make a kept photo better to draw from, worst first; empty for a good one.

    jpeg      as `intake.py` keeps it: upright, sRGB, at most 2400 px
    faces     as they were marked; the middle is looked at where there are none
    sitters   how many there should be: between two heads the middle says nothing about the light on either
    """
    picture = Image.open(io.BytesIO(jpeg))
    width_px, height_px = picture.size
    looked_at = faces_or_middle(faces, width_px, height_px)
    widths_px = [right - left for left, _, right, _ in (face.in_px(width_px, height_px) for face in looked_at)]
    share = FACE_PX / min(widths_px)
    # decoded no larger than it is measured: a few milliseconds instead of forty
    picture.draft("RGB", (math.ceil(width_px * share), math.ceil(height_px * share)))
    pixels = picture.convert("RGB")
    asks_side = bool(faces) or sitters == 1
    found = [
        _faults(_cut_out(pixels, face), across_px, asks_side)
        for face, across_px in zip(looked_at, widths_px, strict=True)
    ]
    told = [about for about in WORST_FIRST if any(about in one for one in found)]
    return tuple(
        Advice(about, _sentence(about, sum(about in one for one in found), len(found))) for about in told[:MOST_ADVICE]
    )


def _sentence(about: About, count: int, of: int) -> str:
    fault, cure = SAID[about]
    if of == 1:
        return f"The face {fault}: {cure}."
    if count == 1:
        return f"One of the faces {fault}: {cure}."
    return f"{'The' if count == of else 'Some of the'} faces {fault.replace('is ', 'are ', 1)}: {cure}."


def _cut_out(pixels: Image.Image, face: Face) -> Image.Image:
    """The face in the size in which every face is measured."""
    left, top, right, bottom = face.in_px(*pixels.size)
    height_px = max(8, min(4 * FACE_PX, round(FACE_PX * (bottom - top) / (right - left))))
    return pixels.resize((FACE_PX, height_px), Image.Resampling.LANCZOS, box=(left, top, right, bottom))


def _faults(face: Image.Image, across_px: int, asks_side: bool) -> set[About]:
    """What is wrong with one face. In the dark nothing else can be told; too few pixels are never sharp."""
    luma = np.asarray(face.convert("L"), np.float32)  # BT.601, as Pillow computes it
    inside, across = _ellipse(*luma.shape)
    if _is_dark(luma[inside]):
        return {"dark"}
    found: set[About] = set()
    if np.mean(luma[inside] >= WHITE_LUMA) > MOST_WHITE:
        found.add("light")
    if across_px < FEWEST_PX:
        found.add("size")
    elif blur_px(luma) > BLURRED_PX:
        found.add("blur")
    if asks_side and light_ratio(face, inside, across) > LOPSIDED:
        found.add("side")
    return found


def _is_dark(luma: Grey) -> bool:
    return bool(np.percentile(luma, 90) < DARK_LUMA or np.mean(luma <= BLACK_LUMA) > MOST_BLACK)


def _ellipse(height: int, width: int) -> tuple[NDArray[np.bool_], NDArray[np.float64]]:
    """Where the face is in its box, and how far left (-1) or right (1) each column of the box lies."""
    y, x = np.ogrid[-1 : 1 : height * 1j, -1 : 1 : width * 1j]
    return x**2 + y**2 <= INSIDE**2, np.broadcast_to(x, (height, width))


# Light


def light_ratio(face: Image.Image, inside: NDArray[np.bool_], across: NDArray[np.float64]) -> float:
    """How many times more light the brighter side of a face gives back than the darker one, from 1 on.

    In relative luminance (WCAG 2.2's definition, IEC 61966-2-1's curve), because luma bends differences.
    """
    luminance = _LINEAR[np.asarray(face)] @ LUMINANCE.astype(np.float32)
    sides = [float(luminance[inside & where].mean()) for where in (across < -OUTER, across > OUTER)]
    return max(sides) / max(min(sides), 1e-4)


_LINEAR = linear(np.arange(256) / 255).astype(np.float32)

# Sharpness


def blur_px(luma: Grey) -> float:
    """How wide the edges are, as the standard deviation in pixels of the blur that made them so; inf where none is."""
    many_steps = smoothed(luma, COARSE)
    few_steps = _middle(smoothed(luma, FINE), many_steps.shape)  # the same part of the face at both scales
    fine, coarse = _second_derivatives(few_steps), _second_derivatives(many_steps)
    return max(_width_px(energy(few), energy(many)) for few, many in zip(fine, coarse, strict=True))


def laplacian(luma: Grey) -> Grey:
    """The response to the kernel 0 1 0 / 1 -4 1 / 0 1 0, without the border.

    >>> float(laplacian(np.pad(np.full((1, 1), 100, np.float32), 3)).var())  # a 5 by 5 response
    8000.0
    """
    return _along(luma, 0, 1) + _along(luma, 1, 0)


def energy(response: Grey) -> float:
    """The variance of a response that comes of outlines: all of it, less what its median says about the noise.

    For a normal distribution the standard deviation is 1.4826 medians of the absolute values.
    """
    noise = 1.4826 * float(np.median(np.abs(response)))
    return max(0.0, float(response.var()) - noise**2)


def smoothed(luma: Grey, variance_px2: float) -> Grey:
    """`luma` after a Gaussian of that variance, made of steps by 1 2 1; smaller by the border that each step costs."""
    rest = luma
    for _ in range(round(variance_px2 / STEP)):
        if min(rest.shape) < 5:
            break  # a sliver: what is left says enough
        down = (rest[:-2] + 2 * rest[1:-1] + rest[2:]) / np.float32(4)
        rest = (down[:, :-2] + 2 * down[:, 1:-1] + down[:, 2:]) / np.float32(4)
    return rest


def _middle(luma: Grey, shape: tuple[int, ...]) -> Grey:
    top, left = ((full - part) // 2 for full, part in zip(luma.shape, shape, strict=True))
    return luma[top : top + shape[0], left : left + shape[1]]


def _second_derivatives(luma: Grey) -> list[Grey]:
    """The Laplacian, and what it is made of: across, down and along both diagonals."""
    across, down = _along(luma, 0, 1), _along(luma, 1, 0)
    return [across + down, across, down, _along(luma, 1, 1), _along(luma, 1, -1)]


def _along(luma: Grey, down: int, right: int) -> Grey:
    """The second difference in one direction, without the border."""
    height, width = luma.shape
    before, after = (
        luma[1 + way * down : height - 1 + way * down, 1 + way * right : width - 1 + way * right] for way in (-1, 1)
    )
    return before - 2 * luma[1:-1, 1:-1] + after


def _width_px(fine: float, coarse: float) -> float:
    """The blur that leaves these energies at the two scales.

    An edge blurred by s and smoothed by t has a second derivative of energy proportional to (s² + t²) ** -1.5.
    """
    if fine < ROUNDING or coarse >= fine:
        return math.inf
    if coarse <= 0:
        return 0.0
    ratio = (fine / coarse) ** (2 / 3)
    return math.sqrt(max(0.0, (COARSE - ratio * FINE) / (ratio - 1)))

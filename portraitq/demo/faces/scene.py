"""A photo at the stall: who sits where, before which backdrop, in which light, with the grain of a phone at night."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from PIL import Image

from portraitq.demo.faces.backdrop import backdrop
from portraitq.demo.faces.brush import Canvas, Place
from portraitq.demo.faces.person import draw_person
from portraitq.demo.faces.pet import draw_pet
from portraitq.photo.face import Face

SITTERS = range(1, 13)
GRAIN = 4.0  # levels of 255, one standard deviation
CROWN, CHIN, TEMPLE = -1.15, 1.02, 0.78  # of a head in its own measures, 0, 0 between the eyes; a pet's is much alike


@dataclass(frozen=True)
class Scene:
    """A drawn photo, and where its heads are: crown to chin, temple to temple, as the counter would mark them."""

    image: Image.Image
    heads: tuple[Face, ...]


def face(
    seed: int,
    sitters: int = 1,
    size_px: tuple[int, int] = (1200, 1600),
    pet: bool = False,
    child: bool | None = None,
) -> Image.Image:
    """A reference photo of `sitters` invented people, or of pets, RGB; otherwise as `scene`."""
    return scene(seed, sitters, size_px, pet, child).image


def scene(
    seed: int,
    sitters: int = 1,
    size_px: tuple[int, int] = (1200, 1600),
    pet: bool = False,
    child: bool | None = None,
) -> Scene:
    """A photo of `sitters` invented people, or of pets, with their heads; the same arguments give the same pixels.

    `child` says whether the sitters are children; None leaves each one's age to chance.
    Raises ValueError when `sitters` is not one that a portrait holds, 1–12.
    """
    if sitters not in SITTERS:
        raise ValueError(f"sitters must be 1 to {SITTERS[-1]}, not {sitters!r}")
    rng = np.random.default_rng(seed)
    canvas = Canvas(backdrop(rng, size_px))
    light = 1.0 if rng.uniform() < 0.5 else -1.0
    places = _places(rng, sitters, size_px)
    for place in places:
        if pet:
            draw_pet(canvas, place, rng, light)
        else:
            draw_person(canvas, place, rng, light, child)
    return Scene(_developed(canvas.image, rng), tuple(_head(place, size_px) for place in places))


def _head(place: Place, size_px: tuple[int, int]) -> Face:
    """The upright box around a head, as far as it is in the picture."""
    corners = place.px([(x, y) for x in (-TEMPLE, TEMPLE) for y in (CROWN, CHIN)]) / size_px
    left, top = (float(edge) for edge in np.clip(corners.min(axis=0), 0, 1))
    right, bottom = (float(edge) for edge in np.clip(corners.max(axis=0), 0, 1))
    return Face(left, top, right - left, bottom - top)


def _places(rng: np.random.Generator, sitters: int, size_px: tuple[int, int]) -> list[Place]:
    """Heads in rows, the back row first and higher, each a little out of line."""
    width, height = size_px
    rows = 1 if sitters <= 3 else 2 if sitters <= 8 else 3
    counts = [sitters // rows + (1 if row < sitters % rows else 0) for row in range(rows)]
    places = []
    for row, count in enumerate(counts):
        unit = min(width * 0.8 / max(1.62 * max(counts), 2.75), height / (2.3 * rows + 2.3))
        y = height * 0.47 + (row - (rows - 1) / 2) * unit * 2.05
        shift = 0.0 if rows == 1 or len(set(counts)) > 1 else 0.22 * (-1) ** row
        for k in range(count):
            x = width / 2 + (k - (count - 1) / 2 + shift) * min(width / count, unit * 1.95)
            wobble = rng.uniform(-1, 1, 4).tolist()
            place = Place(
                x + wobble[0] * unit * 0.06,
                y + wobble[1] * unit * (0.05 if sitters == 1 else 0.16),
                unit * (1 + 0.05 * wobble[2]),
                wobble[3] * 0.07,
            )
            places.append(place)
    return places


def _developed(image: Image.Image, rng: np.random.Generator) -> Image.Image:
    """Darker towards the corners, and grainy."""
    pixels = np.asarray(image).astype(np.float32)
    height, width = pixels.shape[:2]
    y, x = np.ogrid[-1 : 1 : height * 1j, -1 : 1 : width * 1j]
    corners = (1 - 0.22 * np.clip(x**2 + y**2 - 0.5, 0, None)).astype(np.float32)
    grain = rng.standard_normal((height, width), dtype=np.float32) * GRAIN
    pixels *= corners[..., None]
    pixels += grain[..., None]
    np.clip(pixels, 0, 255, out=pixels)
    return Image.fromarray(pixels.astype(np.uint8))

"""A cat or a dog painted from behind to before: chest, ears, head, fur, eyes, muzzle, whiskers, a collar.

Measures as for a person's head: 0, 0 lies between the eyes, the chin near 0.85.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from PIL import Image

from portraitq.demo.faces.brush import Canvas, Colour, Place, Points, curve, ellipse, lowered, mix, ribbon

WARM: Colour = (255, 226, 184)
NIGHT: Colour = (34, 30, 54)
COATS: tuple[tuple[Colour, Colour], ...] = (  # the coat, and its marks
    ((206, 136, 74), (246, 226, 200)),
    ((120, 116, 116), (70, 66, 70)),
    ((62, 52, 50), (228, 220, 212)),
    ((226, 204, 172), (148, 98, 62)),
    ((238, 230, 220), (120, 84, 60)),
    ((146, 98, 62), (240, 226, 206)),
)
EYES: tuple[Colour, ...] = ((196, 164, 62), (140, 164, 84), (96, 146, 164))
COLLARS: tuple[Colour, ...] = ((168, 62, 50), (52, 104, 112), (206, 156, 66), (84, 76, 118))


@dataclass(frozen=True)
class Animal:
    """One animal at one place on the canvas."""

    canvas: Canvas
    place: Place
    light: float
    coat: Colour
    marks: Colour
    collar: Colour

    def blur(self, units: float) -> float:
        """A blur given in the head's measures, in pixels."""
        return units * self.place.unit_px

    def on(self, points: ArrayLike) -> Points:
        """Points in the head's measures as pixels."""
        return self.place.px(points)


def draw_pet(canvas: Canvas, place: Place, rng: np.random.Generator, light: float) -> None:
    """Paint some cat or dog at `place`."""
    coat, marks = COATS[rng.integers(len(COATS))]
    animal = Animal(canvas, place, light, coat, marks, COLLARS[rng.integers(len(COLLARS))])
    (_cat if rng.uniform() < 0.5 else _dog)(animal, rng)


def _cat(a: Animal, rng: np.random.Generator) -> None:
    _chest(a, rng)
    for side in (-1, 1):
        ear = [(side * 0.2, -0.62), (side * 0.42, -1.0), (side * 0.74, -1.3), (side * 0.84, -0.9), (side * 0.83, -0.3)]
        a.canvas.fill(a.on(curve(ear)), a.coat)
        inner = [
            (side * 0.4, -0.66),
            (side * 0.54, -0.94),
            (side * 0.7, -1.12),
            (side * 0.74, -0.86),
            (side * 0.7, -0.52),
        ]
        a.canvas.fill(a.on(curve(inner)), mix(a.coat, (206, 120, 112), 0.6), blur_px=a.blur(0.03))
        tufts = [a.on(np.array([[side * x, -0.5], [side * (x + 0.08), -0.86]])) for x in np.linspace(0.42, 0.62, 9)]
        a.canvas.strokes(tufts, mix(a.coat, (255, 246, 232), 0.6), width_px=max(1, a.blur(0.012)), opacity=0.7)
    right = [(0.42, -0.82), (0.76, -0.5), (0.9, 0.02), (0.86, 0.4), (0.58, 0.74), (0.26, 0.88)]
    head = curve([(0, -0.84), *right, (0, 0.92), *[(-x, y) for x, y in reversed(right)]])
    mask = _head(a, head, rng)
    if rng.uniform() < 0.6:
        _tabby(a, mask)
    white = [(0, -0.1), (0.12, 0.2), (0.46, 0.42), (0.4, 0.74), (0, 0.95), (-0.4, 0.74), (-0.46, 0.42), (-0.12, 0.2)]
    a.canvas.fill(a.on(curve(white)), mix(a.coat, (250, 242, 230), 0.8), blur_px=a.blur(0.06), clip=mask)
    _fur(a, mask, rng, 500, 0.09)
    tone = EYES[rng.integers(len(EYES))]
    for side in (-1, 1):
        _round_eye(a, side, 0.36, 0.0, 0.19, tone, slit=rng.uniform(0.3, 0.62))
    _muzzle(a, 0.42, 0.16, mix(a.coat, (250, 242, 230), 0.85))
    nose = [(-0.1, 0.3), (0.0, 0.275), (0.1, 0.3), (0.045, 0.375), (0, 0.395), (-0.045, 0.375)]
    a.canvas.fill(a.on(curve(nose)), (196, 112, 106), blur_px=a.blur(0.005))
    a.canvas.fill(
        a.on(ellipse(a.light * 0.02, 0.305, 0.035, 0.01)), (250, 206, 196), blur_px=a.blur(0.006), opacity=0.8
    )
    _smile(a, 0.4, 0.5, 0.17)
    whiskers = []
    for side in (-1, 1):
        for k in range(5):
            start, end = (side * 0.2, 0.42 + 0.03 * k), (side * (0.98 + 0.05 * k), 0.26 + 0.12 * k)
            whiskers.append(a.on(curve([start, (side * 0.6, 0.33 + 0.075 * k), end], closed=False)))
    a.canvas.strokes(whiskers, (255, 250, 240), width_px=max(1, a.blur(0.006)), opacity=0.75)


def _dog(a: Animal, rng: np.random.Generator) -> None:
    _chest(a, rng)
    pointed = rng.uniform() < 0.35
    right = [(0.4, -0.86), (0.7, -0.6), (0.76, -0.1), (0.64, 0.34), (0.5, 0.72), (0.28, 0.96)]
    head = curve([(0, -0.9), *right, (0, 1.02), *[(-x, y) for x, y in reversed(right)]])
    if pointed:
        for side in (-1, 1):
            ear = [
                (side * 0.22, -0.7),
                (side * 0.4, -1.06),
                (side * 0.66, -1.4),
                (side * 0.8, -0.9),
                (side * 0.74, -0.4),
            ]
            a.canvas.fill(a.on(curve(ear)), mix(a.coat, NIGHT, 0.16))
            inner = [
                (side * 0.42, -0.72),
                (side * 0.52, -1.0),
                (side * 0.64, -1.18),
                (side * 0.68, -0.86),
                (side * 0.64, -0.58),
            ]
            a.canvas.fill(a.on(curve(inner)), mix(a.coat, (190, 116, 104), 0.45), blur_px=a.blur(0.03))
    mask = _head(a, head, rng)
    if rng.uniform() < 0.6:  # a patch over one eye
        side = rng.choice((-1, 1))
        patch = ellipse(side * 0.4, -0.12, 0.34, 0.42)
        a.canvas.fill(a.on(patch), a.marks, blur_px=a.blur(0.05), opacity=0.9, clip=mask)
    blaze = [(0, -0.8), (0.1, -0.3), (0.34, 0.34), (0.4, 0.8), (0, 1.04), (-0.4, 0.8), (-0.34, 0.34), (-0.1, -0.3)]
    pale = mix(a.coat, (250, 242, 230), 0.72)
    a.canvas.fill(a.on(curve(blaze)), pale, blur_px=a.blur(0.05), clip=mask)
    _fur(a, mask, rng, 500, 0.08)
    if not pointed:
        for side in (-1, 1):
            ear = [(0.46, -0.8), (0.8, -0.74), (1.06, -0.2), (1.1, 0.42), (0.9, 0.66), (0.72, 0.4), (0.68, -0.2)]
            outline = a.on(curve([(side * x, y) for x, y in ear]))
            a.canvas.fill(lowered(outline, a.blur(0.04)), NIGHT, blur_px=a.blur(0.05), opacity=0.45)
            tone = mix(a.marks if sum(a.marks) < sum(a.coat) else a.coat, NIGHT, 0.14 if side == a.light else 0.4)
            a.canvas.fill(outline, tone)
            inside = a.canvas.mask_of(outline)
            shine = ellipse(side * 0.86, -0.3, 0.1, 0.3)
            a.canvas.fill(a.on(shine), mix(tone, WARM, 0.35), blur_px=a.blur(0.07), opacity=0.7, clip=inside)
            _fur(a, inside, rng, 130, 0.14, tone)
    for side in (-1, 1):
        _round_eye(a, side, 0.33, -0.06, 0.135, (92, 56, 30), slit=1.0)
        brow = [(side * 0.2, -0.3), (side * 0.34, -0.35), (side * 0.48, -0.26)]
        a.canvas.fill(a.on(ribbon(brow, (0.03, 0.08, 0.02))), mix(a.coat, WARM, 0.4), blur_px=a.blur(0.03), opacity=0.6)
    if rng.uniform() < 0.6:  # panting
        tongue = [(-0.12, 0.78), (0.12, 0.78), (0.14, 1.02), (0.0, 1.14), (-0.14, 1.02)]
        a.canvas.fill(a.on(curve(tongue)), (206, 96, 100), blur_px=a.blur(0.006))
        a.canvas.fill(
            a.on(ribbon([(0, 0.82), (0, 1.06)], (0.03, 0.01))), (150, 56, 66), blur_px=a.blur(0.012), opacity=0.7
        )
    _muzzle(a, 0.6, 0.21, pale)
    nose = [(-0.19, 0.36), (-0.1, 0.29), (0.1, 0.29), (0.19, 0.36), (0.12, 0.47), (0, 0.51), (-0.12, 0.47)]
    a.canvas.fill(a.on(curve(nose)), (34, 28, 30), blur_px=a.blur(0.006))
    a.canvas.fill(a.on(ellipse(a.light * 0.05, 0.33, 0.07, 0.02)), (206, 204, 206), blur_px=a.blur(0.012), opacity=0.8)
    for side in (-1, 1):
        a.canvas.fill(a.on(ellipse(side * 0.085, 0.415, 0.04, 0.028)), (8, 6, 8), blur_px=a.blur(0.008))
    _smile(a, 0.51, 0.72, 0.26)


def _chest(a: Animal, rng: np.random.Generator) -> None:
    """Neck and chest, with a collar and its tag."""
    half = [(0.5, 0.3), (0.62, 0.9), (0.86, 1.5), (1.02, 2.3), (1.05, 4.2), (1.05, 9.0)]
    body = a.on(curve([*[(-x, y) for x, y in half], *half[::-1]], steps=8))
    mask = a.canvas.mask_of(body)
    a.canvas.wash(mask, mix(a.coat, NIGHT, 0.12))
    bib = [(0, 0.7), (0.4, 1.2), (0.5, 2.2), (0.2, 3.4), (-0.2, 3.4), (-0.5, 2.2), (-0.4, 1.2)]
    a.canvas.fill(a.on(curve(bib)), mix(a.coat, (250, 242, 230), 0.7), blur_px=a.blur(0.1), clip=mask)
    _fur(a, mask, rng, 420, 0.2, down=True)
    a.canvas.fill(a.on(ellipse(-a.light * 1.0, 2.2, 0.5, 1.6)), NIGHT, blur_px=a.blur(0.25), opacity=0.7, clip=mask)
    a.canvas.fill(a.on(ellipse(0, 0.95, 0.8, 0.3)), NIGHT, blur_px=a.blur(0.1), opacity=0.6, clip=mask)
    band = a.on(ribbon([(-0.76, 0.98), (-0.5, 1.22), (0, 1.34), (0.5, 1.22), (0.76, 0.98)], (0.15, 0.17, 0.15)))
    a.canvas.fill(lowered(band, a.blur(0.04)), NIGHT, blur_px=a.blur(0.04), opacity=0.5, clip=mask)
    a.canvas.fill(band, a.collar, clip=mask)
    a.canvas.fill(a.on(ellipse(0, 1.53, 0.1, 0.1)), (222, 182, 96))
    a.canvas.fill(a.on(ellipse(a.light * 0.03, 1.5, 0.03, 0.03)), (255, 246, 214), blur_px=a.blur(0.012))


def _head(a: Animal, head: Points, rng: np.random.Generator) -> Image.Image:
    """The head's shape in light and shade; gives its mask."""
    outline = a.on(head)
    edge = a.canvas.mask_of(outline)
    tips = np.repeat(head, 7, axis=0) + rng.normal(0, 0.02, (7 * len(head), 2))
    out = (
        (tips - (0, 0.05)) * rng.uniform(0.0, 0.075, (len(tips), 1)) + rng.normal(0, 0.02, (len(tips), 2)) + (0, 0.015)
    )
    rough = [a.on(np.array([tip * 0.97, tip + way])) for tip, way in zip(tips, out, strict=True)]
    a.canvas.strokes(rough[::2], mix(a.coat, NIGHT, 0.2), width_px=max(1, a.blur(0.01)))
    a.canvas.strokes(rough[1::2], mix(a.coat, WARM, 0.12), width_px=max(1, a.blur(0.01)), opacity=0.8)
    a.canvas.fill(outline, a.coat)
    a.canvas.fill(a.on(ellipse(-a.light * 0.86, 0.1, 0.4, 1.1)), NIGHT, blur_px=a.blur(0.18), opacity=0.6, clip=edge)
    lit = mix(a.coat, WARM, 0.5)
    a.canvas.fill(a.on(ellipse(a.light * 0.34, -0.5, 0.3, 0.22)), lit, blur_px=a.blur(0.13), opacity=0.6, clip=edge)
    return edge


def _tabby(a: Animal, mask: Image.Image) -> None:
    dark = mix(a.coat, (40, 26, 26), 0.55)
    for x in (-0.2, 0.0, 0.2):
        a.canvas.fill(
            a.on(ribbon([(x * 1.6, -0.86), (x, -0.6), (x * 0.7, -0.36)], (0.09, 0.07, 0.01))),
            dark,
            blur_px=a.blur(0.02),
            opacity=0.75,
            clip=mask,
        )
    for side in (-1, 1):
        for k in range(3):
            path = [(side * 0.92, -0.05 + 0.2 * k), (side * 0.72, 0.03 + 0.17 * k), (side * 0.58, 0.06 + 0.16 * k)]
            a.canvas.fill(a.on(ribbon(path, (0.08, 0.06, 0.01))), dark, blur_px=a.blur(0.02), opacity=0.65, clip=mask)


def _fur(
    a: Animal,
    mask: Image.Image,
    rng: np.random.Generator,
    count: int,
    length: float,
    tone: Colour | None = None,
    down: bool = False,
) -> None:
    """Short hairs: outwards from the nose, or down the chest; clipped by `mask`."""
    base = tone or a.coat
    for colour, share in (
        (mix(base, NIGHT, 0.5), 0.3),
        (mix(base, WARM, 0.5), 0.34),
        (mix(base, (255, 250, 240), 0.7), 0.22),
    ):
        middles = rng.uniform((-1.15, 0.6 if down else -1.0), (1.15, 3.4 if down else 1.1), (count, 2))
        away = np.tile([0.0, 1.0], (count, 1)) + rng.normal(0, 0.18, (count, 2)) if down else middles - (0, 0.3)
        away = away / np.maximum(np.hypot(*away.T), 0.05)[:, None] * length * rng.uniform(0.6, 1.3, (count, 1))
        bend = np.column_stack([away[:, 1], -away[:, 0]]) * rng.normal(0, 0.2, (count, 1))
        lines = np.stack([middles, middles + away / 2 + bend / 2, middles + away], axis=1)
        a.canvas.strokes(
            [a.on(line) for line in lines], colour, width_px=max(1, a.blur(0.008)), opacity=share, clip=mask
        )


def _round_eye(a: Animal, side: int, x: float, y: float, r: float, tone: Colour, slit: float) -> None:
    """A round eye; `slit` is the breadth of the pupil as a share of its height."""
    fill, on = a.canvas.fill, a.on
    rim = [
        (x - r * 1.2, y + r * 0.35),
        (x - r * 0.5, y - r * 0.75),
        (x + r * 0.3, y - r * 0.9),
        (x + r * 1.15, y - r * 0.3),
        (x + r * 0.85, y + r * 0.6),
        (x, y + r * 0.9),
    ]
    shape = on(curve([(side * px, py) for px, py in rim]))
    inside = a.canvas.mask_of(shape)
    fill(shape, (30, 22, 24), blur_px=a.blur(0.03), opacity=0.9)
    fill(shape, (26, 18, 20))
    fill(on(ellipse(side * x, y, r * 0.92, r * 0.88)), mix(tone, (20, 14, 16), 0.3), clip=inside)
    fill(
        on(ellipse(side * x, y + r * 0.16, r * 0.74, r * 0.62)),
        mix(tone, WARM, 0.22),
        blur_px=a.blur(0.025),
        clip=inside,
    )
    height = r * (0.74 if slit < 1 else 0.62)
    fill(on(ellipse(side * x, y, height * slit, height)), (8, 6, 8), blur_px=a.blur(0.004), clip=inside)
    fill(
        on(ellipse(side * x, y - r * 0.9, r * 1.2, r * 0.4)),
        (20, 12, 16),
        blur_px=a.blur(0.025),
        opacity=0.6,
        clip=inside,
    )
    fill(on(ellipse(side * x + a.light * r * 0.34, y - r * 0.36, r * 0.19, r * 0.19)), (255, 252, 244), clip=inside)
    fill(
        on(ellipse(side * x - a.light * r * 0.3, y + r * 0.4, r * 0.1, r * 0.08)),
        (255, 240, 214),
        opacity=0.6,
        clip=inside,
    )


def _muzzle(a: Animal, y: float, r: float, tone: Colour) -> None:
    for side in (-1, 1):
        puff = a.on(ellipse(side * r * 0.92, y + 0.06, r * 1.12, r * 0.92))
        a.canvas.fill(lowered(puff, a.blur(0.04)), mix(a.coat, NIGHT, 0.6), blur_px=a.blur(0.04), opacity=0.5)
        shade = tone if side == a.light else mix(tone, NIGHT, 0.16)
        a.canvas.fill(puff, shade, blur_px=a.blur(0.02))
        for k in range(6):
            dot = ellipse(side * r * (0.7 + 0.28 * (k % 3)), y + 0.02 + 0.07 * (k // 3), 0.011, 0.011, 10)
            a.canvas.fill(a.on(dot), mix(a.coat, (40, 28, 28), 0.7), opacity=0.7)


def _smile(a: Animal, top: float, level: float, wide: float) -> None:
    dark = (58, 32, 32)
    a.canvas.fill(a.on(ribbon([(0, top), (0, level)], (0.014, 0.018))), dark, opacity=0.8)
    for side in (-1, 1):
        path = [(0, level), (side * wide * 0.5, level + 0.07), (side * wide, level + 0.01)]
        a.canvas.fill(a.on(ribbon(path, (0.018, 0.024, 0.006))), dark, blur_px=a.blur(0.005), opacity=0.8)

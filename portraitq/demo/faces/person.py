"""A person painted from behind to before: hair at the back, clothes, neck, head, features, hair, glasses.

Measures are the head's own (`Place`): 0, 0 lies between the eyes, the chin at 1.02, the crown at -1.15; half a head
is 0.78 broad. `light` is -1 or 1, the side from which the warm lamp shines; the night is blue on the other side.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from PIL import Image, ImageChops, ImageFilter

from portraitq.demo.faces.brush import Canvas, Colour, Place, Points, curve, ellipse, lowered, mix, ribbon
from portraitq.demo.faces.hair import hair_before, hair_behind
from portraitq.demo.faces.looks import Looks, invent

WARM: Colour = (255, 226, 184)
NIGHT: Colour = (38, 34, 62)
RIM: Colour = (150, 178, 214)
HEM = 9.0  # below the picture's edge, also for who stands small in the back row


@dataclass(frozen=True)
class Sitting:
    """One person at one place on the canvas, under the lamp."""

    canvas: Canvas
    place: Place
    looks: Looks
    light: float

    def blur(self, units: float) -> float:
        """A blur given in the head's measures, in pixels."""
        return units * self.place.unit_px

    def on(self, points: ArrayLike) -> Points:
        """A feature's points as pixels: the head is round, so that what is near its middle moves as it turns."""
        p = np.array(points, float)
        p[:, 0] += self.looks.turn * 0.10 * np.clip(1 - (p[:, 0] / 0.85) ** 2, 0, 1)
        p[:, 1] *= self.looks.length
        return self.place.px(p)


def draw_person(
    canvas: Canvas, place: Place, rng: np.random.Generator, light: float, child: bool | None = None
) -> None:
    """Paint somebody new at `place`; a child or not where that is said."""
    sitting = Sitting(canvas, place, invent(rng, child), light)
    head = curve(_head(sitting.looks))
    head_px = place.px(head)
    head_mask = canvas.mask_of(head_px)
    hair_behind(canvas, place, sitting.looks, rng, light)
    _clothes(sitting, rng)
    _ears(sitting)
    _head_shading(sitting, head_px, head_mask)
    if sitting.looks.beard:
        _beard(sitting, head_mask, rng)
    _eyes(sitting)
    _nose(sitting, head_mask)
    _mouth(sitting)
    if sitting.looks.beard in ("moustache", "full"):
        _moustache(sitting, rng)
    _marks(sitting, head_mask, rng)
    hair_before(canvas, place, sitting.looks, rng, light, head_mask)
    _glasses(sitting)


def _head(looks: Looks) -> list[tuple[float, float]]:
    jaw, long = looks.jaw, looks.length
    cheek = 1.04 if looks.age == "child" else 1.0
    right = [
        (0.42, -1.06),
        (0.69, -0.76),
        (0.78, -0.32),
        (0.755 * cheek, 0.12 * long),
        (0.69 * cheek * (0.5 + jaw / 2), 0.44 * long),
        (0.545 * jaw, 0.73 * long),
        (0.31 * jaw, 0.95 * long),
    ]
    chin = (0.0, 1.03 * long)
    return [(0.0, -1.15), *right, chin, *[(-x, y) for x, y in reversed(right)]]


def _head_shading(s: Sitting, outline: Points, mask: Image.Image) -> None:
    """A round head: lit from one side, night on the other, sockets, cheeks, temples and chin."""
    fill, skin, side = s.canvas.fill, s.looks.skin, s.light
    fair = sum(skin) / 765  # the darker the skin, the fainter what shines on its edge
    shadow, lit = mix(skin, (96, 40, 42), 0.42), mix(skin, WARM, 0.2 + 0.4 * fair)
    px = s.place.px
    fill(outline, mix(skin, (236, 168, 110), 0.14))
    fill(px(ellipse(-side * 0.72, 0.1, 0.42, 1.1)), shadow, blur_px=s.blur(0.2), opacity=0.72, clip=mask)
    fill(
        px(ellipse(-side * 0.86, 0.1, 0.3, 1.2)), mix(shadow, NIGHT, 0.4), blur_px=s.blur(0.12), opacity=0.6, clip=mask
    )
    fill(px(ellipse(side * 0.3, -0.55, 0.34, 0.24)), lit, blur_px=s.blur(0.14), opacity=0.6, clip=mask)
    fill(px(ellipse(side * 0.46, 0.26, 0.2, 0.17)), lit, blur_px=s.blur(0.1), opacity=0.65, clip=mask)
    fill(px(ellipse(0, 1.02, 0.5, 0.16)), shadow, blur_px=s.blur(0.08), opacity=0.55, clip=mask)
    fill(s.on(ellipse(side * 0.04, 0.87, 0.13, 0.08)), lit, blur_px=s.blur(0.06), opacity=0.45, clip=mask)
    blush = mix(skin, (206, 76, 72), 0.5 if s.looks.age == "child" else 0.36)
    for x in (-0.47, 0.47):
        fill(s.on(ellipse(x, 0.3, 0.17, 0.13)), blush, blur_px=s.blur(0.09), opacity=0.5, clip=mask)
        fill(s.on(ellipse(x * 0.7, -0.03, 0.23, 0.15)), shadow, blur_px=s.blur(0.06), opacity=0.42, clip=mask)
    moved = ImageChops.offset(mask, round(side * s.place.unit_px * 0.045), 0)
    rim = ImageChops.subtract(mask, moved).filter(ImageFilter.GaussianBlur(s.blur(0.014)))
    s.canvas.wash(ImageChops.multiply(rim, mask), mix(skin, RIM, 0.16 + 0.5 * fair), 0.5)
    warm = ImageChops.subtract(mask, ImageChops.offset(mask, round(-side * s.place.unit_px * 0.06), 0))
    warm = warm.filter(ImageFilter.GaussianBlur(s.blur(0.03)))
    s.canvas.wash(ImageChops.multiply(warm, mask), mix(skin, WARM, 0.12 + 0.75 * fair), 0.6)


def _ears(s: Sitting) -> None:
    skin = s.looks.skin
    for side in (-1, 1):
        tone = mix(skin, (150, 50, 44), 0.14) if side == s.light else mix(skin, NIGHT, 0.36)
        outer = [(0.72, -0.16), (0.84, -0.2), (0.9, -0.06), (0.86, 0.16), (0.79, 0.32), (0.71, 0.3)]
        s.canvas.fill(s.place.px(curve([(side * x, y) for x, y in outer])), tone)
        inner = [(0.78, -0.08), (0.84, -0.08), (0.82, 0.12), (0.77, 0.2)]
        dark = mix(tone, (90, 30, 30), 0.45)
        s.canvas.fill(s.place.px(curve([(side * x, y) for x, y in inner])), dark, blur_px=s.blur(0.018), opacity=0.7)
        if s.looks.earrings:
            s.canvas.fill(s.place.px(ellipse(side * 0.79, 0.41, 0.045, 0.07)), (226, 184, 92))
            s.canvas.fill(s.place.px(ellipse(side * 0.78, 0.39, 0.014, 0.02)), (255, 246, 214))


# --- eyes


def _eyes(s: Sitting) -> None:
    for side in (-1, 1):
        _eye(s, side)
        _brow(s, side)


def _eye(s: Sitting, side: int) -> None:
    fill, skin, size = s.canvas.fill, s.looks.skin, s.looks.eye_size
    x0, y0 = side * 0.335, 0.0

    def at(points: ArrayLike) -> Points:
        p = np.asarray(points, float) * size
        return s.on(p * (side, 1) + (x0, y0))

    squeeze = 1 - 0.16 * s.looks.smile
    upper = [(-0.165, 0.035), (-0.1, -0.055 * squeeze), (0.0, -0.098 * squeeze), (0.1, -0.07 * squeeze), (0.17, 0.0)]
    lower = [(0.1, 0.062 * squeeze), (0.0, 0.082 * squeeze), (-0.1, 0.066 * squeeze)]
    almond = at(curve([*upper, *lower]))
    inside = s.canvas.mask_of(almond)
    line = mix((44, 26, 24), s.looks.hair, 0.2)
    fill(at(ellipse(0, 0.02, 0.2, 0.13)), mix(skin, (120, 50, 48), 0.3), blur_px=s.blur(0.03), opacity=0.5)
    fill(almond, (238, 232, 226))
    fill(at(ellipse(-0.155, 0.035, 0.03, 0.026)), (222, 150, 140), blur_px=s.blur(0.008), opacity=0.8, clip=inside)
    look = s.looks.turn * 0.018 * side
    iris, rim = s.looks.eyes, mix(s.looks.eyes, (14, 10, 14), 0.62)
    fill(at(ellipse(look, -0.012, 0.094, 0.094)), rim, clip=inside)
    fill(at(ellipse(look, -0.008, 0.078, 0.078)), iris, blur_px=s.blur(0.008), clip=inside)
    glow = mix(iris, (255, 220, 160), 0.4)
    fill(at(ellipse(look, 0.03, 0.054, 0.032)), glow, blur_px=s.blur(0.014), opacity=0.8, clip=inside)
    fill(at(ellipse(look, -0.01, 0.042, 0.042)), (14, 10, 12), clip=inside)
    lid = [*upper, (0.18, -0.12), (0, -0.2), (-0.18, -0.1)]
    fill(at(lowered(curve(lid), 0.022)), (58, 36, 44), blur_px=s.blur(0.016), opacity=0.5, clip=inside)
    spark = s.light * side * 0.03
    fill(at(ellipse(look + spark, -0.045, 0.02, 0.022)), (255, 252, 244), clip=inside)
    fill(at(ellipse(look - spark, 0.03, 0.01, 0.01)), (255, 240, 214), opacity=0.7, clip=inside)
    fill(at(ribbon(upper, (0.008, 0.024, 0.034, 0.036, 0.026))), line)
    if s.looks.lip_colour > 0.45:  # lashes, drawn out
        fill(at(ribbon([(0.11, -0.06), (0.18, -0.03), (0.225, -0.075)], (0.022, 0.018, 0.002))), line)
    fill(at(ribbon([(0.165, 0.0), *lower, (-0.15, 0.05)], (0.01, 0.007, 0.004))), line, opacity=0.4)
    crease = [(-0.16, -0.05), (-0.06, -0.148 * squeeze), (0.07, -0.146 * squeeze), (0.19, -0.06)]
    fill(
        at(ribbon(crease, (0.006, 0.02, 0.018, 0.004))),
        mix(skin, (86, 36, 36), 0.62),
        blur_px=s.blur(0.006),
        opacity=0.7,
    )
    if s.looks.age != "child":
        pouch = [(-0.13, 0.125), (0.0, 0.158), (0.13, 0.115)]
        deep = 0.55 if s.looks.age == "old" else 0.28
        fill(at(ribbon(pouch, (0.004, 0.018, 0.004))), mix(skin, (96, 44, 44), 0.6), blur_px=s.blur(0.01), opacity=deep)


def _brow(s: Sitting, side: int) -> None:
    thick = 0.072 * s.looks.brow
    lift = -0.02 * s.looks.smile
    path = [(0.13, -0.235 + lift), (0.28, -0.3 + lift), (0.42, -0.298 + lift), (0.56, -0.21 + lift)]
    colour = mix(s.looks.hair, (52, 36, 32), 0.45 if s.looks.age != "old" else 0.12)
    points = s.on(ribbon([(side * x, y) for x, y in path], (thick * 0.7, thick, thick * 0.8, 0.012)))
    s.canvas.fill(points, colour, blur_px=s.blur(0.011), opacity=0.82)


# --- nose and mouth


def _nose(s: Sitting, mask: Image.Image) -> None:
    fill, skin, side, n = s.canvas.fill, s.looks.skin, s.light, s.looks.nose
    dark, lit = mix(skin, (104, 40, 40), 0.5), mix(skin, WARM, 0.72)
    bridge = [(-side * 0.06, -0.2), (-side * 0.1, -0.02), (-side * 0.085 * n, 0.16), (-side * 0.17 * n, 0.34)]
    bridge += [(-side * 0.1 * n, 0.4), (-side * 0.05, 0.2), (-side * 0.03, -0.05)]
    fill(s.on(curve(bridge)), dark, blur_px=s.blur(0.03), opacity=0.55, clip=mask)
    fill(s.on(ellipse(0, 0.425, 0.15 * n, 0.05)), dark, blur_px=s.blur(0.022), opacity=0.7, clip=mask)
    fill(
        s.on(ribbon([(side * 0.02, -0.16), (side * 0.025, 0.05), (side * 0.02, 0.24)], (0.03, 0.045, 0.03))),
        lit,
        blur_px=s.blur(0.022),
        opacity=0.6,
    )
    fill(s.on(ellipse(0, 0.315, 0.1 * n, 0.085)), mix(skin, (200, 96, 84), 0.16), blur_px=s.blur(0.02), opacity=0.8)
    fill(s.on(ellipse(side * 0.03, 0.29, 0.036, 0.032)), lit, blur_px=s.blur(0.014), opacity=0.9)
    for x in (-1, 1):
        wing = [(x * 0.125 * n, 0.27), (x * 0.172 * n, 0.335), (x * 0.15 * n, 0.395), (x * 0.1 * n, 0.405)]
        fill(s.on(ribbon(wing, (0.004, 0.022, 0.024, 0.006))), dark, blur_px=s.blur(0.01), opacity=0.75)
        fill(
            s.on(ellipse(x * 0.07 * n, 0.396, 0.038 * n, 0.02)),
            mix(dark, (40, 14, 16), 0.6),
            blur_px=s.blur(0.008),
            opacity=0.85,
        )


def _mouth(s: Sitting) -> None:
    fill, skin, looks = s.canvas.fill, s.looks.skin, s.looks
    w, up, full = 0.27 + 0.05 * looks.smile, 0.055 * looks.smile, looks.lips
    y = 0.625
    red = mix(mix(skin, (172, 62, 64), 0.52), (158, 34, 46), looks.lip_colour * 0.7)
    gap = 0.062 if looks.open_smile else 0.0
    corner_l, corner_r = (-w, y - up), (w, y - up)
    top_line = [corner_l, (-w * 0.5, y + 0.004), (0, y + 0.016), (w * 0.5, y + 0.004), corner_r]
    low_line = [corner_r, (w * 0.5, y + gap + 0.01), (0, y + gap * 1.5 + 0.016), (-w * 0.5, y + gap + 0.01), corner_l]
    cupid = [
        (w * 0.55, y - 0.042 * full),
        (w * 0.18, y - 0.066 * full),
        (0, y - 0.05 * full),
        (-w * 0.18, y - 0.066 * full),
        (-w * 0.55, y - 0.042 * full),
    ]
    under = [(-w * 0.6, y + gap + 0.058 * full), (0, y + gap * 1.4 + 0.104 * full), (w * 0.6, y + gap + 0.058 * full)]
    shade = mix(skin, (104, 40, 40), 0.55)
    fill(s.on(ellipse(0, y + gap + 0.155, 0.17, 0.035)), shade, blur_px=s.blur(0.025), opacity=0.6)
    fill(s.on(ribbon([(0.0, 0.46), (0.0, 0.54)], (0.05, 0.06))), shade, blur_px=s.blur(0.018), opacity=0.28)
    if looks.open_smile:
        hole = s.on(_joined(top_line, low_line))
        inside = s.canvas.mask_of(hole)
        fill(hole, (74, 22, 28))
        teeth = _joined(
            [(x * 0.93, level - 0.004) for x, level in top_line],
            [(w * 0.8, y - up * 0.4 + 0.02), (0, y + 0.075), (-w * 0.8, y - up * 0.4 + 0.02)],
        )
        fill(s.on(teeth), (240, 232, 220), blur_px=s.blur(0.004), clip=inside)
        fill(
            s.on(_joined(top_line, [(w, y + 0.02), (0, y + 0.03), (-w, y + 0.02)])),
            (120, 70, 64),
            blur_px=s.blur(0.012),
            opacity=0.45,
            clip=inside,
        )
    fill(s.on(_joined(top_line, cupid)), mix(red, (90, 24, 32), 0.2), blur_px=s.blur(0.006))
    fill(s.on(_joined(low_line[::-1], under[::-1])), red, blur_px=s.blur(0.007))
    fill(
        s.on(ellipse(s.light * 0.05, y + gap * 1.4 + 0.054, 0.09, 0.018)),
        mix(red, WARM, 0.55),
        blur_px=s.blur(0.014),
        opacity=0.65,
    )
    if not looks.open_smile:
        fill(
            s.on(ribbon(top_line, (0.012, 0.016, 0.02, 0.016, 0.012))),
            (92, 30, 34),
            blur_px=s.blur(0.005),
            opacity=0.85,
        )
    for x in (-1, 1):
        fill(s.on(ellipse(x * (w + 0.02), y - up, 0.022, 0.026)), shade, blur_px=s.blur(0.012), opacity=0.7)
        fold = [(x * 0.2, 0.36), (x * 0.33, 0.47), (x * (w + 0.08), 0.6)]
        deep = 0.65 if looks.age == "old" else 0.12 if looks.age == "child" else 0.22 + 0.25 * looks.smile
        fill(s.on(ribbon(fold, (0.004, 0.022, 0.006))), shade, blur_px=s.blur(0.014), opacity=deep)


def _joined(one: list[tuple[float, float]], other: list[tuple[float, float]]) -> Points:
    """The shape between two open curves, the second run on from the end of the first."""
    return np.concatenate([curve(one, closed=False), curve(other, closed=False)])


# --- what not everybody has


def _beard(s: Sitting, mask: Image.Image, rng: np.random.Generator) -> None:
    kind, hair = s.looks.beard, s.looks.hair
    if kind == "moustache":
        return
    jaw = s.looks.jaw
    outer = [(0.74, -0.08), (0.755, 0.2), (0.71 * jaw, 0.5), (0.6 * jaw, 0.82), (0.34 * jaw, 1.08), (0.0, 1.16)]
    inner = [(0.0, 0.5), (0.24, 0.51), (0.4, 0.6), (0.55, 0.46), (0.66, 0.2), (0.7, -0.08)]
    shape = curve([*outer, *[(-x, y) for x, y in outer[-2::-1]], *[(-x, y) for x, y in inner[::-1]], *inner[1:]])
    if kind == "stubble":
        s.canvas.fill(s.on(shape), mix(s.looks.skin, (52, 46, 52), 0.55), blur_px=s.blur(0.06), opacity=0.4, clip=mask)
        return
    s.canvas.fill(s.on(shape), mix(hair, (24, 18, 20), 0.2), blur_px=s.blur(0.016), opacity=0.95)
    inside = s.canvas.mask_of(s.on(shape), blur_px=s.blur(0.01))
    for tone, share in ((mix(hair, WARM, 0.3), 0.35), (mix(hair, (14, 10, 14), 0.5), 0.4)):
        x = rng.uniform(-0.76, 0.76, 240)
        y = rng.uniform(0.2, 1.12, 240)
        ends = np.column_stack([x + x * 0.05 + rng.normal(0, 0.02, 240), y + rng.uniform(0.06, 0.14, 240)])
        lines = [s.on(np.array([[a, b], end])) for a, b, end in zip(x, y, ends, strict=True)]
        s.canvas.strokes(lines, tone, width_px=max(1, s.blur(0.007)), opacity=share, clip=inside)
    s.canvas.fill(s.on(ellipse(-s.light * 0.62, 0.6, 0.3, 0.6)), NIGHT, blur_px=s.blur(0.14), opacity=0.4, clip=inside)


def _moustache(s: Sitting, rng: np.random.Generator) -> None:
    hair = s.looks.hair
    for side in (-1, 1):
        path = [(side * 0.01, 0.515), (side * 0.14, 0.525), (side * 0.27, 0.585), (side * 0.35, 0.6)]
        s.canvas.fill(
            s.on(ribbon(path, (0.08, 0.11, 0.075, 0.008))), mix(hair, (24, 18, 20), 0.15), blur_px=s.blur(0.009)
        )
        lines = []
        for _ in range(40):
            x = rng.uniform(0.01, 0.24)
            y = 0.5 + x * 0.2 + rng.uniform(-0.02, 0.02)
            lines.append(s.on(np.array([[side * x, y], [side * (x + 0.07), y + 0.055]])))
        s.canvas.strokes(lines, mix(hair, WARM, 0.3), width_px=max(1, s.blur(0.006)), opacity=0.35)


def _marks(s: Sitting, mask: Image.Image, rng: np.random.Generator) -> None:
    """Freckles, and the lines of a long life."""
    skin = s.looks.skin
    if s.looks.freckles:
        for _ in range(46):
            x, y = rng.normal(0, 0.3), rng.normal(0.22, 0.08)
            r = rng.uniform(0.006, 0.013)
            s.canvas.fill(s.on(ellipse(x, y, r, r, 10)), mix(skin, (150, 80, 50), 0.7), opacity=rng.uniform(0.3, 0.7))
    if s.looks.age == "old":
        line = mix(skin, (96, 44, 44), 0.6)
        for y in (-0.52, -0.63):
            path = [(-0.34, y + 0.03), (0.0, y), (0.34, y + 0.03)]
            s.canvas.fill(
                s.on(ribbon(path, (0.003, 0.013, 0.003))), line, blur_px=s.blur(0.008), opacity=0.5, clip=mask
            )
        for side in (-1, 1):
            for k in (-1, 0, 1):
                path = [(side * 0.53, 0.0 + 0.03 * k), (side * 0.63, 0.01 + 0.07 * k)]
                s.canvas.fill(s.on(ribbon(path, (0.01, 0.003))), line, blur_px=s.blur(0.006), opacity=0.45)


def _glasses(s: Sitting) -> None:
    if not s.looks.glasses:
        return
    frame: Colour = (44, 34, 34) if sum(s.looks.cloth) % 2 else (146, 96, 52)
    for side in (-1, 1):
        if s.looks.glasses == "round":
            lens = ellipse(side * 0.335, 0.02, 0.225, 0.215)
        else:
            corners = [
                (0.12, -0.13),
                (0.33, -0.155),
                (0.56, -0.13),
                (0.56, 0.06),
                (0.48, 0.17),
                (0.2, 0.17),
                (0.12, 0.06),
            ]
            lens = curve([(side * x, y) for x, y in corners])
        inner = lens + (np.array([side * 0.335, 0.02]) - lens) * 0.085
        glass = s.canvas.mask_of(s.on(inner))
        ring = ImageChops.subtract(s.canvas.mask_of(s.on(lens)), glass)
        below = ImageChops.offset(ring, 0, round(s.blur(0.03))).filter(ImageFilter.GaussianBlur(s.blur(0.015)))
        s.canvas.wash(below, mix(s.looks.skin, (70, 30, 34), 0.7), 0.35)
        s.canvas.fill(s.on(inner), (214, 226, 236), opacity=0.07)
        shine = [
            (side * 0.335 + s.light * 0.05, -0.16),
            (side * 0.335 + s.light * 0.15, -0.14),
            (side * 0.335 + s.light * 0.04, 0.16),
            (side * 0.335 - s.light * 0.04, 0.15),
        ]
        s.canvas.fill(s.on(np.array(shine)), (255, 246, 226), blur_px=s.blur(0.02), opacity=0.2, clip=glass)
        s.canvas.wash(ring, frame)
        s.canvas.fill(s.on(ribbon([(side * 0.55, -0.05), (side * 0.76, -0.09)], (0.034, 0.026))), frame)
    s.canvas.fill(s.on(ribbon([(-0.12, -0.02), (0.0, -0.05), (0.12, -0.02)], (0.03, 0.026, 0.03))), frame)


# --- below the chin


def _clothes(s: Sitting, rng: np.random.Generator) -> None:
    looks, fill, px, side = s.looks, s.canvas.fill, s.place.px, s.light
    slim = 0.84 if looks.age == "child" else 1.0
    broad = (1.52 if looks.jaw > 0.95 else 1.38) * slim
    neck = 0.39 * slim * (1.06 if looks.jaw > 0.95 else 0.88)
    skin = mix(looks.skin, (104, 50, 48), 0.16)
    throat = [(-neck, 0.5), (-neck, 1.1), (-neck * 1.5, 1.4), (0, 1.9), (neck * 1.5, 1.4), (neck, 1.1), (neck, 0.5)]
    fill(px(curve(throat)), skin)
    throat_mask = s.canvas.mask_of(px(curve(throat)))
    fill(
        px(ellipse(-side * 0.1, 1.0, 0.62, 0.3)),
        mix(looks.skin, (62, 26, 36), 0.66),
        blur_px=s.blur(0.07),
        opacity=0.8,
        clip=throat_mask,
    )
    body = [
        (-neck * 1.2, 1.22),
        (-0.8 * slim, 1.45),
        (-broad * 0.9, 1.7),
        (-broad * 1.05, 2.2),
        (-broad * 1.12, 4.0),
        (-broad * 1.12, HEM),
    ]
    shape = curve([*body, *[(-x, y) for x, y in reversed(body)], *_neckline(looks, neck)], steps=8)
    cloth = s.canvas.mask_of(px(shape))
    s.canvas.wash(cloth, looks.cloth)
    if looks.garment == "stripes":
        _stripes(s, cloth, broad)
    if looks.garment == "jumper":
        _knit(s, cloth, broad)
    dark, lit = mix(looks.cloth, NIGHT, 0.62), mix(looks.cloth, WARM, 0.4)
    fill(px(ellipse(-side * 1.35, 2.6, 0.75, 1.5)), dark, blur_px=s.blur(0.3), opacity=0.7, clip=cloth)
    fill(px(ellipse(side * 0.95, 1.72, 0.42, 0.16)), lit, blur_px=s.blur(0.14), opacity=0.6, clip=cloth)
    fill(px(ellipse(-side * 0.1, 1.36, 0.75, 0.22)), dark, blur_px=s.blur(0.12), opacity=0.5, clip=cloth)
    for sleeve in (-broad, broad):  # where it is set in
        seam = [(sleeve * 0.72, 1.56), (sleeve * 0.7, 1.95), (sleeve * 0.66, 2.5), (sleeve * 0.7, 3.4)]
        fill(px(ribbon(seam, (0.01, 0.04, 0.1, 0.06))), dark, blur_px=s.blur(0.03), opacity=0.6, clip=cloth)
    for x, bend in ((-0.55, 0.12), (0.5, -0.1), (0.2, 0.05), (-0.25, -0.06)):
        path = [(x, 1.75), (x + bend, 2.3), (x + bend * 0.4, 3.0)]
        fill(px(ribbon(path, (0.02, 0.1, 0.03))), dark, blur_px=s.blur(0.05), opacity=0.35, clip=cloth)
    _collar(s, neck, slim)


def _neckline(looks: Looks, neck: float) -> list[tuple[float, float]]:
    deep = {"shirt": 1.86, "coat": 1.8}.get(looks.garment, 1.5)
    return [(neck * 0.62, (deep + 1.26) / 2), (0.0, deep), (-neck * 0.62, (deep + 1.26) / 2)]


def _stripes(s: Sitting, cloth: Image.Image, broad: float) -> None:
    pale = mix((238, 230, 214), s.looks.cloth, 0.08)
    for y in np.arange(1.62, HEM, 0.26):
        path = [
            (-broad * 1.3, y + 0.1),
            (-broad * 0.6, y + 0.02),
            (0, y + 0.06),
            (broad * 0.6, y + 0.02),
            (broad * 1.3, y + 0.1),
        ]
        s.canvas.fill(s.place.px(ribbon(path, (0.1, 0.1))), pale, clip=cloth)


def _knit(s: Sitting, cloth: Image.Image, broad: float) -> None:
    lines = [s.place.px(np.array([[x, 1.2], [x * 1.06, HEM]])) for x in np.arange(-broad * 1.2, broad * 1.2, 0.055)]
    s.canvas.strokes(lines, mix(s.looks.cloth, NIGHT, 0.5), width_px=max(1, s.blur(0.012)), opacity=0.28, clip=cloth)


def _collar(s: Sitting, neck: float, slim: float) -> None:
    looks, fill, px = s.looks, s.canvas.fill, s.place.px
    if looks.garment in ("jumper", "stripes"):
        band = [(-neck * 1.16, 1.2), (-neck * 0.66, 1.43), (0, 1.53), (neck * 0.66, 1.43), (neck * 1.16, 1.2)]
        deep = 0.16 if looks.garment == "jumper" else 0.09
        fill(px(ribbon(band, (deep * 0.8, deep, deep * 0.8))), mix(looks.cloth, NIGHT, 0.22))
        fill(px(ribbon(band, (0.02, 0.03, 0.02))), mix(looks.cloth, WARM, 0.35), blur_px=s.blur(0.012), opacity=0.6)
        return
    under = mix((236, 228, 214), looks.second, 0.55) if looks.garment == "coat" else mix(looks.cloth, WARM, 0.22)
    wide = 1.0 if looks.garment == "shirt" else 1.5
    for side in (-1, 1):
        flap = [
            (side * neck * 1.14, 1.12),
            (side * neck * 1.42, 1.3),
            (side * 0.5 * slim * wide, 1.72),
            (side * 0.06, 1.86),
            (side * neck * 0.7, 1.44),
        ]
        outline = px(np.array(flap))
        fill(lowered(outline, s.blur(0.035)), NIGHT, blur_px=s.blur(0.03), opacity=0.4)
        tone = under if looks.garment == "shirt" else mix(looks.cloth, NIGHT, 0.18)
        fill(outline, tone if side == s.light else mix(tone, NIGHT, 0.28))
    fill(px(ribbon([(0, 1.86), (0.01, HEM)], (0.018, 0.018))), mix(looks.cloth, NIGHT, 0.6), opacity=0.7)
    for y in (2.15, 2.6, 3.05):
        fill(px(ellipse(0.0, y, 0.035, 0.035)), mix(looks.cloth, WARM, 0.6))

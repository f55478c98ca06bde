"""Hair, and what is worn on it: what hangs behind the head first, what lies before it last.

Strands run from the parting along the skull; curls are discs upon discs. Measures as in `person.py`.
"""

from __future__ import annotations

import numpy as np
from PIL import Image, ImageChops

from portraitq.demo.faces.brush import Canvas, Colour, Place, Points, curve, ellipse, lowered, mix, ribbon
from portraitq.demo.faces.looks import Looks

GLEAM: Colour = (255, 226, 178)
DEEP: Colour = (14, 10, 20)
XY = tuple[float, float]


def hair_behind(canvas: Canvas, place: Place, looks: Looks, rng: np.random.Generator, light: float) -> None:
    """What is seen of the hair on both sides of the neck and above the head."""
    dark = mix(looks.hair, DEEP, 0.38)
    if looks.style == "curls":
        _curls(canvas, place, looks, rng, _ring(rng, 70, 0.98, -0.42, 0.2, 0.9), light, dark)
        return
    if looks.style == "bun":
        bun = place.px(curve([(0.0, -1.72), (0.34, -1.52), (0.3, -1.12), (-0.3, -1.12), (-0.34, -1.52)]))
        canvas.fill(bun, looks.hair)
        mask = canvas.mask_of(bun)
        lines = [place.px(_arc((-0.36, -1.2 - 0.05 * k), (0.36, -1.24 - 0.05 * k), 0.16)) for k in range(12)]
        _strands(canvas, place, looks, lines, mask)
    shape = {
        "long": [(0, -1.2), (0.6, -1.02), (0.93, -0.4), (0.98, 0.6), (1.06, 1.7), (0.9, 2.3), (0.3, 2.1)],
        "wavy": [
            (0, -1.2),
            (0.64, -1.02),
            (0.98, -0.4),
            (1.02, 0.3),
            (1.18, 0.9),
            (1.06, 1.4),
            (1.14, 1.9),
            (0.4, 1.9),
        ],
        "bob": [(0, -1.2), (0.62, -1.04), (0.95, -0.4), (1.02, 0.4), (0.98, 0.9), (0.62, 1.02), (0.3, 0.8)],
        "plait": [(0, -1.18), (0.6, -1.0), (0.86, -0.4), (0.84, 0.2), (0.6, 0.8)],
        "scarf": [],
    }.get(looks.style)
    if not shape:
        return
    outline = place.px(_both(shape))
    canvas.fill(outline, dark)
    mask = canvas.mask_of(outline)
    if looks.style in ("long", "wavy", "bob"):
        wave = 0.05 if looks.style == "wavy" else 0.012
        end = 2.2 if looks.style != "bob" else 1.0
        lines = []
        for _ in range(150):
            x = rng.choice((-1, 1)) * rng.uniform(0.55, 1.1)
            y = np.linspace(-0.6, end, 16)
            sway = wave * np.sin(y * 5 + rng.uniform(0, 1.2)) + rng.normal(0, 0.01)
            lines.append(place.px(np.column_stack([x * np.interp(y, [-0.6, 0.4, end], [0.78, 0.94, 1.0]) + sway, y])))
        _strands(canvas, place, looks, lines, mask)
    if looks.style == "plait":
        _plait(canvas, place, looks)
    canvas.fill(place.px(ellipse(0, 0.95, 0.72, 0.5)), DEEP, blur_px=place.unit_px * 0.16, opacity=0.6, clip=mask)


def hair_before(
    canvas: Canvas, place: Place, looks: Looks, rng: np.random.Generator, light: float, head: Image.Image
) -> None:
    """The hairline, the fringe, a cap or a headscarf; and the shadow they throw on the forehead."""
    style = looks.style
    if style == "scarf":
        _headscarf(canvas, place, looks, light)
        return
    if style == "cap":
        _cap(canvas, place, looks, light)
        return
    if style == "bald":
        for side in (-1, 1):
            patch = [(0.76, -0.52), (0.81, -0.4), (0.81, -0.18), (0.755, 0.02), (0.72, -0.24)]
            outline = place.px(curve([(side * x, y) for x, y in patch]))
            canvas.fill(outline, mix(looks.hair, looks.skin, 0.3), blur_px=place.unit_px * 0.022, opacity=0.6)
        shine = ellipse(light * 0.26, -0.82, 0.2, 0.1)
        canvas.fill(place.px(shine), GLEAM, blur_px=place.unit_px * 0.06, opacity=0.5, clip=head)
        return
    if style in ("curls", "curly crop"):
        high = 0.86 if style == "curls" else 0.78
        cap = [(0, -1.24), (0.6, -1.04), (0.84, -0.55), (0.8, -0.2), (0.72, -0.4), (0.5, -0.68), (0, -0.78)]
        canvas.fill(place.px(_both(cap)), mix(looks.hair, DEEP, 0.4))
        _curls(canvas, place, looks, rng, _ring(rng, 74, high, -0.5, -0.16, 0.46), light, looks.hair)
        return
    outline = place.px(_fringe(looks))
    shadow = lowered(outline, place.unit_px * 0.07)
    canvas.fill(shadow, mix(looks.skin, (70, 26, 34), 0.7), blur_px=place.unit_px * 0.05, opacity=0.5, clip=head)
    canvas.fill(outline, looks.hair)
    mask = canvas.mask_of(outline)
    _strands(canvas, place, looks, _combed(place, looks, rng), mask)
    blur = place.unit_px * 0.09
    gleam = mix(looks.hair, GLEAM, 0.5)
    canvas.fill(place.px(ellipse(light * 0.36, -0.92, 0.26, 0.1)), gleam, blur_px=blur, opacity=0.6, clip=mask)
    canvas.fill(place.px(ellipse(-light * 0.8, -0.5, 0.26, 0.7)), DEEP, blur_px=blur * 1.6, opacity=0.6, clip=mask)


def _fringe(looks: Looks) -> Points:
    """The outline of the hair before the head: over the crown one way, along the hairline back."""
    outer, inner = _edges(looks)
    return np.concatenate([curve(outer, closed=False), curve(inner, closed=False)[::-1]])


def _edges(looks: Looks) -> tuple[list[XY], list[XY]]:
    """The hair's outer edge and its hairline, both from the left to the right."""
    flip = 1.0 if looks.parting >= 0 else -1.0
    if looks.style == "crop":
        outer = [(-0.8, -0.16), (-0.85, -0.55), (-0.62, -1.05), (0, -1.25), (0.62, -1.05), (0.85, -0.55), (0.8, -0.16)]
        inner = [(-0.73, -0.16), (-0.7, -0.4), (-0.6, -0.62), (0, -0.74), (0.6, -0.62), (0.7, -0.4), (0.73, -0.16)]
        return outer, inner
    if looks.style == "quiff":
        top = [(-0.72, -1.06), (-0.24, -1.42), (0.36, -1.43), (0.78, -1.06)]
        top = top if flip > 0 else [(-x, y) for x, y in reversed(top)]
        outer = [(-0.8, -0.14), (-0.86, -0.55), *top, (0.86, -0.55), (0.8, -0.14)]
        inner = [(-0.73, -0.14), (-0.71, -0.36), (-0.63, -0.6), (0, -0.8), (0.63, -0.6), (0.71, -0.36), (0.73, -0.14)]
        return outer, inner
    if looks.style == "bun":
        outer = [(-0.79, -0.06), (-0.83, -0.5), (-0.6, -1.02), (0, -1.22), (0.6, -1.02), (0.83, -0.5), (0.79, -0.06)]
        inner = [(-0.74, -0.06), (-0.71, -0.4), (-0.5, -0.68), (0, -0.84), (0.5, -0.68), (0.71, -0.4), (0.74, -0.06)]
        return outer, inner
    if _has_fringe(looks):
        outer = [(-0.93, 0.92), (-0.97, 0.2), (-0.9, -0.55), (-0.62, -1.08), (0, -1.28)]
        inner = [(-0.66, 0.92), (-0.72, 0.3), (-0.7, -0.2), (-0.56, -0.38), (0.0, -0.35)]
    else:
        part = 0.34 * looks.parting
        low = {"parted": -0.1, "plait": 0.02, "bob": 0.8, "long": 1.2, "wavy": 1.1}[looks.style]
        wide = {"parted": 0.83, "plait": 0.84}.get(looks.style, 0.97)
        outer = [
            (-wide * 0.95, low),
            (-wide, low * 0.4 - 0.2),
            (-wide * 0.96, -0.5),
            (-0.64, -1.06),
            (part * 0.5, -1.27),
        ]
        inner = [(-0.74, low), (-0.75, low * 0.35 - 0.1), (-0.69, -0.36), (-0.46 + part * 0.4, -0.68), (part, -0.92)]
        right = [(0.46 + part * 0.4, -0.68), *[(-x, y) for x, y in inner[2::-1]]]
        return outer + [(-x, y) for x, y in outer[-2::-1]], inner + right
    return outer + [(-x, y) for x, y in outer[-2::-1]], inner + [(-x, y) for x, y in inner[-2::-1]]


def _has_fringe(looks: Looks) -> bool:
    return looks.style == "bob" and looks.parting > -0.2


def _combed(place: Place, looks: Looks, rng: np.random.Generator) -> list[Points]:
    """Strands: away from the forehead, or from the parting down to the ends between the hair's two edges."""
    outer, inner = (curve(edge, closed=False, steps=8) for edge in _edges(looks))
    lines = []
    if looks.style in ("crop", "quiff", "bun") or _has_fringe(looks):
        sway = 0.22 * looks.parting if looks.style in ("crop", "quiff") else 0.0
        sides = 0.27 if _has_fringe(looks) else 0.0
        for share in rng.uniform(sides, 1 - sides, 260):
            a = outer[round(share * (len(outer) - 1))]
            b = inner[round(float(np.clip(share + rng.normal(0, 0.02), 0, 1)) * (len(inner) - 1))]
            lines.append(place.px(_arc((a[0], a[1]), (b[0], b[1]), 0.05 * np.sign(b[0]) + sway)))
        if not sides:
            return lines
    middle = len(outer) // 2 if not _has_fringe(looks) else 17  # before the ears only, beside a fringe
    for _ in range(260):
        share = rng.uniform(0.0, 1.0)
        half = slice(0, middle + 1) if rng.uniform() < 0.5 else slice(-middle - 1, None)
        strand = outer[half] * share + inner[half] * (1 - share)
        wave = 0.028 if looks.style == "wavy" else 0.006
        strand = strand + np.column_stack([wave * np.sin(strand[:, 1] * 7 + share * 3), np.zeros(len(strand))])
        cut = int(rng.integers(0, 8))
        lines.append(place.px(strand[cut : len(strand) - int(rng.integers(0, 8))]))
    return lines


def _strands(canvas: Canvas, place: Place, looks: Looks, lines: list[Points], mask: Image.Image) -> None:
    width = max(1.0, place.unit_px * 0.008)
    canvas.strokes(lines[::3], mix(looks.hair, DEEP, 0.42), width_px=width * 1.2, opacity=0.42, clip=mask)
    canvas.strokes(lines[1::3], mix(looks.hair, GLEAM, 0.28), width_px=width, opacity=0.5, clip=mask)
    canvas.strokes(lines[2::6], mix(looks.hair, GLEAM, 0.5), width_px=width * 0.7, opacity=0.5, clip=mask)


def _ring(rng: np.random.Generator, count: int, radius: float, middle: float, low: float, inner: float) -> list[XY]:
    """Middles of curls on a round head, none below `low` or nearer than `inner` to the middle of the face."""
    found: list[XY] = []
    while len(found) < count:
        angle, reach = rng.uniform(0, 2 * np.pi), radius * rng.uniform(0.5, 1) ** 0.5
        x, y = reach * np.cos(angle), middle + reach * np.sin(angle) * 0.92
        if y < low and (np.hypot(x / 1.25, (y + 0.12) / 1.2) > inner):
            found.append((x, y))
    return found


def _curls(
    canvas: Canvas, place: Place, looks: Looks, rng: np.random.Generator, middles: list[XY], light: float, tone: Colour
) -> None:
    """Round locks, the far ones first, each with its own light and shade."""
    for x, y in sorted(middles, key=lambda at: -abs(at[0]) + at[1]):
        r = rng.uniform(0.12, 0.2)
        lock = mix(tone, DEEP, rng.uniform(0.0, 0.3))
        canvas.fill(place.px(ellipse(x, y, r, r, 18)), mix(lock, DEEP, 0.4), blur_px=place.unit_px * 0.008)
        canvas.fill(
            place.px(ellipse(x + light * 0.02, y - 0.02, r * 0.82, r * 0.82, 18)), lock, blur_px=place.unit_px * 0.02
        )
        loop = ellipse(x + light * 0.02, y - 0.02, r * rng.uniform(0.4, 0.75), r * rng.uniform(0.4, 0.75), 18)
        start = int(rng.integers(18))
        arc = np.roll(loop, start, axis=0)[:11]
        canvas.strokes(
            [place.px(arc)],
            mix(lock, GLEAM, 0.34),
            width_px=max(1, place.unit_px * 0.014),
            opacity=0.6,
            blur_px=place.unit_px * 0.004,
        )


def _plait(canvas: Canvas, place: Place, looks: Looks) -> None:
    """One plait over the shoulder; it is painted over by the clothes' edge, as hair behind a collar is."""
    side = 1 if looks.parting >= 0 else -1
    for k in range(7):
        y = 0.6 + 0.24 * k
        lobe = ellipse(side * (0.82 + 0.02 * k), y, 0.17 - 0.008 * k, 0.17)
        canvas.fill(place.px(lobe), mix(looks.hair, DEEP, 0.3 if k % 2 else 0.12))


def _headscarf(canvas: Canvas, place: Place, looks: Looks, light: float) -> None:
    cloth, blur = looks.second, place.unit_px
    outer = [(0, -1.3), (0.66, -1.12), (0.98, -0.4), (0.98, 0.5), (1.02, 1.2), (1.2, 1.72), (0.5, 1.9)]
    inner = [(0.0, -0.74), (0.42, -0.62), (0.66, -0.2), (0.66, 0.36), (0.46, 0.8), (0.0, 1.03)]
    whole = canvas.mask_of(place.px(_both([*outer, (0.0, 1.86)])))
    face = canvas.mask_of(place.px(_both(inner)), blur_px=blur * 0.006)
    mask = ImageChops.subtract(whole, face)
    canvas.fill(lowered(place.px(_both(inner)), blur * 0.02), DEEP, blur_px=blur * 0.05, opacity=0.3, clip=mask)
    canvas.wash(mask, cloth)
    dark, lit = mix(cloth, DEEP, 0.6), mix(cloth, GLEAM, 0.42)
    canvas.fill(place.px(ellipse(-light * 0.95, 0.2, 0.3, 1.5)), dark, blur_px=blur * 0.14, opacity=0.8, clip=mask)
    canvas.fill(place.px(ellipse(light * 0.5, -0.92, 0.3, 0.14)), lit, blur_px=blur * 0.08, opacity=0.7, clip=mask)
    for k in range(5):
        fold = [(-0.86 + 0.1 * k, 0.62 + 0.14 * k), (-0.1 + 0.1 * k, 1.16 + 0.13 * k), (0.9, 1.0 + 0.16 * k)]
        canvas.fill(place.px(ribbon(fold, (0.02, 0.07, 0.02))), dark, blur_px=blur * 0.02, opacity=0.55, clip=mask)
        upper = lowered(ribbon(fold, (0.01, 0.03, 0.01)), -0.05)
        canvas.fill(place.px(upper), lit, blur_px=blur * 0.015, opacity=0.5, clip=mask)
    rim = _both(inner)
    canvas.fill(
        place.px(ribbon([*rim, rim[0]], (0.05, 0.05), steps=2)),
        mix(cloth, DEEP, 0.3),
        blur_px=blur * 0.008,
        clip=mask,
    )


def _cap(canvas: Canvas, place: Place, looks: Looks, light: float) -> None:
    """A knitted cap, with a little hair under it."""
    cloth, blur = looks.second, place.unit_px
    for side in (-1, 1):
        tuft = curve(
            [(side * 0.6, -0.6), (side * 0.82, -0.5), (side * 0.83, -0.1), (side * 0.74, -0.04), (side * 0.7, -0.36)]
        )
        canvas.fill(place.px(tuft), looks.hair, blur_px=blur * 0.014)
    dome = curve(
        [
            (-0.86, -0.56),
            (-0.82, -1.0),
            (-0.5, -1.38),
            (0, -1.5),
            (0.5, -1.38),
            (0.82, -1.0),
            (0.86, -0.56),
            (0.4, -0.66),
            (-0.4, -0.66),
        ]
    )
    mask = canvas.mask_of(place.px(dome))
    canvas.wash(mask, cloth)
    ribs = [place.px(_arc((x, -0.5), (x * 0.25, -1.52), 0.16 * x)) for x in np.linspace(-0.9, 0.9, 27)]
    canvas.strokes(ribs, mix(cloth, DEEP, 0.5), width_px=max(1, blur * 0.014), opacity=0.4, clip=mask)
    canvas.fill(place.px(ellipse(-light * 0.75, -0.9, 0.4, 0.7)), DEEP, blur_px=blur * 0.16, opacity=0.6, clip=mask)
    canvas.fill(
        place.px(ellipse(light * 0.36, -1.16, 0.26, 0.16)),
        mix(cloth, GLEAM, 0.5),
        blur_px=blur * 0.09,
        opacity=0.6,
        clip=mask,
    )
    brim = [(-0.88, -0.5), (-0.45, -0.62), (0, -0.65), (0.45, -0.62), (0.88, -0.5)]
    canvas.fill(lowered(place.px(ribbon(brim, (0.2, 0.24, 0.2))), blur * 0.06), DEEP, blur_px=blur * 0.04, opacity=0.45)
    band = canvas.mask_of(place.px(ribbon(brim, (0.22, 0.26, 0.22))))
    canvas.wash(band, mix(cloth, GLEAM, 0.1))
    ticks = [place.px(np.array([[x, -0.85], [x * 1.02, -0.3]])) for x in np.linspace(-0.9, 0.9, 34)]
    canvas.strokes(ticks, mix(cloth, DEEP, 0.5), width_px=max(1, blur * 0.014), opacity=0.45, clip=band)
    canvas.fill(place.px(ellipse(-light * 0.8, -0.55, 0.35, 0.3)), DEEP, blur_px=blur * 0.14, opacity=0.5, clip=band)


def _both(right: list[XY]) -> Points:
    """A closed curve through the right half's points and their mirror images."""
    left = [(-x, y) for x, y in reversed(right) if abs(x) > 1e-9]
    return curve([*right, *left])


def _arc(start: XY, end: XY, bend: float) -> Points:
    """A bow from `start` to `end`, its middle pushed sideways by `bend`."""
    a, b = np.array(start), np.array(end)
    way = b - a
    middle = (a + b) / 2 + np.array([-way[1], way[0]]) * bend / max(float(np.hypot(*way)), 1e-9)
    t = np.linspace(0, 1, 9)[:, None]
    bow: Points = (1 - t) ** 2 * a + 2 * t * (1 - t) * (2 * middle - (a + b) / 2) + t**2 * b
    return bow

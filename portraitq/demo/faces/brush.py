"""A brush for soft, smooth-edged shapes: closed curves, drawn at twice the size and reduced, blurred where asked.

Everything is painted within the box that it touches, so that a face of a hundred shapes takes a blink.
Points are (n, 2) arrays of pixels, x to the right and y down, unless a `Place` says otherwise.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import cos, sin

import numpy as np
from numpy.typing import ArrayLike, NDArray
from PIL import Image, ImageChops, ImageDraw, ImageFilter

Points = NDArray[np.float64]
Colour = tuple[int, int, int]
OVERSAMPLED = 2
COARSER = ((24.0, 8), (10.0, 4), (5.0, 2))  # blurred so far, a mask is drawn so much smaller: nobody sees it


def mix(one: Colour, other: Colour, share: float) -> Colour:
    """`one` moved by `share` (0–1) towards `other`."""
    r, g, b = (round(a + (c - a) * share) for a, c in zip(one, other, strict=True))
    return r, g, b


def curve(points: ArrayLike, *, closed: bool = True, steps: int = 10) -> Points:
    """A smooth curve through `points` (Catmull–Rom), `steps` points for each span."""
    p = np.asarray(points, float)
    around = np.concatenate([p[-1:], p, p[:2]] if closed else [p[:1], p, p[-1:]])
    t = np.linspace(0, 1, steps, endpoint=False)[:, None]
    spans = []
    for a, b, c, d in zip(around[:-3], around[1:-2], around[2:-1], around[3:], strict=True):
        spans.append(0.5 * (2 * b + (c - a) * t + (2 * a - 5 * b + 4 * c - d) * t**2 + (3 * b - a - 3 * c + d) * t**3))
    return np.concatenate(spans if closed else [*spans, p[-1:]])


def lowered(points: Points, by: float) -> Points:
    """The same outline further down: where a shadow falls."""
    moved: Points = points + np.array([0.0, by])
    return moved


def ellipse(x: float, y: float, width: float, height: float, steps: int = 40) -> Points:
    """The outline of an ellipse by its middle and its half axes."""
    t = np.linspace(0, 2 * np.pi, steps, endpoint=False)
    return np.column_stack([x + width * np.cos(t), y + height * np.sin(t)])


def ribbon(points: ArrayLike, widths: ArrayLike, steps: int = 10) -> Points:
    """The outline of a stroke along a smooth curve, its breadth running through `widths`."""
    line = curve(points, closed=False, steps=steps)
    along = np.linspace(0, 1, len(line))
    knots = np.asarray(widths, float)
    half = np.interp(along, np.linspace(0, 1, len(knots)), knots)[:, None] / 2
    way = np.gradient(line, axis=0)
    across = np.column_stack([-way[:, 1], way[:, 0]]) / np.maximum(np.hypot(*way.T), 1e-9)[:, None]
    return np.concatenate([line + across * half, (line - across * half)[::-1]])


@dataclass(frozen=True)
class Place:
    """Where a head sits: its own measures (unit: a little more than half a head's height) on the canvas."""

    x_px: float
    y_px: float
    unit_px: float
    tilt: float = 0.0

    def px(self, points: ArrayLike) -> Points:
        """Points in a head's measures as pixels."""
        p = np.asarray(points, float)
        turn = np.array([[cos(self.tilt), sin(self.tilt)], [-sin(self.tilt), cos(self.tilt)]])
        moved: Points = p @ turn * self.unit_px + (self.x_px, self.y_px)
        return moved


class Canvas:
    """A picture in the making; painting changes `image`."""

    def __init__(self, image: Image.Image) -> None:
        self.image = image

    def fill(
        self,
        outline: Points,
        colour: Colour,
        *,
        blur_px: float = 0.0,
        opacity: float = 1.0,
        clip: Image.Image | None = None,
    ) -> None:
        """Paint the shape inside `outline`; `clip` is a mask of the whole canvas that it stays within."""
        box = self._box(outline, 3 * blur_px + 2)
        if box is None:
            return
        mask = _mask(outline, box, blur_px)
        if clip is not None:
            mask = ImageChops.multiply(mask, clip.crop(box))
        self._paint(mask, box, colour, opacity)

    def strokes(
        self,
        lines: list[Points],
        colour: Colour,
        *,
        width_px: float,
        opacity: float = 1.0,
        clip: Image.Image | None = None,
        blur_px: float = 0.0,
    ) -> None:
        """Paint many thin lines at once: hair, fur, threads."""
        if not lines:
            return
        box = self._box(np.concatenate(lines), width_px + 3 * blur_px + 2)
        if box is None:
            return
        scale = OVERSAMPLED
        mask = Image.new("L", ((box[2] - box[0]) * scale, (box[3] - box[1]) * scale))
        draw = ImageDraw.Draw(mask)
        for line in lines:
            draw.line(_flat((line - box[:2]) * scale), fill=255, width=max(1, round(width_px * scale)))
        mask = mask.reduce(scale)
        if blur_px:
            mask = mask.filter(ImageFilter.GaussianBlur(blur_px))
        if clip is not None:
            mask = ImageChops.multiply(mask, clip.crop(box))
        self._paint(mask, box, colour, opacity)

    def mask_of(self, *outlines: Points, blur_px: float = 0.0) -> Image.Image:
        """A mask of the whole canvas: the shapes inside `outlines` together."""
        whole = Image.new("L", self.image.size)
        for outline in outlines:
            box = self._box(outline, 3 * blur_px + 2)
            if box is not None:
                mask = _mask(outline, box, blur_px)
                whole.paste(ImageChops.lighter(whole.crop(box), mask), box)
        return whole

    def wash(self, mask: Image.Image, colour: Colour, opacity: float = 1.0) -> None:
        """Paint through a mask of the whole canvas."""
        box = mask.getbbox()
        if box is not None:
            self._paint(mask.crop(box), box, colour, opacity)

    def _paint(self, mask: Image.Image, box: tuple[int, int, int, int], colour: Colour, opacity: float) -> None:
        if opacity < 1:
            mask = mask.point([round(level * opacity) for level in range(256)])
        self.image.paste(colour, box, mask)

    def _box(self, points: Points, margin_px: float) -> tuple[int, int, int, int] | None:
        """The whole pixels that `points` touch, within the canvas; None when they lie outside."""
        low = np.floor(points.min(axis=0) - margin_px)
        high = np.ceil(points.max(axis=0) + margin_px)
        left, top = max(0, int(low[0])), max(0, int(low[1]))
        right, bottom = min(self.image.width, int(high[0])), min(self.image.height, int(high[1]))
        return (left, top, right, bottom) if left < right and top < bottom else None


def _mask(outline: Points, box: tuple[int, int, int, int], blur_px: float) -> Image.Image:
    size = box[2] - box[0], box[3] - box[1]
    step = next((step for from_px, step in COARSER if blur_px >= from_px), 0)
    if step:
        coarse = max(1, size[0] // step), max(1, size[1] // step)
        mask = Image.new("L", coarse)
        ImageDraw.Draw(mask).polygon(_flat((outline - box[:2]) * (coarse[0] / size[0], coarse[1] / size[1])), fill=255)
        return mask.filter(ImageFilter.GaussianBlur(blur_px / step)).resize(size, Image.Resampling.BILINEAR)
    mask = Image.new("L", (size[0] * OVERSAMPLED, size[1] * OVERSAMPLED))
    ImageDraw.Draw(mask).polygon(_flat((outline - box[:2]) * OVERSAMPLED), fill=255)
    mask = mask.reduce(OVERSAMPLED)
    return mask.filter(ImageFilter.GaussianBlur(blur_px)) if blur_px else mask


def _flat(points: Points) -> list[tuple[float, float]]:
    return [(x, y) for x, y in points.tolist()]

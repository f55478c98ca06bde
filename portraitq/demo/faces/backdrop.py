"""What lies behind the sitters, far out of focus: the quay at night, a stall under its lamps, dusk over the water."""

from __future__ import annotations

import numpy as np
from PIL import Image, ImageDraw, ImageFilter

from portraitq.demo.faces.brush import Colour, mix

Size = tuple[int, int]
COARSE = 4  # what is out of focus is painted at a quarter of the size
LAMPS: tuple[Colour, ...] = ((255, 214, 140), (255, 190, 104), (255, 236, 196), (255, 158, 88), (240, 120, 92))
FAR_LAMPS: tuple[Colour, ...] = (*LAMPS, (150, 205, 220), (190, 220, 200))


def backdrop(rng: np.random.Generator, size_px: Size) -> Image.Image:
    """One of the market's places by night, RGB, `size_px`."""
    paint = (_quay, _stall, _dusk)[rng.integers(3)]
    small = (max(1, size_px[0] // COARSE), max(1, size_px[1] // COARSE))
    return paint(rng, small).resize(size_px, Image.Resampling.BICUBIC)


def _quay(rng: np.random.Generator, size: Size) -> Image.Image:
    """Water with the far shore's lamps in it."""
    width, height = size
    shore = int(height * rng.uniform(0.36, 0.46))
    image = _gradient(size, ((18, 26, 48), (44, 58, 84), (26, 40, 60), (14, 22, 36)), (0, shore / height, 0.6, 1))
    draw = ImageDraw.Draw(image)
    x = 0
    while x < width:
        broad, tall = int(rng.integers(12, 40)), int(rng.integers(6, 46))
        draw.rectangle((x, shore - tall, x + broad, shore), fill=mix((16, 22, 38), (40, 44, 62), rng.uniform()))
        x += broad + int(rng.integers(0, 8))
    image = image.filter(ImageFilter.GaussianBlur(3))
    for _ in range(int(rng.integers(9, 14))):
        lamp = FAR_LAMPS[rng.integers(len(FAR_LAMPS))]
        at, r = rng.uniform(0, width), rng.uniform(4, 10)
        y = shore - rng.uniform(0, 40)
        _streak(image, at, 2 * shore - y, r, lamp, rng)
        _disc(image, at, y, r, lamp, rng.uniform(0.45, 0.9))
    _string_of_lamps(image, rng, height * rng.uniform(0.05, 0.14), (9, 15))
    return image


def _stall(rng: np.random.Generator, size: Size) -> Image.Image:
    """Under an awning, with the next stalls' bulbs."""
    width, height = size
    warm: tuple[Colour, ...] = ((58, 40, 34), (96, 62, 42), (58, 42, 40), (28, 24, 28))
    image = _gradient(size, warm, (0, 0.3, 0.65, 1))
    draw = ImageDraw.Draw(image)
    one, other = [((150, 62, 48), (206, 186, 156)), ((48, 92, 96), (206, 192, 164)), ((60, 78, 112), (204, 190, 166))][
        rng.integers(3)
    ]
    deep = int(height * rng.uniform(0.13, 0.19))
    stripe = width / 9
    for k in range(-1, 11):
        fill = mix(one if k % 2 else other, (40, 26, 26), 0.42)
        draw.polygon(
            [(k * stripe, 0), ((k + 1) * stripe, 0), ((k + 1.15) * stripe, deep), ((k - 0.1) * stripe, deep)], fill
        )
    for _ in range(7):  # goods on shelves, posts
        x0 = rng.uniform(-0.1, 1) * width
        tone = mix((70, 44, 34), (150, 92, 60), rng.uniform())
        y0 = height * rng.uniform(0.42, 0.7)
        draw.rectangle((x0, y0, x0 + width * rng.uniform(0.05, 0.22), y0 + height * 0.12), fill=tone)
    image = image.filter(ImageFilter.GaussianBlur(6))
    for _ in range(int(rng.integers(12, 18))):
        x, y = rng.uniform(0, width), rng.uniform(0, height * 0.62)
        _disc(image, x, y, rng.uniform(5, 14), *_lamp(rng, LAMPS, 0.25, 0.75))
    _string_of_lamps(image, rng, deep * 1.1, (11, 17))
    return image


def _dusk(rng: np.random.Generator, size: Size) -> Image.Image:
    """The last light over masts and water."""
    width, height = size
    sky: tuple[Colour, ...] = ((44, 50, 88), (122, 92, 118), (226, 146, 108), (74, 66, 88), (34, 40, 60))
    line = rng.uniform(0.44, 0.52)
    image = _gradient(size, sky, (0, line * 0.55, line, line + 0.04, 1))
    draw = ImageDraw.Draw(image)
    for _ in range(int(rng.integers(3, 6))):
        x, top = rng.uniform(0, width), height * rng.uniform(0.1, 0.3)
        y = height * line
        draw.line((x, top, x + 2, y), fill=(50, 42, 62), width=3)
        draw.line((x, top, x + rng.uniform(-40, 40), y), fill=(60, 50, 70), width=1)
        draw.polygon([(x - 30, y - 4), (x + 30, y - 4), (x + 20, y + 9), (x - 22, y + 9)], fill=(46, 40, 60))
    image = image.filter(ImageFilter.GaussianBlur(4))
    for _ in range(int(rng.integers(8, 13))):
        at, y, r = rng.uniform(0, width), height * line - rng.uniform(0, 20), rng.uniform(3, 8)
        lamp, bright = _lamp(rng, LAMPS, 0.5, 0.9)
        _streak(image, at, height * line + 14, r, lamp, rng)
        _disc(image, at, y, r, lamp, bright)
    _string_of_lamps(image, rng, height * rng.uniform(0.05, 0.12), (8, 13))
    return image


def _lamp(rng: np.random.Generator, lamps: tuple[Colour, ...], low: float, high: float) -> tuple[Colour, float]:
    return lamps[rng.integers(len(lamps))], rng.uniform(low, high)


def _gradient(size: Size, colours: tuple[Colour, ...], at: tuple[float, ...]) -> Image.Image:
    rows = np.linspace(0, 1, size[1])
    bands = np.column_stack([np.interp(rows, at, [colour[c] for colour in colours]) for c in range(3)])
    return Image.fromarray(np.broadcast_to(bands[:, None], (size[1], size[0], 3)).round().astype(np.uint8))


def _disc(image: Image.Image, x: float, y: float, r: float, colour: Colour, bright: float) -> None:
    """A lamp out of focus: a disc with a faint rim and a glow around it."""
    for radius, blur, share in ((r * 2.6, r, 0.28), (r, 1.2, 0.8), (r * 0.82, 1.4, 0.25)):
        reach = int(radius + 3 * blur + 2)
        mask = Image.new("L", (2 * reach, 2 * reach))
        ImageDraw.Draw(mask).ellipse(
            (reach - radius, reach - radius, reach + radius, reach + radius), fill=int(255 * share * bright)
        )
        image.paste(colour, (int(x) - reach, int(y) - reach), mask.filter(ImageFilter.GaussianBlur(blur)))


def _streak(image: Image.Image, x: float, y: float, r: float, colour: Colour, rng: np.random.Generator) -> None:
    """A lamp in the water: broken bars below each other."""
    mask = Image.new("L", image.size)
    draw = ImageDraw.Draw(mask)
    for k in range(int(rng.integers(7, 14))):
        broad = r * rng.uniform(0.5, 1.3)
        level = y + k * r * 0.9
        draw.rectangle((x - broad, level, x + broad, level + r * 0.35), fill=int(120 * 0.86**k))
    image.paste(colour, (0, 0), mask.filter(ImageFilter.GaussianBlur(2)))


def _string_of_lamps(image: Image.Image, rng: np.random.Generator, y: float, radii: tuple[int, int]) -> None:
    width = image.width
    sag, phase = rng.uniform(16, 34), rng.uniform(0, 1)
    for k in range(7):
        share = (k + phase) / 6.5
        at = y + sag * (1 - (2 * share - 1) ** 2)
        _disc(image, share * width, at, rng.uniform(*radii) * 0.8, *_lamp(rng, LAMPS[:3], 0.6, 0.95))

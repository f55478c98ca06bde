"""The main colours of a photo as the Easel shows them: large swatches, each with its lightness in numbers.

Every swatch has the grey of its value beside it, so that a pencil can be laid against it without seeing its colour.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from portraitq.photo.colours import GREY_STEPS, Palette, Swatch
from portraitq.photo.views import tones

PLACES = (("skin", "Skin"), ("hair", "Hair or hat"), ("clothes", "Clothes"))


@dataclass(frozen=True)
class SwatchShown:
    """One swatch; colours as a style sheet names them, `share` in per cent of its place."""

    colour: str
    grey: str
    lightness: int
    value: int
    share: int


@dataclass(frozen=True)
class Group:
    """The colours of one place, from light to dark; none where none could be told from what is around it."""

    name: str
    swatches: tuple[SwatchShown, ...]


@dataclass(frozen=True)
class ColoursView:
    """One head after the other with its title, and the value scale from black to white, as greys."""

    heads: tuple[tuple[str, tuple[Group, ...]], ...]
    scale: tuple[tuple[int, str], ...]


def colours_view(palettes: Sequence[Palette]) -> ColoursView:
    """The palettes of one photo, ready to print."""
    several = len(palettes) > 1
    heads = tuple(
        (f"Colours, face {number}" if several else "Colours", _groups(palette))
        for number, palette in enumerate(palettes, 1)
    )
    greys = tones(0, 100, GREY_STEPS + 1)
    return ColoursView(heads, tuple((step, _grey(level)) for step, level in enumerate(greys)))


def _groups(palette: Palette) -> tuple[Group, ...]:
    return tuple(Group(said, tuple(_shown(one) for one in getattr(palette, place))) for place, said in PLACES)


def _shown(one: Swatch) -> SwatchShown:
    [level] = tones(one.lightness, one.lightness, 1)
    return SwatchShown(one.hex, _grey(level), one.lightness, one.value, round(100 * one.share))


def _grey(level: int) -> str:
    return f"#{level:02x}{level:02x}{level:02x}"

"""What the style sheets promise: contrast in every light, one place for colours, states told by more than colour."""

from __future__ import annotations

import re
from itertools import pairwise

import pytest

from portraitq import paths
from portraitq.web.oval import shade

TOKENS = (paths.static() / "css" / "tokens.css").read_text()
INKS = ("charcoal", "graphite", "red-chalk", "moss")
GROUNDS = ("paper", "sheet")
SHEETS = sorted(path.name for path in (paths.static() / "css").glob("*.css"))


STOPS_MOTION = (
    "*, *::before, *::after "
    "{ animation: none !important; transition: none !important; scroll-behavior: auto !important; }"
)


def luminance(colour: str) -> float:
    """WCAG 2.2, "relative luminance"."""
    parts = [int(colour[at : at + 2], 16) / 255 for at in (1, 3, 5)]
    red, green, blue = (c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in parts)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def contrast(one: str, other: str) -> float:
    """WCAG 2.2, "contrast ratio"."""
    light, dark = sorted((luminance(one), luminance(other)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


@pytest.mark.parametrize(
    ("colour", "expected"),
    [
        ("#000000", 21),
        ("#767676", 4.5422),
        ("#777777", 4.4781),
        ("#949494", 3.0335),
        ("#ff0000", 3.9985),
        ("#0000ff", 8.5925),
    ],
)
def test_contrast_on_white_is_computed_as_wcag_does(colour: str, expected: float):
    assert contrast(colour, "#ffffff") == pytest.approx(expected, abs=1e-4)


def variants() -> dict[str, dict[str, str]]:
    """Each block of the sheet that sets inks, by what it is for."""
    found = {}
    for block in re.finditer(r"([^{}]*)\{([^{}]*--paper:[^{}]*)\}", TOKENS):
        before = TOKENS[: block.start(2)]
        name = " ".join((before.rsplit("@media", 1)[-1] if "@media" in before else "").split("{")[0].split()) or "light"
        found[f"{name} {block[1].split('*/')[-1].strip()}"] = dict(
            re.findall(r"--([a-z-]+):\s*(#[0-9a-f]{6})", block[2])
        )
    return found


def test_there_is_a_light_a_dark_a_dark_by_hand_and_a_printed_variant():
    assert len(variants()) == 4


@pytest.mark.parametrize("variant", variants())
def test_every_ink_is_readable_on_every_ground(variant: str):
    """WCAG 2.2 SC 1.4.3: 4.5 : 1 for text of any size."""
    colours = variants()[variant]

    poor = {
        (ink, ground): round(contrast(colours[ink], colours[ground]), 2)
        for ink in INKS
        for ground in GROUNDS
        if contrast(colours[ink], colours[ground]) < 4.5
    }

    assert poor == {}


def test_the_dark_variant_is_the_same_by_setting_and_by_hand():
    dark = [colours for name, colours in variants().items() if "dark" in name or "evening" in name]

    assert len(dark) == 2
    assert dark[0] == dark[1]


def test_nothing_is_printed_in_grey():
    printed = next(colours for name, colours in variants().items() if "print" in name)

    assert set(printed.values()) == {"#ffffff", "#000000"}


@pytest.mark.parametrize("sheet", SHEETS)
def test_colours_are_named_in_one_place(sheet: str):
    if sheet == "tokens.css":
        return
    rules = re.sub(r"/\*.*?\*/", "", (paths.static() / "css" / sheet).read_text(), flags=re.S)

    named = set(re.findall(r"(?<![\w&-])#[0-9a-fA-F]{3,8}\b(?=[^{}]*[;}])", rules))
    assert named <= {"#000", "#fff"}  # a slip of paper and a QR are black on white in every light
    assert re.findall(r"var\(--(?:paper|sheet|charcoal|graphite|red-chalk|moss)\)", rules) == []


@pytest.mark.parametrize("sheet", SHEETS)
def test_only_what_stops_motion_is_forced(sheet: str):
    rules = re.sub(r"/\*.*?\*/", "", (paths.static() / "css" / sheet).read_text(), flags=re.S)

    forced = [line.strip() for line in rules.splitlines() if "!important" in line]

    expected = [STOPS_MOTION] if sheet == "base.css" else []
    assert forced == expected


def test_the_oval_fills_stage_by_stage_from_below():
    tops = [float(re.match(r"M[\d.]+ ([\d.]+)", shade(done, 5))[1]) for done in range(1, 5)]  # type: ignore[index]

    assert all(lower > higher for lower, higher in pairwise(tops))
    assert shade(0, 5) == ""
    assert shade(5, 5) == shade(1, 1)


def test_an_oval_past_its_stages_is_full_and_one_without_stages_empty():
    assert shade(7, 5) == shade(5, 5)
    assert shade(0, 0) == ""

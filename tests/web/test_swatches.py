"""How the colours of a photo are told on the Easel."""

from __future__ import annotations

from portraitq.photo.colours import Palette, Swatch
from portraitq.web.swatches import colours_view

LIT, SHADED = Swatch(214, 172, 142, 73, 0.62), Swatch(150, 104, 84, 48, 0.38)
ONE = Palette(skin=(LIT, SHADED), hair=(), clothes=(Swatch(255, 255, 255, 100, 1.0),))


def test_each_place_has_its_swatches_from_light_to_dark():
    [(title, groups)] = colours_view([ONE]).heads

    assert title == "Colours"
    assert [(group.name, [one.lightness for one in group.swatches]) for group in groups] == [
        ("Skin", [73, 48]),
        ("Hair or hat", []),
        ("Clothes", [100]),
    ]


def test_a_swatch_has_the_grey_of_its_lightness_beside_it():
    """L* 73 is relative luminance .4528, sRGB 179; 48 is .1683, 114 (CIE 15, IEC 61966-2-1)."""
    [(_, groups)] = colours_view([ONE]).heads

    assert [one.grey for one in groups[0].swatches] == ["#b3b3b3", "#727272"]
    assert groups[2].swatches[0].grey == "#ffffff"


def test_a_swatch_says_its_value_and_its_share():
    [(_, groups)] = colours_view([ONE]).heads

    assert [(one.value, one.share, one.colour) for one in groups[0].swatches] == [
        (7, 62, "#d6ac8e"),
        (5, 38, "#966854"),
    ]


def test_several_faces_are_numbered():
    assert [title for title, _ in colours_view([ONE, ONE]).heads] == ["Colours, face 1", "Colours, face 2"]


def test_the_value_scale_goes_from_black_to_white_in_ten_steps():
    scale = colours_view([ONE]).scale

    assert [step for step, _ in scale] == list(range(11))
    assert (scale[0][1], scale[5][1], scale[10][1]) == ("#000000", "#777777", "#ffffff")

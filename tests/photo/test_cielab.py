"""Lightness and colour against published values, scikit-image and LittleCMS."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from PIL import Image, ImageCms
from skimage.color import lab2rgb, rgb2lab

from portraitq.photo.cielab import coded, lab, lightness, linear, luminance, luminance_of, rgb

levels = st.integers(0, 255)
colours = st.tuples(levels, levels, levels)


@pytest.mark.parametrize(
    ("colour", "expected"),
    [
        ((255, 0, 0), 0.2126),
        ((0, 0, 255), 0.0722),
        ((0x77, 0x77, 0x77), 0.184475),
        ((0x80, 0x80, 0x80), 0.215861),
    ],
)
def test_luminance_is_that_of_wcag(colour, expected):
    """WCAG 2.2, "relative luminance"."""
    assert luminance(np.array(colour) / 255) == pytest.approx(expected, abs=1e-6)


@pytest.mark.parametrize(
    ("colour", "expected"),
    [
        ((255, 255, 255), (100, 0, 0)),
        ((255, 0, 0), (53.24, 80.09, 67.20)),
        ((0, 255, 0), (87.73, -86.18, 83.18)),
        ((0, 0, 255), (32.30, 79.19, -107.86)),
        ((0, 0, 0), (0, 0, 0)),
    ],
)
def test_the_corners_of_srgb_lie_where_they_are_published(colour, expected):
    """CIE L*a*b* of sRGB's primaries for D65, 2°: brucelindbloom.com's calculator, to two decimals."""
    assert lab(np.array(colour) / 255) == pytest.approx(expected, abs=0.011)


@given(colours)
def test_every_colour_lies_where_scikit_image_puts_it(colour):
    """It takes the same formulas with the white of ASTM E308, which ours misses by a hundred-thousandth."""
    given_rgb = np.array(colour) / 255

    assert lab(given_rgb) == pytest.approx(rgb2lab(given_rgb), abs=0.02)


@given(colours)
def test_a_colour_survives_the_way_there_and_back(colour):
    given_rgb = np.array(colour) / 255

    assert rgb(lab(given_rgb)) == pytest.approx(given_rgb, abs=1e-6)


@given(colours)
def test_the_way_back_is_scikit_images_too(colour):
    there = lab(np.array(colour) / 255)

    assert rgb(there) == pytest.approx(lab2rgb(there), abs=1e-3)


def test_what_srgb_cannot_show_is_brought_to_what_it_can():
    shown = rgb([[50, 120, 120], [90, -120, 0], [100, 0, 60]])

    assert shown.min() >= 0
    assert shown.max() <= 1


def test_greys_are_as_light_as_littlecms_says():
    """A colour engine of its own. Greys only: it adapts other colours to the white of D50, which moves their L*."""
    greys = Image.frombytes("L", (256, 1), bytes(range(256))).convert("RGB")
    turned = ImageCms.profileToProfile(
        greys, ImageCms.createProfile("sRGB"), ImageCms.createProfile("LAB"), outputMode="LAB"
    )

    theirs = np.frombuffer(turned.getchannel("L").tobytes(), np.uint8) / 2.55

    ours = lightness(luminance(np.repeat(np.arange(256)[:, None], 3, axis=1) / 255))
    assert np.abs(ours - theirs).max() < 1 / 2.55


@given(st.floats(0, 1))
def test_light_and_its_coding_undo_each_other(share):
    assert coded(linear(share)) == pytest.approx(share, abs=1e-6)


@given(st.floats(0, 100))
def test_lightness_and_luminance_undo_each_other(light):
    assert lightness(luminance_of(light)) == pytest.approx(light, abs=1e-9)

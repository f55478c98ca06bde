"""The main colours of a photo: known colours are found again where they are, and nothing else is said of anybody."""

from __future__ import annotations

import io
import json
from dataclasses import astuple
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from PIL import Image, ImageDraw
from skimage.color import deltaE_cie76, rgb2lab

from portraitq.core.errors import Malformed
from portraitq.demo.faces import scene
from portraitq.photo.colours import ALIKE, MOST, Palette, Swatch, palettes, print_palettes, read_palettes
from portraitq.photo.face import Face

WALL, SKIN, SHADE, HAIR, SHIRT, TIE = (
    (150, 158, 150),
    (222, 176, 148),
    (150, 104, 84),
    (72, 44, 30),
    (40, 78, 140),
    (190, 52, 48),
)
HEAD = Face(0.3, 0.15, 0.4, 0.4)
SEEN = (
    3.0  # of L*a*b* (CIE 1976): grain and JPEG move a colour by less; 2.3 is what an eye just sees (Mahy et al. 1994)
)


def a_portrait(*, wall=WALL, hair: tuple | None = HAIR, shade: tuple = SKIN, shirt=SHIRT, tie=None, grain=6.0) -> bytes:
    """A plain head of 320 × 400 px in `HEAD` on 800 × 1000: skin, `shade` on its right half, hair, shirt, tie."""
    picture = Image.new("RGB", (800, 1000), wall)
    draw = ImageDraw.Draw(picture)
    draw.rectangle((130, 640, 670, 1000), shirt)
    if tie:
        draw.rectangle((350, 640, 450, 1000), tie)
    draw.rectangle((340, 500, 460, 660), SKIN)
    draw.ellipse((240, 150, 560, 550), SKIN)
    draw.chord((240, 150, 560, 550), -90, 90, shade)
    if hair:
        draw.pieslice((215, 120, 585, 560), 180, 360, hair)
        draw.ellipse((270, 230, 530, 540), SKIN)
        draw.chord((270, 230, 530, 540), -90, 90, shade)
    noisy = np.asarray(picture, float) + np.random.default_rng(2).normal(0, grain, (1000, 800, 3))
    out = io.BytesIO()
    Image.fromarray(noisy.clip(0, 255).astype(np.uint8)).save(out, "JPEG", quality=88)
    return out.getvalue()


def the_palette(photo: bytes, head: Face = HEAD) -> Palette:
    [found] = palettes(photo, (head,))
    return found


def lab_of(swatch: Swatch | tuple[int, int, int]) -> np.ndarray:
    colour = (swatch.red, swatch.green, swatch.blue) if isinstance(swatch, Swatch) else swatch
    return rgb2lab(np.array(colour) / 255)


def apart(swatch: Swatch, colour: tuple[int, int, int]) -> float:
    return float(deltaE_cie76(lab_of(swatch), lab_of(colour)))


def places(palette: Palette) -> tuple[tuple[Swatch, ...], ...]:
    return palette.skin, palette.hair, palette.clothes


# What is found


def test_known_colours_are_found_where_they_are():
    found = the_palette(a_portrait())

    [[skin], [hair], [shirt]] = places(found)
    assert apart(skin, SKIN) < SEEN
    assert apart(hair, HAIR) < SEEN
    assert apart(shirt, SHIRT) < SEEN


def test_light_and_shade_of_a_face_are_two_colours_the_light_one_first():
    lit, shaded = the_palette(a_portrait(shade=SHADE)).skin

    assert apart(lit, SKIN) < SEEN
    assert apart(shaded, SHADE) < SEEN
    assert (lit.share, shaded.share) == (pytest.approx(0.5, abs=0.06), pytest.approx(0.5, abs=0.06))


def test_clothes_of_two_colours_have_both_with_their_shares():
    tie, shirt = the_palette(a_portrait(tie=TIE)).clothes

    assert (apart(tie, TIE) < SEEN, apart(shirt, SHIRT) < SEEN) == (True, True)
    assert shirt.share > tie.share > 0.1


def test_hair_as_dark_as_the_wall_behind_it_is_found():
    [hair] = the_palette(a_portrait(wall=HAIR)).hair

    assert apart(hair, HAIR) < SEEN


def test_a_head_without_hair_has_no_colour_of_hair():
    found = the_palette(a_portrait(hair=None))

    assert found.hair == ()
    assert apart(found.skin[0], SKIN) < SEEN


def test_the_shaded_half_of_a_head_without_hair_is_no_hair():
    assert the_palette(a_portrait(hair=None, shade=HAIR)).hair == ()


def test_hair_as_dark_as_the_shaded_half_of_the_face_is_found():
    [hair] = the_palette(a_portrait(shade=HAIR)).hair

    assert apart(hair, HAIR) < SEEN


def test_the_wall_is_no_ones_colour():
    found = the_palette(a_portrait(wall=(90, 140, 90)))

    assert all(apart(swatch, (90, 140, 90)) > ALIKE for place in places(found) for swatch in place)


def test_a_photo_that_ends_at_the_chin_has_no_clothes():
    whole = Image.open(io.BytesIO(a_portrait()))
    out = io.BytesIO()
    whole.crop((0, 0, 800, 560)).save(out, "JPEG")

    found = the_palette(out.getvalue(), Face(0.3, 150 / 560, 0.4, 400 / 560))

    assert found.clothes == ()
    assert apart(found.skin[0], SKIN) < SEEN


def test_each_marked_face_has_its_palette():
    drawn = scene(3, 2, size_px=(600, 800))
    out = io.BytesIO()
    drawn.image.save(out, "JPEG")

    assert len(palettes(out.getvalue(), drawn.heads)) == 2


def test_where_no_face_is_marked_the_middle_is_looked_at():
    [found] = palettes(a_portrait())

    assert apart(found.skin[0], SKIN) < SEEN


@pytest.mark.parametrize("size", [(32, 32), (32, 2400), (2400, 32)])
@pytest.mark.parametrize("head", [Face(0, 0, 1, 1), Face(0.99, 0.99, 0.01, 0.01), Face(0.5, 0, 0.002, 0.002)])
def test_the_oddest_marks_and_shapes_have_an_answer(size, head):
    out = io.BytesIO()
    Image.fromarray(np.random.default_rng(0).integers(0, 256, (*size[::-1], 3), dtype=np.uint8)).save(out, "JPEG")

    [found] = palettes(out.getvalue(), (head,))

    assert all(len(place) <= MOST for place in places(found))


# How they are told


@pytest.fixture(scope="module")
def drawn_ones() -> list[Palette]:
    found: list[Palette] = []
    for seed in range(6):
        drawn, out = scene(seed, size_px=(600, 800)), io.BytesIO()
        drawn.image.save(out, "JPEG", quality=90)
        found += palettes(out.getvalue(), drawn.heads)
    return found


def test_every_drawn_face_has_skin_hair_and_clothes(drawn_ones):
    assert all(all(places(one)) for one in drawn_ones)


def test_colours_go_from_light_to_dark(drawn_ones):
    for one in drawn_ones:
        for place in places(one):
            lights = [swatch.lightness for swatch in place]
            assert lights == sorted(lights, reverse=True)


def test_no_two_of_a_place_look_alike(drawn_ones):
    for one in drawn_ones:
        for place in places(one):
            assert all(apart(a, (b.red, b.green, b.blue)) > ALIKE - 1 for a, b in pairwise(place))


def test_the_shares_of_a_place_are_of_what_is_shown(drawn_ones):
    for one in drawn_ones:
        for place in places(one):
            assert sum(swatch.share for swatch in place) == pytest.approx(1, abs=0.002)


def test_a_swatch_says_how_light_it_is(drawn_ones):
    for one in drawn_ones:
        for place in places(one):
            for swatch in place:
                assert swatch.lightness == pytest.approx(lab_of(swatch)[0], abs=1)
                assert swatch.value == pytest.approx(swatch.lightness / 10, abs=0.5)


def test_the_same_photo_gives_the_same_colours():
    photo = a_portrait()

    assert palettes(photo, (HEAD,)) == palettes(photo, (HEAD,))


# How they are kept


def test_nothing_but_colours_is_kept_of_anybody():
    kept = json.loads(print_palettes(palettes(a_portrait(), (HEAD,))))

    assert [set(one) for one in kept] == [{"skin", "hair", "clothes"}]
    for place in kept[0].values():
        for swatch in place:
            assert set(swatch) == {"red", "green", "blue", "lightness", "share"}
            assert all(isinstance(said, int | float) for said in swatch.values())


levels = st.integers(0, 255)
swatches = st.builds(Swatch, levels, levels, levels, st.integers(0, 100), st.floats(0, 1))
sets_of_them = st.lists(swatches, max_size=4).map(tuple)


@given(st.lists(st.builds(Palette, sets_of_them, sets_of_them, sets_of_them), max_size=3).map(tuple))
def test_what_is_printed_can_be_read(given_palettes):
    assert read_palettes(print_palettes(given_palettes)) == given_palettes


@pytest.mark.parametrize("content", [b"", b"\xff\xd8", b"7", b"[7]", b'[{"skin":[]}]', b'[{"skin":[{"red":1}]}]'])
def test_what_is_no_palette_is_refused(content):
    with pytest.raises(Malformed, match="print_palettes"):
        read_palettes(content)


def test_a_swatch_is_named_as_a_style_sheet_names_colours():
    assert Swatch(1, 160, 255, 60, 1.0).hex == "#01a0ff"
    assert all(0 <= part <= 255 for part in astuple(Swatch(1, 160, 255, 60, 1.0))[:3])

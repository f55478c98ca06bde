"""Views of a photo to draw from: values against published formulas and scikit-image, geometry against drawn faces."""

from __future__ import annotations

import io

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from numpy.typing import ArrayLike
from PIL import Image
from scipy.ndimage import label
from skimage.color import rgb2lab

from portraitq.demo.faces import scene
from portraitq.demo.faces.scene import CHIN, CROWN, TEMPLE
from portraitq.photo.face import Face
from portraitq.photo.views import (
    EYES_PX,
    MOST_ENLARGED,
    VALUES,
    NoSuchView,
    eyes_box,
    grey,
    made,
    media_type,
    names,
    need,
    tones,
)

shares = st.floats(0, 1)
ONE_GREY = 0.3  # of L*: half a level of 255 is 0.24 where it makes most, and the weights are rounded to 16 bits


def jpeg(pixels: ArrayLike, quality: int = 95) -> bytes:
    out = io.BytesIO()
    Image.fromarray(np.asarray(pixels).round().clip(0, 255).astype(np.uint8)).convert("RGB").save(
        out, "JPEG", quality=quality, subsampling=0
    )
    return out.getvalue()


def opened(view: bytes) -> Image.Image:
    image = Image.open(io.BytesIO(view))
    image.load()
    return image


def steps_of(view: bytes) -> np.ndarray:
    """Which of the values each pixel of a view has, 0 the darkest."""
    picture = opened(view)
    return np.frombuffer(picture.tobytes(), np.uint8).reshape(picture.height, picture.width)


def tones_of(view: bytes) -> list[int]:
    palette = opened(view).getpalette()
    assert palette is not None
    return palette[: 3 * len(np.unique(steps_of(view))) : 3]


def lightness_of(greys: ArrayLike) -> np.ndarray:
    """L* of greys 0–255, by scikit-image."""
    rows = np.asarray(greys, float)[:, None, None] / 255
    return rgb2lab(np.repeat(rows, 3, axis=-1))[:, 0, 0]


def a_ramp(width: int = 1000, height: int = 240) -> np.ndarray:
    """From dark on the left to light on the right, in equal steps of L* as far as 8 bits go."""
    return np.tile(np.interp(np.linspace(8, 96, width), lightness_of(np.arange(256)), np.arange(256)), (height, 1))


@pytest.fixture(scope="module")
def grainy() -> bytes:
    """A drawn face, side-lit, with as much grain as a phone makes at night."""
    drawn = np.asarray(scene(4, size_px=(900, 1200)).image, float)
    light = np.linspace(1.2, 0.4, drawn.shape[1])[None, :, None]
    return jpeg(drawn * light + np.random.default_rng(1).normal(0, 9, drawn.shape), quality=85)


# Grey


@given(st.lists(st.tuples(*[st.integers(0, 255)] * 3), min_size=1, max_size=20))
def test_a_grey_is_as_light_as_its_colour(colours):
    picture = Image.fromarray(np.array([colours], np.uint8))

    values = np.asarray(grey(picture))[0]

    assert lightness_of(values) == pytest.approx(rgb2lab(np.array(colours) / 255)[:, 0], abs=ONE_GREY)


def test_greys_stay_what_they_are():
    levels = np.tile(np.arange(256, dtype=np.uint8)[None, :, None], (1, 1, 3))

    assert np.asarray(grey(Image.fromarray(levels)))[0].tolist() == list(range(256))


def test_red_and_blue_are_as_light_as_they_look_and_not_as_television_codes_them():
    """Relative luminance .2126 and .0722 (WCAG 2.2), coded by sRGB; ITU-R BT.601's luma says 76 and 29."""
    pure = Image.fromarray(np.array([[(255, 0, 0), (0, 0, 255)]], np.uint8))

    assert np.asarray(grey(pure))[0].tolist() == [127, 76]
    assert np.asarray(pure.convert("L"))[0].tolist() == [76, 29]


@pytest.mark.parametrize("size", [(1, 1), (3, 64), (65, 63), (200, 129)])
def test_grey_covers_the_whole_picture_whatever_its_size(size):
    pixels = np.random.default_rng(0).integers(0, 256, (size[1], size[0], 3), dtype=np.uint8)

    values = np.asarray(grey(Image.fromarray(pixels)))

    assert lightness_of(values.ravel()) == pytest.approx(rgb2lab(pixels / 255)[..., 0].ravel(), abs=ONE_GREY)


# Flat values


@pytest.mark.parametrize("n", VALUES)
def test_there_are_exactly_as_many_values_as_asked_for(grainy, n):
    view = made(f"values-{n}", grainy)

    assert np.unique(steps_of(view)).tolist() == list(range(n))
    assert (opened(view).mode, opened(view).format) == ("P", "PNG")


@pytest.mark.parametrize("n", VALUES)
def test_values_are_equal_steps_of_lightness_between_the_pictures_ends(n):
    ramp = a_ramp()
    light = lightness_of(ramp[0])
    dark_end, light_end = np.percentile(light, (1, 99))

    steps = steps_of(made(f"values-{n}", jpeg(ramp)))

    expected = np.floor((light - dark_end) / (light_end - dark_end) * n).clip(0, n - 1)
    bounds = np.linspace(dark_end, light_end, n + 1)
    is_sure = np.abs(light[:, None] - bounds).min(axis=1) > 1  # L*: 8 bits, JPEG and the smoothing
    assert (steps == expected)[:, is_sure].all()


@pytest.mark.parametrize("n", VALUES)
def test_what_is_lighter_is_never_shown_darker(n):
    steps = steps_of(made(f"values-{n}", jpeg(a_ramp())))

    assert (np.diff(steps.astype(int), axis=1) >= 0).all()


@pytest.mark.parametrize("n", VALUES)
def test_the_tones_are_a_value_scale_from_the_dark_end_to_the_light_one(n):
    light = lightness_of(tones_of(made(f"values-{n}", jpeg(a_ramp()))))

    assert np.diff(light) == pytest.approx((light[-1] - light[0]) / (n - 1), abs=2 * ONE_GREY)
    assert (light[0], light[-1]) == pytest.approx(tuple(np.percentile(np.linspace(8, 96, 1000), (1, 99))), abs=1)


@given(st.floats(0, 90), st.floats(3, 10), st.sampled_from(VALUES))
def test_each_tone_lies_within_its_own_step(dark, breadth, n):
    assume(dark + breadth <= 100)

    light = lightness_of(tones(dark, dark + breadth, n))

    bounds = np.linspace(dark, dark + breadth, n + 1)
    assert (light >= bounds[:-1] - ONE_GREY).all()
    assert (light <= bounds[1:] + ONE_GREY).all()


@pytest.mark.parametrize("size", [(321, 240), (1201, 1801), (1799, 2399)])
def test_everything_stays_where_it_is(size):
    width, height = size
    left, top, right, bottom = width // 5, height // 3, width // 2, height // 2
    pixels = np.full((height, width), 220.0)
    pixels[top:bottom, left:right] = 40

    steps = steps_of(made("values-3", jpeg(pixels)))

    rows, columns = np.nonzero(steps == 0)
    found = np.array([columns.min(), rows.min(), columns.max() + 1, rows.max() + 1])
    assert steps.shape == (height, width)
    assert np.abs(found - (left, top, right, bottom)).max() <= 0.002 * height + 1


def test_specks_and_grain_go_and_an_edge_stays():
    rng = np.random.default_rng(3)
    pixels = np.full((600, 800), 200.0)
    pixels[:, :400] = 60
    pixels += rng.normal(0, 12, pixels.shape)
    specks = rng.random(pixels.shape) < 0.005
    pixels[specks] = rng.choice([0, 255], specks.sum())

    steps = steps_of(made("values-3", jpeg(pixels)))

    is_dark = steps == 0
    assert label(is_dark)[1] == label(~is_dark)[1] == 1
    edges = is_dark.sum(axis=1)
    assert np.abs(edges - 400).max() <= 3


@pytest.mark.parametrize("n", VALUES)
def test_the_border_between_two_values_is_a_line_and_not_a_drizzle_although_there_is_grain(n):
    ramp = a_ramp(1800, 1200)  # a phone's photo as it is kept

    steps = steps_of(made(f"values-{n}", jpeg(ramp + np.random.default_rng(4).normal(0, 6, ramp.shape))))

    assert [label(steps == step)[1] for step in range(n)] == [1] * n


def test_a_picture_without_light_and_dark_is_one_tone():
    view = made("values-7", jpeg(np.full((300, 300), 118.0)))

    assert tones_of(view) == [118]


@pytest.mark.parametrize("size", [(32, 32), (32, 2400), (2400, 32), (33, 1999)])
@pytest.mark.parametrize("name", names(()))
def test_the_oddest_shapes_have_all_views(name, size):
    noise = np.random.default_rng(0).integers(0, 256, (size[1], size[0], 3))

    view = opened(made(name, jpeg(noise)))

    if not name.startswith("eyes"):
        assert view.size == size


def test_a_view_is_small_enough_to_be_flipped_to(grainy):
    assert max(len(made(f"values-{n}", grainy)) for n in VALUES) < 100_000


# Eyes


@pytest.mark.parametrize("sitters", [1, 2, 5])
@pytest.mark.parametrize("seed", range(6))
def test_both_eyes_and_brows_of_a_drawn_face_are_in_its_close_up(seed, sitters):
    """A drawn head's own measures: eyes at ±0.335 and 0.2 broad to each side, brows up to 0.33 above them."""
    drawn = scene(seed, sitters, size_px=(600, 800))

    for head in drawn.heads:
        unit_x, unit_y = head.width / (2 * TEMPLE), head.height / (CHIN - CROWN)
        middle_x, eye_y = head.left + head.width / 2, head.top - CROWN * unit_y
        needed = (middle_x - 0.56 * unit_x, eye_y - 0.33 * unit_y, middle_x + 0.56 * unit_x, eye_y + 0.16 * unit_y)
        left, top, right, bottom = np.divide(eyes_box(head, 600, 800), (600, 800, 600, 800))
        assert (left <= needed[0], top <= needed[1], right >= needed[2], bottom >= needed[3]) == (True,) * 4
        assert (bottom - top) < 0.55 * head.height, "that is no close-up any more"


def test_the_pupils_of_a_drawn_face_are_seen_left_and_right():
    pixels = np.full((800, 600), 210.0)
    head = Face(0.25, 0.2, 0.5, 0.5)  # 300 × 400 px from 150, 160; its eyes at half of its height, 360
    y, x = np.ogrid[:800, :600]
    for eye_x in (235, 365):
        pixels[(x - eye_x) ** 2 + (y - 360) ** 2 < 12**2] = 10

    view = np.asarray(opened(made("eyes-1", jpeg(pixels), (head,))).convert("L"))

    spots, count = label(view < 100)
    middles = [np.argwhere(spots == n + 1).mean(axis=0) / view.shape for n in range(count)]
    assert count == 2
    assert [middle[1] for middle in middles] == pytest.approx([85 / 300, 215 / 300], abs=0.01)
    assert all(0.4 < middle[0] < 0.65 for middle in middles)


@given(shares, shares, shares, shares, st.integers(32, 2400), st.integers(32, 2400))
def test_a_close_up_never_leaves_the_picture(left, top, width, height, width_px, height_px):
    face = Face(left * 0.99, top * 0.99, max(0.002, width * (1 - left * 0.99)), max(0.002, height * (1 - top * 0.99)))

    box = eyes_box(face, width_px, height_px)

    assert 0 <= box[0] < box[2] <= width_px
    assert 0 <= box[1] < box[3] <= height_px


@pytest.mark.parametrize(("share", "times"), [(0.05, MOST_ENLARGED), (0.5, EYES_PX / 1200), (0.9, 1)])
def test_a_close_up_is_enlarged_as_far_as_it_is_of_use(share, times):
    face = Face(0, 0, share, 0.1)

    view = opened(made("eyes-1", jpeg(np.zeros((40, 2400))), (face,)))

    left, _, right, _ = eyes_box(face, 2400, 40)
    assert view.width == pytest.approx((right - left) * times, abs=1)


def test_each_marked_face_has_its_own_eyes():
    photo = np.full((400, 800), 60.0)
    photo[:, 400:] = 200
    faces = (Face(0.1, 0.2, 0.25, 0.6), Face(0.65, 0.2, 0.25, 0.6))

    shown = [np.asarray(opened(made(f"eyes-{n}", jpeg(photo), faces)).convert("L")).mean() for n in (1, 2)]

    assert shown == pytest.approx([60, 200], abs=2)


def test_where_no_face_is_marked_the_middle_is_shown():
    photo = np.full((400, 400), 200.0)
    photo[150:250, 130:270] = 20

    view = np.asarray(opened(made("eyes-1", jpeg(photo))).convert("L"))

    assert view[view.shape[0] // 2, view.shape[1] // 2] < 40


# Names


def test_a_photo_with_three_faces_has_three_pairs_of_eyes():
    assert names((Face(0, 0, 1, 1),) * 3)[-3:] == ["eyes-1", "eyes-2", "eyes-3"]


def test_eyes_that_nobody_marked_are_refused_with_how_many_there_are():
    with pytest.raises(NoSuchView, match="There is no face 3 on this photo: 2 faces are marked"):
        need("eyes-3", (Face(0, 0, 1, 1),) * 2)


@given(st.text(max_size=60))
def test_any_other_name_is_refused_in_a_sentence_that_names_the_views(name):
    assume(name not in names(()))

    with pytest.raises(NoSuchView, match=r"(grey, values-3)|(There is no face)"):
        made(name, b"")


def test_a_name_out_of_an_address_is_not_repeated_without_end():
    with pytest.raises(NoSuchView) as no:
        need("x" * 5000, ())

    assert len(str(no.value)) < 200


@pytest.mark.parametrize("name", names(()))
def test_a_view_carries_pixels_and_nothing_else(grainy, name):
    view = made(name, grainy)

    image = opened(view)
    assert media_type(view) == Image.MIME[image.format]
    assert set(image.info) <= {"jfif", "jfif_version", "jfif_unit", "jfif_density"}


@pytest.mark.parametrize("name", names(()))
def test_the_same_photo_gives_the_same_view(grainy, name):
    assert made(name, grainy) == made(name, grainy)

"""Advice on graded pictures: drawn faces of every skin made worse step by step, and plain shapes with known answers."""

from __future__ import annotations

import io
from functools import cache

import cv2
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image, ImageFilter

from portraitq.demo.faces import face, looks, scene
from portraitq.demo.faces.looks import SKINS
from portraitq.photo.face import MOST_FACES, Face, tapped
from portraitq.photo.quality import BLURRED_PX, FEWEST_PX, MOST_ADVICE, blur_px, energy, judged, laplacian

SIZE_PX = (660, 880)
SITTERS = range(len(SKINS))


@cache
def drawn(seed: int) -> Image.Image:
    """Somebody; every skin of the demo comes in turn, and hair and eyes that go with it."""
    with pytest.MonkeyPatch.context() as patched:
        patched.setattr(looks, "SKINS", (SKINS[seed % len(SKINS)],))
        return face(seed, size_px=SIZE_PX)


def as_kept(image: Image.Image, quality: int = 90) -> bytes:
    out = io.BytesIO()
    image.convert("RGB").save(out, "JPEG", quality=quality)
    return out.getvalue()


def advice_on(image: Image.Image, *faces: Face, sitters: int = 1, quality: int = 90) -> list[str]:
    return [advice.about for advice in judged(as_kept(image, quality), faces, sitters=sitters)]


LEVEL = np.arange(256) / 255
LIGHT = np.where(LEVEL <= 0.04045, LEVEL / 12.92, ((LEVEL + 0.055) / 1.055) ** 2.4)  # IEC 61966-2-1
FINEST = 65535  # steps of light; the darkest level is twenty of them
FINE = np.arange(FINEST + 1) / FINEST
LEVELS = np.round(255 * np.where(FINE <= 0.0031308, 12.92 * FINE, 1.055 * FINE ** (1 / 2.4) - 0.055)).astype(np.uint8)


def changed(image: Image.Image, change) -> Image.Image:
    """The picture with its light changed: linear light in, linear light out. By tables: powers of pixels take long."""
    light = np.clip(change(LIGHT[np.asarray(image)]), 0, 1)
    return Image.fromarray(LEVELS[np.round(light * FINEST).astype(np.uint16)])


def exposed(image: Image.Image, stops: float) -> Image.Image:
    return changed(image, lambda light: light * 2.0**stops)


def lit_from_one_side(image: Image.Image, rest: float, *, left: bool = False) -> Image.Image:
    """The other side gets `rest` of the light; the border runs softly over the nose."""
    across = np.linspace(1, -1, image.width) if left else np.linspace(-1, 1, image.width)
    fall = rest + (1 - rest) / (1 + np.exp(-12 * across))
    return changed(image, lambda light: light * fall[None, :, None])


def blurred(image: Image.Image, radius_px: float) -> Image.Image:
    return image.filter(ImageFilter.GaussianBlur(radius_px))


def shaken(image: Image.Image, length_px: int, right: int, down: int) -> Image.Image:
    """The camera moved along a line while it looked, slower at both ends."""
    pixels = np.asarray(image, np.float64)
    weights = np.bartlett(length_px + 2)[1:-1]
    moved = sum(w * np.roll(pixels, (k * down, k * right), (0, 1)) for k, w in enumerate(weights)) / weights.sum()
    return Image.fromarray(moved.astype(np.uint8))


def grainy(image: Image.Image, levels: float, seed: int = 1) -> Image.Image:
    pixels = np.asarray(image, np.float64)
    grain = np.random.default_rng(seed).normal(0, levels, pixels.shape)
    return Image.fromarray(np.clip(pixels + grain, 0, 255).astype(np.uint8))


# Good photos


@pytest.mark.parametrize("seed", SITTERS)
def test_a_good_photo_of_anybody_gets_no_advice(seed):
    assert advice_on(drawn(seed)) == []


@pytest.mark.parametrize("seed", range(3))
def test_a_good_photo_of_a_pet_gets_no_advice(seed):
    assert advice_on(face(seed, size_px=SIZE_PX, pet=True)) == []


@pytest.mark.parametrize("sitters", [2, 3, 5])
def test_a_good_photo_of_several_gets_no_advice_whether_they_are_marked_or_not(sitters):
    drawing = scene(sitters, sitters, (1500, 2000))
    picture, heads = drawing.image, drawing.heads

    assert advice_on(picture, sitters=sitters) == []
    assert advice_on(picture, *heads, sitters=sitters) == []


@pytest.mark.parametrize("seed", SITTERS)
@pytest.mark.parametrize(
    "change",
    [
        lambda image: exposed(image, -1.5),
        lambda image: grainy(image, 20),
        lambda image: blurred(image, 0.6),
        lambda image: lit_from_one_side(image, 0.5),
    ],
    ids=["dim", "grainy", "a little soft", "a little from the side"],
)
def test_what_does_not_hinder_drawing_gets_no_advice(seed, change):
    assert advice_on(change(drawn(seed))) == []


# Sharpness


@pytest.mark.parametrize("seed", SITTERS)
@pytest.mark.parametrize("radius_px", [2.5, 8, 25])
def test_a_blurred_face_is_told_whatever_its_skin(seed, radius_px):
    assert advice_on(blurred(drawn(seed), radius_px)) == ["blur"]


@pytest.mark.parametrize("seed", range(4))
@pytest.mark.parametrize(("right", "down"), [(1, 0), (0, 1), (1, 1), (1, -1)])
def test_a_moved_camera_is_told_in_every_direction(seed, right, down):
    assert advice_on(shaken(drawn(seed), 16, right, down)) == ["blur"]


@pytest.mark.parametrize("seed", range(6))
def test_grain_in_the_dark_does_not_count_as_sharp(seed):
    assert advice_on(grainy(exposed(blurred(drawn(seed), 4), -1.5), 15)) == ["blur"]


@pytest.mark.parametrize("seed", range(6))
@pytest.mark.parametrize("quality", [20, 50, 95])
def test_how_hard_a_jpeg_is_pressed_does_not_decide(seed, quality):
    assert advice_on(drawn(seed), quality=quality) == []
    assert advice_on(blurred(drawn(seed), 4), quality=quality) == ["blur"]


@given(st.sampled_from(SITTERS), st.floats(0, 12), st.floats(0, 12))
@settings(max_examples=15, deadline=None)
def test_more_blur_never_gives_fewer_warnings(seed, one_px, other_px):
    less, more = sorted((one_px, other_px))

    assert set(advice_on(blurred(drawn(seed), less))) <= set(advice_on(blurred(drawn(seed), more)))


def test_it_is_the_blur_on_the_face_that_counts_and_not_in_the_picture():
    sharp = drawn(1)
    behind = blurred(sharp, 10)
    head = tapped(0.5, 0.5, *SIZE_PX)
    left, top, right, bottom = head.in_px(*SIZE_PX)
    behind.paste(sharp.crop((left, top, right, bottom)), (left, top))

    assert advice_on(behind, head) == []
    assert advice_on(behind, Face(0, 0, 0.4, 0.25)) == ["blur"]


def test_the_variance_of_the_laplacian_of_a_point_is_exact():
    point = np.zeros((7, 7), np.float32)
    point[3, 3] = 100  # Pech-Pacheco et al. (2000) with the kernel 0 1 0 / 1 -4 1 / 0 1 0, as OpenCV has it

    assert laplacian(point).var() == 8000
    assert cv2.Laplacian(point, cv2.CV_32F)[1:-1, 1:-1] == pytest.approx(laplacian(point))


def checker() -> Image.Image:
    across, down = np.meshgrid(np.arange(256) // 16, np.arange(256) // 16)
    return Image.fromarray(((across + down) % 2 * 255).astype(np.uint8))


def test_the_variance_of_the_laplacian_falls_with_blur_as_in_opencv():
    board = np.asarray(checker(), np.float64)
    ours, theirs = [], []
    for sigma_px in (0, 1, 2, 4, 8):
        soft = cv2.GaussianBlur(board, (0, 0), sigma_px) if sigma_px else board
        ours.append(laplacian(soft).var())
        theirs.append(cv2.Laplacian(soft.astype(np.uint8), cv2.CV_64F).var())

    assert ours == sorted(ours, reverse=True)
    # measured with OpenCV on 8-bit pictures: 17026, 962, 135.6, 20.7, 2.5; whole levels add noise to the last two
    assert theirs == pytest.approx([17026, 962, 135.6, 20.7, 2.5], rel=0.05, abs=0.2)
    assert ours[:3] == pytest.approx(theirs[:3], rel=0.05)


@pytest.mark.parametrize("sigma_px", [0.8, 1.2, 2.0, 3.0, 4.0])
@pytest.mark.parametrize("contrast", [100, 200])
def test_the_blur_of_a_blurred_edge_is_found_whatever_its_contrast(sigma_px, contrast):
    disc = np.zeros((360, 256))
    y, x = np.ogrid[-180:180, -128:128]
    disc[x**2 + y**2 < 70**2] = contrast
    soft = cv2.GaussianBlur(disc, (0, 0), sigma_px).astype(np.float32)

    # the differences reach over whole pixels, and the diagonal ones over 1.4: that adds to a blur of less than one
    assert blur_px(soft) == pytest.approx(sigma_px, rel=0.05, abs=0.17)


def test_of_noise_alone_nothing_is_left():
    grain = np.random.default_rng(5).normal(0, 10, (300, 256)).astype(np.float32)
    response = laplacian(grain)

    # 4 standard errors of a variance and of a squared median deviation, of some 76 000 values that hang together
    assert energy(response) < 0.05 * response.var()


def test_a_plain_picture_has_no_edge_that_could_be_sharp():
    assert blur_px(np.full((333, 256), 90, np.float32)) > BLURRED_PX


# Light


@pytest.mark.parametrize("seed", SITTERS)
def test_a_face_in_the_dark_is_told_and_nothing_else_of_it(seed):
    assert advice_on(exposed(drawn(seed), -6)) == ["dark"]
    assert advice_on(exposed(blurred(drawn(seed), 10), -6)) == ["dark"]


@pytest.mark.parametrize("seed", SITTERS)
def test_a_face_that_is_washed_out_is_told(seed):
    assert "light" in advice_on(exposed(drawn(seed), 4.5))


@given(st.sampled_from(SITTERS), st.floats(-7, 0), st.floats(-7, 0))
@settings(max_examples=12, deadline=None)
def test_the_darker_never_gives_fewer_warnings(seed, one, other):
    less, more = sorted((one, other), reverse=True)

    assert set(advice_on(exposed(drawn(seed), less))) <= set(advice_on(exposed(drawn(seed), more)))


@given(st.sampled_from(SITTERS), st.floats(0, 5), st.floats(0, 5))
@settings(max_examples=12, deadline=None)
def test_the_brighter_never_gives_fewer_warnings_of_light(seed, one, other):
    less, more = sorted((one, other))

    assert ("light" in advice_on(exposed(drawn(seed), less))) <= ("light" in advice_on(exposed(drawn(seed), more)))


@pytest.mark.parametrize("seed", SITTERS)
@pytest.mark.parametrize("left", [True, False])
def test_light_from_one_side_alone_is_told(seed, left):
    assert advice_on(lit_from_one_side(drawn(seed), 0.05, left=left)) == ["side"]


def test_between_two_heads_nothing_is_said_of_their_light():
    pair = Image.new("RGB", SIZE_PX)
    pair.paste(drawn(0).resize((330, 880)), (0, 0))
    pair.paste(exposed(drawn(1), -2.5).resize((330, 880)), (330, 0))

    assert "side" not in advice_on(pair, sitters=2)


# Size


@pytest.mark.parametrize("width_px", [FEWEST_PX - 1, 100, 33])
def test_a_face_of_too_few_pixels_is_told_and_not_called_blurred(width_px):
    small = drawn(2).resize((width_px, round(width_px * 4 / 3)))

    assert advice_on(small, Face(0, 0, 1, 1)) == ["size"]


def test_a_face_with_just_enough_pixels_is_enough():
    head = tapped(0.5, 0.45, *SIZE_PX)
    share = FEWEST_PX / (head.width * SIZE_PX[0])
    small = drawn(2).resize((round(SIZE_PX[0] * share) + 1, round(SIZE_PX[1] * share) + 1), Image.Resampling.LANCZOS)

    assert advice_on(small, head) == []


# What is said


def test_each_advice_is_one_plain_sentence():
    said = [advice.said for advice in judged(as_kept(blurred(drawn(0), 8)))]

    assert said == ["The face is blurred: hold still and take it again."]


def test_of_several_faces_it_is_said_how_many_are_meant():
    drawing = scene(3, 3, (1500, 2000))
    picture, heads = drawing.image, drawing.heads
    one_soft = picture.copy()
    left, top, right, bottom = heads[0].in_px(*picture.size)
    one_soft.paste(blurred(picture, 8).crop((left, top, right, bottom)), (left, top))

    assert [one.said for one in judged(as_kept(one_soft), heads, sitters=3)] == [
        "One of the faces is blurred: hold still and take it again."
    ]
    assert [one.said for one in judged(as_kept(blurred(picture, 8)), heads, sitters=3)] == [
        "The faces are blurred: hold still and take it again."
    ]


@given(
    st.integers(32, 400), st.integers(32, 400), st.integers(0, 255),
    st.lists(st.tuples(*[st.floats(0, 1)] * 2), max_size=MOST_FACES), st.integers(0, 9),
)  # fmt: skip
@settings(max_examples=40, deadline=None)
def test_any_picture_with_any_marks_gets_a_few_sentences(width_px, height_px, grey, taps, seed):
    picture = grainy(Image.new("RGB", (width_px, height_px), (grey, grey, grey)), 40, seed)
    faces = [tapped(x, y, width_px, height_px) for x, y in taps]

    advice = judged(as_kept(picture), faces)

    assert len(advice) <= MOST_ADVICE
    assert all(one.said.endswith(".") and one.said.count(".") == 1 for one in advice)


def test_a_sliver_of_a_mark_is_judged_too():
    for sliver in (Face(0.5, 0, 0.002, 1), Face(0, 0.5, 1, 0.002), Face(0.999, 0.999, 0.002, 0.002)):
        assert len(judged(as_kept(drawn(0)), [sliver])) <= MOST_ADVICE

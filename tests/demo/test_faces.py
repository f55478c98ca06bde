import io

import numpy as np
import pytest
from PIL import Image

from portraitq.demo.faces import as_phone_jpeg, face, scene
from portraitq.demo.faces.brush import curve, ellipse, mix, ribbon
from portraitq.demo.faces.looks import invent
from portraitq.photo.intake import take_in

SMALL = (300, 400)


def mean_difference(one, other):
    return float(np.abs(np.asarray(one, float) - np.asarray(other, float)).mean())


@pytest.mark.parametrize("sitters", [1, 2, 3, 5, 12])
@pytest.mark.parametrize("pet", [False, True])
def test_any_number_of_sitters_is_drawn_in_the_size_asked_for(sitters, pet):
    picture = face(7, sitters, SMALL, pet)

    assert (picture.mode, picture.size) == ("RGB", SMALL)


def test_the_same_seed_gives_the_same_face_and_another_seed_another():
    first, again, other = face(3, size_px=SMALL), face(3, size_px=SMALL), face(4, size_px=SMALL)

    assert first.tobytes() == again.tobytes()
    assert mean_difference(first, other) > 4


def test_forty_seeds_are_all_drawn_and_all_differ():
    drawn = {face(seed, size_px=(120, 160)).tobytes() for seed in range(40)}

    assert len(drawn) == 40


def test_a_child_is_drawn_where_one_is_asked_for_and_nowhere_else():
    ages = {child: {invent(np.random.default_rng(seed), child).age for seed in range(30)} for child in (True, False)}

    assert ages == {True: {"child"}, False: {"grown", "old"}}


@pytest.mark.parametrize("sitters", [1, 3, 12])
def test_each_head_is_told_where_it_was_drawn(sitters):
    drawn = scene(3, sitters, SMALL, child=False)

    assert len(drawn.heads) == sitters
    for head in drawn.heads:
        left, top, right, bottom = head.in_px(*SMALL)
        there = np.asarray(drawn.image, float)[top:bottom, left:right].std()
        assert 0 <= left < right <= SMALL[0]
        assert 0 <= top < bottom <= SMALL[1]
        assert there > 10  # features and hair, where the backdrop is soft


@pytest.mark.parametrize("sitters", [0, 13, -1])
def test_a_number_of_sitters_that_no_portrait_holds_is_refused(sitters):
    with pytest.raises(ValueError, match="1 to 12"):
        face(1, sitters)


@pytest.mark.parametrize("orientation", range(1, 9))
def test_a_phones_file_comes_upright_out_of_the_intake(orientation):
    picture = face(5, size_px=SMALL)

    photo = take_in(as_phone_jpeg(picture, orientation))

    assert (photo.width_px, photo.height_px) == SMALL
    # twice pressed into a JPEG; anything turned or mirrored differs by far more
    assert mean_difference(picture, Image.open(io.BytesIO(photo.jpeg))) < 5


def test_a_phones_file_carries_what_phones_put_into_it_and_the_intake_keeps_none():
    data = as_phone_jpeg(face(5, size_px=SMALL))
    exif = Image.open(io.BytesIO(data)).getexif()

    photo = take_in(data)

    assert exif[0x0112] == 6
    assert exif.get_ifd(0x8825)[2] == (38.0, 42.0, 6.0)
    for marker in (b"Example Phone", b"GPSLatitude", b"At the quay", b"Exif\0\0", b"ns.adobe.com"):
        assert marker in data
        assert marker not in photo.jpeg + photo.small_jpeg


def test_a_phones_file_carries_a_thumbnail_that_can_be_read():
    data = as_phone_jpeg(face(5, size_px=SMALL))

    thumbnail = data[data.index(b"\xff\xd8\xff", 2) :]

    assert max(Image.open(io.BytesIO(thumbnail)).size) == 160


def test_a_curve_goes_through_its_points():
    points = [(0.0, 0.0), (4.0, 1.0), (5.0, 5.0), (-1.0, 3.0)]

    assert np.allclose(curve(points, steps=10)[::10], points)
    assert np.allclose(curve(points, closed=False, steps=10)[::10], points)


def test_a_ribbon_is_as_broad_as_it_was_asked_to_be():
    outline = ribbon([(0, 0), (10, 0)], (2.0, 2.0))

    assert np.ptp(outline[:, 1]) == pytest.approx(2.0)


def test_an_ellipse_has_its_half_axes():
    outline = ellipse(1, 2, 3, 4)

    assert outline.min(axis=0) == pytest.approx([-2, -2])
    assert outline.max(axis=0) == pytest.approx([4, 6])


def test_a_colour_is_moved_by_its_share():
    assert mix((0, 100, 200), (100, 100, 0), 0.25) == (25, 100, 150)

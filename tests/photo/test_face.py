import pytest
from hypothesis import given
from hypothesis import strategies as st

from portraitq.core.errors import Malformed
from portraitq.photo.face import MOST_FACES, Face, faces_or_middle, print_faces, read_faces, tapped

SHARE = st.floats(0, 1)
SIDE_PX = st.integers(32, 5000)


@given(SHARE, SHARE, SIDE_PX, SIDE_PX)
def test_a_tapped_face_lies_inside_the_picture_and_is_read_back_as_it_was(x, y, width_px, height_px):
    face = tapped(x, y, width_px, height_px)

    assert read_faces(print_faces((face,))) == (face,)


@given(SHARE, SHARE, SIDE_PX, SIDE_PX)
def test_its_pixels_lie_inside_the_picture(x, y, width_px, height_px):
    left, top, right, bottom = tapped(x, y, width_px, height_px).in_px(width_px, height_px)

    assert 0 <= left < right <= width_px
    assert 0 <= top < bottom <= height_px


def test_where_nobody_marked_a_face_it_is_in_the_middle():
    [face] = faces_or_middle(read_faces(""), 1200, 1600)

    assert face.left + face.width / 2 == pytest.approx(0.5, abs=1e-3)
    assert face.top + face.height / 2 == pytest.approx(0.5, abs=1e-3)


def test_marked_faces_are_taken_as_they_were_marked():
    assert faces_or_middle(read_faces("[[0.1,0.2,0.3,0.4]]"), 1200, 1600) == (Face(0.1, 0.2, 0.3, 0.4),)


@pytest.mark.parametrize(
    "text",
    [
        "no list",
        "[1]",
        "[[0.1,0.2,0.3]]",
        '[["a",0,1,1]]',
        "{}x",
        "[[-0.1,0,0.5,0.5]]",
        "[[0.8,0,0.5,0.5]]",
        "[[0,0,0,0.5]]",
        "[[NaN,0,0.5,0.5]]",
        "[" * 100_000,
        "[" + ",".join(["[0,0,1,1]"] * (MOST_FACES + 1)) + "]",
    ],
)
def test_what_is_no_face_is_refused_naming_the_field(text):
    with pytest.raises(Malformed, match=r"^faces: ") as refusal:
        read_faces(text)

    assert refusal.value.field == "faces"

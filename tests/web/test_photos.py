"""Photos and their views on the way to the booth's own people."""

from __future__ import annotations

import io

import numpy as np
import pytest
from PIL import Image

from portraitq import starter
from portraitq.photo.intake import take_in
from portraitq.store import photos
from tests.web.conftest import Web

PICTURES = ["", "/small", "/views/grey", "/views/values-3", "/views/values-5", "/views/values-7", "/views/eyes-1"]


def a_photo(width: int = 400, height: int = 500) -> bytes:
    """A light round face before a dark ground, with noise."""
    y, x = np.ogrid[-1 : 1 : height * 1j, -1 : 1 : width * 1j]
    pixels = np.where(((x / 0.5) ** 2 + (y / 0.6) ** 2 < 1)[..., None], (214, 172, 142), (38, 44, 60))
    noisy = pixels + np.random.default_rng(1).normal(0, 6, pixels.shape)
    out = io.BytesIO()
    Image.fromarray(noisy.clip(0, 255).astype(np.uint8)).save(out, "JPEG", quality=92)
    return out.getvalue()


@pytest.fixture
def photo(web: Web) -> str:
    """The address of a photo of an order, where somebody is signed in."""
    web.sign_in()
    return f"/quay/photos/{web.desk.add_photo(web.order(), take_in(a_photo()))}"


@pytest.mark.parametrize("picture", PICTURES)
def test_each_picture_comes_as_one_for_this_screen_alone(web, photo, picture):
    answer = web.client.get(f"{photo}{picture}")

    assert answer.status_code == 200
    assert answer.headers["Cache-Control"] == "private, no-store"
    image = Image.open(io.BytesIO(answer.data))
    assert answer.mimetype == Image.MIME[image.format]
    image.load()


def test_the_colours_come_as_a_fragment_for_this_screen_alone(web, photo):
    answer = web.client.get(f"{photo}/colours")

    assert (answer.status_code, answer.mimetype) == (200, "text/html")
    assert answer.headers["Cache-Control"] == "private, no-store"
    assert 'class="swatch"' in answer.text
    assert "<html" not in answer.text


@pytest.mark.parametrize("picture", [*PICTURES, "/colours"])
def test_the_length_alone_can_be_asked_for(web, photo, picture):
    head, whole = web.client.head(f"{photo}{picture}"), web.client.get(f"{photo}{picture}")

    assert (head.status_code, head.data) == (200, b"")
    assert head.content_length == whole.content_length == len(whole.data)


@pytest.mark.parametrize("picture", [*PICTURES, "/colours"])
def test_who_is_not_signed_in_sees_none(web, photo, picture):
    stranger = web.app.test_client()

    assert stranger.get(f"{photo}{picture}").status_code == 303
    assert stranger.get(f"{photo}{picture}", headers={"Accept": "application/json"}).status_code == 401


@pytest.mark.parametrize("picture", [*PICTURES, "/colours"])
def test_another_booth_does_not_have_it(web, photo, picture):
    web.desks.create("pier", starter.set_up("Europe/Lisbon", "EUR"))
    web.client.get(f"{photo}{picture}")

    answer = web.client.get(f"{photo.replace('quay', 'pier')}{picture}")

    assert answer.status_code == 404


@pytest.mark.parametrize("picture", [*PICTURES, "/colours"])
def test_a_photo_that_was_deleted_has_nothing_left_to_show(web, photo, picture):
    web.client.get(f"{photo}{picture}")
    web.desk.remove_photo("T1", photo.rpartition("/")[2])

    answer = web.client.get(f"{photo}{picture}")

    assert answer.status_code == 404
    assert "There is no such photo any more" in answer.text


@pytest.mark.parametrize(
    ("name", "told"),
    [
        ("sepia", "There is no view &#39;sepia&#39; of a photo (there is: grey, values-3"),
        ("values-4", "There is no view"),
        ("colours", "no picture"),
        ("eyes-2", "There is no face 2 on this photo: one face is marked."),
        ("eyes-0", "There is no view"),
    ],
)
def test_a_view_that_does_not_exist_is_refused_in_a_sentence(web, photo, name, told):
    answer = web.client.get(f"{photo}/views/{name}")

    assert answer.status_code == 404
    assert told in answer.text


def test_a_view_is_as_large_as_its_photo(web, photo):
    sizes = {
        Image.open(io.BytesIO(web.client.get(f"{photo}{picture}").data)).size
        for picture in PICTURES
        if picture != "/small" and "eyes" not in picture
    }

    assert sizes == {(400, 500)}


def test_new_marks_give_new_eyes(web, photo):
    before = web.client.get(f"{photo}/views/eyes-1").data
    with web.desks.store.writing() as connection:
        photos.mark_faces(connection, "quay", photo.rpartition("/")[2], "[[0,0,0.3,0.3],[0.5,0.5,0.5,0.5]]")

    after = [web.client.get(f"{photo}/views/eyes-{n}") for n in (1, 2)]

    assert [answer.status_code for answer in after] == [200, 200]
    assert len({before, after[0].data, after[1].data}) == 3

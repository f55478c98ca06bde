"""Photos and their views on the way to the booth's own people."""

from __future__ import annotations

import io

import numpy as np
import pytest
from PIL import Image

from portraitq.photo.intake import take_in
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
    ticket = web.order()
    return f"/quay/photos/{web.desk.add_photo(ticket, take_in(a_photo()))}"


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
    assert "lightness" in answer.text

"""Photos that come before their order: kept loose, judged, marked, claimed, and gone when nobody wants them."""

from __future__ import annotations

import io
from functools import cache
from typing import Any

import pytest
from PIL import Image, ImageFilter
from werkzeug.test import TestResponse

from portraitq.demo.faces import face
from portraitq.store.photos import LOOSE
from tests.web.conftest import Web, jpeg

LETTER = b"Dear customer, this is no photo."
DEVICES_ID = "0123456789abcdef01234567"


@cache
def sharp() -> Image.Image:
    return face(4, size_px=(660, 880))


def as_jpeg(image: Image.Image) -> bytes:
    out = io.BytesIO()
    image.save(out, "JPEG", quality=90)
    return out.getvalue()


def blurred() -> bytes:
    return as_jpeg(sharp().filter(ImageFilter.GaussianBlur(6)))


@pytest.fixture
def counter(web: Web) -> Web:
    web.sign_in()
    return web


def post(web: Web, way: str, **form: Any) -> TestResponse:
    """A form sent by our own script."""
    return web.client.post(f"/quay/counter/{way}", data=form, headers={"X-Portraitq-Token": web.token()})


def send(web: Web, content: bytes, **form: Any) -> TestResponse:
    return post(web, "photos", photo=(io.BytesIO(content), "face.jpg"), **form)


def order(web: Web, **form: Any) -> TestResponse:
    return post(web, "orders", id="order-1", style="pencil-head", **form)


def kept(web: Web, ticket: str = LOOSE) -> list[str]:
    return [ref.id for ref in web.desk.photo_refs([ticket]).get(ticket, [])]


def test_a_good_photo_is_kept_loose_and_nothing_is_said_of_it(counter):
    answer = send(counter, as_jpeg(sharp()))

    photo = answer.get_json()
    assert answer.status_code == 201
    assert answer.headers["Cache-Control"] == "private, no-store"
    assert (photo["width_px"], photo["height_px"], photo["faces"], photo["advice"]) == (660, 880, [], [])
    assert kept(counter) == [photo["id"]]
    assert counter.client.get(photo["small"]).mimetype == counter.client.get(photo["whole"]).mimetype == "image/jpeg"


def test_a_blurred_photo_is_kept_and_told_of_at_once(counter):
    answer = send(counter, blurred())

    [advice] = answer.get_json()["advice"]
    assert advice == {"about": "blur", "said": "The face is blurred: hold still and take it again."}
    assert kept(counter) == [answer.get_json()["id"]]


def test_what_is_no_photo_is_refused_and_leaves_the_others(counter):
    send(counter, as_jpeg(sharp()))

    answer = send(counter, LETTER)

    assert (answer.status_code, answer.get_json()["field"]) == (422, "photo.0")
    assert "this is a text" in answer.get_json()["detail"]
    assert len(kept(counter)) == 1


def test_no_photo_and_two_at_once_are_refused(counter):
    none = post(counter, "photos")
    two = post(counter, "photos", photo=[(io.BytesIO(jpeg()), "a.jpg"), (io.BytesIO(jpeg()), "b.jpg")])

    assert (none.status_code, two.status_code) == (422, 422)
    assert kept(counter) == []


def test_a_photo_sent_again_after_a_lost_answer_is_kept_once(counter):
    first, again = (send(counter, blurred(), id=DEVICES_ID) for _ in range(2))

    assert first.get_json() == again.get_json()
    assert kept(counter) == [DEVICES_ID]


@pytest.mark.parametrize("id", ["guess", "../../../../etc/passwd", "x" * 33, "ünumschränkt-zwanzig-zeichen"])
def test_an_id_that_could_be_guessed_or_is_none_is_refused(counter, id):
    answer = send(counter, as_jpeg(sharp()), id=id)

    assert (answer.status_code, answer.get_json()["field"]) == (422, "id")


def test_marked_faces_are_kept_and_judged_instead_of_the_middle(counter):
    picture = sharp().filter(ImageFilter.GaussianBlur(6))
    picture.paste(sharp().crop((200, 200, 460, 560)).resize((180, 250)), (0, 0))
    id = send(counter, as_jpeg(picture)).get_json()["id"]

    answer = post(counter, f"photos/{id}/faces", faces="[[0.0,0.0,0.2727,0.2841]]")

    assert answer.get_json()["advice"] == []
    assert answer.get_json()["faces"] == [[0.0, 0.0, 0.2727, 0.2841]]
    assert counter.desk.photo_refs([LOOSE])[LOOSE][0].faces == "[[0.0,0.0,0.2727,0.2841]]"


def test_marks_that_are_none_are_refused_and_the_old_ones_stay(counter):
    id = send(counter, as_jpeg(sharp())).get_json()["id"]
    post(counter, f"photos/{id}/faces", faces="[[0.1,0.1,0.5,0.5]]")

    answer = post(counter, f"photos/{id}/faces", faces="[[0.8,0.1,0.5,0.5]]")

    assert (answer.status_code, answer.get_json()["field"]) == (422, "faces")
    assert counter.desk.photo_refs([LOOSE])[LOOSE][0].faces == "[[0.1,0.1,0.5,0.5]]"
    assert post(counter, "photos/no-such-photo/faces", faces="").status_code == 404


def test_an_order_claims_its_photos_in_order_and_takes_those_that_come_with_it(counter):
    first, last = (send(counter, as_jpeg(sharp())).get_json()["id"] for _ in range(2))

    answer = order(counter, kept_photo=[last, "", first], photo=(io.BytesIO(jpeg()), "along.jpg"))

    assert answer.status_code == 201
    ids = kept(counter, "T1")
    assert (ids[0], ids[2], len(ids)) == (last, first, 3)
    assert kept(counter) == []


def test_an_order_with_a_photo_that_is_gone_names_it_and_takes_nothing(counter):
    here, gone = (send(counter, as_jpeg(sharp())).get_json()["id"] for _ in range(2))
    post(counter, f"photos/{gone}/remove")

    answer = order(counter, kept_photo=[here, gone], how="cash")

    assert (answer.status_code, answer.get_json()["field"]) == (422, "photo.1")
    assert "here no more" in answer.get_json()["detail"]
    assert counter.desk.standing().booth.tickets == {}
    assert kept(counter) == [here]


@pytest.mark.parametrize(
    ("sent", "place"), [(["{here}", "-"], "photo.1"), (["{here}", ""], "photo.1"), (["", "{here}"], "photo.0")]
)
def test_an_order_with_a_photo_that_is_none_names_its_place_among_all(counter, sent, place):
    here = send(counter, as_jpeg(sharp())).get_json()["id"]

    answer = order(counter, kept_photo=[one.format(here=here) for one in sent], photo=(io.BytesIO(LETTER), "b.jpg"))

    assert (answer.status_code, answer.get_json()["field"]) == (422, place)
    assert counter.desk.standing().booth.tickets == {}


def test_whoever_walks_away_leaves_no_photo(counter, tmp_path):
    id = send(counter, as_jpeg(sharp())).get_json()["id"]
    picture = counter.client.get(f"/quay/photos/{id}").data

    post(counter, "walked-away", id="gone-1", style="pencil-head", sitters="1", kept_photo=[id, "", "-"])

    assert kept(counter) == []
    assert not any(picture[2000:2100] in file.read_bytes() for file in tmp_path.iterdir() if file.is_file())


def test_walking_away_never_takes_a_photo_from_an_order(counter):
    id = send(counter, as_jpeg(sharp())).get_json()["id"]
    order(counter, kept_photo=[id])

    post(counter, "walked-away", id="gone-1", style="pencil-head", sitters="1", kept_photo=[id])
    post(counter, f"photos/{id}/remove")

    assert kept(counter, "T1") == [id]


def test_a_photo_of_a_ticket_is_added_replaced_and_removed_until_it_is_finished(counter):
    ticket = counter.order()
    first, second = (send(counter, as_jpeg(sharp()), ticket=ticket).get_json()["id"] for _ in range(2))

    better = send(counter, as_jpeg(sharp()), ticket=ticket, instead_of=first).get_json()["id"]
    assert kept(counter, ticket) == [better, second]
    post(counter, f"photos/{second}/remove", ticket=ticket)
    assert kept(counter, ticket) == [better]

    counter.do("started", "easel:a1", ticket=ticket, artist="a1")
    for stage in counter.desk.ticket(ticket).style.stages:
        counter.do("stage_done", "easel:a1", ticket=ticket, stage=stage.id)
    late = send(counter, as_jpeg(sharp()), ticket=ticket, instead_of=better)
    assert late.status_code == 409
    assert "still to be drawn" in late.get_json()["detail"]
    assert kept(counter, ticket) == [better]


def test_between_two_sitters_nothing_is_said_of_light_until_they_are_marked(counter):
    pair = Image.new("RGB", (660, 880))
    pair.paste(sharp().resize((330, 880)), (0, 0))
    pair.paste(sharp().point(lambda level: level // 4).resize((330, 880)), (330, 0))

    alone, together = (send(counter, as_jpeg(pair), sitters=str(sitters)).get_json() for sitters in (1, 2))

    assert [one["about"] for one in alone["advice"]] == ["side"]
    assert together["advice"] == []


def test_a_ticket_that_is_not_there_is_told(counter):
    assert send(counter, as_jpeg(sharp()), ticket="T99").status_code == 404


def test_a_browser_without_scripts_is_led_back_to_where_it_was(counter):
    ticket = counter.order()
    form = {"token": counter.token(), "ticket": ticket, "photo": (io.BytesIO(jpeg()), "a.jpg")}

    answer = counter.client.post("/quay/counter/photos", data=form)

    assert (answer.status_code, answer.location) == (303, f"/quay/counter/tickets/{ticket}")
    assert len(kept(counter, ticket)) == 1


def test_strangers_send_nothing_and_mark_nothing(counter):
    id = send(counter, as_jpeg(sharp())).get_json()["id"]
    stranger = counter.app.test_client()

    for way in ("photos", f"photos/{id}/faces", f"photos/{id}/remove"):
        answer = stranger.post(f"/quay/counter/{way}", headers={"X-Portraitq-Token": "none"})
        assert answer.status_code in (401, 403)

    assert kept(counter) == [id]

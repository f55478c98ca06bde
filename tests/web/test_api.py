"""The JSON API as scripts and devices use it."""

from __future__ import annotations

import io
import json
from typing import Any

import pytest

from tests.web.conftest import Web, jpeg

API = "/api/v1/booths/quay"
DONE = {"id": "c1", "kind": "ordered", "data": {"style": "pencil-head", "sitters": 1}}


def order_form(**changed: Any) -> dict[str, Any]:
    order = {"id": "o1", "style": "pencil-head", "sitters": 2}
    return {"order": json.dumps({**order, **changed.pop("order", {})}), "name": "Ana", **changed}


def test_the_wall_needs_no_sign_in_and_names_nobody(web: Web):
    key = web.key()
    web.client.post(f"{API}/orders", headers=key, data=order_form(name="Zebedee", contact="555 0199"))

    answer = web.client.get(f"{API}/wall")

    assert answer.status_code == 200
    assert [ticket["number"] for ticket in answer.json["tickets"]] == [1]
    assert answer.json["order_now"][0]["window"]["ready_from"] < answer.json["order_now"][0]["ready_by"]
    assert "Zebedee" not in answer.get_data(as_text=True)
    assert "0199" not in answer.get_data(as_text=True)


def test_a_quote_gives_quantiles_that_rise_and_changes_nothing(web: Web):
    before = web.desk.standing().seq

    answer = web.client.post(f"{API}/quote", headers=web.key(), json={"style": "pencil-head", "sitters": 2})

    assert list(answer.json["quantiles"].values()) == sorted(answer.json["quantiles"].values())
    assert " ".join(answer.json["quantiles"]) == "q05 q10 q20 q30 q40 q50 q60 q70 q80 q90 q95"
    assert web.desk.standing().seq == before


def test_the_same_command_sent_twice_is_carried_out_once_and_answered_alike(web: Web):
    key = web.key()

    first = web.client.post(f"{API}/commands", headers=key, json=DONE)
    again = web.client.post(f"{API}/commands", headers=key, json=DONE)

    assert (first.status_code, again.status_code) == (200, 200)
    assert first.json == again.json
    assert first.json["seq"] == first.json["events"][-1]["seq"] == web.desk.standing().seq


def test_a_command_says_which_easel_it_comes_from(web: Web):
    ticket = web.order()
    command = {"id": "s1", "kind": "started", "data": {"ticket": ticket, "artist": "a1"}, "ago_s": 2.5}

    answer = web.client.post(f"{API}/commands", headers={**web.key(), "X-Portraitq-By": "easel:a1"}, json=command)

    assert [(event["by"], event["ago_s"]) for event in answer.json["events"]] == [("easel:a1", 2.5)]


def test_a_whole_number_may_be_written_with_a_point(web: Web):
    """JSON Schema 2020-12 §4.2.3 and §6.1.1: 2.0 is an integer."""
    sent = b'{"style": "pencil-head", "sitters": 2.0}'

    answer = web.client.post(f"{API}/quote", headers={**web.key(), "Content-Type": "application/json"}, data=sent)

    assert (answer.status_code, answer.json["sitters"]) == (200, 2)


def test_a_refusal_is_a_problem_document_with_a_sentence(web: Web):
    answer = web.client.post(
        f"{API}/commands", headers=web.key(), json={"id": "x", "kind": "collected", "data": {"ticket": "T9"}}
    )

    assert answer.status_code == 409
    assert answer.content_type == "application/problem+json"
    assert answer.json["status"] == 409
    assert "T9" in answer.json["detail"]


@pytest.mark.parametrize(
    ("sent", "field"),
    [
        ({"id": "x", "kind": "ordered", "data": {"style": "pencil-head", "sitters": 0}}, "data.sitters"),
        ({"id": "x", "kind": "ordered", "data": {"style": "pencil-head", "sitters": "2"}}, "data.sitters"),
        ({"id": "x", "kind": "ordered", "data": {"sitters": 1}}, "data.style"),
        ({"id": "", "kind": "ordered", "data": {}}, "id"),
        ({"id": "x", "kind": "sketched", "data": {}}, "kind"),
        ({"id": "x", "kind": "resumed", "data": {"ticket": "T1", "tune": 1}}, "data.tune"),
        ({"id": "x", "kind": "finished", "data": {"ticket": "T1", "rack": "\ud800"}}, "data.rack"),
        ([], ""),
    ],
)
def test_a_malformed_command_names_its_field_and_changes_nothing(web: Web, sent: Any, field: str):
    before = web.desk.standing().booth

    answer = web.client.post(f"{API}/commands", headers=web.key(), json=sent)

    assert (answer.status_code, answer.json.get("field", "")) == (422, field)
    assert web.desk.standing().booth == before


@pytest.mark.parametrize(
    "body",
    [b"", b"{", b"\xff\xfe", b'{"id":1,"id":2}', b"NaN", b"[" * 200_000, b'{"a":' * 100_000, b"9" * 5000],
    ids=["empty", "cut", "no UTF-8", "a key twice", "NaN", "deep lists", "deep objects", "a huge number"],
)
def test_a_body_that_is_no_json_is_malformed(web: Web, body: bytes):
    answer = web.client.post(f"{API}/commands", headers={**web.key(), "Content-Type": "application/json"}, data=body)

    assert answer.status_code == 422
    assert answer.json["detail"]


def test_a_body_of_another_kind_is_415_and_one_too_large_413(web: Web):
    key = web.key()

    other = web.client.post(f"{API}/commands", headers=key, data=b"id=1", content_type="text/plain")
    large = web.client.post(f"{API}/commands", headers=key, data=b" " * 3_000_000, content_type="application/json")

    assert (other.status_code, large.status_code) == (415, 413)


def test_a_body_that_says_it_is_huge_is_refused_before_it_is_read(web: Web):
    answer = web.client.post(
        f"{API}/orders",
        headers=web.key(),
        input_stream=io.BytesIO(b""),
        content_type="multipart/form-data; boundary=x",
        environ_overrides={"CONTENT_LENGTH": str(10**12)},
    )

    assert answer.status_code == 413
    assert "smaller photo" in answer.json["detail"]


def test_an_order_goes_in_with_its_card_and_its_photos(web: Web):
    form = order_form(
        note="green scarf",
        is_child="true",
        consent_by="her mother",
        photo=[(io.BytesIO(jpeg()), "one.jpg"), (io.BytesIO(jpeg()), "two.jpg")],
    )

    answer = web.client.post(f"{API}/orders", headers=web.key(), data=form)

    assert answer.status_code == 201
    ticket = answer.json["ticket"]
    card = web.desk.cards([ticket])[ticket]
    assert (card.name, card.note, card.is_child, card.consent_by) == ("Ana", "green scarf", True, "her mother")
    assert len(web.desk.photo_refs([ticket])[ticket]) == 2
    assert answer.json["address"] == f"http://192.168.4.1:8750/t/{card.code}"
    assert answer.json["ready_by"] > answer.json["ready_by"][:10]


def test_an_order_sent_again_is_the_same_order(web: Web):
    key = web.key()

    first = web.client.post(f"{API}/orders", headers=key, data=order_form(photo=(io.BytesIO(jpeg()), "a.jpg")))
    again = web.client.post(f"{API}/orders", headers=key, data=order_form(photo=(io.BytesIO(jpeg()), "a.jpg")))

    assert first.json == again.json
    assert len(web.desk.photo_refs([first.json["ticket"]])[first.json["ticket"]]) == 1
    assert len(web.desk.standing().booth.tickets) == 1


def test_an_order_with_the_id_of_another_command_is_refused(web: Web):
    key = web.key()
    web.client.post(f"{API}/commands", headers=key, json={"id": "o1", "kind": "artist_out", "data": {"artist": "a1"}})

    answer = web.client.post(f"{API}/orders", headers=key, data=order_form())

    assert answer.status_code == 409
    assert "an id of its own" in answer.json["detail"]
    assert web.desk.standing().booth.tickets == {}


def test_an_order_with_a_broken_photo_takes_nothing(web: Web):
    before = web.desk.standing().booth

    answer = web.client.post(
        f"{API}/orders", headers=web.key(), data=order_form(photo=(io.BytesIO(jpeg()[:200]), "cut.jpg"))
    )

    assert (answer.status_code, answer.json["field"]) == (422, "photo.0")
    assert web.desk.standing().booth == before


def test_a_child_needs_somebody_who_agreed(web: Web):
    answer = web.client.post(f"{API}/orders", headers=web.key(), data=order_form(is_child="true"))

    assert (answer.status_code, answer.json["field"]) == (422, "consent_by")


def test_an_unknown_style_is_refused_and_says_which_there_are(web: Web):
    answer = web.client.post(f"{API}/orders", headers=web.key(), data=order_form(order={"style": "oil"}))

    assert answer.status_code == 409
    assert "pencil-head" in answer.json["detail"]


def test_a_ticket_is_found_however_its_code_is_typed(web: Web):
    code = web.code(web.order())
    typed = f" {code[:5].lower()}-{code[5:10]} {code[10:].lower()}".replace("0", "o").replace("1", "l")

    answer = web.client.get(f"/api/v1/tickets/{typed}")

    assert (answer.status_code, answer.json["number"], answer.json["place"]) == (200, 1, "waiting")


def test_a_promise_that_slips_has_a_new_time_and_one_that_holds_has_none(web: Web):
    ticket = web.order()
    web.desk.standing(wait_s=10)
    address = f"/api/v1/tickets/{web.code(ticket)}"
    held = web.client.get(address).json

    web.after(minutes=600)
    slipping = web.client.get(address).json

    assert held["new_ready_by"] is None
    assert held["ready_by"] == slipping["ready_by"] < slipping["new_ready_by"]


def test_a_code_that_nobody_has_is_not_found(web: Web):
    unknown, wrong = web.client.get("/api/v1/tickets/00000000000011"), web.client.get("/api/v1/tickets/x")

    assert (unknown.status_code, wrong.status_code) == (404, 404)
    assert "Read it from the slip once more" in unknown.json["detail"]


def test_an_unknown_booth_is_not_found_with_a_sentence(web: Web):
    answer = web.client.get("/api/v1/booths/pier/wall")

    assert answer.status_code == 404
    assert "'pier'" in answer.json["detail"]
    assert "quay" in answer.json["detail"]


def test_the_journal_comes_as_lines_after_a_seq(web: Web):
    web.order()

    answer = web.client.get(f"{API}/journal?after=2", headers=web.key())

    seqs = [json.loads(line)["seq"] for line in answer.get_data(as_text=True).splitlines()]
    assert answer.mimetype == "application/jsonl"
    assert seqs == list(range(3, web.desk.standing().seq + 1))


@pytest.mark.parametrize("after", ["-1", "x", "1.0", "", "٣", "1&after=2"])
def test_a_seq_that_is_none_is_malformed(web: Web, after: str):
    answer = web.client.get(f"{API}/journal?after={after}", headers=web.key())

    assert (answer.status_code, answer.json["field"]) == (422, "after")


def test_the_health_page_says_how_far_each_booth_has_come(web: Web):
    seq = web.desk.standing().seq

    answer = web.client.get("/healthz")

    assert answer.json["status"] == "ok"
    assert answer.json["booths"] == {"quay": {"seq": seq}}


def test_the_health_page_knows_what_was_acknowledged_a_moment_ago(web: Web, monkeypatch: pytest.MonkeyPatch):
    monkeypatch.setattr(web.desk, "_wake", lambda: None)  # no re-quote has come round yet
    before = web.client.get("/healthz").json["booths"]["quay"]["seq"]

    web.do("walked_away", style=None, sitters=1, ready_by=None)

    assert web.client.get("/healthz").json["booths"]["quay"]["seq"] == before + 1


def test_a_field_of_the_order_form_that_there_is_not_is_named(web: Web):
    answer = web.client.post(f"{API}/orders", headers=web.key(), data=order_form(contakt="555 0142"))

    assert (answer.status_code, answer.json["field"]) == (422, "contakt")
    assert web.desk.standing().booth.queue == ()


@pytest.mark.parametrize("path", ["/api", "/api/", "/api/v1", "/api/v2/x"])
def test_an_address_of_the_api_that_there_is_not_is_a_problem_document(web: Web, path: str):
    answer = web.client.get(path)

    assert (answer.status_code, answer.content_type) == (404, "application/problem+json")


def test_the_health_page_says_503_when_the_store_does_not_answer(web: Web, monkeypatch: pytest.MonkeyPatch):
    from portraitq.store.store import StoreError

    def silent() -> None:
        raise StoreError("The database does not answer.")

    monkeypatch.setattr(web.desks.store, "ping", silent)

    answer = web.client.get("/healthz")

    assert answer.status_code == 503

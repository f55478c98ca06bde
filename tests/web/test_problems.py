"""How a no is told: with the right status, one sentence, and to whom it is told."""

from __future__ import annotations

import errno
from typing import Any

import pytest

from portraitq.core.errors import Malformed, Refused
from portraitq.store.store import StoreError
from portraitq.web.problems import INSIDE
from tests.web.conftest import Web


def going_wrong(web: Web, no: Exception) -> None:
    def wrong() -> Any:
        raise no

    web.app.add_url_rule("/wrong", "wrong", wrong)
    web.app.add_url_rule("/api/v1/wrong", "wrong_api", wrong)


@pytest.mark.parametrize(
    ("no", "status", "told"),
    [
        (Malformed("sitters: 14 is more than one portrait holds.", "sitters"), 422, "14 is more"),
        (Refused("Number 3 is ready."), 409, "Number 3 is ready."),
        (StoreError("The database does not answer."), 503, "does not answer"),
        (OSError(errno.ENOSPC, "No space left on device"), 503, "The disk is full."),
        (OSError(errno.EMFILE, "Too many open files"), 503, "open no more files"),
        (OSError(errno.EIO, "secret of the inside"), 500, "Nothing was lost"),
        (ZeroDivisionError("secret of the inside"), 500, "Nothing was lost"),
    ],
    ids=["malformed", "refused", "the store", "a full disk", "no more files", "another of the system", "inside"],
)
def test_people_get_a_page_and_scripts_a_problem_document(web: Web, no: Exception, status: int, told: str):
    going_wrong(web, no)

    page, document = web.client.get("/wrong"), web.client.get("/api/v1/wrong")

    assert (page.status_code, document.status_code) == (status, status)
    assert page.mimetype == "text/html"
    assert told in page.get_data(as_text=True)
    assert document.mimetype == "application/problem+json"
    assert told in document.json["detail"]
    assert set(document.json) >= {"type", "title", "status", "detail"}  # RFC 9457 §3.1


def test_what_went_wrong_inside_is_logged_and_not_told(web: Web, caplog: pytest.LogCaptureFixture):
    going_wrong(web, ZeroDivisionError("secret of the inside"))

    answer = web.client.get("/wrong")

    assert "secret of the inside" not in answer.get_data(as_text=True)
    assert INSIDE in answer.get_data(as_text=True)
    assert "in wrong" in caplog.text  # where it was, and of what kind, but not its words: they may name somebody
    assert "ZeroDivisionError" in caplog.text
    assert "secret of the inside" not in caplog.text


def test_a_script_of_a_page_gets_a_document_too(web: Web):
    answer = web.client.get("/quay/nothing-here", headers={"Accept": "application/json"})

    assert answer.json["status"] == 404


def test_a_signed_in_page_tells_calmly_that_the_store_is_silent(web: Web, monkeypatch: pytest.MonkeyPatch):
    web.sign_in()

    def silent() -> Any:
        raise StoreError("The database does not answer.")

    monkeypatch.setattr(web.desks.store, "reading", silent)

    answer = web.client.get("/quay/counter")

    assert answer.status_code == 503
    assert "does not answer" in answer.get_data(as_text=True)


@pytest.mark.parametrize(
    "path", ["/", "/sign-in", "/quay/wall", "/nowhere", "/api/v1/booths/quay/wall", "/static/css/base.css"]
)
def test_every_answer_forbids_foreign_scripts_frames_and_guesses(web: Web, path: str):
    with web.client.get(path) as answer:
        headers = answer.headers

    policy = headers["Content-Security-Policy"]
    assert "default-src 'none'" in policy
    assert "frame-ancestors 'none'" in policy
    assert "unsafe-inline" not in policy
    assert headers["Referrer-Policy"] == "no-referrer"
    assert headers["X-Content-Type-Options"] == "nosniff"


def test_a_page_carries_no_script_or_style_of_its_own(web: Web):
    web.sign_in()

    for path in ("/", "/quay/counter", "/quay/wall", "/quay/easel/a1", "/quay/daybook", "/quay/set-up"):
        html = web.client.get(path).get_data(as_text=True)
        assert "<style" not in html, path
        assert " style=" not in html, path
        assert " onclick=" not in html, path
        assert "<script>" not in html, path

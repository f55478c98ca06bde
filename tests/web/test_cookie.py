"""The session cookie: signed, counted by its age, and written no oftener than it must be."""

from __future__ import annotations

import time

import pytest
from flask.testing import FlaskClient

from portraitq.web.cookie import DEVICE_REST
from tests.web.conftest import Web, with_nobody_in


@pytest.fixture
def web(booth_of_all: Web) -> Web:
    return with_nobody_in(booth_of_all)


def cookie_of(client: FlaskClient, web: Web) -> str:
    found = client.get_cookie(web.app.config["SESSION_COOKIE_NAME"])
    return found.value if found else ""


def test_it_counts_by_seconds_and_not_by_a_date_that_another_clock_would_judge(web: Web):
    """RFC 6265, §5.3: Max-Age has precedence over Expires. A board that starts in 1970 would name a date long past."""
    made = web.sign_in().headers["Set-Cookie"]

    assert f"Max-Age={int(DEVICE_REST.total_seconds())}" in made


def test_a_board_that_starts_in_1970_knows_its_tablets_again(web: Web, monkeypatch: pytest.MonkeyPatch):
    tablet = web.app.test_client()
    web.pair(tablet)
    monkeypatch.setattr("time.time", lambda: 40.0)

    assert tablet.get("/quay/easel").status_code == 200


def test_it_is_not_written_anew_at_each_request(web: Web):
    """An answer that is on its way while a tablet is paired must not bring the old session back."""
    web.sign_in()

    assert "Set-Cookie" not in web.client.get("/quay/easel").headers


def test_it_is_written_anew_once_it_is_a_minute_old_so_that_rest_counts_from_the_last_use(
    web: Web, monkeypatch: pytest.MonkeyPatch
):
    web.sign_in()
    now_s = time.time()
    monkeypatch.setattr("time.time", lambda: now_s + 61)

    assert "Set-Cookie" in web.client.get("/quay/easel").headers


@pytest.mark.parametrize("broken", ["", "x", "e30.abc.def", "." * 50])
def test_a_cookie_that_we_did_not_sign_is_none(web: Web, broken: str):
    web.client.set_cookie(web.app.config["SESSION_COOKIE_NAME"], broken)

    assert web.client.get("/quay/easel").status_code == 303


def test_a_cookie_that_was_changed_is_none(web: Web):
    """RFC 6265, §8.3, leaves it to us that what comes back is what was sent."""
    web.sign_in()
    value = cookie_of(web.client, web)
    changed = ("A" if value[0] != "A" else "B") + value[1:]
    web.client.set_cookie(web.app.config["SESSION_COOKIE_NAME"], changed)

    assert web.client.get("/quay/easel").status_code == 303


def test_who_came_while_the_board_was_in_1970_stays_in_when_it_finds_the_time(
    web: Web, monkeypatch: pytest.MonkeyPatch
):
    right_s, tablet = time.time(), web.app.test_client()
    monkeypatch.setattr("portraitq.web.cookie._began_s", 5.0)
    monkeypatch.setattr("time.time", lambda: 40.0)
    web.sign_in()
    web.pair(tablet)

    monkeypatch.setattr("time.time", lambda: right_s)

    assert web.client.get("/devices/pairings/none").status_code == 200
    assert tablet.get("/quay/easel").status_code == 200


def test_what_was_written_in_1970_by_an_earlier_run_is_as_old_as_it_looks(web: Web, monkeypatch: pytest.MonkeyPatch):
    right_s = time.time()
    monkeypatch.setattr("time.time", lambda: 40.0)
    web.sign_in()

    monkeypatch.setattr("time.time", lambda: right_s)

    assert web.client.get("/quay/easel").status_code == 303

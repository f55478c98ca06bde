"""The part of Set-up about back-ups: the owner makes one, sees when, and takes a copy along; nobody else does."""

from __future__ import annotations

import html
import re
import sqlite3
from contextlib import closing
from pathlib import Path

import pytest

from portraitq.store import backup
from portraitq.store.store import StoreError
from portraitq.web.back_ups import SAID
from tests.web.conftest import Web

PART = "/quay/set-up/back-ups"


def part(web: Web) -> str:
    """The part of the page, as text with its tags."""
    page = html.unescape(web.client.get("/quay/set-up").get_data(as_text=True))
    return page[page.index('id="back-ups"') : page.index('id="care"')]


def test_at_first_there_is_none_and_one_press_makes_one_that_is_whole(web: Web, tmp_path: Path):
    web.sign_in()
    web.order()
    before = part(web)

    answer = web.client.post(PART, data={"token": web.token()})

    [row] = web.desks.back_ups.listed()
    assert "None was made yet." in before
    assert (answer.status_code, answer.location) == (303, "/quay/set-up?said=backed-up#back-ups")
    assert row.name in part(web)
    assert backup.megabytes(row.size_bytes) in part(web)
    assert SAID["backed-up"] in web.client.get("/quay/set-up?said=backed-up").get_data(as_text=True)
    with closing(sqlite3.connect(row.file)) as raw:
        assert raw.execute("PRAGMA integrity_check").fetchone() == ("ok",)


def test_a_second_one_of_the_same_day_takes_the_place_of_the_first(web: Web):
    web.sign_in()
    for _ in range(2):
        web.client.post(PART, data={"token": web.token()})
        web.order()

    assert len(web.desks.back_ups.listed()) == 1


def test_the_copy_that_is_sent_is_the_file_and_no_cache_keeps_it(web: Web):
    web.sign_in()
    web.client.post(PART, data={"token": web.token()})
    [row] = web.desks.back_ups.listed()

    answer = web.client.get(f"{PART}/{row.name}")
    answer.close()

    assert answer.data == row.file.read_bytes()
    assert answer.headers["Cache-Control"] == "private, no-store"
    assert answer.headers["Content-Disposition"] == f'attachment; filename="{row.name}"'
    assert int(answer.headers["Content-Length"]) == row.size_bytes
    assert re.search(rf'href="{PART}/{re.escape(row.name)}"', part(web))


@pytest.mark.parametrize(
    "name", ["portraitq-2020-01-01.sqlite3", "backups.lock", "..%2Fportraitq.sqlite3", "portraitq.sqlite3"]
)
def test_no_other_file_can_be_had_by_that_way(web: Web, name: str):
    web.sign_in()
    web.client.post(PART, data={"token": web.token()})

    assert web.client.get(f"{PART}/{name}").status_code == 404


def test_what_is_in_the_way_is_told_until_it_is_gone(web: Web, monkeypatch: pytest.MonkeyPatch):
    def no_room(*given: object, **named: object) -> None:
        raise StoreError("The disk has 1.0 MB free, and 9.0 MB are wanted for a back-up: make room.")

    web.sign_in()
    with monkeypatch.context() as full:
        full.setattr(backup, "write_among", no_room)
        answer = web.client.post(PART, data={"token": web.token()})
    told = part(web)
    web.client.post(PART, data={"token": web.token()})

    assert answer.location == "/quay/set-up?said=not-backed-up#back-ups"
    assert "9.0 MB are wanted" in told
    assert "9.0 MB are wanted" not in part(web)


def test_strangers_get_none_and_make_none(web: Web):
    web.sign_in()
    web.client.post(PART, data={"token": web.token()})
    [row] = web.desks.back_ups.listed()
    stranger = web.app.test_client()

    assert stranger.get(f"{PART}/{row.name}", headers={"Accept": "application/json"}).status_code in (303, 401)
    assert stranger.post(PART).status_code in (303, 401)
    assert web.client.post(PART).status_code == 403  # a press without the page's token

"""Every answer says what a browser may do with it, also those that the application itself never sees.

OWASP ASVS 5.0, 3.4.2 (no origin of others), 3.4.3 to 3.4.6 (policy, sniffing, referrer, frames): of every answer.
3.4.1, HSTS, is left out: it goes for all ports of a name, and phones come by http to the same one.
"""

from __future__ import annotations

import pytest
from werkzeug.test import TestResponse

from portraitq.web import crowd
from portraitq.web.haste import Gate
from portraitq.web.headers import SECURITY_HEADERS
from tests.web.conftest import Web

LIVE = "/socket.io/?EIO=4&transport=polling"


def said_by(answer: TestResponse) -> dict[str, str | None]:
    return {name: answer.headers.get(name) for name in SECURITY_HEADERS}


@pytest.mark.parametrize(
    ("path", "status"),
    [
        ("/quay/wall", 200),
        ("/nothing/here", 404),
        ("/quay/counter", 303),
        ("/api/v1/booths/quay/wall", 200),
        ("/static/js/live.js", 200),
        ("/t/2222222222222", 404),
        (LIVE, 200),
        (f"{LIVE}&j=0", 400),
        (f"{LIVE}&sid=nobody", 400),
    ],
)
def test_pages_documents_files_and_live_push_have_them_all_and_each_once(web: Web, path: str, status: int):
    with web.client.get(path) as answer:
        assert answer.data

    assert (answer.status_code, said_by(answer)) == (status, SECURITY_HEADERS)
    assert all(len(answer.headers.getlist(name)) == 1 for name in SECURITY_HEADERS)
    assert not [name for name, _ in answer.headers if name.startswith("Access-Control-")]


def test_so_have_those_of_who_is_turned_away(web: Web, monkeypatch: pytest.MonkeyPatch):
    monkeypatch.setattr(crowd, "MOST_AT_ONCE", 0)
    full = web.client.get("/quay/wall")
    monkeypatch.setattr(Gate, "_may_ask", lambda *_: False)
    monkeypatch.setattr(Gate, "_hold", lambda _: None)
    in_haste = web.client.get("/quay/wall")

    assert [(one.status_code, said_by(one)) for one in (full, in_haste)] == [
        (503, SECURITY_HEADERS),
        (429, SECURITY_HEADERS),
    ]

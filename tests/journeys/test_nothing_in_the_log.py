"""What a real service prints names no photo, no ticket and nobody, whatever goes wrong."""

from __future__ import annotations

import re
import socket
import sqlite3
import urllib.error
import urllib.request
from contextlib import closing

from portraitq.starter import SLUG
from portraitq.store.store import FILE_NAME
from tests.journeys.orders import a_phone_photo
from tests.journeys.served import Served

PERSON = {"name": "Anouk-of-the-quay", "contact": "0612-345-678", "note": "freckles-in-please"}


def _asked(served: Served, path: str, method: str = "GET", key: str = "") -> tuple[int, str]:
    """The status of the answer, and its text."""
    headers = {"Authorization": f"Bearer {key}"} if key else {}
    request = urllib.request.Request(served.address + path, headers=headers, method=method)
    try:
        with urllib.request.urlopen(request, timeout=30) as answer:
            return answer.status, answer.read().decode(errors="replace")
    except urllib.error.HTTPError as no:
        return no.code, no.read().decode(errors="replace")


def _said_plainly(served: Served, line: bytes) -> bytes:
    """What the service answers to a request that is none."""
    with socket.create_connection(("127.0.0.1", served.port), timeout=10) as raw:
        raw.sendall(line)
        return raw.recv(4096)


def _in_the_store(served: Served, statement: str) -> None:
    with closing(sqlite3.connect(served.folder / "data" / FILE_NAME)) as raw:
        raw.execute(statement)
        raw.commit()


def test_what_the_service_prints_names_no_photo_no_ticket_and_nobody(served: Served) -> None:
    taken = served.order(photo=a_phone_photo(), **PERSON)
    code, ticket = taken["code"], taken["ticket"]
    _, page = _asked(served, f"/{SLUG}/counter/tickets/{ticket}?sheet=1", key=served.key)
    found = re.search(r"/photos/([\w-]{16,})", page)
    assert found, page
    photo = f"/{SLUG}/photos/{found[1]}"

    statuses = [
        _asked(served, photo, key=served.key)[0],
        _asked(served, f"{photo}/views/no-such-view", key=served.key)[0],
        _asked(served, photo, "PUT", key=served.key)[0],
        _asked(served, f"/t/{code}")[0],
    ]
    _said_plainly(served, f"GET {photo} of {code}\r\n\r\n".encode())
    _said_plainly(served, f"GET {photo} HTTP/1.1\r\nBad Header: {code}\r\n\r\n".encode())
    _in_the_store(served, "UPDATE photos SET jpeg = x'00'")
    statuses.append(_asked(served, f"{photo}/views/grey", key=served.key)[0])
    _in_the_store(served, "ALTER TABLE cards RENAME TO cards_elsewhere")
    statuses.append(_asked(served, f"/t/{code}")[0])
    served.stop()

    assert statuses[:4] == [200, 404, 405, 200]
    assert statuses[4] == 500
    assert statuses[5] == 503
    said = (served.folder / "said.txt").read_text()
    assert "the store does not answer" in said  # it does say what went wrong
    assert [secret for secret in (found[1], code, *PERSON.values()) if secret in said] == []

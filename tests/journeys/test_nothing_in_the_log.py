"""What a real service prints names no photo, no ticket, no key and nobody, whatever goes wrong.

OWASP ASVS 5.0: 16.2.5 (what is sensitive is not logged), 16.3.4 (what goes wrong unexpectedly is), 16.5.1 (whoever asks
gets a sentence that tells nothing of the inside).
"""

from __future__ import annotations

import json
import re
import socket
import sqlite3
import urllib.error
import urllib.parse
import urllib.request
from contextlib import closing

from portraitq.starter import SLUG
from portraitq.store.store import FILE_NAME
from tests.journeys.orders import a_phone_photo
from tests.journeys.served import Served

PERSON = {"name": "Anouk-of-the-quay", "contact": "0612-345-678", "note": "freckles-in-please"}


def _asked(
    served: Served, path: str, method: str = "GET", key: str = "", body: bytes | None = None, kind: str = ""
) -> tuple[int, str]:
    """The status of the answer, and its text."""
    headers = ({"Authorization": f"Bearer {key}"} if key else {}) | ({"Content-Type": kind} if kind else {})
    request = urllib.request.Request(served.address + path, body, headers, method=method)
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


def _in_the_store(served: Served, statement: str, *values: object) -> None:
    with closing(sqlite3.connect(served.folder / "data" / FILE_NAME)) as raw:
        raw.execute(statement, values)
        raw.commit()


def _refused_with_personal_data(served: Served) -> list[int]:
    """Forms that cannot be read, each with somebody in it; the statuses of the answers."""
    form, api = "application/x-www-form-urlencoded", f"/api/v1/booths/{SLUG}"
    person = urllib.parse.urlencode(PERSON)
    wrong = [
        (f"{api}/orders", f"order={{{PERSON['name']}&{person}", form),
        (f"{api}/orders", f"order=%7B%7D&{person}&{PERSON['name']}=1", form),
        (f"{api}/commands", f'{{"id":"x","kind":"{PERSON["name"]}","data":{{}}}}', "application/json"),
        (f"{api}/commands", f'{{"id":"x","kind":"cancelled","data":{{"why":"{PERSON["note"]}"}}}}', "application/json"),
        (f"/{SLUG}/counter/orders", f"style=pencil-head&sitters={PERSON['name']}&{person}", form),
        (f"/{SLUG}/counter/tickets/T1/pay", f"amount={PERSON['contact']}x&how=cash", form),
    ]
    return [_asked(served, path, "POST", served.key, body.encode(), kind)[0] for path, body, kind in wrong]


def test_what_the_service_prints_names_no_photo_no_ticket_no_key_and_nobody(served: Served) -> None:
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
        _asked(served, photo, key=f"{served.key}x")[0],
    ]
    refused = _refused_with_personal_data(served)
    _said_plainly(served, f"GET {photo} of {code}\r\n\r\n".encode())
    _said_plainly(served, f"GET {photo} HTTP/1.1\r\nBad Header: {code}\r\n\r\n".encode())
    _in_the_store(served, "UPDATE photos SET jpeg = x'00'")
    inside = [_asked(served, f"{photo}/views/grey", key=served.key)]
    _in_the_store(served, "UPDATE photos SET faces = ?", PERSON["name"])
    inside.append(_asked(served, f"{photo}/views/eyes-1", key=served.key))
    _in_the_store(served, "INSERT INTO settings VALUES (?, ?)", f"cash:float:{SLUG}", PERSON["name"])
    inside.append(_asked(served, f"/{SLUG}/daybook/close", key=served.key))
    rules = json.dumps({"between": PERSON["note"], "rest_after_min": PERSON["contact"]})
    _in_the_store(served, "INSERT INTO settings VALUES (?, ?)", f"house-rules:{SLUG}", rules)
    statuses.append(_asked(served, f"/{SLUG}/set-up", key=served.key)[0])
    _in_the_store(served, "ALTER TABLE cards RENAME TO cards_elsewhere")
    statuses.append(_asked(served, f"/t/{code}")[0])
    served.stop()

    assert statuses == [200, 404, 405, 200, 200, 200, 503]  # the fifth is the sign-in page
    assert set(refused) <= {400, 404, 409, 422}
    assert [status for status, _ in inside] == [500, 422, 500]
    told = "".join(text for _, text in inside)
    assert [word for word in (*PERSON.values(), code, "Traceback") if word in told] == []
    said = (served.folder / "said.txt").read_text()
    assert "The database does not answer as it should" in said  # it does say what went wrong
    assert "its words are left out" in said
    assert "house rules" in said
    secrets = (found[1], code, served.key, served.passphrase, *PERSON.values())
    assert [secret for secret in secrets if secret in said.split("Ctrl-C stops it.", 1)[1]] == []

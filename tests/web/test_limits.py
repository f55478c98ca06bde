"""What a request may bring, and that whoever brings more hears so; on a service that really runs as well."""

from __future__ import annotations

import io
import json
import secrets
import socket
from collections.abc import Iterator
from pathlib import Path

import pytest

from portraitq.starter import SLUG
from portraitq.web.limits import LARGEST_FORM_BYTES, LARGEST_JSON_BYTES, LARGEST_WITH_PHOTOS_BYTES
from tests.journeys.served import Served
from tests.web.conftest import Web, jpeg

API = "/api/v1/booths/quay"
PIECE = bytes(1 << 18)


def says_it_has(web: Web, path: str, length: int, kind: str = "multipart/form-data; boundary=x"):
    """The answer to a request of that length, of which nothing was sent yet."""
    return web.client.post(
        path,
        headers={**web.key(), "X-Portraitq-Token": "any", "Accept": "application/json"},
        input_stream=io.BytesIO(b""),
        content_type=kind,
        environ_overrides={"CONTENT_LENGTH": str(length)},
    )


@pytest.mark.parametrize("path", [f"{API}/orders", "/quay/counter/orders", "/quay/counter/tickets/T1/photos"])
def test_where_photos_are_taken_200_mb_are_the_most_and_more_is_refused_unread(web: Web, path: str) -> None:
    answer = says_it_has(web, path, LARGEST_WITH_PHOTOS_BYTES + 1)

    assert answer.status_code == 413
    assert answer.json["detail"] == "At most 200 MB can be taken at once: send a smaller photo, or fewer of them."


@pytest.mark.parametrize(
    ("path", "kind", "most_bytes", "said"),
    [
        ("/quay/set-up", "application/x-www-form-urlencoded", LARGEST_FORM_BYTES, "512 KB"),
        ("/quay/counter/walked-away", "multipart/form-data; boundary=x", LARGEST_FORM_BYTES, "512 KB"),
        (f"{API}/commands", "application/json", LARGEST_JSON_BYTES, "2 MB"),
        (f"{API}/orders", "application/json", LARGEST_JSON_BYTES, "2 MB"),
        ("/nowhere", "application/octet-stream", LARGEST_FORM_BYTES, "512 KB"),
    ],
)
def test_everywhere_else_little_is_taken(web: Web, path: str, kind: str, most_bytes: int, said: str) -> None:
    answer = says_it_has(web, path, most_bytes + 1, kind)

    assert answer.status_code == 413
    assert f"At most {said} can be taken here" in answer.json["detail"]


def test_a_form_of_many_parts_is_refused_also_where_photos_are_taken(web: Web) -> None:
    parts = {f"field-{n}": "x" for n in range(1500)}

    answer = web.client.post(f"{API}/orders", headers=web.key(), data=parts, content_type="multipart/form-data")

    assert answer.status_code == 413


def test_a_photo_larger_than_the_limit_of_forms_is_taken(web: Web) -> None:
    photo = jpeg().ljust(LARGEST_FORM_BYTES * 3, b"\0")
    order = json.dumps({"id": "large", "style": "pencil-head", "sitters": 1}).encode()
    body = b'--x\r\nContent-Disposition: form-data; name="order"\r\n\r\n' + order
    body += (
        b'\r\n--x\r\nContent-Disposition: form-data; name="photo"; filename="a.jpg"\r\n\r\n' + photo + b"\r\n--x--\r\n"
    )

    answer = web.client.post(
        f"{API}/orders", headers=web.key(), data=body, content_type="multipart/form-data; boundary=x"
    )

    assert answer.status_code == 201


# On a service that really runs, to somebody who sends and sends before reading anything


@pytest.fixture(scope="module")
def service(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    service = Served(tmp_path_factory.mktemp("limits"))
    service.start()
    yield service
    service.stop()


class Stubborn:
    """A client that sends all it has before it looks for an answer, as browsers do."""

    def __init__(self, service: Served, *headers: str, key: str = "") -> None:
        self.line = socket.create_connection(("127.0.0.1", service.port), timeout=30)
        head = [
            f"POST /api/v1/booths/{SLUG}/orders HTTP/1.1",
            f"Host: 127.0.0.1:{service.port}",
            f"Authorization: Bearer {key or service.key}",
            *headers,
        ]
        self.line.sendall("\r\n".join([*head, "", ""]).encode())

    def sends(self, size: int, chunked: bool = False) -> None:
        piece = f"{len(PIECE):x}\r\n".encode() + PIECE + b"\r\n" if chunked else PIECE
        for _ in range(size // len(PIECE)):
            self.line.sendall(piece)
        self.line.sendall(b"0\r\n\r\n" if chunked else PIECE[: size % len(PIECE)])

    def hears(self) -> tuple[int, dict[str, object]]:
        with self.line, self.line.makefile("rb") as answer:
            status = int(answer.readline().split()[1])
            headers = dict(line.split(b": ", 1) for line in iter(answer.readline, b"\r\n"))
            return status, json.loads(answer.read(int(headers[b"Content-Length"])))


def test_who_sends_300_mb_hears_that_it_is_too_much_and_the_order_stays_as_it_is(service: Served) -> None:
    client = Stubborn(service, "Content-Type: multipart/form-data; boundary=x", "Content-Length: 300000000")

    client.sends(300_000_000)
    status, said = client.hears()

    assert (status, said["status"]) == (413, 413)
    assert "200 MB" in str(said["detail"])
    assert [event.kind for event in service.journal().events if event.kind == "ordered"] == []


def test_who_does_not_say_how_much_comes_is_stopped_by_counting(service: Served) -> None:
    client = Stubborn(service, "Content-Type: multipart/form-data; boundary=x", "Transfer-Encoding: chunked")
    edge = b'--x\r\nContent-Disposition: form-data; name="photo"; filename="a.jpg"\r\n\r\n'
    client.line.sendall(f"{len(edge):x}\r\n".encode() + edge + b"\r\n")

    client.sends(220_000_000, chunked=True)
    status, said = client.hears()

    assert (status, said["status"]) == (413, 413)
    assert "200 MB" in str(said["detail"])


def test_who_is_no_longer_let_in_hears_it_too(service: Served) -> None:
    client = Stubborn(
        service,
        "Content-Type: multipart/form-data; boundary=x",
        "Content-Length: 30000000",
        key=secrets.token_urlsafe(20),
    )

    client.sends(30_000_000)
    status, said = client.hears()

    assert status == 401
    assert "not known here" in str(said["detail"])


def test_afterwards_an_order_with_a_photo_goes_in(service: Served, tmp_path: Path) -> None:
    taken = service.order(photo=jpeg())

    assert taken["number"] >= 1

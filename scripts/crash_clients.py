"""The clients of the crash harness: each a counter with its easel, that writes down what it sent and was told.

A client keeps every command until it is answered, as the tablets do, and sends it again, with the same id and the same
bytes, when the service is back. It knows its own portraits from the answers alone.
"""

from __future__ import annotations

import hashlib
import http.client
import io
import json
import secrets
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from random import Random
from typing import Any

from PIL import Image, ImageDraw

from portraitq.core.life import COLLECTED, DRAWING, IN_QUEUE, LIFE, ON_EASEL, OVER, WAITING
from portraitq.photo.intake import take_in

SLUG = "booth"
STYLE, STAGES = "quick", ("layout", "likeness", "finish")
STAGES_GAINED = {"stage_done": +1, "stage_undone": -1}
MOST_OPEN = 3  # portraits of one client that are not over
NAME = "SITTER-"
ANSWER_WITHIN_S = 60.0  # a busy machine takes its time
WEIGHTS = {"stage_done": 12, "started": 9, "finished": 6, "collected": 6, "cancelled": 1, "put_back": 1}
WHY = {"paused": "counter", "held": "photo", "cancelled": "customer"}


@dataclass(frozen=True)
class Picture:
    """A photo as it is sent, and as the store must hold it."""

    sent: bytes
    kept_sha256: str
    kept_within: bytes  # some bytes out of its middle that no other photo has


def a_picture(chance: Random, side_px: int = 240) -> Picture:
    """A photo like no other."""
    image = Image.frombytes("RGB", (16, 16), chance.randbytes(768)).resize((side_px, side_px * 5 // 4))
    ImageDraw.Draw(image).ellipse((40, 40, side_px - 40, side_px), fill=(200, 160, 140))
    out = io.BytesIO()
    image.save(out, "JPEG", quality=90)
    kept = take_in(out.getvalue()).jpeg
    middle = len(kept) // 2
    return Picture(out.getvalue(), hashlib.sha256(kept).hexdigest(), kept[middle : middle + 48])


@dataclass
class Sent:
    """One command and what became of it. Instants in seconds since 1970, by this computer's clock."""

    id: str
    what: str
    path: str
    body: bytes
    content_type: str
    by: str
    data: dict[str, Any]
    pictures: list[Picture] = field(default_factory=list)
    name: str = ""
    tries: int = 0
    first_sent_s: float = 0.0
    answered_s: float = 0.0
    status: int = 0  # 0 while it is not answered
    answer: Any = None
    found: list[str] = field(default_factory=list)  # its lines in the journal, where it was there before the answer

    @property
    def is_taken(self) -> bool:
        """Whether it was acknowledged."""
        return self.status in (200, 201)


@dataclass
class Own:
    """A client's own portrait as its answers tell it."""

    id: str
    code: str
    name: str
    pictures: list[Picture]
    place: str = WAITING
    stages_done: int = 0
    is_erased: bool = False


class Gate:
    """Shut while the service is down or looked into; nobody is inside then."""

    def __init__(self) -> None:
        self._news, self._is_open, self._inside = threading.Condition(), False, 0

    @contextmanager
    def passing(self) -> Iterator[None]:
        """Wait until it is open, and be inside meanwhile."""
        with self._news:
            self._news.wait_for(lambda: self._is_open)
            self._inside += 1
        try:
            yield
        finally:
            with self._news:
                self._inside -= 1
                self._news.notify_all()

    def open(self) -> None:
        """Let everybody in."""
        with self._news:
            self._is_open = True
            self._news.notify_all()

    def shut(self) -> None:
        """Let nobody in any more; who is inside stays."""
        with self._news:
            self._is_open = False

    def wait_until_empty(self, within_s: float) -> bool:
        """Whether everybody came out in time."""
        with self._news:
            return self._news.wait_for(lambda: not self._inside, within_s)


class Client(threading.Thread):
    """One counter with its easel. What it sent is in `sent`, in the order in which it was first sent."""

    def __init__(self, number: int, port: int, key: str, gate: Gate, seed: int, set_up: dict[str, Any]) -> None:
        super().__init__(name=f"client {number}", daemon=True)
        self.number, self.artist = number, f"c{number}"
        self.sent: list[Sent] = []
        self.loose: dict[str, Picture] = {}  # photos that no order has claimed, by id
        self.own: dict[str, Own] = {}
        self.faults: list[str] = []
        self.resent = 0
        self.is_done = threading.Event()
        self._port, self._key, self._gate, self._chance, self._set_up = port, key, gate, Random(seed), set_up
        self._is_in = self._is_closed = False
        self._takes_photos = number % 2 == 0  # the others draw from life, and never wait for a photo to be developed
        self._line: http.client.HTTPConnection | None = None

    def run(self) -> None:
        """Send, until it is done and everything is answered."""
        while not (self.is_done.is_set() and self.unanswered() is None):
            with self._gate.passing():
                if (waiting := self.unanswered()) is not None:
                    self.resent += bool(waiting.tries)
                    self._send(waiting)
                elif self._chance.random() < 0.06 and (taken := self._repeatable()):
                    self._send_again(self._chance.choice(taken))
                elif not self.is_done.is_set():
                    self.sent.append(self._next())
                    self._send(self.sent[-1])
        if self._line:
            self._line.close()

    def unanswered(self) -> Sent | None:
        """The command that waits for its answer: one at a time, so that the order is known."""
        return self.sent[-1] if self.sent and not self.sent[-1].status else None

    def _repeatable(self) -> list[Sent]:
        """What may be sent at any time again. A loose photo may not: it is kept anew when it was removed meanwhile."""
        return [one for one in self.sent[-60:] if one.is_taken and one.path.startswith("/api/")]

    # Sending

    def _send(self, one: Sent) -> None:
        one.tries += 1
        one.first_sent_s = one.first_sent_s or time.time()
        answer = self._post(one)
        if answer is None:
            return
        one.answered_s = time.time()
        one.status, one.answer = answer
        if one.is_taken:
            self._took(one)
        elif one.status == 409:  # perhaps the day was closed meanwhile, and sent everybody out
            self._is_in = one.what == "artist_in"
            self._is_closed = self._is_closed and one.what != "day_opened"
        else:
            self.faults.append(f"{one.what} {one.id} was answered by {one.status}: {one.answer}")

    def _send_again(self, one: Sent) -> None:
        """The same bytes once more: the answer must be the same."""
        self.resent += 1
        answer = self._post(one)
        if answer is not None and answer != (one.status, one.answer):
            self.faults.append(f"{one.what} {one.id}, sent again, was answered by {answer}, not {one.answer}")

    def _post(self, one: Sent) -> tuple[int, Any] | None:
        """The answer, or None where there was none or it said to come again."""
        headers = {
            "Authorization": f"Bearer {self._key}",
            "Content-Type": one.content_type,
            "X-Portraitq-By": one.by,
            "Accept": "application/json",
        }
        try:
            if self._line is None:
                self._line = http.client.HTTPConnection("127.0.0.1", self._port, timeout=ANSWER_WITHIN_S)
            if one.pictures and self._chance.random() < 0.3:  # slowly, so that a kill finds half a photo
                self._post_slowly(self._line, one, headers)
            else:
                self._line.request("POST", one.path, one.body, headers)
            with self._line.getresponse() as answer:
                body = answer.read()
            if answer.status >= 500 or answer.status == 429:
                time.sleep(0.05)
                return None
            return answer.status, json.loads(body)
        except (OSError, http.client.HTTPException, json.JSONDecodeError):
            if self._line is not None:
                self._line.close()
            self._line = None
            time.sleep(0.01)  # whoever kills needs a moment to shut the gate
            return None

    def _post_slowly(self, line: http.client.HTTPConnection, one: Sent, headers: dict[str, str]) -> None:
        line.putrequest("POST", one.path)
        for name, value in {**headers, "Content-Length": str(len(one.body))}.items():
            line.putheader(name, value)
        half = len(one.body) // 2
        line.endheaders(one.body[:half])
        time.sleep(self._chance.random() * 0.1)
        line.send(one.body[half:])

    # What the answers tell

    def _took(self, one: Sent) -> None:
        if one.what == "ordered":
            id = one.answer["ticket"]
            self.own[id] = Own(id, one.answer["code"], one.name, one.pictures)
        elif one.what == "loose photo":
            self.loose[one.data["id"]] = one.pictures[0]
        elif one.what == "loose photo removed":
            self.loose.pop(one.data["id"], None)
        else:
            for event in one.answer["events"]:
                self._happened(event["kind"], event["data"])

    def _happened(self, kind: str, data: dict[str, Any]) -> None:
        if kind in ("artist_in", "artist_out"):
            self._is_in = kind == "artist_in"
        if kind in ("day_closed", "day_opened"):
            self._is_closed, self._is_in = kind == "day_closed", False
        own = self.own.get(data.get("ticket", ""))
        if own is not None:
            own.place = LIFE[own.place].get(kind, own.place)
            own.stages_done += STAGES_GAINED.get(kind, 0)
            own.is_erased = own.is_erased or kind == "erased"

    # What is wished for

    def _next(self) -> Sent:
        chance = self._chance
        if self._is_closed:
            return self._day()
        if not self._is_in and chance.random() < 0.9:
            return self._command("artist_in", artist=self.artist)
        if self.number == 0 and chance.random() < 0.04:
            self._set_up["styles"][0]["price"] += 100
            return self._command("set_up", **self._set_up)
        if self.number == 0 and chance.random() < 0.01:
            return self._command("day_closed")
        still = [own for own in self.own.values() if own.place not in OVER]
        to_erase = [own for own in self.own.values() if own.place in OVER and not own.is_erased]
        if to_erase and chance.random() < 0.15:
            return self._command("erased", ticket=chance.choice(to_erase).id)
        if self.loose and chance.random() < 0.03:
            return self._unloose(chance.choice([*self.loose]))
        if self._takes_photos and chance.random() < 0.04:
            return self._loose_photo()
        if chance.random() < 0.03:
            return self._command("walked_away", style=STYLE, sitters=1, ready_by=None)
        if not still or (len(still) < MOST_OPEN and chance.random() < 0.25):
            return self._order()
        return self._for(chance.choice(still))

    def _for(self, own: Own) -> Sent:
        kinds = [*LIFE[own.place], "paid", "promised"]
        is_at_easel = any(other.place in ON_EASEL for other in self.own.values())
        if own.place in (*IN_QUEUE, COLLECTED) and is_at_easel:
            kinds = [kind for kind in kinds if kind not in ("started", "touched_up")]
        unfit = {DRAWING: "finished"}.get(own.place), "stage_undone" if not own.stages_done else None
        kinds = [kind for kind in kinds if kind not in unfit]
        kind = self._chance.choices(kinds, [WEIGHTS.get(kind, 1) for kind in kinds])[0]
        data: dict[str, Any] = {"ticket": own.id}
        match kind:
            case "started" | "touched_up":
                data["artist"] = self.artist
            case "stage_done":
                data["stage"] = STAGES[min(own.stages_done, len(STAGES) - 1)]
            case "stage_undone":
                data["stage"] = STAGES[max(own.stages_done - 1, 0)]
            case "paused" | "held" | "cancelled":
                data["why"] = WHY[kind]
            case "moved":
                data["before"] = None
            case "finished":
                data["rack"] = "A1"
            case "paid":
                data |= {"amount": 500, "how": "cash"}
            case "promised":
                at = datetime.now(UTC) + timedelta(hours=1)  # noqa: TID251
                data |= {"ready_by": at.isoformat(timespec="milliseconds").replace("+00:00", "Z"), "confidence": 0.85}
        return self._command(kind, **data)

    def _day(self) -> Sent:
        now = datetime.now(UTC)  # noqa: TID251
        closes = (now + timedelta(hours=8)).isoformat(timespec="milliseconds").replace("+00:00", "Z")
        return self._command("day_opened", day=now.date().isoformat(), closes_at=closes, breaks=[])

    def _command(self, kind: str, **data: Any) -> Sent:
        id = secrets.token_hex(12)
        body = json.dumps({"id": id, "kind": kind, "data": data}).encode()
        at_easel = kind in ("started", "stage_done", "stage_undone", "paused", "resumed", "artist_in", "artist_out")
        by = f"easel:{self.artist}" if at_easel else "counter"
        return Sent(id, kind, f"/api/v1/booths/{SLUG}/commands", body, "application/json", by, data)

    def _order(self) -> Sent:
        id, name = secrets.token_hex(12), NAME + secrets.token_hex(6)
        pictures = [a_picture(self._chance) for _ in range(self._chance.choice([0, 1, 1, 2]) * self._takes_photos)]
        order = {"id": id, "style": STYLE, "sitters": 1, "artist": self.artist}
        fields = {"order": json.dumps(order), "name": name, "contact": f"{name}@quay.example", "note": f"for {name}"}
        body, content_type = _form(fields, pictures)
        return Sent(
            id, "ordered", f"/api/v1/booths/{SLUG}/orders", body, content_type, "counter", order, pictures, name
        )

    def _loose_photo(self) -> Sent:
        id, picture = secrets.token_hex(12), a_picture(self._chance)
        body, content_type = _form({"id": id}, [picture])
        path = f"/{SLUG}/counter/photos"
        return Sent(id, "loose photo", path, body, content_type, "counter", {"id": id}, [picture])

    def _unloose(self, id: str) -> Sent:
        path, content_type = f"/{SLUG}/counter/photos/{id}/remove", "application/x-www-form-urlencoded"
        return Sent(secrets.token_hex(12), "loose photo removed", path, b"", content_type, "counter", {"id": id})


def _form(fields: dict[str, str], pictures: list[Picture]) -> tuple[bytes, str]:
    """The body of a form with its photos, and its content type (RFC 7578)."""
    edge = secrets.token_hex(12)
    parts = [
        f'--{edge}\r\nContent-Disposition: form-data; name="{name}"\r\n\r\n{value}\r\n'.encode()
        for name, value in fields.items()
    ]
    head = f'--{edge}\r\nContent-Disposition: form-data; name="photo"; filename="a.jpg"\r\n'
    head += "Content-Type: image/jpeg\r\n\r\n"
    parts += [head.encode() + picture.sent + b"\r\n" for picture in pictures]
    return b"".join([*parts, f"--{edge}--\r\n".encode()]), f"multipart/form-data; boundary={edge}"

"""Hundreds of hostile files, sent to a service that really runs: each is answered in one sentence, and it goes on."""

from __future__ import annotations

import http.client
import json
import os
import sys
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path

import pytest

from portraitq.starter import SLUG
from tests.journeys.served import Served
from tests.photo.hostile import hostile_files
from tests.web.conftest import jpeg

MOST_MB = 300
LOOK_EVERY_S = 0.02
LONGEST_SENTENCE = 300
EDGE = "an-edge-that-is-in-no-photo"

pytestmark = pytest.mark.skipif(sys.platform != "linux", reason="reads /proc")


def processes_of(group: int) -> list[int]:
    """The service's processes: all of its group."""
    found = []
    for entry in Path("/proc").iterdir():
        if entry.name.isdigit():
            try:
                if os.getpgid(int(entry.name)) == group:
                    found.append(int(entry.name))
            except ProcessLookupError:
                continue  # it ended while we looked
    return found


def resident_mb(processes: list[int]) -> float:
    """What they hold in memory together; what they share counts for each."""
    pages = 0
    for process in processes:
        try:
            pages += int(Path(f"/proc/{process}/statm").read_text().split()[1])
        except (FileNotFoundError, ProcessLookupError):
            continue
    return pages * os.sysconf("SC_PAGE_SIZE") / 1e6


@dataclass
class Watch:
    """The most that a group of processes held while it was watched."""

    group: int
    peak_mb: float = 0.0
    _over: threading.Event = field(default_factory=threading.Event)

    def look(self) -> None:
        processes, looks = processes_of(self.group), 0
        while not self._over.wait(LOOK_EVERY_S):
            looks += 1
            if looks % 10 == 0:  # there may be a new worker
                processes = processes_of(self.group)
            self.peak_mb = max(self.peak_mb, resident_mb(processes))

    @contextmanager
    def watching(self) -> Iterator[None]:
        thread = threading.Thread(target=self.look)
        thread.start()
        yield
        self._over.set()
        thread.join()


@dataclass
class Counter:
    """Sends orders with photos over one line, all with the same id: one that is taken is taken once."""

    service: Served
    line: http.client.HTTPConnection = field(init=False)

    def __post_init__(self) -> None:
        self.line = http.client.HTTPConnection("127.0.0.1", self.service.port, timeout=60)

    def order(self, photo: bytes, id: str = "hostile") -> tuple[int, dict[str, object]]:
        head = f'--{EDGE}\r\nContent-Disposition: form-data; name="order"\r\n\r\n'
        head += json.dumps({"id": id, "style": "pencil-head", "sitters": 1})
        head += f'\r\n--{EDGE}\r\nContent-Disposition: form-data; name="photo"; filename="a.jpg"\r\n\r\n'
        body = head.encode() + photo + f"\r\n--{EDGE}--\r\n".encode()
        headers = {
            "Authorization": f"Bearer {self.service.key}",
            "Content-Type": f"multipart/form-data; boundary={EDGE}",
        }
        self.line.request("POST", f"/api/v1/booths/{SLUG}/orders", body, headers)
        answer = self.line.getresponse()
        return answer.status, json.load(answer)


@pytest.fixture
def counter(served: Served) -> Iterator[Counter]:
    sending = Counter(served)
    yield sending
    sending.line.close()


def is_told_in_a_sentence(said: dict[str, object]) -> bool:
    """Whether a refusal names the photo and says why, for a person."""
    detail = str(said.get("detail", ""))
    words = 20 < len(detail) < LONGEST_SENTENCE and detail.isprintable() and detail.endswith(".")
    return said.get("field") == "photo.0" and words and "Error" not in detail


def test_each_hostile_file_is_answered_in_one_sentence_and_the_service_goes_on(
    served: Served, counter: Counter
) -> None:
    files = list(hostile_files())
    assert served.process is not None
    group = served.process.pid
    counter.order(jpeg(), "warm")
    time.sleep(0.5)
    idle_mb, before = resident_mb(processes_of(group)), set(processes_of(group))
    watch, odd, taken = Watch(group), [], 0

    with watch.watching():
        for name, file in files:
            status, said = counter.order(file)
            taken += status == 201
            if status != 201 and not (status == 422 and is_told_in_a_sentence(said)):
                odd.append((name, status, said))

    status, _ = counter.order(jpeg(), "afterwards")
    after_mb = resident_mb(processes_of(group))
    ordered = [event.id for event in served.journal().events if event.kind == "ordered"]
    print(f"{len(files)} files, {taken} taken; idle {idle_mb:.0f}, peak {watch.peak_mb:.0f}, after {after_mb:.0f} MB")
    assert len(files) >= 500
    assert odd == []
    assert status == 201
    assert sorted(ordered) == ["afterwards", "hostile", "warm"]  # what was refused left no order behind
    assert served.process.poll() is None
    assert len(processes_of(group)) == len(before)  # no process was left behind either
    assert after_mb - idle_mb < MOST_MB
    assert watch.peak_mb - idle_mb < MOST_MB


def test_a_hostile_file_alone_takes_no_order(served: Served, counter: Counter) -> None:
    status, said = counter.order(b"PK\x03\x04" + bytes(1000))

    assert (status, said["field"]) == (422, "photo.0")
    assert [event for event in served.journal().events if event.kind == "ordered"] == []
    assert served.answers()


def test_after_a_kill_of_the_service_no_process_is_left_and_the_port_is_free(served: Served, counter: Counter) -> None:
    counter.order(jpeg())
    assert served.process is not None
    group = served.process.pid

    served.process.kill()  # the first process alone; its children find out
    served.process.wait(timeout=10)
    until = time.monotonic() + 20
    while processes_of(group) and time.monotonic() < until:
        time.sleep(0.05)

    assert processes_of(group) == []
    served.start()
    counter.line.close()  # it opens itself again
    assert counter.order(jpeg(), "again")[0] == 201

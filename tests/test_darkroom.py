"""Photos are developed in a process of their own; what goes wrong there stays there."""

from __future__ import annotations

import io
import os
import signal
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest
from PIL import Image

from portraitq import darkroom
from portraitq.core.errors import Malformed
from portraitq.darkroom import HANDED_OVER_BYTES, Darkroom
from portraitq.photo.intake import take_in

ON_LINUX = pytest.mark.skipif(sys.platform != "linux", reason="reads /proc")
ROOT = Path(__file__).resolve().parent.parent
PATIENCE_S = 20.0


def jpeg(width: int = 320, height: int = 240) -> bytes:
    file = io.BytesIO()
    Image.linear_gradient("L").resize((width, height)).convert("RGB").save(file, "JPEG")
    return file.getvalue()


def ends_its_reader(given: bytes | str, longest_s: float) -> None:
    """What a decoder does that a file has broken."""
    os._exit(11)


def comes_true(asked: Callable[[], bool]) -> bool:
    until = time.monotonic() + PATIENCE_S
    while not asked() and time.monotonic() < until:
        time.sleep(0.01)
    return asked()


def runs(process: int) -> bool:
    try:
        return Path(f"/proc/{process}/stat").read_text().rpartition(")")[2].split()[0] != "Z"
    except (FileNotFoundError, ProcessLookupError):
        return False


@pytest.fixture(scope="module")
def room() -> Iterator[Darkroom]:
    room = Darkroom()
    yield room
    room.close()


def test_a_photo_comes_out_as_it_does_at_home(room: Darkroom) -> None:
    assert room.develop(jpeg()) == take_in(jpeg())
    assert room.develop(io.BytesIO(jpeg())) == take_in(jpeg())
    assert room.worker != os.getpid()


def test_a_refusal_keeps_its_sentence_and_its_field(room: Darkroom) -> None:
    with pytest.raises(Malformed, match="but this is a text") as refusal:
        room.develop(b"Dear customer")

    assert refusal.value.field == "photo"


@pytest.mark.parametrize("is_photo", [True, False])
def test_a_large_file_leaves_no_name_behind(
    room: Darkroom, is_photo: bool, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(tempfile, "tempdir", str(tmp_path))
    large = (jpeg() if is_photo else b"\x89PNG\r\n\x1a\n").ljust(HANDED_OVER_BYTES + 1, b"\0")

    if is_photo:
        assert room.develop(large).width_px == 320
    else:
        with pytest.raises(Malformed, match="damaged"):
            room.develop(large)

    assert list(tmp_path.iterdir()) == []


def test_a_large_file_leaves_no_name_behind_when_its_reader_died(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(tempfile, "tempdir", str(tmp_path))
    room, large = Darkroom(longest_s=0.0), jpeg().ljust(HANDED_OVER_BYTES + 1, b"\0")

    with pytest.raises(Malformed):
        room.develop(large)

    room.close()
    assert list(tmp_path.iterdir()) == []


def test_many_threads_are_served_alike(room: Darkroom) -> None:
    files = [jpeg(200 + n) for n in range(24)]

    with ThreadPoolExecutor(12) as threads:
        widths = [photo.width_px for photo in threads.map(room.develop, files)]

    assert widths == [200 + n for n in range(24)]


@ON_LINUX
def test_a_photo_that_takes_too_long_is_given_up_and_the_next_is_taken() -> None:
    room = Darkroom(longest_s=0.5)
    room.develop(jpeg())
    first = room.worker
    assert first is not None
    os.kill(first, signal.SIGSTOP)

    with pytest.raises(Malformed, match=r"not read within 0\.5 seconds") as refusal:
        room.develop(jpeg())
    room.longest_s = PATIENCE_S
    photo = room.develop(jpeg())

    assert refusal.value.field == "photo"
    assert photo == take_in(jpeg())
    assert not runs(first)
    room.close()


def test_a_photo_that_ends_its_readers_is_refused_and_the_next_is_taken(monkeypatch: pytest.MonkeyPatch) -> None:
    room, develop = Darkroom(), darkroom._develop
    monkeypatch.setattr(darkroom, "_develop", ends_its_reader)

    with pytest.raises(Malformed, match="ended the program which read it") as refusal:
        room.develop(jpeg())
    monkeypatch.setattr(darkroom, "_develop", develop)
    photo = room.develop(jpeg())

    assert refusal.value.field == "photo"
    assert photo == take_in(jpeg())
    room.close()


@ON_LINUX
def test_a_photo_is_not_blamed_for_a_worker_that_ended_by_itself(room: Darkroom) -> None:
    room.develop(jpeg())
    assert room.worker is not None

    os.kill(room.worker, signal.SIGKILL)

    assert room.develop(jpeg()) == take_in(jpeg())


@ON_LINUX
def test_a_photo_that_wants_more_memory_than_it_may_have_is_refused() -> None:
    room = Darkroom(largest_memory_bytes=300_000_000)
    file = io.BytesIO()
    Image.new("RGB", (9000, 9000)).save(file, "WEBP", lossless=True, method=0)

    with pytest.raises(Malformed) as refusal:
        room.develop(file)
    photo = room.develop(jpeg())

    assert refusal.value.field == "photo"
    assert photo == take_in(jpeg())
    room.close()


@ON_LINUX
def test_closing_ends_the_worker() -> None:
    room = Darkroom()
    room.develop(jpeg())
    worker = room.worker
    assert worker is not None

    room.close()

    assert comes_true(lambda: not runs(worker))


@ON_LINUX
def test_closing_lets_go_of_the_photo_in_hand_and_of_those_that_wait() -> None:
    room = Darkroom()
    room.develop(jpeg())
    worker = room.worker
    assert worker is not None
    os.kill(worker, signal.SIGSTOP)  # it stays in hand
    with ThreadPoolExecutor(3) as threads:
        sent = [threads.submit(room.develop, jpeg()) for _ in range(3)]
        assert comes_true(lambda: room._line._work_queue.qsize() == 2)

        room.close()

        refusals = [one.exception(PATIENCE_S) for one in sent]
    assert [type(no) for no in refusals] == [Malformed] * 3
    assert all("being stopped" in str(no) for no in refusals)
    assert comes_true(lambda: not runs(worker))


@pytest.mark.parametrize(
    "why", [NotImplementedError("no semaphores"), RuntimeError("started before its program had begun")]
)
def test_where_no_process_can_be_made_photos_are_taken_here_and_it_is_said_once(
    why: Exception, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    def none_here(*_: object) -> None:
        raise why

    monkeypatch.setattr(darkroom.ProcessPoolExecutor, "submit", none_here)
    room = Darkroom()

    photos = [room.develop(jpeg()), room.develop(io.BytesIO(jpeg()))]

    assert photos == [take_in(jpeg())] * 2
    assert [record.message for record in caplog.records if "no process could be made" in record.message] != []
    assert len(caplog.records) == 1
    room.close()


def test_after_closing_the_next_photo_opens_the_darkroom_anew() -> None:
    darkroom.warm()
    darkroom.close()

    photo = darkroom.develop(jpeg())

    assert photo == take_in(jpeg())
    darkroom.close()


A_SERVICE = """
import socket, sys, time
from portraitq import darkroom

if __name__ == "__main__":
    listening = socket.create_server(("127.0.0.1", 0))
    darkroom.develop(open(sys.argv[1], "rb"))
    print(listening.getsockname()[1], darkroom._darkroom.worker, flush=True)
    time.sleep(60)
"""


@ON_LINUX
def test_the_worker_holds_no_socket_of_the_service_and_ends_with_it_however_it_ends(tmp_path: Path) -> None:
    (tmp_path / "service.py").write_text(A_SERVICE)
    (tmp_path / "photo.jpg").write_bytes(jpeg())
    service = subprocess.Popen(
        [sys.executable, str(tmp_path / "service.py"), str(tmp_path / "photo.jpg")],
        stdout=subprocess.PIPE,
        text=True,
        env={**os.environ, "PYTHONPATH": str(ROOT)},
    )
    assert service.stdout is not None
    worker = int(service.stdout.readline().split()[1])
    links = [os.readlink(link) for link in Path(f"/proc/{worker}/fd").iterdir()]
    ran = runs(worker)

    service.kill()
    service.communicate()

    assert ran
    assert [link for link in links if link.startswith("socket:")] == []
    assert comes_true(lambda: not runs(worker))


@ON_LINUX
def test_ctrl_c_is_left_to_the_service(room: Darkroom) -> None:
    room.develop(jpeg())
    before = room.worker
    assert before is not None

    os.kill(before, signal.SIGINT)

    assert room.develop(jpeg()) == take_in(jpeg())
    assert room.worker == before

"""What the booth sees while its disk or database is out of order: a clear sentence, the last good state, no lost tap.

Each fault is brought about for real, and taken away again while the service runs. What SQLite says of each stands in
its list of result codes (https://www.sqlite.org/rescode.html); 503 with Retry-After is RFC 9110, 15.6.4 and 10.2.3
(both from memory).
"""

from __future__ import annotations

import logging
import secrets
import shutil
import sqlite3
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import ExitStack, closing, contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner
from werkzeug.test import TestResponse

from portraitq import serve
from portraitq.cli import main
from portraitq.store import journal, store, trouble
from portraitq.store.store import FILE_NAME
from tests.faults.disks import a_small_disk, full, only_read, the_same_disk
from tests.web.conftest import Web, jpeg, make_web

HOLD = (
    "import sqlite3, sys\nraw = sqlite3.connect(sys.argv[1], isolation_level=None)\n"
    "raw.execute(sys.argv[2]).fetchall()\nprint('held', flush=True)\nsys.stdin.read()\nraw.close()"
)
ENOUGH_TAPS = 400  # the log has room for some, which it had before the disk was full

pytestmark = pytest.mark.skipif(sys.platform != "linux", reason="faults of Linux's file systems")


@dataclass
class Booth:
    """A booth whose day is open, with an order, its owner signed in and a script with a key."""

    web: Web
    ticket: str = field(init=False)
    key: dict[str, str] = field(init=False)

    def __post_init__(self) -> None:
        self.ticket, self.key = self.web.order(), self.web.key()
        self.web.sign_in()
        self.web.desk.standing(wait_s=30)

    def tap(self, id: str = "", kind: str = "walked_away", **data: Any) -> TestResponse:
        asked = data or {"style": None, "sitters": 1, "ready_by": None}
        sent = {"id": id or secrets.token_hex(8), "kind": kind, "data": asked}
        return self.web.client.post("/api/v1/booths/quay/commands", json=sent, headers=self.key)

    def tap_until_it_is_told(self) -> tuple[str, TestResponse]:
        """Taps until one is not taken: its id and its answer."""
        for count in range(ENOUGH_TAPS):
            answer = self.tap(f"tap-{count}")
            if answer.status_code != 200:
                return f"tap-{count}", answer
        raise AssertionError(f"{ENOUGH_TAPS} taps were taken")

    def form(self) -> TestResponse:
        """Somebody at the counter, without a script."""
        data = {"sitters": "1", "token": self.web.token(), "id": secrets.token_hex(12)}
        return self.web.client.post("/quay/counter/walked-away", data=data)

    def order_with_photo(self) -> TestResponse:
        import io

        data = {"order": f'{{"id": "{secrets.token_hex(8)}", "style": "pencil-head", "sitters": 1}}',
                "photo": (io.BytesIO(jpeg()), "a.jpg")}  # fmt: skip
        return self.web.client.post("/api/v1/booths/quay/orders", data=data, headers=self.key)

    def still_shows_everything(self) -> None:
        code = self.web.code(self.ticket)
        for path in ("/quay/wall", "/quay/counter", "/quay/easel/a1", f"/t/{code}", "/api/v1/booths/quay/wall"):
            with self.web.client.get(path) as page:
                assert page.status_code == 200, path
        script = self.web.app.test_client()
        assert script.get("/api/v1/booths/quay/journal", headers=self.key).status_code == 200

    def still_quotes(self) -> None:
        """The desk goes on by itself, and what it hears itself say is what the screens are sent."""
        before = self.web.desk.standing(wait_s=0).as_of
        self.web.desk.refresh()
        for _ in range(600):
            if self.web.desk.standing(wait_s=0).as_of > before:
                return
            time.sleep(0.05)
        raise AssertionError("no new quotes came")

    def lines(self) -> list[str]:
        with self.web.desks.store.reading() as connection:
            return journal.lines(connection, "quay")


@contextmanager
def a_booth(folder: Path) -> Iterator[Booth]:
    web = make_web(folder)
    try:
        yield Booth(web)
    finally:
        web.app.extensions["portraitq-live"].close()
        web.desks.close()


def is_told(answer: TestResponse, sentence: str) -> None:
    assert answer.status_code == 503
    assert answer.mimetype == "application/problem+json"
    assert answer.json["detail"] == sentence
    assert int(answer.headers["Retry-After"]) > 0


def is_told_on_a_page(answer: TestResponse, sentence: str) -> None:
    assert answer.status_code == 503
    assert answer.mimetype == "text/html"
    assert sentence in answer.get_data(as_text=True).replace("&#39;", "'")


def said(caplog: pytest.LogCaptureFixture) -> list[str]:
    """What the store logged, without what stands in brackets."""
    return [one.getMessage().split(" (")[0] for one in caplog.records if one.levelno >= logging.WARNING]


def sound(folder: Path) -> bool:
    with closing(sqlite3.connect(folder / FILE_NAME)) as raw:
        return raw.execute("PRAGMA integrity_check").fetchall() == [("ok",)]


def goes_through(booth: Booth, caplog: pytest.LogCaptureFixture, sentence: str, cure: Callable[[], None]) -> None:
    """The same for every fault that passes: told, logged once, everything shown; then the same tap is taken."""
    before, stood = booth.lines(), booth.web.desk.standing(wait_s=0).booth
    id, refused = booth.tap_until_it_is_told()
    taken = int(id.removeprefix("tap-"))
    is_told(refused, sentence)
    booth.web.client.get("/healthz")  # whoever asks that again and again is no reason to log it again
    is_told(booth.tap(id), sentence)
    is_told_on_a_page(booth.form(), sentence)
    is_told(booth.order_with_photo(), sentence)
    booth.still_shows_everything()
    booth.still_quotes()
    assert len(booth.lines()) == len(before) + taken
    assert taken or booth.web.desk.standing(wait_s=0).booth == stood
    assert said(caplog).count(sentence.split(" (")[0]) == 1

    cure()

    again = booth.tap(id)
    assert again.status_code == 200
    assert booth.tap(id).json == again.json
    assert len(booth.lines()) == len(before) + taken + 1
    assert booth.order_with_photo().status_code == 201
    assert said(caplog).count("The database answers again.") == 1


def test_a_full_disk_is_told_and_the_tap_is_taken_once_there_is_room(
    tmp_path: Path, caplog: pytest.LogCaptureFixture
) -> None:
    with a_small_disk(tmp_path, megabytes=6) as disk, a_booth(disk / "data") as booth, ExitStack() as fault:
        fault.enter_context(full(disk))

        goes_through(booth, caplog, trouble.FULL, fault.close)

        assert sound(disk / "data")


def test_a_disk_that_can_only_be_read_is_told_and_written_again_when_it_can(
    tmp_path: Path, caplog: pytest.LogCaptureFixture
) -> None:
    with a_small_disk(tmp_path, megabytes=8) as disk, the_same_disk(disk) as way, a_booth(way / "data") as booth:
        held = subprocess.Popen(  # another program has it open, so that the log stays where it is
            [sys.executable, "-c", HOLD, disk / "data" / FILE_NAME, "SELECT value FROM settings"],
            stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True,
        )  # fmt: skip
        try:
            assert held.stdout is not None
            assert held.stdout.readline() == "held\n"
            with ExitStack() as fault:
                booth.web.desks.store.engine.dispose()  # nothing is open for writing, or the way could not be shut
                fault.enter_context(only_read(way))

                goes_through(booth, caplog, trouble.READ_ONLY, fault.close)
        finally:
            held.communicate("")
        assert sound(disk / "data")


def test_a_data_folder_that_was_moved_away_is_told_and_goes_on_when_it_is_put_back(
    tmp_path: Path, caplog: pytest.LogCaptureFixture
) -> None:
    with a_booth(tmp_path / "data") as booth:
        (tmp_path / "data").rename(tmp_path / "elsewhere")

        goes_through(booth, caplog, trouble.GONE, lambda: (tmp_path / "elsewhere").rename(tmp_path / "data") and None)

    assert sound(tmp_path / "data")


def test_a_data_folder_in_whose_place_another_stands_gets_nothing_written(
    tmp_path: Path, caplog: pytest.LogCaptureFixture
) -> None:
    data, other = tmp_path / "data", tmp_path / "other"
    with a_booth(data) as booth:
        shutil.copytree(data, other)
        before = (other / FILE_NAME).read_bytes()
        data.rename(tmp_path / "elsewhere")
        other.rename(data)

        def put_back() -> None:
            assert (data / FILE_NAME).read_bytes() == before
            shutil.rmtree(data)
            (tmp_path / "elsewhere").rename(data)

        goes_through(booth, caplog, trouble.GONE, put_back)


def test_where_the_data_folder_was_taken_away_no_empty_database_is_begun(tmp_path: Path) -> None:
    with a_booth(tmp_path / "data") as booth:
        shutil.move(tmp_path / "data", tmp_path / "elsewhere")
        (tmp_path / "data").mkdir()
        booth.web.desks.store.engine.dispose()

        answer = booth.tap()

        assert answer.status_code == 503
        assert [*(tmp_path / "data").iterdir()] == []


def test_a_database_that_another_program_holds_is_waited_for_and_then_told(
    tmp_path: Path, caplog: pytest.LogCaptureFixture, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(store, "LOCK_WAIT_MS", 150)  # so that the test need not wait five seconds each time
    with a_booth(tmp_path) as booth:
        held = subprocess.Popen(
            [sys.executable, "-c", HOLD, tmp_path / FILE_NAME, "BEGIN EXCLUSIVE"],
            stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True,
        )  # fmt: skip
        try:
            assert held.stdout is not None
            assert held.stdout.readline() == "held\n"
            begun_s = time.monotonic()
            booth.tap()
            assert time.monotonic() - begun_s >= 0.15

            goes_through(booth, caplog, trouble.HELD, lambda: held.communicate("") and None)
        finally:
            held.communicate("")


def test_when_no_more_files_may_be_opened_it_is_told_and_what_is_open_is_used(
    tmp_path: Path, caplog: pytest.LogCaptureFixture
) -> None:
    import resource

    with a_booth(tmp_path) as booth:
        limits = resource.getrlimit(resource.RLIMIT_NOFILE)
        booth.web.desks.store.engine.dispose()
        resource.setrlimit(resource.RLIMIT_NOFILE, (0, limits[1]))
        try:
            refused = booth.tap("tap-0")
        finally:
            resource.setrlimit(resource.RLIMIT_NOFILE, limits)

        is_told(refused, trouble.NO_HANDLES)
        assert booth.tap("tap-0").status_code == 200
        assert said(caplog).count(trouble.NO_HANDLES) == 1


def test_a_damaged_database_is_told_at_the_screen_and_at_the_start(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(serve, "run", lambda _service: pytest.fail("a damaged store is served"))
    with a_booth(tmp_path) as booth:
        booth.web.desks.store.scrub()
        booth.web.desks.store.engine.dispose()
        file = tmp_path / FILE_NAME
        file.write_bytes(b"no database " * (file.stat().st_size // 12))

        told = booth.tap()

    started = CliRunner().invoke(main, ["serve", "--data", str(tmp_path), "--host", "127.0.0.1", "--port", "0"])
    is_told(told, trouble.DAMAGED)
    assert started.exit_code == 1
    assert started.output == f"The database at {file} cannot be opened: {trouble.DAMAGED}\n"

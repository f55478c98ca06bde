"""A booth's service as its owner starts it: a process of its own on a folder of its own, which can lose its power."""

from __future__ import annotations

import json
import os
import re
import secrets
import signal
import socket
import subprocess
import sys
import tempfile
import time
import urllib.error
import urllib.request
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import UTC, datetime
from functools import cached_property
from pathlib import Path
from typing import Any

from portraitq.core.booth import Booth, import_lines
from portraitq.core.events import Event
from portraitq.starter import SLUG
from portraitq.store import devices, journal
from portraitq.store.store import Store, open_store
from tests.morning import where_it_is_morning

ROOT = Path(__file__).resolve().parents[2]
UP_WITHIN_S = 60.0  # a busy machine takes its time; a quiet one needs about one second
LOOK_AGAIN_S = 0.05
FONTS_FOUND = Path(tempfile.gettempdir()) / "portraitq-tests-fonts"  # matplotlib looks for fonts once, not at each home


def a_free_port() -> int:
    with socket.socket() as asking:
        asking.bind(("127.0.0.1", 0))
        return int(asking.getsockname()[1])


@dataclass
class Served:
    """`python -m portraitq serve` on `folder`. It can be killed and started again on the same data and port."""

    folder: Path
    port: int = field(default_factory=a_free_port)
    passphrase: str = ""
    process: subprocess.Popen[bytes] | None = None

    @property
    def address(self) -> str:
        return f"http://127.0.0.1:{self.port}"

    @property
    def booth(self) -> str:
        """The address of the booth that a first start makes."""
        return f"{self.address}/{SLUG}"

    @cached_property
    def environment(self) -> dict[str, str]:
        kept = {name: value for name, value in os.environ.items() if not name.startswith("PORTRAITQ_")}
        own = {"TZ": where_it_is_morning(), "HOME": str(self.folder), "PYTHONPATH": str(ROOT)}
        return {**kept, **own, "MPLCONFIGDIR": str(FONTS_FOUND)}

    def start(self) -> None:
        """Start it, and wait until it answers. The passphrase is in what the first start prints."""
        said = self.folder / "said.txt"
        command = [sys.executable, "-m", "portraitq", "serve", *self._data(), "--port", str(self.port)]
        with said.open("wb") as out:
            self.process = subprocess.Popen(
                [*command, "--host", "127.0.0.1"],
                cwd=self.folder,
                env=self.environment,
                stdin=subprocess.DEVNULL,
                stdout=out,
                stderr=subprocess.STDOUT,
                start_new_session=True,
            )
        until = time.monotonic() + UP_WITHIN_S
        while not self.answers():
            over = self.process.poll() is not None or time.monotonic() > until
            assert not over, f"the service did not come up:\n{said.read_text()}"
            time.sleep(LOOK_AGAIN_S)
        if printed := re.search(r"Passphrase of the booth: (\S+)", said.read_text()):
            self.passphrase = printed[1]

    def answers(self) -> bool:
        try:
            with urllib.request.urlopen(f"{self.address}/healthz", timeout=5) as answer:
                return bool(answer.status == 200)
        except (urllib.error.URLError, ConnectionError, TimeoutError):
            return False

    def kill(self) -> None:
        """End all of it at once with kill -9, as when the power goes."""
        assert self.process is not None
        os.killpg(self.process.pid, signal.SIGKILL)
        self.process.wait(timeout=10)

    def stop(self) -> None:
        """End it as Ctrl-C does, or by force when it does not listen."""
        if self.process is None or self.process.poll() is not None:
            return
        self.process.terminate()
        try:
            self.process.wait(timeout=15)
        finally:
            if self.process.poll() is None:
                self.kill()

    def _data(self) -> list[str]:
        return ["--data", str(self.folder / "data")]

    def command_line(self, *words: str) -> str:
        """What `portraitq WORDS` prints about this store."""
        command = [sys.executable, "-m", "portraitq", *words, *self._data()]
        done = subprocess.run(command, cwd=self.folder, env=self.environment, capture_output=True, timeout=60)
        assert done.returncode == 0, done.stderr.decode()
        return done.stdout.decode()

    @contextmanager
    def store(self) -> Iterator[Store]:
        """The store beside the service, as a command of the shell opens it but without a process of its own."""
        opened = open_store(self.folder / "data")
        try:
            yield opened
        finally:
            opened.close()

    def journal(self) -> Journal:
        """The whole journal on disk, folded."""
        with self.store() as store, store.reading() as connection:
            booth, events = import_lines(journal.lines(connection, SLUG))
        return Journal(booth, tuple(events))

    # What a test does without a screen, where it is about another screen

    @cached_property
    def key(self) -> str:
        """The key of a device that was let in."""
        with self.store() as store, store.writing() as connection:
            return devices.add(connection, "a script", datetime.now(UTC))  # noqa: TID251

    def do(self, kind: str, by: str = "counter", **data: Any) -> Any:
        """A command over the JSON API."""
        body = json.dumps({"id": secrets.token_hex(12), "kind": kind, "data": data}).encode()
        return self._post("commands", body, "application/json", by)

    def order(self, style: str = "pencil-head", photo: bytes = b"", **card: str) -> dict[str, Any]:
        """An order over the JSON API: `{"ticket", "code", "number", …}`."""
        fields = {"order": json.dumps({"id": secrets.token_hex(12), "style": style, "sitters": 1}), **card}
        edge = secrets.token_hex(12)
        parts = [
            f'--{edge}\r\nContent-Disposition: form-data; name="{name}"\r\n\r\n{value}\r\n'.encode()
            for name, value in fields.items()
        ]
        if photo:
            head = f'--{edge}\r\nContent-Disposition: form-data; name="photo"; filename="a.jpg"\r\n'
            parts.append(f"{head}Content-Type: image/jpeg\r\n\r\n".encode() + photo + b"\r\n")
        body = b"".join([*parts, f"--{edge}--\r\n".encode()])
        taken: dict[str, Any] = self._post("orders", body, f"multipart/form-data; boundary={edge}", "counter")
        return taken

    def _post(self, to: str, body: bytes, kind: str, by: str) -> Any:
        headers = {"Content-Type": kind, "Authorization": f"Bearer {self.key}", "X-Portraitq-By": by}
        request = urllib.request.Request(f"{self.address}/api/v1/booths/{SLUG}/{to}", body, headers, method="POST")
        with urllib.request.urlopen(request, timeout=30) as answer:
            return json.load(answer)


@dataclass(frozen=True)
class Journal:
    """What was exported: the lines, and the booth that they fold to."""

    booth: Booth
    events: tuple[Event, ...]

    def kinds_of(self, command: str) -> list[str]:
        """What the command of that id made happen, in order."""
        return [event.kind for event in self.events if event.id == command]

    def of_kind(self, kind: str, ticket: str) -> list[Event]:
        return [one for one in self.events if one.kind == kind and getattr(one.data, "ticket", None) == ticket]

    def wrongly_kept(self, acknowledged: Sequence[str]) -> list[str]:
        """The acknowledged commands that are not in the journal exactly once and in one piece."""
        return [command for command in acknowledged if not self._is_there_once(command)]

    def _is_there_once(self, command: str) -> bool:
        seqs = [event.seq for event in self.events if event.id == command]
        kinds = self.kinds_of(command)
        return bool(seqs) and seqs == [*range(seqs[0], seqs[0] + len(seqs))] and len(kinds) == len(set(kinds))

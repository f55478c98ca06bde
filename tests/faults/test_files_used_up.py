"""More come than files may be open: who is in stays in, who comes waits, and nobody ends the service."""

from __future__ import annotations

import http.client
import socket
import sys
import time
from contextlib import ExitStack
from pathlib import Path

import psutil
import pytest

from tests.journeys.served import Served

FILES = 60  # the service needs some twenty by itself
A_WHILE_S = 120.0  # a busy machine takes its time


@pytest.mark.skipif(sys.platform != "linux", reason="limits of Linux")
def test_a_service_that_may_open_no_more_files_keeps_whom_it_has_and_lets_others_wait(tmp_path: Path) -> None:
    served = Served(tmp_path)
    served.start()
    line = http.client.HTTPConnection("127.0.0.1", served.port, timeout=60)
    try:
        worker = serving(served)
        assert answers(line)
        worker.rlimit(psutil.RLIMIT_NOFILE, (FILES, FILES))
        with ExitStack() as crowd:
            for _ in range(2 * FILES):
                crowd.enter_context(socket.create_connection(("127.0.0.1", served.port)))
            until_told(tmp_path / "said.txt")
            assert answers(line)
        until_in(served)
        assert serving(served).pid == worker.pid
    finally:
        line.close()
        served.stop()


def answers(line: http.client.HTTPConnection) -> bool:
    line.request("GET", "/healthz")
    with line.getresponse() as answer:
        answer.read()
        return answer.status == 200


def until_in(served: Served) -> None:
    """Until somebody who comes now is answered: those who wait at the door come in first, and leave."""
    until_s = time.monotonic() + A_WHILE_S
    while not served.answers():
        assert time.monotonic() < until_s, "nobody is let in although all others have left"
        time.sleep(0.05)


def until_told(said: Path) -> None:
    until_s = time.monotonic() + A_WHILE_S
    while time.monotonic() < until_s:
        if "may open no more files" in said.read_text():
            return
        time.sleep(0.05)
    raise AssertionError(f"it was not told that no more files may be opened:\n{said.read_text()}")


def serving(served: Served) -> psutil.Process:
    """The process that serves: the watching one's child that is no interpreter for photos."""
    assert served.process is not None
    (found,) = (one for one in psutil.Process(served.process.pid).children() if "-c" not in one.cmdline())
    return found

"""One service to a store, whatever way leads there; and nothing left behind stops the next."""

from __future__ import annotations

import os
import signal
import socket
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
from click.testing import CliRunner

from portraitq import serve
from portraitq.cli import main
from portraitq.store.lock import FILE_NAME, InUse, alone_in
from tests.postgres import Postgres
from tests.web.conftest import make_web

HOLD = "from portraitq.store.lock import alone_in\nimport os, sys, time\nwith alone_in(sys.argv[1]):\n"
AND_WAIT = "    os.write(1, b'%d\\n' % os.getpid())\n    time.sleep(600)\n"  # at once, for two may say it
AND_A_FORK_THAT_ENDS = "    os.fork() or sys.exit()\n    os.wait()\n" + AND_WAIT
AND_FORK = "    os.fork() or os.setsid()\n" + AND_WAIT  # the serving process, as gunicorn makes it


@contextmanager
def another_process(script: str, where: Path | str) -> Iterator[subprocess.Popen[str]]:
    process = subprocess.Popen([sys.executable, "-c", HOLD + script, where], stdout=subprocess.PIPE, text=True)
    try:
        yield process
    finally:
        process.kill()
        process.wait()
        assert process.stdout is not None
        process.stdout.close()  # not read to its end, which a fork of it may hold open


def pid_said_by(process: subprocess.Popen[str]) -> int:
    assert process.stdout is not None
    return int(process.stdout.readline())


def test_a_second_holder_is_told_who_has_the_folder_and_what_to_do(tmp_path: Path) -> None:
    with alone_in(tmp_path), pytest.raises(InUse) as told, alone_in(tmp_path, wait_s=0):
        pytest.fail("two held it")

    assert str(told.value) == (
        f"The data folder {tmp_path} is served already by process {os.getpid()}: stop that first, "
        "or choose another folder with --data."
    )


def test_another_path_to_the_same_folder_leads_to_the_same_lock(tmp_path: Path) -> None:
    (tmp_path / "by another name").symlink_to(tmp_path / "data")

    with alone_in(tmp_path / "data"), pytest.raises(InUse), alone_in(tmp_path / "by another name", wait_s=0):
        pytest.fail("two held it")


def test_whoever_is_done_lets_the_next_one_in_and_a_file_left_behind_stops_nobody(tmp_path: Path) -> None:
    with alone_in(tmp_path):
        pass
    assert (tmp_path / FILE_NAME).exists()

    with alone_in(tmp_path, wait_s=0):
        pass


def test_a_file_by_its_address_is_locked_as_its_folder_is(tmp_path: Path) -> None:
    with alone_in(tmp_path), pytest.raises(InUse), alone_in(f"sqlite:///{tmp_path / 'portraitq.sqlite3'}", wait_s=0):
        pytest.fail("two held it")


def test_a_second_holder_of_a_database_on_a_server_is_told_who_has_it_and_what_to_do(postgres: Postgres) -> None:
    address = postgres.emptied()

    with alone_in(address), pytest.raises(InUse) as told, alone_in(address, wait_s=0):
        pytest.fail("two held it")

    assert str(told.value) == (
        f"The database at {address} is served already by portraitq, process {os.getpid()} on {socket.gethostname()}: "
        "stop that first, or choose another database."
    )
    with alone_in(postgres.new_database(), wait_s=0), alone_in(address, wait_s=0):
        pass


def test_a_database_whose_server_was_away_is_held_again(postgres: Postgres) -> None:
    address, stopped = postgres.emptied(), threading.Event()
    with alone_in(address) as keep_on:
        assert keep_on is not None
        keeping = threading.Thread(target=keep_on, args=(stopped,))
        keeping.start()
        try:
            postgres.stop()
            postgres.start()

            assert any(_is_held_after(0.2, address) for _ in range(300))
        finally:
            stopped.set()
            keeping.join()


def _is_held_after(rest_s: float, address: str) -> bool:
    time.sleep(rest_s)
    try:
        with alone_in(address, wait_s=0):
            return False
    except InUse:
        return True


@pytest.mark.skipif(sys.platform == "win32", reason="no kill -9")
def test_kill_9_lets_go_of_it(where: Path | str) -> None:
    with another_process(AND_WAIT, where) as holder:
        pid_said_by(holder)
        with pytest.raises(InUse), alone_in(where, wait_s=0):
            pytest.fail("two held it")
        holder.kill()
        holder.wait()

        with alone_in(where, wait_s=60):
            pass


@pytest.mark.skipif(sys.platform == "win32", reason="no fork")
def test_a_serving_process_that_outlives_its_parent_still_holds_it(where: Path | str) -> None:
    with another_process(AND_FORK, where) as parent:
        (child,) = {pid_said_by(parent), pid_said_by(parent)} - {parent.pid}
        parent.kill()
        parent.wait()
        with pytest.raises(InUse), alone_in(where, wait_s=0):
            pytest.fail("two held it")
        os.kill(child, signal.SIGKILL)

        with alone_in(where, wait_s=60):
            pass


@pytest.mark.skipif(sys.platform == "win32", reason="no fork")
def test_a_serving_process_that_ends_in_order_does_not_hang_up_on_the_server_for_its_parent(postgres: Postgres) -> None:
    address = postgres.emptied()
    with another_process(AND_A_FORK_THAT_ENDS, address) as parent:
        pid_said_by(parent)

        with pytest.raises(InUse), alone_in(address, wait_s=0):
            pytest.fail("two held it")


def test_beside_a_service_small_commands_work_and_a_second_service_does_not(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(serve, "run", lambda _service: pytest.fail("a second one serves"))
    web = make_web(tmp_path)
    ticket = web.order()
    shell = CliRunner()
    try:
        with alone_in(tmp_path):
            for command in (["export"], ["check"], ["device", "add", "tablet"], ["erase", ticket], ["passphrase"]):
                done = shell.invoke(main, [*command, "--data", str(tmp_path)])
                assert done.exit_code == 0, done.output
            second = shell.invoke(main, ["serve", "--data", str(tmp_path), "--host", "127.0.0.1", "--port", "0"])
    finally:
        web.app.extensions["portraitq-live"].close()
        web.desks.close()

    assert second.exit_code == 1
    assert second.output.startswith(f"The data folder {tmp_path} is served already")
    assert len(second.output.splitlines()) == 1

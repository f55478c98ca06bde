"""Whoever sends too slowly is given up; here with the ends of a connection, in test_hostile with a whole service."""

from __future__ import annotations

import os
import resource
import socket
import threading
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from typing import Any

import pytest
from gunicorn.config import Config
from gunicorn.http.errors import NoMoreData
from gunicorn.workers.gthread import TConn
from werkzeug.exceptions import RequestTimeout

from portraitq import slow_clients
from portraitq.slow_clients import MOST_OWED, TOO_SLOW, SlowClients

A_WHILE_S = 20  # a busy machine takes its time; nothing here waits so long when all is well
PHONE = "192.168.4.20"
ASKED = b"POST /sign-in HTTP/1.1\r\nHost: booth\r\nContent-Length: 40\r\n\r\n"


class Line:
    """A client's end, and the server's as gunicorn holds it."""

    def __init__(self, clients: SlowClients, address: str = PHONE) -> None:
        self.client, theirs = socket.socketpair()
        self.client.settimeout(A_WHILE_S)
        self.conn = TConn(Config(), theirs, (address, 50000), ("192.168.4.1", 8750))
        self.is_met = clients.meets(self.conn)

    def head(self) -> Any:
        """What the server's thread does first."""
        self.conn.init()
        asked = next(self.conn.parser)
        self.conn.parser.unreader.expect_body()
        return asked

    def close(self) -> None:
        self.client.close()
        self.conn.close()


@pytest.fixture
def clients() -> SlowClients:
    return SlowClients()


@pytest.fixture
def line(clients: SlowClients) -> Iterator[Line]:
    opened = Line(clients)
    yield opened
    opened.close()


def test_a_head_that_does_not_end_is_answered_408_and_given_up(line: Line, monkeypatch: pytest.MonkeyPatch):
    """RFC 9110 §15.5.9; OWASP ASVS 5.0 V13.1 and V15.2 (from memory): what a client may hold is bounded."""
    monkeypatch.setattr(slow_clients, "HEAD_S", 0.1)
    line.client.sendall(b"GET /healthz HTTP/1.1\r\nHost: booth\r\nX-Slow: ")

    with pytest.raises(NoMoreData):
        line.head()

    said = line.client.recv(4096).decode()
    assert said.startswith("HTTP/1.1 408 Request Timeout\r\nConnection: close\r\n")
    assert said.endswith(TOO_SLOW)


def test_a_head_that_drips_has_no_longer_than_one_that_stands_still(line: Line, monkeypatch: pytest.MonkeyPatch):
    monkeypatch.setattr(slow_clients, "HEAD_S", 0.3)
    is_over = threading.Event()

    def drip() -> None:
        line.client.sendall(b"GET / HTTP/1.1\r\n")
        while not is_over.wait(0.02):
            line.client.sendall(b"X: y\r\n")

    dripping = threading.Thread(target=drip)
    dripping.start()
    try:
        with pytest.raises(NoMoreData):
            line.head()
    finally:
        is_over.set()
        dripping.join(A_WHILE_S)


def test_a_body_that_stands_still_is_given_up(line: Line, monkeypatch: pytest.MonkeyPatch):
    monkeypatch.setattr(slow_clients, "SILENCE_S", 0.1)
    line.client.sendall(ASKED + b"passphrase=")
    asked = line.head()

    with pytest.raises(RequestTimeout):
        asked.body.read(40)

    assert asked.should_close()


def test_a_body_that_drips_for_long_is_given_up_too(line: Line):
    line.client.sendall(ASKED)
    asked = line.head()
    line.client.sendall(b"x")
    assert line.conn.parser.unreader.chunk() == b"x"
    line.conn.parser.unreader._began_s -= slow_clients.AT_FIRST_S + 10  # that long for one byte

    with pytest.raises(RequestTimeout):
        asked.body.read(39)


def test_what_comes_in_time_is_read_whole_and_the_next_request_has_its_own_time(
    line: Line, monkeypatch: pytest.MonkeyPatch
):
    line.client.sendall(ASKED + b"x" * 40)
    asked = line.head()
    assert asked.body.read(40) == b"x" * 40
    line.conn.parser.unreader.expect_head()
    monkeypatch.setattr(slow_clients, "HEAD_S", 0.1)
    line.client.sendall(b"GET /next HTTP/1.1\r\nHost: booth\r\n")

    with pytest.raises(NoMoreData):
        next(line.conn.parser)


def test_who_wants_to_wait_less_waits_less(line: Line):
    line.client.sendall(ASKED)
    asked = line.head()
    line.conn.sock.settimeout(0.05)

    with pytest.raises(TimeoutError):
        asked.body.read(40)

    assert line.conn.sock.gettimeout() == 0.05


def test_an_answer_that_nobody_reads_is_given_up(clients: SlowClients, monkeypatch: pytest.MonkeyPatch):
    monkeypatch.setattr(slow_clients, "UNREAD_S", 1)
    opened = Line(clients)
    opened.client.sendall(ASKED)
    opened.head()

    with pytest.raises(BrokenPipeError), clients.serving(opened.conn, is_live=False):
        opened.conn.sock.sendall(b"x" * 10_000_000)

    opened.close()


@pytest.mark.parametrize(("is_live", "owed"), [(False, 1), (True, 0)])
def test_who_is_answered_counts_once_unless_the_connection_stays(clients: SlowClients, is_live: bool, owed: int):
    opened = Line(clients)
    opened.client.sendall(ASKED + b"x" * 40)
    asked = opened.head()

    with clients.serving(opened.conn, is_live=is_live):
        assert asked.body.read(40) == b"x" * 40
        assert clients.owed(PHONE) == owed

    assert clients.owed(PHONE) == 0
    opened.close()


def test_of_one_address_only_so_many_are_waited_for_and_of_others_as_before(clients: SlowClients):
    lines = [Line(clients) for _ in range(MOST_OWED)]

    one_more, another, proxy = Line(clients), Line(clients, "192.168.4.21"), Line(clients, "127.0.0.1")

    assert (one_more.is_met, another.is_met, proxy.is_met) == (False, True, True)
    assert one_more.client.recv(4096).startswith(b"HTTP/1.1 503 ")
    for opened in (*lines, another, proxy):
        opened.close()
    assert clients.owed(PHONE) == 0
    again = Line(clients)
    assert again.is_met
    one_more.close(), again.close()


def test_a_proxy_on_this_machine_speaks_for_many(clients: SlowClients):
    lines = [Line(clients, "127.0.0.1") for _ in range(MOST_OWED + 1)]

    assert all(opened.is_met for opened in lines)
    for opened in lines:
        opened.close()


def test_nobody_waits_until_a_client_hangs_up_and_its_last_words_come_whole(
    clients: SlowClients, monkeypatch: pytest.MonkeyPatch
):
    """RFC 9112 §9.6."""
    monkeypatch.setattr(slow_clients, "FAREWELL_S", 0.2)
    polite, stubborn = Line(clients), Line(clients)
    for opened in (polite, stubborn):
        opened.client.sendall(b"something that nobody reads")
        opened.conn.sock.sendall(b"the last words")

        opened.conn.close(graceful=True)

        assert opened.client.recv(4096) == b"the last words"
        assert opened.client.recv(4096) == b""
    polite.client.close()
    assert is_closed_by_and_by(stubborn.client)
    stubborn.client.close()


def is_closed_by_and_by(end: socket.socket) -> bool:
    for _ in range(A_WHILE_S * 50):
        try:
            end.sendall(b"x")
        except ConnectionError:
            return True
        threading.Event().wait(0.02)
    return False


def test_where_no_more_files_may_be_opened_who_is_in_is_waited_for_and_bidden_farewell(
    clients: SlowClients, monkeypatch: pytest.MonkeyPatch
):
    monkeypatch.setattr(slow_clients, "FAREWELL_S", 0.2)
    line = Line(clients)
    with no_more_files():
        line.client.sendall(ASKED)

        assert line.conn.wait_for_data(A_WHILE_S)

        line.conn.close(graceful=True)
        assert is_closed_by_and_by(line.client)
    line.client.close()


@contextmanager
def no_more_files() -> Iterator[None]:
    """No file may be opened in this process meanwhile."""
    soft, hard = resource.getrlimit(resource.RLIMIT_NOFILE)
    taken = [os.open(os.devnull, os.O_RDONLY)]
    resource.setrlimit(resource.RLIMIT_NOFILE, (taken[0] + 1, hard))
    try:
        with suppress(OSError):
            while True:  # what lay free below
                taken.append(os.open(os.devnull, os.O_RDONLY))
        yield
    finally:
        resource.setrlimit(resource.RLIMIT_NOFILE, (soft, hard))
        for file in taken:
            os.close(file)

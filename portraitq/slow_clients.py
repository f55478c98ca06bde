"""Clients that send too slowly, or not at all, hold nobody up: how long the server waits, and for how many at once.

A thread waits for each request that has begun to come, so whoever begins a thousand and ends none would keep all others
out. A request's head must be there in `HEAD_S`; of its body something must come every `SILENCE_S`, and on the whole
`SLOWEST_BYTES_PER_S`. Who is later is answered 408 (RFC 9110 §15.5.9), and the line is closed. An answer that nobody
reads holds its thread too: it is given up once nothing of it could be sent for `UNREAD_S`. From one address at most
`MOST_OWED` connections are waited for or answered at a time; more are closed at once, with 503. A proxy on this machine
speaks for many, so its address is not counted. Nor does anybody wait for a client to hang up: gunicorn would, for two
seconds each, in the one thread that takes new connections in.

How much a request may bring is `web/limits.py`'s. Live connections are not read here, and what comes by https is plain
when it comes here.
"""

from __future__ import annotations

import contextlib
import errno
import selectors
import socket
import struct
import threading
import time
from collections import Counter
from collections.abc import Iterator
from functools import partial
from queue import SimpleQueue
from typing import Any, cast

from gunicorn.http.errors import NoMoreData  # type: ignore[import-untyped]
from gunicorn.http.unreader import SocketUnreader  # type: ignore[import-untyped]
from werkzeug.exceptions import RequestTimeout

from portraitq.locality import MANY_BEHIND

HEAD_S = 15.0  # a head is one or two packets; at the edge of range those may take some seconds
SILENCE_S = 20.0  # Wi-Fi that comes back at all comes back sooner
SLOWEST_BYTES_PER_S = 1000  # a phone's photo of 3 MB would take the better part of an hour
AT_FIRST_S = 60.0  # the pace is looked at after that
MOST_OWED = 100  # a browser opens six, and one ahead
UNREAD_S = 30  # the system takes more once a third of its buffer is free, which is some 30 KB
FAREWELL_S = 2.0
LOOK_S = 0.1
PIECE_BYTES = 1 << 16
TOO_SLOW = "This request came too slowly and was given up: come nearer to the booth, then send it again."
TOO_MANY = "Too many requests from here have begun and not ended: wait a moment, then send this again."


class SlowClients:
    """How many connections of each address are waited for just now. Any number of threads may use it."""

    def __init__(self) -> None:
        self._owed: Counter[str] = Counter()
        self._lock = threading.Lock()
        self._farewells = Farewells()

    def meets(self, conn: Any) -> bool:
        """Whether gunicorn's connection is to be served: not when its address has too many open that say nothing.

        Whatever is read from it from now on must come in time.
        """
        if hasattr(conn, "portraitq_address"):
            return True  # it comes back from waiting
        address = _address_of(conn)
        if self.owed(address) >= MOST_OWED and address not in MANY_BEHIND:
            _answer(conn, 503, TOO_MANY)
            return False
        self._owes(address)
        conn.portraitq_address = address
        with contextlib.suppress(OSError):  # it is gone already
            conn.sock.setsockopt(socket.SOL_SOCKET, socket.SO_SNDTIMEO, struct.pack("ll", UNREAD_S, 0))
        done = _Once(partial(self._owes_no_more, address))
        conn.wait_for_data = partial(_is_something_there, conn)
        conn.init = partial(self._initialised, conn, conn.init, done)
        conn.close = partial(self._closed, conn, conn.close, done)
        return True

    def owed(self, address: str) -> int:
        """For how many connections of `address` the server waits."""
        return self._owed[address]

    @contextlib.contextmanager
    def waiting_for(self, address: str) -> Iterator[None]:
        """While a thread waits for bytes of `address`."""
        self._owes(address)
        try:
            yield
        finally:
            self._owes_no_more(address)

    @contextlib.contextmanager
    def serving(self, conn: Any, *, is_live: bool) -> Iterator[None]:
        """While a thread answers a request of that connection; live ones are counted elsewhere (`web/crowd.py`).

        Who reads nothing for too long has hung up, as far as anybody can tell.
        """
        conn.parser.unreader.expect_body(is_counted=not is_live)
        try:
            with contextlib.nullcontext() if is_live else self.waiting_for(conn.portraitq_address):
                yield
        except BlockingIOError as unread:
            raise BrokenPipeError(errno.EPIPE, "nothing was read for too long") from unread
        finally:
            conn.parser.unreader.expect_head()

    def _initialised(self, conn: Any, init: Any, done: _Once) -> None:
        if not conn.initialized:
            init()
            conn.parser.unreader = InTime(conn, self)
        done()

    def _closed(self, conn: Any, close: Any, done: _Once, graceful: bool = False) -> None:
        done()
        if graceful:
            self._farewells.leave(conn.sock)
        else:
            close()

    def _owes(self, address: str) -> None:
        with self._lock:
            self._owed[address] += 1

    def _owes_no_more(self, address: str) -> None:
        with self._lock:
            self._owed[address] -= 1
            if self._owed[address] <= 0:
                del self._owed[address]


class InTime(SocketUnreader):  # type: ignore[misc]
    """What comes on a connection, as long as it comes in time: first a request's head, then its body."""

    def __init__(self, conn: Any, clients: SlowClients) -> None:
        super().__init__(conn.sock)
        self._conn, self._clients = conn, clients
        self.expect_head()

    def expect_head(self) -> None:
        """A request begins with what comes next."""
        self._is_counted = False
        self._is_head, self._began_s, self._came_bytes = True, 0.0, 0

    def expect_body(self, *, is_counted: bool = False) -> None:
        """The head is there; `is_counted` says that its request is counted as waited for already."""
        self._is_counted = is_counted
        self._is_head, self._began_s, self._came_bytes = False, 0.0, 0

    def chunk(self, size_hint: int | None = None) -> bytes:
        """The next piece of the request; RequestTimeout, or for a head the end, when it does not come in time."""
        self._began_s = self._began_s or time.monotonic()
        wait_s, before_s = self._wait_s(), self.sock.gettimeout()
        if wait_s <= 0:
            self._give_up()
        try:
            self.sock.settimeout(wait_s if before_s is None else min(wait_s, before_s))
            with self._waiting():
                piece: bytes = super().chunk(size_hint)
        except TimeoutError:
            if before_s is not None and before_s <= wait_s:
                raise  # whoever asked wanted to wait no longer
            self._give_up()
        finally:
            with contextlib.suppress(OSError):
                self.sock.settimeout(before_s)
        self._came_bytes += len(piece)
        return piece

    def _waiting(self) -> contextlib.AbstractContextManager[None]:
        if self._is_counted:
            return contextlib.nullcontext()
        return self._clients.waiting_for(self._conn.portraitq_address)

    def _wait_s(self) -> float:
        ran_s = time.monotonic() - self._began_s
        if self._is_head:
            return HEAD_S - ran_s
        return SILENCE_S if self._came_bytes >= (ran_s - AT_FIRST_S) * SLOWEST_BYTES_PER_S else 0.0

    def _give_up(self) -> None:
        if not self._is_head:
            self._conn.parser.mesg.force_close()
            raise RequestTimeout(TOO_SLOW)
        _answer(self._conn, 408, TOO_SLOW)
        raise NoMoreData(b"")  # gunicorn closes the line and logs nothing


def _is_something_there(conn: Any, timeout: float) -> bool:
    """Whether something came on gunicorn's connection within `timeout` seconds.

    Gunicorn's own way opens a file to wait, and sends away who comes where no more may be opened.
    """
    if not conn.data_ready:
        with selectors.PollSelector() as line:
            try:
                line.register(conn.sock, selectors.EVENT_READ)
                conn.data_ready = bool(line.select(timeout))
            except (OSError, ValueError):
                return False  # it was closed meanwhile
    return bool(conn.data_ready)


class Farewells:
    """Lines on which all is said: closed once the client has hung up, or after `FAREWELL_S`; in one thread for all.

    Closed at once, with something unread in it, a line would be cut and the last words on it lost (RFC 9112 §9.6).
    """

    def __init__(self) -> None:
        self._coming = SimpleQueue[socket.socket]()
        self._lock = threading.Lock()
        self._thread: threading.Thread | None = None

    def leave(self, line: socket.socket) -> None:
        """Say that nothing more comes, and let the rest happen by itself."""
        try:
            line.setblocking(False)
            line.shutdown(socket.SHUT_WR)
        except OSError:
            line.close()
            return
        with self._lock:  # made here, in the process that serves, and never before a fork
            if self._thread is None:
                self._thread = threading.Thread(target=self._keep_closing, name="farewells", daemon=True)
                self._thread.start()
        self._coming.put(line)

    def _keep_closing(self) -> None:
        until_s = dict[socket.socket, float]()
        with selectors.PollSelector() as lines:  # which is no file itself, where no more may be opened
            while True:
                while not (until_s and self._coming.empty()):
                    line = self._coming.get()
                    lines.register(line, selectors.EVENT_READ)
                    until_s[line] = time.monotonic() + FAREWELL_S
                gone = {line for line in _with_news(lines) if _has_hung_up(line)}
                now_s = time.monotonic()
                for over in gone | {line for line, late_s in until_s.items() if late_s < now_s}:
                    lines.unregister(over)
                    del until_s[over]
                    over.close()


def _with_news(lines: selectors.BaseSelector) -> list[socket.socket]:
    return [cast("socket.socket", key.fileobj) for key, _ in lines.select(LOOK_S)]


def _has_hung_up(line: socket.socket) -> bool:
    """Whether that was the end; whatever else came is thrown away."""
    try:
        return not line.recv(PIECE_BYTES)
    except BlockingIOError:
        return False
    except OSError:
        return True


class _Once:
    """Calls `what` the first time it is called itself."""

    def __init__(self, what: Any) -> None:
        self._what, self._lock = what, threading.Lock()

    def __call__(self) -> None:
        with self._lock:
            what, self._what = self._what, None
        if what is not None:
            what()


def _address_of(conn: Any) -> str:
    return str(conn.client[0]) if isinstance(conn.client, tuple) else ""


def _answer(conn: Any, status: int, sentence: str) -> None:
    """Say why before hanging up, if that goes without waiting."""
    said = sentence.encode()
    title = {408: "Request Timeout", 503: "Service Unavailable"}[status]
    head = f"HTTP/1.1 {status} {title}\r\nConnection: close\r\nContent-Type: text/plain\r\nContent-Length: {len(said)}"
    with contextlib.suppress(OSError):
        conn.sock.settimeout(0)
        conn.sock.send(head.encode() + b"\r\n\r\n" + said)

"""The door for https: TLS ends here, and what is inside goes to the server as a plain connection of this process.

One thread with an event loop does all of it, so that no two threads ever touch one TLS connection (OpenSSL forbids it,
and a WebSocket is read and written at once), a handshake that never ends holds none of the server's threads, and
gunicorn and Werkzeug are served alike. A socket pair costs two file handles and one copy more for each connection.

What speaks plain HTTP at this door is somebody who typed the address without `https://`: it is shown the way.
"""

from __future__ import annotations

import asyncio
import functools
import logging
import re
import socket
import ssl
import threading
from collections.abc import Callable, Iterable
from typing import Any

from portraitq.locality import MANY_BEHIND

HANDSHAKE_S = 10.0
FIRST_WORD_S = 10.0
FAREWELL_S = 2.0
FLUSH_S = 30.0  # so long what was answered may still be on its way to a slow client
UNREAD_S = 60.0  # so long one piece of an answer may be; who takes less than 1 KB/s is given up
NO_HANDLES_S = 0.2
PIECE_BYTES = 1 << 16
MOST_LINES = 1200  # as many as the server keeps open
MOST_OUTSIDE = 200  # so many of one address may be before their handshake is over; a stranger must not fill the door
ROUNDS = 5
LONGEST_HEAD_BYTES = 4096
HANDSHAKE = b"\x16"  # the first byte of a TLS record that opens one, RFC 8446, 5.1
ASKED = re.compile(rb"\A[A-Z]+ (/[!-~]*) HTTP/1\.[01]\r\n(?:.*\r\n)*?host: *([\w.:\[\]-]+) *\r\n", re.IGNORECASE)
log = logging.getLogger(__name__)

WSGI = Callable[[dict[str, Any], Callable[..., Any]], Iterable[bytes]]


class InnerEnd(socket.socket):
    """The server's end of a connection that came by https."""


Take = Callable[[InnerEnd, Any], None]


def knows_https(wsgi: WSGI) -> WSGI:
    """`wsgi`, told that it is asked by https where the connection came through the door. No header can say so."""

    def told(environ: dict[str, Any], start_response: Callable[..., Any]) -> Iterable[bytes]:
        line = environ.get("gunicorn.socket") or environ.get("werkzeug.socket")
        if isinstance(line, InnerEnd):
            environ["wsgi.url_scheme"] = "https"
        return wsgi(environ, start_response)

    return told


class Door:
    """Listens until it is closed. `take` gets each connection and the client's address, in the door's thread.

    context   may be replaced at any time: the next connection is served with the new one
    """

    def __init__(self, listener: socket.socket, context: ssl.SSLContext, take: Take) -> None:
        self.context = context
        self._listener, self._take = listener, take
        self._lines: set[asyncio.Task[None]] = set()
        self._outside: dict[socket.socket, str] = {}  # those whose handshake is not over: of which address
        listener.setblocking(False)
        self._loop = asyncio.SelectorEventLoop()
        self._closing = asyncio.Event()
        self._thread = threading.Thread(target=self._keep_open, name="https", daemon=True)
        self._thread.start()

    def close(self) -> None:
        """Hang up on everybody and let go of the port."""
        if self._thread.is_alive():
            self._loop.call_soon_threadsafe(self._closing.set)
            self._thread.join()

    # The thread

    def _keep_open(self) -> None:
        try:
            self._loop.run_until_complete(self._listen())
        finally:
            self._listener.close()
            self._loop.close()

    async def _listen(self) -> None:
        self._loop.add_reader(self._listener, self._accept)
        await self._closing.wait()
        self._loop.remove_reader(self._listener)
        await _some_rounds()
        for line in self._lines:
            line.cancel()
        await asyncio.gather(*self._lines, return_exceptions=True)
        await _some_rounds()

    def _accept(self) -> None:
        try:
            line, client = self._listener.accept()
        except (BlockingIOError, ConnectionAbortedError):
            return  # whoever it was is gone
        except OSError as wrong:  # no file handles left
            log.warning("a connection could not be taken: %s", wrong.strerror)
            self._loop.remove_reader(self._listener)
            self._loop.call_later(NO_HANDLES_S, self._listen_again)
            return
        if len(self._lines) >= MOST_LINES or self._has_many_outside(who := str(client[0])):
            line.close()
            return
        self._outside[line] = who
        line.setblocking(False)
        serving = self._loop.create_task(self._serve(line, client))
        self._lines.add(serving)
        serving.add_done_callback(self._lines.discard)
        serving.add_done_callback(lambda _: self._outside.pop(line, None))
        serving.add_done_callback(functools.partial(_let_go, line))  # also of one that never came to run

    def _has_many_outside(self, who: str) -> bool:
        return who not in MANY_BEHIND and sum(who == other for other in self._outside.values()) >= MOST_OUTSIDE

    def _listen_again(self) -> None:
        if not self._closing.is_set():
            self._loop.add_reader(self._listener, self._accept)

    async def _serve(self, line: socket.socket, client: Any) -> None:
        """One connection, from its first byte on. How a client leaves is its own affair: nothing is logged of it."""
        try:
            first = await asyncio.wait_for(self._peek(line), FIRST_WORD_S)
            if first == HANDSHAKE:
                await self._serve_inside(line, client)
            elif first:
                await asyncio.wait_for(self._show_the_way(line), FIRST_WORD_S)
        except (OSError, TimeoutError) as gone:
            log.debug("a connection by https ended: %s", gone)
        except Exception:
            log.exception("a connection by https went wrong")

    async def _peek(self, line: socket.socket) -> bytes:
        """The first byte, which stays where it is."""
        there = asyncio.Event()
        self._loop.add_reader(line, there.set)
        try:
            await there.wait()
            return line.recv(1, socket.MSG_PEEK)
        finally:
            self._loop.remove_reader(line)

    async def _show_the_way(self, line: socket.socket) -> None:
        head = b""
        while b"\r\n\r\n" not in head and len(head) < LONGEST_HEAD_BYTES:
            piece = await self._loop.sock_recv(line, LONGEST_HEAD_BYTES)
            if not piece:
                return
            head += piece
        if asked := ASKED.match(head):
            way = b"HTTP/1.1 307 Temporary Redirect\r\nLocation: https://%s%s\r\n" % (asked[2], asked[1])
        else:
            way = b"HTTP/1.1 400 Bad Request\r\n"
        await self._loop.sock_sendall(line, way + b"Connection: close\r\nContent-Length: 0\r\n\r\n")

    async def _serve_inside(self, line: socket.socket, client: Any) -> None:
        reader = asyncio.StreamReader(PIECE_BYTES, self._loop)
        protocol = asyncio.StreamReaderProtocol(reader, loop=self._loop)
        transport, _ = await self._loop.connect_accepted_socket(
            lambda: protocol,
            line,
            ssl=self.context,
            ssl_handshake_timeout=HANDSHAKE_S,
            ssl_shutdown_timeout=FAREWELL_S,
        )
        self._outside.pop(line, None)
        writer = asyncio.StreamWriter(transport, protocol, reader, self._loop)
        try:
            await self._join(reader, writer, client)
        finally:
            transport.abort()

    async def _join(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter, client: Any) -> None:
        ours, theirs = socket.socketpair()
        within_reader, within_writer = await asyncio.open_connection(sock=ours, limit=PIECE_BYTES)
        coming = asyncio.ensure_future(_carry(reader, within_writer))
        going = asyncio.ensure_future(_carry(within_reader, writer, UNREAD_S))
        try:
            self._take(InnerEnd(fileno=theirs.detach()), client)
            await asyncio.wait((coming, going), return_when=asyncio.FIRST_COMPLETED)
            within_writer.close()  # at once: a server that hangs up waits for the other end to do so
            writer.close()
            async with asyncio.timeout(FLUSH_S):
                await writer.wait_closed()
        finally:
            coming.cancel()
            going.cancel()
            within_writer.transport.abort()
            await asyncio.gather(coming, going, return_exceptions=True)


async def _some_rounds() -> None:
    """Let the loop go round: transports are opened and closed in its next rounds, not at once."""
    for _ in range(ROUNDS):
        await asyncio.sleep(0)


def _let_go(line: socket.socket, served: asyncio.Task[None]) -> None:
    line.close()


async def _carry(reader: asyncio.StreamReader, writer: asyncio.StreamWriter, patience_s: float | None = None) -> None:
    """Hand on what comes, no quicker than it goes, until there is no more, or one piece takes too long."""
    while piece := await reader.read(PIECE_BYTES):
        writer.write(piece)
        async with asyncio.timeout(patience_s):
            await writer.drain()

"""The WebSocket under live push (RFC 6455): one thread a phone, and whoever sends never waits for a phone.

Engine.IO's own way holds four threads a phone (one waits, one reads, one writes, one sleeps until the next ping) and
one that walked out of range holds them until TCP gives up, a quarter of an hour later. Here the thread of the request
reads, and whoever has something to say writes it straight into the socket. What the socket does not take stays behind
it; the one `Postman` brings it when there is room, sends the pings, and hangs up on who takes nothing for long.

`install` puts it under a SocketIO server. Engine.IO's session, its polling and the change from polling to WebSocket
stay its own; nothing is compressed, for a view is a packet or two and zlib's windows take 300 KB a phone.

What goes to many is a `letter`, encoded once and put into each `Outbox`: Socket.IO's own way to a room looks each of
them up three times over, which takes longer than the system does to send it.
"""

from __future__ import annotations

import base64
import contextlib
import hashlib
import logging
import queue
import selectors
import socket
import threading
import time
from collections import deque
from collections.abc import Callable, Iterable
from typing import Any

from engineio import packet as engine  # type: ignore[import-untyped]
from engineio.exceptions import EngineIOError  # type: ignore[import-untyped]
from engineio.socket import Socket as Talk  # type: ignore[import-untyped]
from flask_socketio import SocketIO
from socketio.packet import EVENT
from wsproto.connection import Connection, ConnectionType
from wsproto.events import CloseConnection, Message, Ping
from wsproto.frame_protocol import CloseReason

GUID = b"258EAFA5-E914-47DA-95CA-C5AB0DC85B11"  # RFC 6455, section 1.3
VERSION = "13"
TEXT, BINARY, CLOSE, PONG = 0x81, 0x82, 0x88, 0x8A  # a whole message in one frame; section 5.2
NEVER_SAID = (CloseReason.NO_STATUS_RCVD, CloseReason.ABNORMAL_CLOSURE, CloseReason.TLS_HANDSHAKE_FAILED)  # 7.4.1
PIECE_BYTES = 4096
IN_FLIGHT_BYTES = 64 * 1024  # so much may be under way; a phone that is behind gets the newest view, not all before it
STUCK_S = 30.0  # who takes nothing for so long is gone
LOOK_S = 0.05  # how often the postman tries again where a socket was full
# A client says who it is and answers three pings a minute; who says more wants to keep us busy, or fill our memory with
# answers that it never reads.
MOST_FRAMES_AT_FIRST = 100
MORE_FRAMES_PER_S = 1.0
log = logging.getLogger(__name__)


class Postman(threading.Thread):
    """Pings on time, and brings on what sockets could not take at once. One for all."""

    def __init__(self, ping_every_s: float) -> None:
        super().__init__(name="live postman", daemon=True)
        self._ping_every_s = ping_every_s
        self._work = threading.Condition()
        self._pings = deque[tuple[float, Talk]]()  # in the order of time, for all wait equally long
        self._full = set[Line]()
        self._is_off = False
        self.start()

    def stop(self) -> None:
        """No more pings."""
        with self._work:
            self._is_off = True
            self._work.notify()

    def ping_later(self, talk: Talk) -> None:
        """Ping once more after the usual while."""
        with self._work:
            self._pings.append((time.monotonic() + self._ping_every_s, talk))
            self._work.notify()

    def come_by(self, line: Line) -> None:
        """This line holds something back."""
        with self._work:
            self._full.add(line)
            self._work.notify()

    def run(self) -> None:
        """Until stopped."""
        while True:
            with self._work:
                if not self._is_off:
                    self._work.wait(self._idle_s())
                if self._is_off:
                    return
                now_s = time.monotonic()
                due = [self._pings.popleft()[1] for _ in range(self._due(now_s))]
                full = list(self._full)
            for talk in due:
                self._ping(talk)
            done = {line for line in full if not line.bring_on(now_s)}
            with self._work:
                self._full -= {line for line in done if not line.is_full}  # it may be full again meanwhile

    def _idle_s(self) -> float | None:
        if self._full:
            return LOOK_S
        return max(0.0, self._pings[0][0] - time.monotonic()) if self._pings else None

    def _due(self, now_s: float) -> int:
        return next((place for place, (at_s, _) in enumerate(self._pings) if at_s > now_s), len(self._pings))

    def _ping(self, talk: Talk) -> None:
        """As `Talk._send_ping` does after its sleep."""
        if not talk.closing and not talk.closed:
            talk.last_ping = time.time()
            try:
                talk.send(engine.Packet(engine.PING))
            except EngineIOError:
                log.debug("a live connection was closed before its ping")
            except Exception:
                log.exception("a ping went wrong; the others go out")


class Outbox(queue.Queue[Any]):
    """What an Engine.IO session has to send: a queue while it polls, straight into its line once it has one."""

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.line: Line | None = None
        self._turn = threading.Lock()

    def put(self, item: engine.Packet | None, block: bool = True, timeout: float | None = None) -> None:
        """Send a packet, or hang up where it is None. A line never makes anybody wait."""
        if self.line is not None:  # once there it stays, and nothing waits here any more
            self.line.send(item)
            return
        with self._turn:
            if self.line is None:
                super().put(item, block, timeout)
            else:
                self.line.send(item)

    def goes_to(self, line: Line) -> None:
        """From now on into that line, what waited here first."""
        with self._turn:
            while not self.empty():
                line.send(self.get_nowait())
                self.task_done()
            self.line = line

    def offer(self, packet: engine.Packet, packets: int) -> bool:
        """Send a packet unless the other side takes less than it is sent; whether it went on its way.

        While it polls, `packets` that wait here are as many as it may be behind.
        """
        if self.line is not None:
            return self.line.offer(frame_of(packet))
        if self.qsize() >= packets:
            return False
        self.put(packet)
        return True


class Line:
    """One WebSocket: read by the thread that came with it, written by anybody."""

    def __init__(self, raw: socket.socket, postman: Postman, silence_s: float, largest_bytes: int) -> None:
        self._raw, self._postman, self._silence_s, self._largest_bytes = raw, postman, silence_s, largest_bytes
        self._turn = threading.Lock()  # of whoever writes; nobody waits for the phone inside
        self._frames = Connection(ConnectionType.SERVER)
        self._heard = deque[str | bytes]()
        self._part: list[str | bytes] = []
        self._part_size = 0
        self._behind = deque[memoryview]()
        self._moved_s = 0.0
        self._frames_heard, self._began_s = 0, time.monotonic()
        self._is_over = self._ends_after = False
        raw.setblocking(False)
        raw.setsockopt(socket.SOL_SOCKET, socket.SO_SNDBUF, IN_FLIGHT_BYTES)
        with contextlib.suppress(OSError):
            raw.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)

    @property
    def is_full(self) -> bool:
        """Whether something waits here because the other side does not read."""
        return bool(self._behind)

    # Speaking

    def send(self, packet: engine.Packet | None) -> None:
        """A packet, or None to hang up once all is said. Returns at once."""
        if packet is None:
            self.end(CloseReason.NORMAL_CLOSURE)
        else:
            self._write(frame_of(packet))

    def end(self, reason: int) -> None:
        """Say goodbye and hang up, after what is still to be sent."""
        self._write(_framed(CLOSE, reason.to_bytes(2, "big")), is_last=True)

    def cut(self) -> None:
        """Hang up now; whoever reads or writes wakes."""
        with self._turn:
            self._cut()

    def bring_on(self, now_s: float) -> bool:
        """Send what is behind; whether something still is."""
        with self._turn:
            self._flush(now_s)
            if self._behind and now_s - self._moved_s > STUCK_S:
                self._cut()
            return bool(self._behind)

    def offer(self, frame: bytes) -> bool:
        """A whole frame, unless something waits here already; whether it went on its way."""
        with self._turn:
            if self._behind:
                return False
            if self._is_over or self._ends_after:
                return True  # nobody is there to be told again
            is_behind = not self._goes(frame)
        if is_behind:
            self._postman.come_by(self)
        return True

    def _write(self, frame: bytes, is_last: bool = False) -> None:
        with self._turn:
            if self._is_over or self._ends_after:
                return
            self._ends_after = is_last
            if self._behind:
                self._behind.append(memoryview(frame))
                return
            is_behind = not self._goes(frame)
        if is_behind:
            self._postman.come_by(self)

    def _goes(self, frame: bytes) -> bool:
        """Send it where nothing is behind; whether all of it went, or it needs to go nowhere any more."""
        try:
            sent = self._raw.send(frame)
        except BlockingIOError:
            sent = 0
        except OSError:
            self._cut()
            return True
        if sent < len(frame):
            self._moved_s = time.monotonic()
            self._behind.append(memoryview(frame)[sent:])
            self._flush(self._moved_s)
        elif self._ends_after:
            self._cut()
        return not self._behind

    def _flush(self, now_s: float) -> None:
        try:
            while self._behind and not self._is_over:
                sent = self._raw.send(self._behind[0])
                self._moved_s = now_s
                if sent == len(self._behind[0]):
                    self._behind.popleft()
                else:
                    self._behind[0] = self._behind[0][sent:]
        except BlockingIOError:
            return
        except OSError:
            self._cut()
        if self._ends_after and not self._behind:
            self._cut()

    def _cut(self) -> None:
        self._is_over = True
        self._behind.clear()
        with contextlib.suppress(OSError):
            self._raw.shutdown(socket.SHUT_RDWR)

    # Listening

    def wait(self) -> str | bytes | None:
        """The next message; None when there is none any more, or none came for so long that the line is dead."""
        while not self._heard:
            if self._is_over or not self._is_readable():
                return None
            try:
                data = self._raw.recv(PIECE_BYTES)
            except BlockingIOError:
                continue
            except (OSError, ValueError):
                return None
            if not data or not self._take(data):
                return None
        return self._heard.popleft()

    def _is_readable(self) -> bool:
        try:
            with _Selector() as selector:
                selector.register(self._raw, selectors.EVENT_READ)
                return bool(selector.select(self._silence_s))
        except (OSError, ValueError):
            return False

    def _take(self, data: bytes) -> bool:
        """Understand what came; whether more may come."""
        self._frames.receive_data(data)
        for event in self._frames.events():
            self._frames_heard += 1
            if self._frames_heard > MOST_FRAMES_AT_FIRST + (time.monotonic() - self._began_s) * MORE_FRAMES_PER_S:
                self.end(CloseReason.POLICY_VIOLATION)
                return False
            if isinstance(event, Ping):
                self._write(_framed(PONG, bytes(event.payload)))
            elif isinstance(event, CloseConnection):  # said by the other side, or by the parser of what is no frame
                self.end(event.code if event.code not in NEVER_SAID else CloseReason.NORMAL_CLOSURE)
                return False
            elif isinstance(event, Message) and not self._piece(event):
                self.end(CloseReason.MESSAGE_TOO_BIG)
                return False
        return True

    def _piece(self, event: Message[Any]) -> bool:
        """Part of a message, or all of it; whether it is still no larger than a message may be."""
        self._part.append(event.data)
        self._part_size += len(event.data)
        if self._part_size > self._largest_bytes:
            return False
        if event.message_finished:
            self._heard.append(type(event.data)().join(self._part))
            self._part, self._part_size = [], 0
        return True


class Handshake:
    """What Engine.IO calls for a request that wants to become a WebSocket."""

    def __init__(self, postman: Postman, handler: Callable[[Any], Any], server: Any) -> None:
        self._postman, self._handler, self._server = postman, handler, server
        self._talk: Talk = handler.__self__  # type: ignore[attr-defined] # a method of the session that asks
        self._line: Line | None = None

    def __call__(self, environ: dict[str, Any], start_response: Callable[..., Any]) -> Iterable[bytes]:
        """Hold the line until one side ends it."""
        key = environ.get("HTTP_SEC_WEBSOCKET_KEY", "")
        raw = environ.get("gunicorn.socket") or environ.get("werkzeug.socket")
        if raw is None or environ.get("HTTP_SEC_WEBSOCKET_VERSION") != VERSION or not _is_key(key):
            self._talk.close(wait=False, abort=True)
            start_response("400 Bad Request", [("Content-Type", "text/plain"), ("Sec-WebSocket-Version", VERSION)])
            return [b"This was no handshake of a WebSocket as RFC 6455 describes it."]
        raw.sendall(_accepted(key))
        silence_s = self._server.ping_interval + self._server.ping_timeout
        line = self._line = Line(raw, self._postman, silence_s, self._server.max_http_buffer_size)
        try:
            if self._talk.connected:  # it has polled until now; Engine.IO knows how to change over
                self._handler(self)
            else:
                self._hold(line)
        finally:
            line.cut()
        if "werkzeug.socket" in environ:
            raise ConnectionError  # each server's way to hear that there is no answer to be written
        raise StopIteration

    def _hold(self, line: Line) -> None:
        """As `Talk._websocket_handler` does, without a thread that writes."""
        talk = self._talk
        talk.connected = talk.upgraded = True
        talk.queue.goes_to(line)
        try:
            while (said := line.wait()) is not None:
                talk.receive(engine.Packet(encoded_packet=said))
        except (EngineIOError, ValueError, IndexError) as no:
            log.info("a live connection said what cannot be understood: %s", type(no).__name__)
        finally:
            talk.close(wait=False, abort=True, reason=self._server.reason.TRANSPORT_CLOSE)

    # What Engine.IO asks of a WebSocket while it changes over from polling

    def wait(self) -> str | bytes | None:
        """The next message, or None."""
        assert self._line is not None
        return self._line.wait()

    def send(self, message: str | bytes) -> None:
        """Send a message; OSError when the line is dead."""
        assert self._line is not None
        if self._line._is_over:
            raise OSError
        self._line._write(_frame(message))

    def close(self) -> None:
        """Hang up."""
        assert self._line is not None
        self._line.end(CloseReason.NORMAL_CLOSURE)


def install(socketio: SocketIO) -> Postman:
    """Let the WebSockets of `socketio` be these. The postman is to be stopped when nobody is served any more."""
    engine_io = socketio.server.eio
    postman = Postman(engine_io.ping_interval)
    in_background = engine_io.start_background_task

    def start(target: Callable[..., Any], *args: Any, **kwargs: Any) -> Any:
        if getattr(target, "__func__", None) is Talk._send_ping:
            return postman.ping_later(target.__self__)  # type: ignore[attr-defined] # a thread would only sleep
        return in_background(target, *args, **kwargs)

    engine_io.start_background_task = start
    engine_io._async = {
        **engine_io._async,
        "queue": Outbox,
        "websocket": lambda handler, server: Handshake(postman, handler, server),
    }
    return postman


def letter(server: Any, event: str, content: dict[str, Any], namespace: str) -> engine.Packet:
    """An event of Socket.IO as the packet that carries it, to be put into any number of outboxes."""
    event_packet = server.packet_class(EVENT, data=[event, content], namespace=namespace)
    return engine.Packet(engine.MESSAGE, event_packet.encode())


def outbox_of(server: Any, sid: str, namespace: str) -> Outbox | None:
    """Where what is said to `sid` is put; None where that one has gone."""
    talk = server.eio.sockets.get(server.manager.eio_sid_from_sid(sid, namespace))
    return talk.queue if talk is not None else None


def frame_of(packet: engine.Packet) -> bytes:
    """The frame that carries it; made once, for a packet to a room goes to many."""
    frame: bytes | None = getattr(packet, "frame", None)
    if frame is None:
        frame = packet.frame = _frame(packet.encode())
    return frame


def _frame(message: str | bytes) -> bytes:
    return _framed(TEXT, message.encode()) if isinstance(message, str) else _framed(BINARY, message)


def _framed(kind: int, body: bytes) -> bytes:
    """A whole message in one unmasked frame; RFC 6455, section 5.2."""
    size = len(body)
    if size < 126:
        head = bytes((kind, size))
    elif size < 1 << 16:
        head = bytes((kind, 126)) + size.to_bytes(2, "big")
    else:
        head = bytes((kind, 127)) + size.to_bytes(8, "big")
    return head + body


def _is_key(key: str) -> bool:
    """Whether it is 16 bytes in base64, as section 4.1 asks."""
    try:
        return len(base64.b64decode(key, validate=True)) == 16
    except ValueError:
        return False


def _accepted(key: str) -> bytes:
    proof = base64.b64encode(hashlib.sha1(key.encode() + GUID, usedforsecurity=False).digest())
    return (
        b"HTTP/1.1 101 Switching Protocols\r\nUpgrade: websocket\r\nConnection: Upgrade\r\n"
        b"Sec-WebSocket-Accept: " + proof + b"\r\n\r\n"
    )


_Selector: type[selectors.BaseSelector] = getattr(
    selectors, "PollSelector", selectors.SelectSelector
)  # no file of its own

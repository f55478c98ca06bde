"""Live connections by somebody who means no good: frames of WebSocket, packets of Engine.IO and Socket.IO, all odd."""

from __future__ import annotations

import base64
import json
import os
import socket
import struct
from collections import Counter
from random import Random
from typing import Any

from tests.faults.any_input import ODD_TEXTS, some_bytes

PATIENCE_S = 30.0
TEXT, BINARY, CLOSE, PING, PONG = 1, 2, 8, 9, 10
GOOD = {"view": "wall", "booth": "booth"}


class Line:
    """One WebSocket, spoken by hand so that it can be spoken wrongly (RFC 6455)."""

    def __init__(self, port: int, **headers: str) -> None:
        self.socket = socket.create_connection(("127.0.0.1", port), timeout=PATIENCE_S)
        head = {
            "Host": f"127.0.0.1:{port}",
            "Upgrade": "websocket",
            "Connection": "Upgrade",
            "Sec-WebSocket-Version": "13",
            "Sec-WebSocket-Key": base64.b64encode(os.urandom(16)).decode(),
            **headers,
        }
        lines = ["GET /socket.io/?EIO=4&transport=websocket HTTP/1.1", *(f"{name}: {to}" for name, to in head.items())]
        self.socket.sendall("\r\n".join([*lines, "", ""]).encode())
        self._read = self.socket.makefile("rb")
        self.status = int(self._read.readline().split()[1])
        for line in iter(self._read.readline, b"\r\n"):
            if not line:
                break

    def send(self, content: bytes, opcode: int = TEXT, *, last: bool = True, masked: bool = True, rsv: int = 0) -> None:
        """One frame, RFC 6455 §5.2."""
        first = (0x80 if last else 0) | rsv << 4 | opcode
        mask = os.urandom(4) if masked else b""
        if masked:
            content = bytes(byte ^ mask[at % 4] for at, byte in enumerate(content))
        self.socket.sendall(head_of(first, len(content), masked) + mask + content)

    def frame(self) -> tuple[int, bytes]:
        """The next frame of the server; (0, b"") once it has hung up."""
        head = self._read.read(2)
        if len(head) < 2:
            return 0, b""
        length = head[1] & 127
        if length > 125:
            width = 2 if length == 126 else 8
            length = int.from_bytes(self._read.read(width), "big")
        return head[0] & 15, self._read.read(length)

    def is_over_or_well(self) -> bool:
        """Whether the server has hung up, or still lets somebody honest see the wall on this line."""
        try:
            self.send(b"40/live," + json.dumps(GOOD).encode())
            for _ in range(200):
                opcode, said = self.frame()
                if opcode in (0, CLOSE) or said.startswith((b"40/live,", b"44/live,", b"42/live,", b"41")):
                    return True
        except (ConnectionError, TimeoutError) as end:
            return isinstance(end, ConnectionError)
        return False

    def close(self) -> None:
        self._read.close()
        self.socket.close()


def head_of(first: int, length: int, masked: bool) -> bytes:
    top = 0x80 if masked else 0
    if length < 126:
        return bytes([first, top | length])
    if length < 1 << 16:
        return bytes([first, top | 126]) + struct.pack(">H", length)
    return bytes([first, top | 127]) + struct.pack(">Q", length)


def an_attack(port: int, chance: Random, tried: Counter[str]) -> None:
    """One connection with some odd frames on it; afterwards it is closed, or as good as before."""
    line = Line(port)
    try:
        assert line.status == 101
        if chance.random() < 0.5:
            line.send(b"40/live," + json.dumps(GOOD).encode())
        for _ in range(chance.choice([1, 1, 2, 5, 12])):
            tried["frames"] += 1
            if not _one(line, chance):
                return
        assert line.is_over_or_well(), "the line hangs: neither closed nor answered"
        tried["lines that were closed or went on"] += 1
    except ConnectionError:
        tried["lines cut by the server"] += 1
    finally:
        line.close()


def _one(line: Line, chance: Random) -> bool:
    """Send one odd thing; False when the line is spoilt on purpose and not to be looked at again."""
    way = chance.random()
    if way < 0.5:
        line.send(_packet(chance))
    elif way < 0.6:
        line.send(some_bytes(chance, _packet(chance)), chance.choice([TEXT, BINARY]))
    elif way < 0.7:
        line.send(chance.randbytes(chance.choice([0, 1, 100, 5000])), BINARY)
    elif way < 0.78:
        line.send(_packet(chance), chance.choice([0, 3, 5, 7, 11, 15]))
    elif way < 0.84:
        line.send(b"x" * chance.choice([0, 125, 126, 5000]), chance.choice([PING, PONG, CLOSE]))
    elif way < 0.88:
        line.send(_packet(chance), rsv=chance.randint(1, 7))
    elif way < 0.92:
        line.send(_packet(chance), masked=False)
    elif way < 0.95:
        line.send(b"4" + b"x" * chance.choice([20_000, 70_000, 300_000]))
    elif way < 0.97:
        line.send(b"42/live,[", last=False)
    else:  # more is announced than ever comes
        line.socket.sendall(head_of(0x81, chance.choice([200, 1 << 20, (1 << 63) - 1]), True) + b"\0\0\0\0ab")
        return False
    return True


def _packet(chance: Random) -> bytes:
    odd = chance.choice(ODD_TEXTS)[:5000]
    content: Any = chance.choice(
        [
            GOOD,
            {**GOOD, "seq": chance.choice([-1, 10**30, "1", True, None, [], 1.5])},
            {"view": odd, "booth": odd},
            {"view": "ticket", "code": odd},
            {"view": "easel", "booth": "booth", "artist": odd, "key": odd},
            {"view": ["wall"], "booth": {}},
            [],
            odd,
            None,
            {"_placeholder": True, "num": 0},
            ["view", {"_placeholder": True, "num": chance.choice([0, -1, 99, "x", None])}],
            [["view"]],
            [{"_placeholder": True, "num": {"_placeholder": True, "num": 0}}],
        ]
    )
    body = json.dumps(content) if chance.random() < 0.8 else odd
    head = chance.choice(
        [
            *("40/live,", "42/live,", "41/live,", "43/live,1", "42/live,7", "451-/live,", "4599999999-/live,"),
            *("461-/live,1", "40/live,[[[["),
            *("40", "42", "45-", "4/live,", "40/nowhere,", "40/" + "x" * 2000 + ",", "49/live,", "44/live,"),
            *("0", "1", "2", "2probe", "3", "3probe", "5", "6", "7", "b", "", "\x00", "é", "40/live,?" + "9" * 5000),
        ]
    )  # fmt: skip
    return (head + body).encode("utf-8", "surrogatepass")[:15_000]

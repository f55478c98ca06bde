"""Does a tap still reach everybody when a whole hall watches? The real service, on this computer, for minutes.

    .venv/bin/python scripts/load.py --phones 500 --drop 0.2 --taps 20 --seed 1
    .venv/bin/python scripts/load.py --only crowd          one part: crowd, slow, storm, full

Phones are the lightest clients that stay connected, all in this one process; what they cost the two of them share.
Beside a tap stands its floor: a bare broadcast of the same sizes by the same server to as many, plus one re-quote.
Prints plain lines and a verdict; exit 0 when everything held, 1 with a sentence for each thing that did not. What must
hold of any machine is counted (lost, refused, late, old views); the one ratio asked for is `--within`.
"""

from __future__ import annotations

import argparse
import asyncio
import json
import os
import random
import signal
import socket
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator, Sequence
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from functools import partial
from pathlib import Path
from typing import Any
from urllib.error import HTTPError
from urllib.request import Request, urlopen
from zoneinfo import ZoneInfo

HERE = Path(__file__).resolve().parent
sys.path[:0] = [str(HERE.parent), str(HERE)]

import psutil  # noqa: E402
from bench import Teller, a_set_up, least_ms  # noqa: E402

from portraitq.core.booth import local_day  # noqa: E402
from portraitq.core.commands import Order  # noqa: E402
from portraitq.core.events import ArtistIn, DayOpened, StageDone, Started  # noqa: E402
from portraitq.forecast.pace import pace_of  # noqa: E402
from portraitq.forecast.quotes import forecast  # noqa: E402
from portraitq.store import cards, devices, journal  # noqa: E402
from portraitq.store.cards import Card  # noqa: E402
from portraitq.store.store import open_store  # noqa: E402
from portraitq.ticket.codes import new_code  # noqa: E402
from portraitq.web import crowd as crowd_limits  # noqa: E402
from tests.morning import where_it_is_morning  # noqa: E402

SLUG = "quayside"
EASELS = 2
UP_WITHIN_S = 60.0
REACHED_WITHIN_S = 8.0
QUIET_S = 1.0  # when nothing came to anybody for so long, everybody was told who is to be told
CONNECTED_WITHIN_S = 120.0
OLDEST_S = 60.0  # a view says how old it is only from this on
RETURNS_S = (0.5, 3.0)
STORM_S = 2.0
MORE_THAN_FIT = 60
WITHIN = 1.5
STUCK = 60
AT_ONCE = 40
GONE_WITHIN_S = 75.0  # a silent line is given up after 35 s, one that takes nothing after 30 s


# The booth


@dataclass
class Stall:
    """A booth in full swing on disk, and what its clients need to know of it."""

    folder: Path
    told: Teller
    codes: dict[str, str]
    key: str

    @property
    def requote_ms(self) -> float:
        """One re-quote of this booth, with nothing else to do."""
        booth, now = self.told.booth, self.told.events[-1].at + timedelta(seconds=30)
        return least_ms([partial(forecast, booth, pace_of(booth), now)], 1.5)[0]


def a_stall(folder: Path, tickets: int) -> Stall:
    """Two easels at work and a queue, opened an hour ago in a zone in which it is morning."""
    now = datetime.now(UTC)  # noqa: TID251  (the service reads the same clock)
    set_up = a_set_up(EASELS)
    zone = where_it_is_morning()
    set_up = set_up.model_copy(update={"booth": set_up.booth.model_copy(update={"zone": zone})})
    opened_at, told = now - timedelta(hours=1), Teller()
    day = local_day(opened_at, ZoneInfo(zone))
    told.say(set_up, opened_at - timedelta(minutes=5))
    told.say(DayOpened(day=day, closes_at=opened_at + timedelta(hours=11), breaks=()), opened_at)
    for artist in set_up.artists:
        told.say(ArtistIn(artist=artist.id), opened_at)
    for n in range(tickets):
        told.say(Order(style="ink-head", sitters=1), opened_at + timedelta(seconds=50 * n))
    for n, artist in enumerate(set_up.artists, 1):
        told.say(Started(ticket=f"T{n}", artist=artist.id), now - timedelta(minutes=6))
        told.say(StageDone(ticket=f"T{n}", stage="outline"), now - timedelta(minutes=4))
    codes = {id: new_code() for id in told.booth.tickets}
    store = open_store(folder / "data")
    with store.writing() as connection:
        journal.append(connection, SLUG, told.events)
        for ticket, code in codes.items():
            cards.put(connection, SLUG, ticket, Card(code))
        key = devices.add(connection, "load", now)
    store.close()
    return Stall(folder, told, codes, key)


@dataclass
class Service:
    """One server in a process group of its own."""

    command: list[str]
    port: int
    ready_at: str
    folder: Path
    env: dict[str, str] = field(default_factory=dict)
    process: subprocess.Popen[bytes] | None = None

    def start(self) -> None:
        """Start it and wait until it answers."""
        said = (self.folder / f"said-{self.port}.txt").open("ab")
        self.process = subprocess.Popen(
            self.command,
            cwd=self.folder,
            env={**os.environ, "PYTHONPATH": str(HERE.parent), **self.env},
            stdin=subprocess.DEVNULL,
            stdout=said,
            stderr=said,
            start_new_session=True,
        )
        said.close()
        until_s = time.monotonic() + UP_WITHIN_S
        while not self._answers():
            if self.process.poll() is not None or time.monotonic() > until_s:
                raise SystemExit(f"the server did not come up:\n{self.said}")
            time.sleep(0.05)

    @property
    def said(self) -> str:
        """What it wrote to the terminal."""
        return (self.folder / f"said-{self.port}.txt").read_text(errors="replace")

    def _answers(self) -> bool:
        try:
            urlopen(f"http://127.0.0.1:{self.port}{self.ready_at}", timeout=2).read()
        except HTTPError:
            return True
        except OSError:
            return False
        return True

    @property
    def worker(self) -> psutil.Process:
        """The process that serves: the one of its processes with the most threads."""
        assert self.process is not None
        top = psutil.Process(self.process.pid)
        return max([top, *top.children(recursive=True)], key=lambda one: one.num_threads())

    def stop(self) -> None:
        """End it, by force if it does not listen."""
        if self.process is None or self.process.poll() is not None:
            return
        self.process.terminate()
        try:
            self.process.wait(timeout=15)
        except subprocess.TimeoutExpired:
            os.killpg(self.process.pid, signal.SIGKILL)
            self.process.wait(timeout=10)


OURS = """
import os
from portraitq.cli import main
from portraitq.web import crowd
crowd.MOST_LIVE = int(os.environ["MOST_LIVE"])
main()
"""


def ours(stall: Stall, most: int) -> Service:
    """The booth's own service, in which `most` live lines fit."""
    port = _a_free_port()
    (stall.folder / "ours.py").write_text(OURS)
    data = ["--data", str(stall.folder / "data"), "--host", "127.0.0.1", "--port", str(port)]
    command = [sys.executable, str(stall.folder / "ours.py"), "serve", *data]
    return Service(command, port, "/healthz", stall.folder, {"MOST_LIVE": str(most)})


BARE = """
import json, os
from flask import Flask
from flask_socketio import SocketIO, join_room
from portraitq import serve
app = Flask(__name__)
io = SocketIO(app, async_mode="threading", ping_interval=20, ping_timeout=15)
if os.environ["SOCKETS"] == "ours":
    from portraitq.web import sockets
    sockets.install(io)
sizes = json.loads(os.environ["SIZES"])
count = 0
@io.on("connect", namespace="/live")
def connected(auth):
    join_room(auth["room"])
@app.post("/tap")
def tap():
    global count
    count += 1
    for room, size in sizes.items():
        io.emit("view", {"seq": count, "html": "x" * size, "as_of": ""}, to=room, namespace="/live")
    return {"seq": count}
class Bare(serve.Service):
    def app(self):
        return app
serve.with_gunicorn(Bare(lambda: None, "127.0.0.1", int(os.environ["PORT"]), ""))
"""


def bare(folder: Path, sizes: dict[str, int], sockets: str) -> Service:
    """A server of the same kind that broadcasts as many bytes to as many rooms, and does nothing else."""
    port = _a_free_port()
    (folder / "bare.py").write_text(BARE)
    env = {"SIZES": json.dumps(sizes), "PORT": str(port), "SOCKETS": sockets}
    return Service([sys.executable, str(folder / "bare.py")], port, "/", folder, env)


def _a_free_port() -> int:
    with socket.socket() as asking:
        asking.bind(("127.0.0.1", 0))
        return int(asking.getsockname()[1])


# Who watches


class Watcher(asyncio.Protocol):
    """The lightest client of live push: it notes what came when, answers pings, and looks at nothing else."""

    def __init__(self, name: str, port: int, auth: dict[str, object], is_flaky: bool = False) -> None:
        self.name, self.port, self.auth, self.is_flaky = name, port, auth, is_flaky
        self.seq, self.came_s, self.as_of, self.last = 0, 0.0, "", b""
        self.arrivals: list[tuple[int, float]] = []
        self.wrong: list[str] = []
        self.refusal, self.retry_after = "", ""
        self.oldest_s, self.views, self.bytes = 0.0, 0, 0
        self.transport: asyncio.Transport | None = None
        self.left: list[asyncio.Transport] = []
        self.was_refused = False
        self.greeted = asyncio.Event()
        self.over = asyncio.Event()
        self._buffer = bytearray()
        self._is_open = False

    async def connect(self) -> None:
        """Connect anew, saying what was seen last."""
        self.greeted.clear()
        self.over.clear()
        self._buffer.clear()
        self._is_open = False
        loop = asyncio.get_running_loop()
        await loop.create_connection(lambda: self, "127.0.0.1", self.port)

    def connection_made(self, transport: Any) -> None:
        self.transport = transport
        transport.write(
            b"GET /socket.io/?EIO=4&transport=websocket HTTP/1.1\r\n"
            b"Host: 127.0.0.1:%d\r\nUpgrade: websocket\r\nConnection: Upgrade\r\n"
            b"Sec-WebSocket-Key: dGhlIHNhbXBsZSBub25jZQ==\r\nSec-WebSocket-Version: 13\r\n%s\r\n"
            % (self.port, self._key())
        )

    def _key(self) -> bytes:
        key = self.auth.get("key")
        return f"Authorization: Bearer {key}\r\n".encode() if key else b""

    def connection_lost(self, _why: Exception | None) -> None:
        self.over.set()

    def data_received(self, data: bytes) -> None:
        self._buffer += data
        if not self._is_open:
            head, found, rest = bytes(self._buffer).partition(b"\r\n\r\n")
            if not found:
                return
            if b" 101 " not in head.split(b"\r\n", 1)[0]:
                self.was_refused = True
                self.refusal = head.split(b"\r\n", 1)[0].decode()
                self.retry_after = next(
                    (
                        line.split(b":", 1)[1].strip().decode()
                        for line in head.split(b"\r\n")
                        if line.lower().startswith(b"retry-after:")
                    ),
                    "",
                )
                assert self.transport is not None
                self.transport.close()
                return
            self._is_open, self._buffer = True, bytearray(rest)
        self._read_frames()

    def _read_frames(self) -> None:
        buffer, at = self._buffer, 0
        while len(buffer) - at >= 2:
            size, head = buffer[at + 1] & 127, 2
            if size == 126:
                head = 4
                size = int.from_bytes(buffer[at + 2 : at + 4], "big")
            elif size == 127:
                head = 10
                size = int.from_bytes(buffer[at + 2 : at + 10], "big")
            if len(buffer) - at < head + size:
                break
            if buffer[at] & 15 == 1:
                self._hear(bytes(buffer[at + head : at + head + size]))
            at += head + size
        del buffer[:at]

    def _hear(self, said: bytes) -> None:
        if said.startswith(b"42/live,"):
            self._note(said)
        elif said == b"2":
            self._say(b"3")
        elif said.startswith(b"0{"):
            self._say(b"40/live," + json.dumps({**self.auth, "seq": self.seq}).encode())
        elif said.startswith(b"44"):
            self.was_refused, self.refusal = True, said.decode()
            self.over.set()
        elif said.startswith(b"40/live"):
            self.greeted.set()

    def _note(self, said: bytes) -> None:
        now_s = time.perf_counter()
        at = said.find(b'"seq":') + 6
        if at < 6:
            return
        end = at
        while said[end : end + 1].isdigit():
            end += 1
        seq, self.came_s = int(said[at:end]), now_s
        if seq < self.seq:
            self.wrong.append(f"{self.name} was at line {self.seq} and was then shown line {seq}")
        if seq > self.seq:
            self.arrivals.append((seq, now_s))
        self.seq = seq
        at = said.rfind(b'"as_of":"') + 9
        if at > 8:
            as_of = said[at : at + 24].decode()
            if as_of.endswith("Z") and as_of < self.as_of:
                self.wrong.append(f"{self.name} was shown a view of {as_of} after one of {self.as_of}")
            if as_of.endswith("Z"):  # the bare broadcast says none
                self.as_of = as_of
                age_s = time.time() - datetime.fromisoformat(as_of).timestamp()
                self.oldest_s = max(self.oldest_s, age_s)
                if not -1 < age_s < OLDEST_S:
                    self.wrong.append(f"{self.name} was sent a view {age_s:.0f} s old")
        if b'"html"' in said:
            self.last = said
            self.views, self.bytes = self.views + 1, self.bytes + len(said)

    def _say(self, text: bytes) -> None:
        assert self.transport is not None
        size = bytes([0x80 | len(text)]) if len(text) < 126 else b"\xfe" + len(text).to_bytes(2, "big")
        self.transport.write(b"\x81" + size + b"\0\0\0\0" + text)  # a mask of zeros leaves the text as it is

    @property
    def html(self) -> str:
        """What it shows."""
        return str(json.loads(self.last[8:])[1]["html"]) if self.last else ""

    def arrived_s(self, seq: int, until_s: float) -> float | None:
        """When it was first shown that line or a later one."""
        return next((at_s for line, at_s in self.arrivals if line >= seq and at_s <= until_s), None)

    def drop(self, chance: random.Random) -> None:
        """Go without goodbye: cut off, or out of range with the line left open and never read again."""
        transport = self.transport
        if transport is None:
            return
        if chance.random() < 0.5:
            transport.abort()
        else:
            transport.pause_reading()
            transport.set_protocol(asyncio.Protocol())
            self.left.append(transport)

    def close(self) -> None:
        """Hang up for good."""
        for transport in [*self.left, *([self.transport] if self.transport else [])]:
            transport.abort()


class Hall:
    """Everybody who watches, and the hand that taps."""

    def __init__(self, port: int, chance: random.Random) -> None:
        self.port, self.chance = port, chance
        self.watchers: list[Watcher] = []
        self.returns = 0
        self.refusals: list[str] = []
        self._comings: set[asyncio.Task[None]] = set()
        self._line: tuple[asyncio.StreamReader, asyncio.StreamWriter] | None = None

    @property
    def healthy(self) -> list[Watcher]:
        """Those who never drop."""
        return [one for one in self.watchers if not one.is_flaky]

    async def enter(self, watchers: Sequence[Watcher]) -> int:
        """Let them connect, some at once; how many could not."""
        gate = asyncio.Semaphore(AT_ONCE)

        async def one(watcher: Watcher) -> None:
            async with gate:
                try:
                    await watcher.connect()
                    done = asyncio.create_task(watcher.greeted.wait()), asyncio.create_task(watcher.over.wait())
                    await asyncio.wait(done, timeout=CONNECTED_WITHIN_S, return_when=asyncio.FIRST_COMPLETED)
                    for waiting in done:
                        waiting.cancel()
                except OSError as no:
                    watcher.was_refused, watcher.refusal = True, str(no)

        await asyncio.gather(*(one(watcher) for watcher in watchers))
        self.watchers += [one for one in watchers if one.greeted.is_set()]
        out = [one for one in watchers if not one.greeted.is_set()]
        self.refusals += [f"{one.name}: {one.refusal or 'no answer'}" for one in out]
        return len(out)

    async def come_and_go(self, stopped: asyncio.Event) -> None:
        """A flaky phone after the other drops and comes back, until `stopped`."""
        flaky = [one for one in self.watchers if one.is_flaky]
        away: set[str] = set()
        while flaky and not stopped.is_set():
            one = self.chance.choice(flaky)
            if one.name not in away:
                away.add(one.name)
                one.drop(self.chance)
                coming = asyncio.create_task(self._comes_back(one, away))
                self._comings.add(coming)
                coming.add_done_callback(self._comings.discard)
            with suppress(TimeoutError):
                await asyncio.wait_for(stopped.wait(), 6.0 / len(flaky))
        if self._comings:
            await asyncio.wait(set(self._comings), timeout=RETURNS_S[1] + 10)

    async def _comes_back(self, one: Watcher, away: set[str]) -> None:
        await asyncio.sleep(self.chance.uniform(*RETURNS_S))
        try:
            await one.connect()
            await asyncio.wait_for(one.greeted.wait(), 20)
            self.returns += 1
        except (OSError, TimeoutError) as no:
            one.wrong.append(f"{one.name} could not come back: {no or 'no answer for 20 s'}")
        away.discard(one.name)

    async def post(self, path: str, body: object, key: str = "") -> tuple[float, dict[str, Any]]:
        """Send it; when the answer was there, and what it says."""
        if self._line is None:
            self._line = await asyncio.open_connection("127.0.0.1", self.port)
        reader, writer = self._line
        text = json.dumps(body).encode()
        writer.write(
            f"POST {path} HTTP/1.1\r\nHost: 127.0.0.1:{self.port}\r\nContent-Type: application/json\r\n"
            f"Authorization: Bearer {key}\r\nContent-Length: {len(text)}\r\n\r\n".encode()
            + text
        )
        head = await asyncio.wait_for(reader.readuntil(b"\r\n\r\n"), 60)
        answered_s = time.perf_counter()
        headers = dict(line.lower().split(b": ", 1) for line in head.split(b"\r\n")[1:] if b": " in line)
        answer = json.loads(await reader.readexactly(int(headers[b"content-length"])))
        if headers.get(b"connection") == b"close":
            self._hang_up()
        if b" 20" not in head.split(b"\r\n", 1)[0]:
            raise SystemExit(f"a tap was not taken: {answer}")
        return answered_s, answer

    def _hang_up(self) -> None:
        if self._line is not None:
            self._line[1].close()
        self._line = None

    async def reached(self, seq: int, began_s: float) -> dict[str, float]:
        """How long until each healthy watcher had it, in ms; who is not in it was told nothing within a while."""
        until_s = began_s + REACHED_WITHIN_S
        while (now_s := time.perf_counter()) < until_s and any(one.seq < seq for one in self.healthy):
            last_s = max((one.came_s for one in self.healthy if one.seq >= seq), default=now_s)
            if now_s - last_s > QUIET_S:
                break
            await asyncio.sleep(0.02)
        came = {one.name: one.arrived_s(seq, until_s) for one in self.healthy}
        return {name: (at_s - began_s) * 1000 for name, at_s in came.items() if at_s is not None}

    def close(self) -> None:
        """Hang up on everything."""
        self._hang_up()
        for one in self.watchers:
            one.close()


@dataclass
class Artist:
    """Draws portrait after portrait; when one is finished, every phone in the queue says something else."""

    hall: Hall
    key: str
    chance: random.Random
    ids: Any = field(default_factory=lambda: iter(range(1, 10**9)))
    on_easel: dict[str, str] = field(default_factory=lambda: {"a1": "T1", "a2": "T2"})
    next_ticket: int = EASELS + 1
    name: str = "load"
    finished: set[str] = field(default_factory=set)

    async def say(self, kind: str, **data: object) -> tuple[float, float, int]:
        """A command; when it was sent, when answered, and its line."""
        body = {"id": f"{self.name}-{next(self.ids)}", "kind": kind, "data": data}
        began_s = time.perf_counter()
        answered_s, answer = await self.hall.post(f"/api/v1/booths/{SLUG}/commands", body, self.key)
        return began_s, answered_s, int(answer["seq"])

    async def go_on(self) -> None:
        """Begin the next one on the free easel, and let somebody order, so that the queue stays as long."""
        artist = next(name for name, ticket in self.on_easel.items() if ticket in self.finished)
        self.on_easel[artist] = f"T{self.next_ticket}"
        self.next_ticket += 1
        await self.say("started", ticket=self.on_easel[artist], artist=artist)
        await self.say("stage_done", ticket=self.on_easel[artist], stage="outline")
        await self.say("ordered", style="ink-head", sitters=1)

    async def portrait(self) -> tuple[float, float, int]:
        """Draw on to the last stage, then the measured tap, by which every phone in the queue moves up."""
        artist = self.chance.choice(sorted(self.on_easel))
        ticket = self.on_easel[artist]
        await self.say("stage_done", ticket=ticket, stage="likeness")
        await asyncio.sleep(1.2)
        began_s, answered_s, seq = await self.say("stage_done", ticket=ticket, stage="finish")
        self.finished.add(ticket)
        return began_s, answered_s, seq


# The parts


@dataclass
class Report:
    """What was found: lines for whoever reads, and a sentence for each thing that did not hold."""

    wrong: list[str] = field(default_factory=list)

    def say(self, text: str) -> None:
        """One line of figures."""
        print(text, flush=True)

    def must(self, holds: bool, sentence: str) -> None:
        """Note `sentence` when it does not hold."""
        if not holds:
            self.wrong.append(sentence)


def the_hall(stall: Stall, port: int, phones: int, drop: float, chance: random.Random) -> list[Watcher]:
    """So many phones spread over the queue, a share of them flaky, and the booth's own four screens."""
    codes = list(stall.codes.values())[EASELS:]
    watchers = [
        Watcher(f"phone {n}", port, {"view": "ticket", "code": codes[n % len(codes)]}, is_flaky=n < phones * drop)
        for n in range(phones)
    ]
    return [*watchers, *the_screens(stall, port)]


def the_screens(stall: Stall, port: int) -> list[Watcher]:
    """A wall, the easels, a counter."""
    staff: dict[str, object] = {"booth": SLUG, "key": stall.key}
    easels = [Watcher(f"easel {n}", port, {"view": "easel", "artist": f"a{n}", **staff}) for n in range(1, EASELS + 1)]
    return [
        Watcher("the wall", port, {"view": "wall", "booth": SLUG}),
        *easels,
        Watcher("the counter", port, {"view": "counter", **staff}),
    ]


@dataclass
class Taps:
    """What a number of taps took, in ms: to the last who watches, and to the acknowledgement."""

    last_ms: list[float] = field(default_factory=list)
    answer_ms: list[float] = field(default_factory=list)
    reached: list[int] = field(default_factory=list)
    missed: list[str] = field(default_factory=list)

    def said(self) -> str:
        """Median and 95th percentile."""
        few, many = statistics.median(self.last_ms), sorted(self.last_ms)[int(0.95 * (len(self.last_ms) - 1))]
        return f"median {few:.0f} ms, 95 of 100 within {many:.0f} ms; answered after {self.answered:.0f} ms"

    @property
    def answered(self) -> float:
        """The usual time to the acknowledgement."""
        return statistics.median(self.answer_ms)

    @property
    def last(self) -> float:
        """The usual time to the last arrival."""
        return statistics.median(self.last_ms)


async def some_taps(stall: Stall, hall: Hall, artist: Artist, count: int) -> Taps:
    """So many portraits finished, each tap followed to the last watcher."""
    taps = Taps()
    for _ in range(count):
        began_s, answered_s, seq = await artist.portrait()
        came_ms = await hall.reached(seq, began_s)
        taps.answer_ms.append((answered_s - began_s) * 1000)
        taps.last_ms.append(max(came_ms.values(), default=float("inf")))
        taps.reached.append(len(came_ms))
        taps.missed += await differing(stall, hall, [one for one in hall.healthy if one.name not in came_ms])
        await artist.go_on()
        await asyncio.sleep(1.2)
    return taps


async def differing(stall: Stall, hall: Hall, who: Sequence[Watcher]) -> list[str]:
    """Who of them shows something else than a page loaded now does; looked at again while quotes still move."""
    wrong = list(who)
    for _ in range(10):
        addresses = {_address(one) for one in wrong}
        pages = {path: await asyncio.to_thread(_page, hall.port, path, stall.key) for path in addresses}
        wrong = [one for one in wrong if one.html != pages[_address(one)]]
        if not wrong:
            break
        await asyncio.sleep(0.7)
    return [one.name for one in wrong]


def _address(one: Watcher) -> str:
    match one.auth["view"]:
        case "ticket":
            return f"/t/{one.auth['code']}"
        case "easel":
            return f"/{SLUG}/easel/{one.auth['artist']}"
        case view:
            return f"/{SLUG}/{view}"


def _page(port: int, path: str, key: str) -> str:
    asked = Request(f"http://127.0.0.1:{port}{path}?fragment=1", headers={"Authorization": f"Bearer {key}"})
    with urlopen(asked, timeout=60) as answer:
        return str(json.load(answer)["html"])


def judge(report: Report, hall: Hall, taps: Taps, lost: list[str], refused: int) -> None:
    """What must be so in any crowd."""
    wrong = [sentence for one in hall.watchers for sentence in one.wrong]
    missed = len(taps.missed)
    report.say(
        f"  refused: {refused}; told nothing though their view changed: {missed}; views lost: {len(lost)}; "
        f"older than they say, or going back: {len(wrong)}"
    )
    report.must(refused == 0, f"{refused} were refused: {'; '.join(hall.refusals[:3])}")
    report.must(not missed, f"{missed} times a tap did not reach somebody whose view it changed")
    report.must(not lost, f"{len(lost)} show something else than the page does, {', '.join(lost[:3])} among them")
    for sentence in wrong[:5]:
        report.must(False, sentence)


@contextmanager
def started(service: Service) -> Iterator[Service]:
    """It runs while the block does."""
    service.start()
    try:
        yield service
    finally:
        service.stop()


def no_errors(service: Service, report: Report) -> None:
    """Whatever came in, the service has nothing to complain of."""
    report.must("Traceback" not in service.said, f"the service logged an error:\n{service.said[-1500:]}")


async def _crowd(stall: Stall, service: Service, options: argparse.Namespace, report: Report) -> tuple[Taps, Hall]:
    chance = random.Random(options.seed)
    hall = Hall(service.port, chance)
    everybody = the_hall(stall, service.port, options.phones, options.drop, chance)
    refused = await hall.enter(everybody[-2 - EASELS :])
    await asyncio.sleep(1.0)
    worker = service.worker
    rss, threads, files = worker.memory_info().rss, worker.num_threads(), worker.num_fds()
    refused += await hall.enter(everybody[: -2 - EASELS])
    await asyncio.sleep(2.0)
    per_phone_kb = (worker.memory_info().rss - rss) / 1024 / options.phones
    flaky = sum(one.is_flaky for one in everybody)
    report.say(
        f"{options.phones} phones on {len(stall.codes)} tickets ({flaky} of them dropping and returning), "
        f"a wall, {EASELS} easels, a counter"
    )
    report.say(
        f"  the service: {worker.memory_info().rss / 2**20:.0f} MB, {per_phone_kb:.0f} KB a phone; "
        f"{worker.num_threads()} threads ({(worker.num_threads() - threads) / options.phones:.2f} a phone); "
        f"{worker.num_fds() - files} more files open"
    )
    stopped = asyncio.Event()
    flakiness = asyncio.create_task(hall.come_and_go(stopped))
    artist = Artist(hall, stall.key, chance)
    await some_taps(stall, hall, artist, 1)  # the first time everything is done for the first time
    taps = await some_taps(stall, hall, artist, options.taps)
    stopped.set()
    await flakiness
    report.say(f"  they came back {hall.returns} times")
    judge(report, hall, taps, await differing(stall, hall, hall.watchers), refused)
    return taps, hall


async def _bare(hall: Hall, service: Service, taps: int, phones: int) -> Taps:
    """The same rooms and sizes, broadcast by a request that does nothing else."""
    alone = Hall(service.port, hall.chance)
    rooms = [json.dumps(one.auth) for one in hall.watchers]
    await alone.enter([Watcher(f"bare {n}", service.port, {"room": room}) for n, room in enumerate(rooms)])
    await asyncio.sleep(2.0)
    found = Taps()
    for count in range(taps + 1):
        began_s = time.perf_counter()
        answered_s, answer = await alone.post("/tap", {})
        came_ms = await alone.reached(int(answer["seq"]), began_s)
        if count:
            found.last_ms.append(max(came_ms.values(), default=float("inf")))
            found.answer_ms.append((answered_s - began_s) * 1000)
            found.reached.append(len(came_ms))
        await asyncio.sleep(0.7)
    alone.close()
    return found


def crowd(stall: Stall, options: argparse.Namespace, report: Report) -> None:
    """A tap to the last of everybody, beside the bare broadcast of the same sizes and one re-quote."""
    with started(ours(stall, options.most)) as service:
        taps, hall = asyncio.run(_crowd(stall, service, options, report))
    no_errors(service, report)
    told = f"{min(taps.reached)} to {max(taps.reached)} of the {len(hall.healthy)} who stay see something new"
    report.say(f"  a tap to the last of them: {taps.said()} ({len(taps.last_ms)} taps; {told})")
    if options.short:
        return
    sizes = {json.dumps(one.auth): len(one.last) for one in hall.watchers}
    report.say(f"  one push to all: {sum(sizes[json.dumps(one.auth)] for one in hall.watchers) / 1024:.0f} KB")
    floors = {}
    for sockets in ("library", "ours"):
        with started(bare(stall.folder, sizes, sockets)) as floor:
            floors[sockets] = asyncio.run(_bare(hall, floor, options.taps, options.phones)).last
    requote_ms = stall.requote_ms
    report.say(
        f"  bare broadcast of the same: {floors['ours']:.0f} ms on this program's sockets, "
        f"{floors['library']:.0f} ms on Flask-SocketIO's own; one re-quote: {requote_ms:.0f} ms"
    )
    ratio = taps.last / (floors["library"] + requote_ms)  # what anybody's broadcast on this server would take
    strict = taps.last / (floors["ours"] + requote_ms)
    report.say(
        f"  tap to all / (bare broadcast + re-quote): {ratio:.2f} on Flask-SocketIO's own sockets, "
        f"{strict:.2f} on the quicker ones of this program"
    )
    report.must(
        ratio <= options.within,
        f"a tap took {ratio:.2f} times the bare broadcast and a re-quote; {options.within} was wanted",
    )


# Slow, dead, all at once, and more than fit


async def _slow(stall: Stall, service: Service, options: argparse.Namespace, report: Report) -> None:
    chance = random.Random(options.seed)
    hall = Hall(service.port, chance)
    refused = await hall.enter(the_hall(stall, service.port, options.phones, 0.0, chance))
    artist = Artist(hall, stall.key, chance)
    await some_taps(stall, hall, artist, 1)
    before = await some_taps(stall, hall, artist, options.taps // 2 + 1)
    stuck = Hall(service.port, chance)
    codes = list(stall.codes.values())[EASELS:]
    auths: list[dict[str, object]] = [{"view": "ticket", "code": code} for code in codes]
    auths.append({"view": "counter", "booth": SLUG, "key": stall.key})  # 50 KB a push: these fill up soon
    many = [Watcher(f"stuck {n}", service.port, auths[-1] if n % 2 else auths[n % len(auths)]) for n in range(STUCK)]
    refused += await stuck.enter(many)
    threads = service.worker.num_threads()
    for one in many:
        assert one.transport is not None
        one.transport.pause_reading()
    after = await some_taps(stall, hall, artist, options.taps // 2 + 1)
    judge(report, hall, after, await differing(stall, hall, hall.watchers), refused)
    report.say(
        f"  a tap to the last of {len(hall.watchers)} others: {before.last:.0f} ms before, {after.last:.0f} ms beside "
        f"{STUCK} that never read ({after.last / before.last:.2f} times)"
    )
    until_s = time.monotonic() + GONE_WITHIN_S
    while service.worker.num_threads() > threads - STUCK and time.monotonic() < until_s and not options.short:
        await asyncio.sleep(1)
    if not options.short:
        freed = len(many) - max(0, await asyncio.to_thread(_live, service) - len(hall.watchers))
        report.say(f"  of these {STUCK}, {freed} were hung up on within {GONE_WITHIN_S:.0f} s")
        report.must(freed == STUCK, f"{STUCK - freed} that never read are still held after {GONE_WITHIN_S:.0f} s")
    stuck.close()
    hall.close()


def _live(service: Service) -> int:
    """How many lines the service holds: connections of its port that are established."""
    here = [one for one in service.worker.net_connections("tcp") if one.laddr and one.laddr.port == service.port]
    return sum(one.status == psutil.CONN_ESTABLISHED for one in here)


def slow(stall: Stall, options: argparse.Namespace, report: Report) -> None:
    """Sockets that never read, half of them of the largest view, beside everybody else."""
    with started(ours(stall, options.most)) as service:
        report.say(f"slow and dead sockets: {STUCK} that never read beside {options.phones} phones")
        asyncio.run(_slow(stall, service, options, report))


async def _storm(stall: Stall, service: Service, options: argparse.Namespace, report: Report) -> None:
    chance = random.Random(options.seed)
    hall = Hall(service.port, chance)
    everybody = the_hall(stall, service.port, options.phones, 0.0, chance)
    refused = await hall.enter(everybody)
    artist = Artist(hall, stall.key, chance)
    await some_taps(stall, hall, artist, 1)
    await asyncio.to_thread(service.stop)
    await asyncio.to_thread(service.start)
    hall._hang_up()
    began_s = time.perf_counter()

    async def back(one: Watcher) -> None:
        await asyncio.sleep(chance.uniform(0, STORM_S))
        await one.connect()
        await asyncio.wait_for(one.greeted.wait(), CONNECTED_WITHIN_S)

    coming = [asyncio.create_task(back(one)) for one in everybody]
    await asyncio.sleep(STORM_S / 2)
    taps = await some_taps(stall, hall, artist, 1)
    done = await asyncio.gather(*coming, return_exceptions=True)
    failed = [f"{one.name}: {no!r}" for one, no in zip(everybody, done, strict=True) if no is not None]
    took_s = time.perf_counter() - began_s
    after = await some_taps(stall, hall, artist, 1)
    judge(report, hall, after, await differing(stall, hall, hall.watchers), refused + len(failed))
    report.say(
        f"  all {len(everybody)} back {took_s:.1f} s after the first began; a tap meanwhile was answered after "
        f"{taps.answered:.0f} ms, one afterwards after {after.answered:.0f} ms"
    )
    for sentence in failed[:3]:
        report.must(False, f"could not come back: {sentence}")
    hall.close()


def storm(stall: Stall, options: argparse.Namespace, report: Report) -> None:
    """The service is started anew, and everybody is back within two seconds."""
    with started(ours(stall, options.most)) as service:
        report.say(f"the service started anew, {options.phones} phones coming back within {STORM_S:.0f} s")
        asyncio.run(_storm(stall, service, options, report))
    no_errors(service, report)


async def _full(stall: Stall, service: Service, options: argparse.Namespace, report: Report) -> None:
    chance = random.Random(options.seed)
    hall = Hall(service.port, chance)
    most = options.most
    refused = await hall.enter(the_hall(stall, service.port, options.phones * 2, 0.0, chance))
    artist = Artist(hall, stall.key, chance)
    await some_taps(stall, hall, artist, 1)
    taps = await some_taps(stall, hall, artist, options.taps // 3 + 1)
    worker = service.worker
    report.say(
        f"{len(hall.watchers)} live lines: a tap to the last of them: {taps.said()}; "
        f"{worker.memory_info().rss / 2**20:.0f} MB, {worker.num_threads()} threads"
    )
    judge(report, hall, taps, await differing(stall, hall, hall.watchers), refused)
    codes = list(stall.codes.values())[EASELS:]
    more = [
        Watcher(f"more {n}", service.port, {"view": "ticket", "code": codes[n % len(codes)]})
        for n in range(most - len(hall.watchers) + MORE_THAN_FIT)
    ]
    outside = Hall(service.port, chance)
    no_room = await outside.enter(more)
    told = sum(" 503 " in f"{one.refusal} " and one.retry_after.isdigit() for one in more)
    began_s = time.perf_counter()
    pages = [await asyncio.to_thread(_page, service.port, _address(one), "") for one in more[-3:]]
    asked_ms = (time.perf_counter() - began_s) * 1000 / len(pages)
    late = the_screens(stall, service.port)
    shut_out = await outside.enter(late)
    _, _, seq = await artist.portrait()
    await hall.reached(seq, time.perf_counter())
    report.say(
        f"  {len(more)} more asked: {no_room} were refused, {told} of them with 503 and when to come back; "
        f"their page by plain HTTP took {asked_ms:.0f} ms; "
        f"the booth's own screens shut out: {max(0, shut_out - 1)} of {len(late) - 1}"
    )
    report.must(no_room == told, f"{no_room - told} were refused without being told when to come back")
    some = MORE_THAN_FIT - AT_ONCE  # who comes at the same moment as others may still slip in
    report.must(no_room >= some, f"only {no_room} were refused though {MORE_THAN_FIT} more came than fit")
    report.must(shut_out <= 1, "a screen of the booth itself was shut out")  # the wall comes as anybody does
    report.must(hall.watchers[-1].seq >= seq, "the counter did not hear of a tap in a full hall")
    outside.close()
    hall.close()


def full(stall: Stall, options: argparse.Namespace, report: Report) -> None:
    """Twice as many phones; then more than fit."""
    with started(ours(stall, options.most)) as service:
        report.say(f"a full hall: {options.phones * 2} phones, then more than the {options.most} that fit")
        asyncio.run(_full(stall, service, options, report))
    no_errors(service, report)


PARTS = {"crowd": crowd, "slow": slow, "storm": storm, "full": full}


def main() -> None:
    """Run the parts asked for."""
    asked = argparse.ArgumentParser(description=__doc__.splitlines()[0])  # type: ignore[union-attr]
    asked.add_argument("--phones", type=int, default=500)
    asked.add_argument("--tickets", type=int, default=60)
    asked.add_argument("--drop", type=float, default=0.2, help="the share of the phones that drop and return")
    asked.add_argument("--taps", type=int, default=12)
    asked.add_argument("--seed", type=int, default=1)
    asked.add_argument("--most", type=int, default=crowd_limits.MOST_LIVE, help="so many live lines fit")
    asked.add_argument(
        "--short", action="store_true", help="without floors and timeouts: what is counted, not how long it takes"
    )
    asked.add_argument("--within", type=float, default=WITHIN, help="the ratio that must not be exceeded")
    asked.add_argument("--only", choices=PARTS, action="append", help="this part alone")
    options, report = asked.parse_args(), Report()
    for name in options.only or PARTS:
        with tempfile.TemporaryDirectory() as folder:
            PARTS[name](a_stall(Path(folder), options.tickets), options, report)
    for sentence in report.wrong:
        print(f"NOT SO: {sentence}")
    print("Everything held." if not report.wrong else f"{len(report.wrong)} things did not hold.")
    sys.exit(bool(report.wrong))


if __name__ == "__main__":
    main()

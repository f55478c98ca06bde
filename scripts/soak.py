"""A season at the demo's market, as fast as it goes: do memory, files, threads and taps stay as they were?

    .venv/bin/python scripts/soak.py --days 60 --seed 1

The whole service in this one process, on a folder of its own and on this computer alone: the market plays evening after
evening, some phones and screens watch and are changed for others each day, and each evening's pages are fetched. After
each day it is measured; over the last two thirds a straight line is fitted to each figure (least squares, with the 95%
interval of its slope by Student's t). The journal is kept in memory as a whole, so memory grows by so much a line: that
is measured by reading it anew in a process of its own, and what grows beyond it is a leak. A tap's time stands beside
that of a bare commit in the same minute. Prints plain lines; exit 0 when all stayed flat, 1 with sentences when not.
"""

from __future__ import annotations

import argparse
import asyncio
import gc
import random
import sqlite3
import statistics
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from pathlib import Path

HERE = Path(__file__).resolve().parent
sys.path[:0] = [str(HERE.parent), str(HERE)]

import numpy as np  # noqa: E402
import psutil  # noqa: E402
from flask import Flask  # noqa: E402
from flask.testing import FlaskClient  # noqa: E402
from load import Report, Watcher  # noqa: E402
from scipy.special import stdtrit  # noqa: E402
from werkzeug.serving import make_server  # noqa: E402

from portraitq import memory, passphrase  # noqa: E402
from portraitq.clock import Clock  # noqa: E402
from portraitq.core.commands import Command  # noqa: E402
from portraitq.core.errors import Refused  # noqa: E402
from portraitq.core.events import WalkedAway  # noqa: E402
from portraitq.demo.run import EVENING_ENDS, LiveStall, close_evening, open_evening  # noqa: E402
from portraitq.demo.scenario import CLOSES, OPENS, SET_UP, SLUG, at  # noqa: E402
from portraitq.desk import Desk, Desks, NewCard  # noqa: E402
from portraitq.store.store import open_store  # noqa: E402
from portraitq.web.app import create_app  # noqa: E402

PASSPHRASE = "harbour-lantern-chalk"
FIRST = date(2026, 6, 5)
PHONES = 9
TAPS_A_DAY = 15
PHOTO_EVERY = 20  # orders; to draw one takes longer than the rest of its order
SURE = 0.975  # of a two-sided 95% interval
LEAK_KB_A_DAY = 100.0  # a season of 120 days would come to 12 MB
SLOWER_A_DAY = 0.01  # of a tap's usual time, a day
FEW_DAYS = 12  # no slope is read off fewer
PAGES = ("counter", "wall", "easel/{artist}", "daybook", "daybook/season", "daybook/close", "set-up")


@dataclass
class Measured:
    """How it stood at the end of a day."""

    rss_kb: float
    files: int
    threads: int
    store_kb: float
    lines: int
    tap_ms: float
    commit_ms: float
    requote_ms: float

    @property
    def ratio(self) -> float:
        """A tap beside one bare commit."""
        return self.tap_ms / self.commit_ms


class Stall(LiveStall):
    """The demo's stall, with a photo now and then."""

    def __init__(self, desk: Desk) -> None:
        super().__init__(desk)
        self.orders = 0

    def booth(self):  # type: ignore[no-untyped-def]
        """The booth after the last command: nobody here waits for quotes, so that several taps share one."""
        return self.desk._booth

    def order(self, command: Command, card: NewCard, at: datetime) -> str:
        """Take the order."""
        self.orders += 1
        if self.orders % PHOTO_EVERY == 0:
            return super().order(command, card, at)
        return self.desk.take_order(command, card, []).ticket


def a_day(stall: Stall, day: date, seed: int, hours: float) -> None:
    """One evening from opening to close, or for so many hours, told as fast as the desk takes it."""
    desk = stall.desk
    desk.clock.skip_to(at(day, OPENS))
    market = open_evening(stall, day, seed)
    end = min(at(day, CLOSES) + EVENING_ENDS[1], at(day, OPENS) + timedelta(hours=hours))
    while market.next_at is not None and market.next_at <= end:
        now = market.next_at
        desk.clock.skip_to(now)
        try:
            market.play(now)
        except Refused:
            continue  # the demo went another way, as it may
    desk.clock.skip_to(end)
    close_evening(stall, day, end)


# Who watches


class Crowd:
    """Phones and screens in a thread with a loop of their own."""

    def __init__(self, port: int, key: str, chance: random.Random) -> None:
        self.port, self.key, self.chance = port, key, chance
        self.here: list[Watcher] = []
        self.count = 0
        self._loop = asyncio.new_event_loop()
        self._thread = threading.Thread(target=self._loop.run_forever, name="crowd", daemon=True)
        self._thread.start()

    def change(self, codes: list[str]) -> None:
        """Let a third of them go, most without a goodbye, and as many others come."""
        asyncio.run_coroutine_threadsafe(self._change(codes), self._loop).result(60)

    async def _change(self, codes: list[str]) -> None:
        self.chance.shuffle(self.here)
        for one in self.here[: PHONES // 3]:
            one.close()
        del self.here[: PHONES // 3]
        while len(self.here) < PHONES:
            self.count += 1
            auth: dict[str, object] = {"view": "wall", "booth": SLUG}
            if self.count % 6 == 0:
                auth = {"view": "counter", "booth": SLUG, "key": self.key}
            elif codes and self.count % 3:
                auth = {"view": "ticket", "code": self.chance.choice(codes)}
            one = Watcher(f"watcher {self.count}", self.port, auth)
            await one.connect()
            await asyncio.wait_for(one.greeted.wait(), 60)
            self.here.append(one)

    def wrong(self) -> list[str]:
        """What must not have been seen: lines going back."""
        return [sentence for one in self.here for sentence in one.wrong if "line" in sentence]

    def heard(self) -> int:
        """How many views those who are here were sent."""
        return sum(one.views for one in self.here)

    def close(self) -> None:
        """Everybody goes home."""

        async def all_go() -> None:
            for one in self.here:
                one.close()

        asyncio.run_coroutine_threadsafe(all_go(), self._loop).result(60)
        self._loop.call_soon_threadsafe(self._loop.stop)
        self._thread.join(10)
        self._loop.close()


@contextmanager
def serving(app: Flask) -> Iterator[int]:
    """The application on a port of this computer."""
    server = make_server("127.0.0.1", 0, app, threaded=True)
    server.daemon_threads = True  # type: ignore[attr-defined]
    thread = threading.Thread(target=server.serve_forever, args=(0.05,), daemon=True)
    thread.start()
    try:
        yield server.server_port
    finally:
        app.extensions["portraitq-live"].close()
        server.shutdown()
        thread.join(5)
        server.server_close()


def fetch(client: FlaskClient, codes: list[str], report: Report) -> None:
    """An evening's pages, and some phones'."""
    pages = [f"/{SLUG}/{page.format(artist=SET_UP.artists[0].id)}" for page in PAGES]
    for path in [*pages, *(f"/t/{code}?public=1" for code in codes[:5])]:
        with client.get(path) as answer:
            report.must(answer.status_code == 200, f"{path.split('/t/')[0] or 'a ticket'}: {answer.status_code}")
    with client.get(f"/{SLUG}/daybook/replay?fragment=1&minute=30") as answer:
        report.must(answer.status_code in (200, 202), f"the day once more: {answer.status_code}")


# What is measured


class Bare:
    """The least that writing a line could cost here: one row, committed as safely."""

    def __init__(self, folder: Path) -> None:
        self._conn = sqlite3.connect(folder / "bare.sqlite3", isolation_level=None)
        for pragma in ("journal_mode=WAL", "synchronous=FULL"):
            self._conn.execute(f"PRAGMA {pragma}").close()
        self._conn.execute("CREATE TABLE lines (seq INTEGER PRIMARY KEY, line TEXT)")

    def commit(self) -> None:
        """One."""
        self._conn.execute("BEGIN IMMEDIATE")
        self._conn.execute("INSERT INTO lines (line) VALUES (?)", ("x" * 200,))
        self._conn.execute("COMMIT")

    def close(self) -> None:
        """Let go."""
        self._conn.close()


def measure(desk: Desk, bare: Bare, folder: Path, name: str) -> Measured:
    """How it stands now, with some taps and bare commits in turns."""
    taps, commits, requotes = [], [], []
    for n in range(TAPS_A_DAY):
        began_s = time.perf_counter()
        desk.carry_out(Command(f"soak-{name}-{n}", WalkedAway(style=None, sitters=1, ready_by=None)))
        answered_s = time.perf_counter()
        desk.standing(wait_s=5)
        requoted_s = time.perf_counter()
        bare.commit()
        commits.append(time.perf_counter() - requoted_s)
        taps.append(answered_s - began_s)
        requotes.append(requoted_s - answered_s)
    gc.collect()
    memory.give_back(every_s=0)  # as the service does now and then
    process = psutil.Process()
    store_kb = sum(file.stat().st_size for file in folder.glob("portraitq.sqlite3*")) / 1024
    return Measured(
        process.memory_info().rss / 1024,
        process.num_fds() if hasattr(process, "num_fds") else process.num_handles(),
        process.num_threads(),
        store_kb,
        desk.standing(wait_s=1).seq,
        statistics.median(taps) * 1000,
        statistics.median(commits) * 1000,
        statistics.median(requotes) * 1000,
    )


def slope(values: list[float]) -> tuple[float, float, float]:
    """Of a straight line through them, a day: (slope, and the ends of its 95% interval)."""
    y = np.asarray(values, dtype=float)
    x = np.arange(len(y)) - (len(y) - 1) / 2
    per_day = float(x @ y / (x @ x))
    left = y - y.mean() - per_day * x
    wide = float(stdtrit(len(y) - 2, SURE) * np.sqrt(left @ left / (len(y) - 2) / (x @ x)))
    return per_day, per_day - wide, per_day + wide


READ_ANEW = """
import gc, sys, time, psutil
from portraitq.desk import Desks
from portraitq.forecast.learning import Learned, read_on
from portraitq.store import journal
from portraitq.store.store import open_store
store, slug = open_store(sys.argv[1]), sys.argv[2]
def lines(after, until):
    with store.reading() as connection:
        return [event for event in journal.events(connection, slug, after=after) if event.seq <= until]
def read(learned, events):
    learned = read_on(learned, events, quoted_back=0)
    del events
    gc.collect()
    return learned, psutil.Process().memory_info().rss
with store.reading() as connection:
    head = journal.head(connection, slug)
half, at_first = read(Learned(), lines(0, head // 2))  # with whatever is loaded and kept once and for all
whole, in_the_end = read(half, lines(head // 2, head))
began_s = time.perf_counter()
Desks(store).close()
print((in_the_end - at_first) / (head - head // 2), time.perf_counter() - began_s)
"""


def read_anew(folder: Path) -> tuple[float, float]:
    """What a line more takes of a service that reads its journal, in KB, and how long it takes to start on all."""
    done = subprocess.run(
        [sys.executable, "-c", READ_ANEW, str(folder), SLUG],
        cwd=HERE.parent,
        capture_output=True,
        check=True,
        timeout=300,
    )
    size_bytes, took_s = done.stdout.split()
    return float(size_bytes) / 1024, float(took_s)


def judge(days: list[Measured], line_kb: float, report: Report) -> None:
    """Fit and say."""
    last = days[len(days) // 3 :]
    lines_a_day = (last[-1].lines - last[0].lines) / max(1, len(last) - 1)
    files, threads = [day.files for day in last], [day.threads for day in last]
    report.say(
        f"  files open {min(files)} to {max(files)}, threads {min(threads)} to {max(threads)}, of the last two thirds"
    )
    report.must(_is_bounded(files), f"open files grew: {files[0]} at first, {files[-1]} in the end")
    report.must(_is_bounded(threads), f"threads grew: {threads[0]} at first, {threads[-1]} in the end")
    first_mb, last_mb = last[0].store_kb / 1024, last[-1].store_kb / 1024
    report.say(f"  the database: {first_mb:.1f} MB at {last[0].lines} lines, {last_mb:.1f} MB at {last[-1].lines}")
    if len(days) < FEW_DAYS:
        report.say(f"  fewer than {FEW_DAYS} days: no slope is read off them")
        return
    per_day, low, high = slope([day.rss_kb for day in last])
    known = line_kb * lines_a_day
    report.say(
        f"  memory: {last[-1].rss_kb / 1024:.0f} MB, {per_day:+.0f} KB a day ({low:+.0f} to {high:+.0f}), "
        f"{known:.0f} of it the journal's {lines_a_day:.0f} lines at {line_kb:.2f} KB: {per_day - known:+.0f} KB beyond"
    )
    report.must(low - known <= LEAK_KB_A_DAY, f"memory grows by {per_day - known:.0f} KB a day that no line explains")
    for what, values in (
        ("a tap beside a bare commit", [day.ratio for day in last]),
        ("a tap", [day.tap_ms for day in last]),
        ("the re-quote after it", [day.requote_ms for day in last]),
    ):
        usual = statistics.median(values)
        per_day, low, high = (part / usual for part in slope(values))
        unit = " times" if "beside" in what else " ms"
        report.say(f"  {what}: {usual:.2f}{unit}, {per_day:+.2%} a day ({low:+.2%} to {high:+.2%})")
        if "beside" in what:
            report.must(low <= SLOWER_A_DAY, f"{what} gets slower by {per_day:.1%} a day")


def _is_bounded(counts: list[int]) -> bool:
    """Whether the later half holds about as many as the earlier one; some come and go."""
    half = len(counts) // 2
    return not half or max(counts[half:]) <= max(counts[:half]) + 6


def main() -> None:
    """Play the season."""
    asked = argparse.ArgumentParser(description=__doc__.splitlines()[0])  # type: ignore[union-attr]
    asked.add_argument("--days", type=int, default=60)
    asked.add_argument("--seed", type=int, default=1)
    asked.add_argument("--hours", type=float, default=24.0, help="of each evening that are played; all, unless shorter")
    asked.add_argument("--minutes", type=float, default=9.0, help="no new day is begun after so long")
    options, report = asked.parse_args(), Report()
    chance, began_s = random.Random(options.seed), time.monotonic()
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place)
        days = season(folder, options, chance, report)
        took_s = time.monotonic() - began_s
        line_kb, start_s = read_anew(folder)
        report.say(
            f"{len(days)} evenings, {days[-1].lines} lines, in {took_s:.0f} s; a start on them takes {start_s:.1f} s, "
            f"and each line more {line_kb:.2f} KB"
        )
        judge(days, line_kb, report)
    for sentence in dict.fromkeys(report.wrong):
        print(f"NOT SO: {sentence}")
    print("Everything stayed flat." if not report.wrong else f"{len(set(report.wrong))} things did not hold.")
    sys.exit(bool(report.wrong))


def season(folder: Path, options: argparse.Namespace, chance: random.Random, report: Report) -> list[Measured]:
    """Evening after evening; how it stood after each."""
    store, bare = open_store(folder), Bare(folder)
    passphrase.set_passphrase(store, PASSPHRASE)
    desks = Desks(store, Clock(start_at=at(FIRST, OPENS) - timedelta(hours=1)))
    desk = desks.create(SLUG, SET_UP)
    app = create_app(desks, address="http://127.0.0.1")
    client = app.test_client()
    with client.post("/sign-in", data={"passphrase": PASSPHRASE}) as signed_in:
        report.must(signed_in.status_code in (302, 303), f"the sign-in was answered {signed_in.status_code}")
    days: list[Measured] = []
    with serving(app) as port:
        crowd = Crowd(port, _a_key(desks), chance)
        stall, heard, until_s = Stall(desk), 0, time.monotonic() + options.minutes * 60
        for n in range(options.days):
            if time.monotonic() > until_s:
                report.say(f"after {options.minutes:g} minutes no further day is begun")
                break
            codes = [
                card.code for card in desk.cards([one.id for one in desk.standing().booth.open_tickets()]).values()
            ]
            crowd.change(codes)
            a_day(stall, FIRST + timedelta(days=n), options.seed * 1000 + n, options.hours)
            fetch(client, codes, report)
            days.append(measure(desk, bare, folder, f"{n}"))
        heard = crowd.heard()
        for sentence in crowd.wrong():
            report.must(False, sentence)
        report.must(heard > 0, "nobody who watched was sent anything")
        report.say(f"{crowd.count} phones and screens came and went; those of the last day were sent {heard} views")
        crowd.close()
    desks.close()
    bare.close()
    return days


def _a_key(desks: Desks) -> str:
    from portraitq.store import devices

    with desks.store.writing() as connection:
        return devices.add(connection, "soak", desks.clock.now())


if __name__ == "__main__":
    main()

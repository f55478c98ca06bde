"""How fast is it? Each figure beside a floor measured in the same run, and their ratio.

    python3 scripts/start.py makes the environment; then:
    .venv/bin/python scripts/bench.py [quote] [move-effect] [last-orders] [queue] [learn] [tap] [push] [start] [views]
                           [photo] [replay-minute] [daybook] [plan] [season] [backup]

A floor is the least that the job could cost on this machine just now: drawing the same number of random numbers,
committing one bare row, broadcasting the same bytes. Ratios travel between machines, milliseconds do not. Nothing here
is asserted; the tests guard what is computed, not how long it takes. The parts `queue`, `views` and `daybook` need
what comes with the tests' own environment: python3 scripts/test.py makes it.
"""

from __future__ import annotations

import asyncio
import io
import json
import logging
import os
import secrets
import shutil
import sqlite3
import statistics
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Callable, Generator, Sequence
from contextlib import closing
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from functools import partial, reduce
from pathlib import Path
from unittest.mock import patch
from urllib.request import Request, urlopen

HERE = Path(__file__).resolve().parent
sys.path.insert(0, str(HERE.parent))

import numpy as np  # noqa: E402
from PIL import Image, ImageOps  # noqa: E402

from portraitq import kept_days, passphrase  # noqa: E402
from portraitq.clock import Clock  # noqa: E402
from portraitq.core.booth import Booth, fold  # noqa: E402
from portraitq.core.commands import Command, Order, decide  # noqa: E402
from portraitq.core.events import (  # noqa: E402
    ArtistIn,
    Break,
    Collected,
    Data,
    DayClosed,
    DayOpened,
    Event,
    Finished,
    Moved,
    Promised,
    SetUp,
    StageDone,
    Started,
    WalkedAway,
    print_line,
    read_data,
)
from portraitq.darkroom import Darkroom  # noqa: E402
from portraitq.daybook.attendance import attendances  # noqa: E402
from portraitq.demo.faces import face  # noqa: E402
from portraitq.desk import Desk, Desks  # noqa: E402
from portraitq.forecast import quotes  # noqa: E402
from portraitq.forecast.draws import SCENARIOS  # noqa: E402
from portraitq.forecast.pace import Pace, pace_of  # noqa: E402
from portraitq.forecast.past import day_once_more  # noqa: E402
from portraitq.forecast.quotes import forecast  # noqa: E402
from portraitq.forecast.sequence import Orders, effects_of_moves, suggest  # noqa: E402
from portraitq.photo.intake import LONGEST_PX, QUALITY, SMALL_PX, SMALL_QUALITY, take_in  # noqa: E402
from portraitq.photo.views import made  # noqa: E402
from portraitq.photo.views import names as view_names  # noqa: E402
from portraitq.store import cards, closed_days, devices, journal, photos  # noqa: E402
from portraitq.store.backup import remove  # noqa: E402
from portraitq.store.backup import write as write_backup  # noqa: E402
from portraitq.store.cards import Card  # noqa: E402
from portraitq.store.store import FILE_NAME, open_store  # noqa: E402
from portraitq.web.app import create_app  # noqa: E402
from portraitq.web.charts import Chart  # noqa: E402
from portraitq.web.made_once import view_of  # noqa: E402

OPENED_AT = datetime(2026, 6, 6, 9, 0, tzinfo=UTC)
STAGES = (("outline", 100, True), ("likeness", 380, True), ("finish", 110, False))


def a_set_up(artists: int) -> SetUp:
    stages = [
        {"id": id, "name": id.capitalize(), "quick_s": s * 0.6, "usual_s": s, "slow_s": s * 1.7, "per_sitter": per}
        for id, s, per in STAGES
    ]
    data = {
        "booth": {
            "name": "Quayside Portraits",
            "zone": "Europe/Lisbon",
            "currency": "EUR",
            "confidence": 0.85,
            "round_to_s": 300,
        },
        "styles": [{"id": "ink-head", "name": "Ink head study", "price": 1800, "stages": stages}],
        "artists": [{"id": f"a{n}", "name": f"Easel {n}", "styles": ["ink-head"]} for n in range(1, artists + 1)],
        "turnaround": {"quick_s": 40, "usual_s": 70, "slow_s": 150},
    }
    found = read_data("set_up", data)
    assert isinstance(found, SetUp)
    return found


class Teller:
    """Tells a journal command by command, at given times."""

    def __init__(self) -> None:
        self.booth, self.events, self.count = Booth(), list[Event](), 0

    def say(self, data: Data, at: datetime) -> None:
        self.count += 1
        new = decide(self.booth, Command(f"b{self.count}", data), at)
        self.events += new
        self.booth = fold(self.booth, new)


def a_morning(artists: int, waiting: int, breaks: tuple[Break, ...] = ()) -> Teller:
    """An open booth with every easel busy and `waiting` tickets in the queue."""
    told = Teller()
    told.say(a_set_up(artists), OPENED_AT - timedelta(hours=1))
    told.say(DayOpened(day="2026-06-06", closes_at=OPENED_AT + timedelta(hours=9), breaks=breaks), OPENED_AT)
    for n in range(1, artists + 1):
        told.say(ArtistIn(artist=f"a{n}"), OPENED_AT)
    for _ in range(artists + waiting):
        told.say(Order(style="ink-head", sitters=1), OPENED_AT + timedelta(minutes=5))
    for n in range(1, artists + 1):
        told.say(Started(ticket=f"T{n}", artist=f"a{n}"), OPENED_AT + timedelta(minutes=6))
        told.say(StageDone(ticket=f"T{n}", stage="outline"), OPENED_AT + timedelta(minutes=8))
    return told


def many_days(tickets: int, a_day: int = 200) -> list[Event]:
    """A journal of that many finished and collected tickets, built day by day."""
    events, ticket, seq, count = list[Event](), 0, 0, 0
    at = OPENED_AT - timedelta(hours=1)

    def say(*all_data: Data) -> None:
        nonlocal seq, count
        count += 1
        for data in all_data:
            seq += 1
            events.append(Event(seq, f"b{count}", at, "counter", data))

    say(a_set_up(1))
    for day in range(-(-tickets // a_day)):
        at = OPENED_AT + timedelta(days=day)
        say(DayOpened(day=at.date().isoformat(), closes_at=at + timedelta(hours=20), breaks=()))
        say(ArtistIn(artist="a1"))
        for number in range(1, min(a_day, tickets - ticket) + 1):
            ticket += 1
            id = f"T{ticket}"
            say(
                read_data(
                    "ordered",
                    {"ticket": id, "number": number, "style": "ink-head", "sitters": 1, "artist": None, "price": 1800},
                ),
                read_data("promised", {"ticket": id, "ready_by": "2026-06-06T12:00:00.000Z", "confidence": 0.85}),
            )
            say(Started(ticket=id, artist="a1"))
            for stage, usual_s, _ in STAGES:
                at += timedelta(seconds=usual_s / 3 + ticket * 7919 % 40)
                say(StageDone(ticket=id, stage=stage))
            say(Finished(ticket=id, rack=None))
            say(read_data("paid", {"ticket": id, "amount": 1800, "how": "cash"}))
            say(Collected(ticket=id))
        say(DayClosed())
    return events


def median_ms(work: Callable[[], object], times: int, clock: Callable[[], float] = time.perf_counter) -> float:
    took = []
    for _ in range(times):
        began = clock()
        work()
        took.append((clock() - began) * 1000)
    return statistics.median(took)


def line(what: str, ours_ms: float, floor: str, floor_ms: float) -> None:
    print(f"{what:<58} {ours_ms:9.3f} ms   {floor:<46} {floor_ms:9.3f} ms   {ours_ms / floor_ms:7.1f} ×", flush=True)


# The parts


def least_ms(works: Sequence[Callable[[], object]], seconds: float = 3.0) -> list[float]:
    """The least that each took, in turns so that all meet the same machine; what is above it is others' work."""
    least, until = [float("inf")] * len(works), time.perf_counter() + seconds
    while time.perf_counter() < until:
        for which, work in enumerate(works):
            began = time.perf_counter()
            work()
            least[which] = min(least[which], (time.perf_counter() - began) * 1000)
    return least


EASELS = 3
NORMALS_A_TICKET = 2 + len(STAGES)  # the sketch's own effect, its turnaround, each stage; pauses are not counted


def a_requote(tickets: int, breaks: tuple[Break, ...] = ()) -> Callable[[], object]:
    """A re-quote of that many tickets on three easels, as at every tap."""
    told = a_morning(EASELS, tickets - EASELS, breaks)
    now, pace = OPENED_AT + timedelta(minutes=12), pace_of(told.booth)
    return lambda: forecast(told.booth, pace, now)


def half_an_hour(artist: int) -> Break:
    """A break in the middle of the queue, one artist after the other."""
    begins_at = OPENED_AT + timedelta(hours=1 + artist / 2)
    return Break(artist=f"a{artist}", begins_at=begins_at, ends_at=begins_at + timedelta(minutes=30))


def drawing(tickets: int) -> Callable[[], object]:
    """Numpy draws as many normals as the re-quote of that many tickets looks at, and does nothing with them."""
    drawn = tickets * NORMALS_A_TICKET * SCENARIOS
    return lambda: np.random.Generator(np.random.SFC64(1)).standard_normal(drawn, dtype=np.float32)


def quote() -> None:
    """Re-quotes of 15 to 240 tickets on 3 easels, against drawing as many normals as they look at."""
    for tickets in (15, 30, 60, 120, 240):
        ours, floor = least_ms([a_requote(tickets), drawing(tickets)])
        normals = f"{tickets * NORMALS_A_TICKET * SCENARIOS:,} normals, SFC64 float32"
        line(f"re-quote of {tickets} tickets on {EASELS} easels, {ours / tickets:.3f} ms each", ours, normals, floor)
    breaks = tuple(half_an_hour(artist) for artist in range(1, EASELS + 1))
    ours, floor = least_ms([a_requote(60, breaks), drawing(60)])
    normals = f"{60 * NORMALS_A_TICKET * SCENARIOS:,} normals, SFC64 float32"
    line("re-quote of 60 tickets, a break ahead at each easel", ours, normals, floor)


def last_orders() -> None:
    """Re-quotes of a booth of four styles on an afternoon, against the same without asking for last orders."""
    set_up = a_set_up(EASELS)
    [one] = set_up.styles
    four = tuple(one.model_copy(update={"id": f"style-{n}", "name": f"Style {n}"}) for n in range(4))
    names = tuple(style.id for style in four)
    artists = tuple(artist.model_copy(update={"styles": names}) for artist in set_up.artists)
    set_up = set_up.model_copy(update={"styles": four, "artists": artists})
    for tickets in (4, 15, 60):
        told = Teller()
        told.say(set_up, OPENED_AT - timedelta(hours=1))
        told.say(DayOpened(day="2026-06-06", closes_at=OPENED_AT + timedelta(hours=9), breaks=()), OPENED_AT)
        for artist in artists:
            told.say(ArtistIn(artist=artist.id), OPENED_AT)
        for n in range(tickets):
            told.say(Order(style=names[n % 4], sitters=1), OPENED_AT + timedelta(hours=3))
        booth, pace, now = told.booth, pace_of(told.booth), OPENED_AT + timedelta(hours=3, minutes=1)

        def with_them(booth: Booth = booth, pace: Pace = pace, now: datetime = now) -> object:
            return forecast(booth, pace, now)

        def without(ask: Callable[[], object] = with_them) -> object:
            with patch.object(quotes, "last_order", lambda *_: None):
                return ask()

        ours, floor = least_ms([with_them, without])
        line(f"re-quote of {tickets} tickets, last orders of four styles", ours, "the same without last orders", floor)


def move_effect() -> None:
    """What moves in a queue of 30 or 60 would do, and a better order sought, against one re-quote of the same booth."""
    for waiting in (30, 60):
        told = a_morning(EASELS, waiting)
        now, pace = OPENED_AT + timedelta(minutes=12), pace_of(told.booth)
        quotes = forecast(told.booth, pace, now).tickets
        for place, id in enumerate(told.booth.queue):  # promises neither in the order of the queue nor all to be kept
            ready_by = quotes[id].promise_at + timedelta(minutes=place * 17 % 50 - 25)
            told.say(Promised(ticket=id, ready_by=max(ready_by, now), confidence=0.85), now)
        booth, orders = told.booth, Orders(told.booth, pace, now)
        halfway, last = booth.queue[waiting // 2], booth.queue[-1]
        one = partial(orders.of_moves, [Moved(ticket=last, before=halfway)])
        every = partial(effects_of_moves, booth, pace, now, last)
        better = partial(suggest, booth, pace, now, 2)
        *took, floor = least_ms([one, every, better, partial(forecast, booth, pace, now)])
        each_ms = took[1] / (waiting - 1)
        says = ("one move", f"all moves of one ticket, {each_ms:.1f} ms each", "a better order")
        for what, ours in zip(says, took, strict=True):
            line(f"{what}, {waiting} waiting, {EASELS} easels", ours, "a re-quote of the same booth", floor)


def queue() -> None:
    """The re-quote of 60 tickets on 3 easels, against simpy doing the same queue scenario by scenario."""
    try:
        import simpy
    except ImportError:
        print("queue: simpy is not here (`python3 scripts/test.py` makes an environment that has it); left out")
        return
    few, tickets = 50, 60
    chance = np.random.Generator(np.random.SFC64(1))
    mu, sigma = np.log([usual_s for _, usual_s, _ in STAGES]), 0.4
    stages = np.exp(mu + sigma * chance.standard_normal((few, tickets, len(STAGES)))).tolist()
    turnarounds = np.exp(np.log(70) + 0.5 * chance.standard_normal((few, tickets))).tolist()

    def scenario(stages_s: list[list[float]], turnarounds_s: list[float]) -> list[float]:
        world, ready_s = simpy.Environment(), [0.0] * tickets
        easels = simpy.Resource(world, capacity=EASELS)

        def portrait(k: int) -> Generator[simpy.Event, object, None]:
            with easels.request() as easel:
                yield easel
                for stage_s in stages_s[k]:  # one by one, for it is between two of them that a break would begin
                    yield world.timeout(stage_s)
                ready_s[k] = world.now
                yield world.timeout(turnarounds_s[k])

        for k in range(tickets):
            world.process(portrait(k))
        world.run()
        return ready_s

    def theirs() -> None:  # times are drawn beforehand and nothing is made of the result: simpy's events alone
        for stages_s, turnarounds_s in zip(stages, turnarounds, strict=True):
            scenario(stages_s, turnarounds_s)

    ours, measured = least_ms([a_requote(tickets), theirs], 6)
    line(
        f"simpy, {SCENARIOS} scenarios ({few} measured, × {SCENARIOS // few})",
        measured * SCENARIOS / few,
        f"our re-quote of {tickets} tickets on {EASELS} easels",
        ours,
    )


def learn() -> None:
    """One more line, and one more finished portrait, in seasons of 400, 4 000 and 20 000 portraits."""
    at_first: list[float] = []
    for tickets in (400, 4_000, 20_000):
        events = many_days(tickets)
        last = max(place for place, event in enumerate(events) if isinstance(event.data, Finished))
        before = fold(Booth(), events[: last - 2000])

        def one_by_one(booth: Booth = before, lines: list[Event] = events[last - 2000 : last]) -> Booth:
            return reduce(lambda booth, line: fold(booth, [line]), lines, booth)

        booth = one_by_one()
        pace, after = pace_of(booth), fold(booth, events[last : last + 1])
        folding, learning = least_ms([one_by_one, partial(pace_of, after, previous=pace)])
        found = [folding / 2000, learning]
        at_first = at_first or found
        said = f"in a season of {tickets:,} portraits"
        for what, ours, first in zip(("a line folded in", "a portrait learned from"), found, at_first, strict=True):
            line(f"{what}, {said}", ours, "the same in a season of 400", first)


def tap() -> None:
    """A command to its acknowledgement, against one bare commit in the same kind of file."""
    with tempfile.TemporaryDirectory() as folder:
        store = open_store(Path(folder) / "ours")
        with store.writing() as connection:
            journal.append(connection, "quayside", a_morning(artists=3, waiting=57).events)
        desks = Desks(store, Clock(start_at=OPENED_AT + timedelta(minutes=20)))
        desk, count = desks.at("quayside"), 0
        text = "x" * 200
        bare = sqlite3.connect(Path(folder) / "bare.sqlite3", isolation_level=None)
        bare.execute("PRAGMA journal_mode=WAL")
        bare.execute("PRAGMA synchronous=FULL")
        bare.execute("CREATE TABLE lines (seq INTEGER PRIMARY KEY, line TEXT)")

        def ours() -> None:
            nonlocal count
            count += 1
            desk.carry_out(Command(f"tap-{count}", WalkedAway(style=None, sitters=1, ready_by=None)))

        def floor() -> None:
            bare.execute("BEGIN IMMEDIATE")
            bare.execute("INSERT INTO lines (line) VALUES (?)", (text,))
            bare.execute("COMMIT")

        quiet = []
        for _ in range(100):  # one tap at a time, as hands do: the re-quote of the last one is over
            began = time.perf_counter()
            ours()
            quiet.append((time.perf_counter() - began) * 1000)
            desk.standing(wait_s=2)
        floor_ms = median_ms(floor, 200)
        line(
            "command to acknowledgement, 60 tickets waiting",
            statistics.median(quiet),
            "one bare commit, WAL, FULL",
            floor_ms,
        )
        line(
            "the same while re-quotes run without a rest", median_ms(ours, 100), "one bare commit, WAL, FULL", floor_ms
        )
        desks.close()


def a_phone_s_photo() -> bytes:
    """A rendered portrait of 12 megapixels with a camera's noise, held upright: a JPEG that lies on its side."""
    rows = np.asarray(face(3).resize((3024, 4032), Image.Resampling.BICUBIC).rotate(90, expand=True)).astype(np.int16)
    noise = np.random.default_rng(1).normal(0, 4, (*rows.shape[:2], 1)).astype(np.int16)
    exif, out = Image.Exif(), io.BytesIO()
    exif[0x0112] = 6
    Image.fromarray(np.clip(rows + noise, 0, 255).astype(np.uint8)).save(out, "JPEG", quality=92, exif=exif)
    return out.getvalue()


def photo() -> None:
    """Intake of a phone's JPEG of 12 megapixels, here and by way of the darkroom, against Pillow's plain path.

    The plain path makes the same two pictures: decode, `ImageOps.exif_transpose`, Lanczos to 2400 px, encode; Lanczos
    of that to 480 px, encode; at the same qualities. It knows no colour profile, no limits and no other kind of file.
    """
    sent = a_phone_s_photo()

    def plain() -> tuple[bytes, bytes]:
        upright = ImageOps.exif_transpose(Image.open(io.BytesIO(sent)))
        scale = LONGEST_PX / max(upright.size)
        large = upright.resize((round(upright.width * scale), round(upright.height * scale)), Image.Resampling.LANCZOS)
        scale = SMALL_PX / max(large.size)
        small = large.resize((round(large.width * scale), round(large.height * scale)), Image.Resampling.LANCZOS)
        kept, thumb = io.BytesIO(), io.BytesIO()
        large.save(kept, "JPEG", quality=QUALITY)
        small.save(thumb, "JPEG", quality=SMALL_QUALITY)
        return kept.getvalue(), thumb.getvalue()

    room = Darkroom()
    room.develop(sent)  # the worker is there, as it is in a service a second after its start
    ours_ms, apart_ms, floor_ms = least_ms([lambda: take_in(sent), lambda: room.develop(sent), plain], 12)
    room.close()
    said = f"JPEG of 12 megapixels, {len(sent) / 1e6:.1f} MB"
    floor = "Pillow: decode, transpose, Lanczos, encode"
    line(f"intake of a {said}", ours_ms, floor, floor_ms)
    line("the same in the process of its own", apart_ms, floor, floor_ms)


def views() -> None:
    """A view to draw from, made and then kept, of a photo of the largest size that is kept."""
    out = io.BytesIO()
    face(9, size_px=(1800, 2400)).save(out, "JPEG", quality=90)
    photo = take_in(out.getvalue())

    def plain() -> bytes:
        encoded = io.BytesIO()
        Image.open(io.BytesIO(photo.jpeg)).convert("L").save(encoded, "JPEG", quality=90)
        return encoded.getvalue()

    names = view_names(())
    *took, floor_ms = least_ms([*(partial(made, name, photo.jpeg) for name in names), plain])
    for name, ours_ms in zip(names, took, strict=True):
        line(f"{name} of a photo of 1800 × 2400 made", ours_ms, "Pillow alone: decode, luma, encode", floor_ms)
    with tempfile.TemporaryDirectory() as folder:
        store = open_store(folder)
        with store.writing() as connection:
            id = photos.add(connection, "quayside", "T1", photo)
        kept = view_of(store, "quayside", id, "grey")
        bare = sqlite3.connect(":memory:")
        bare.execute("CREATE TABLE pictures (content BLOB)")
        bare.execute("INSERT INTO pictures VALUES (?)", (kept,))
        ask = partial(view_of, store, "quayside", id, "grey")
        ours_ms, floor_ms = least_ms([ask, lambda: bare.execute("SELECT content FROM pictures").fetchone()], 1.0)
        line(
            f"grey when it is kept ({len(kept) / 1024:.0f} KB)",
            ours_ms,
            "one row of as many bytes, in memory",
            floor_ms,
        )
        store.close()
    switch()


RECORDER = """() => {
    let began = 0;
    window.tookMs = [];
    const after = new MessageChannel();
    after.port1.onmessage = () => window.tookMs.push(performance.now() - began);
    const seen = (before) => {
        if (window.shownNow() === before) requestAnimationFrame(() => seen(before));
        else requestAnimationFrame(() => requestAnimationFrame(() => after.port2.postMessage(0))); // drawn by then
    };
    addEventListener("keydown", (event) => { began = event.timeStamp; seen(window.shownNow()); }, true);
}"""
BARE_SWAP = """(addresses) => {
    const how = { decoding: "sync", width: 500, height: 667 };
    const pictures = addresses.map((src) => Object.assign(new Image(), { src, ...how }));
    document.body.replaceChildren(pictures[0]);
    window.shownNow = () => document.body.firstChild.src;
    addEventListener("keydown", () => document.body.replaceChildren(pictures.find((one) => !one.isConnected)));
    return Promise.all(pictures.map((one) => one.decode()));
}"""
SHOWN = "() => { window.shownNow = () => document.querySelector('.sketch:not([hidden]) .frame img').src; }"
SWITCHES = 40


def switch() -> None:
    """From a key to another view on the easel, in Chromium, beside a bare swap of two pictures as large."""
    try:
        from playwright.sync_api import Page

        from tests.chromium import launched
    except ImportError:
        print("views: Playwright is not here (it comes with the tests' environment); the switch is left out")
        return
    from tests.web.conftest import PASSPHRASE, make_web, serving

    logging.getLogger("werkzeug").setLevel(logging.WARNING)

    def took_ms(page: Page, keys: str) -> list[float]:
        page.evaluate(RECORDER)
        for count in range(SWITCHES):
            page.keyboard.press(keys[count % len(keys)])
            page.wait_for_timeout(120)
        return sorted(page.evaluate("window.tookMs"))

    out = io.BytesIO()
    face(9, size_px=(1800, 2400)).save(out, "JPEG", quality=90)
    with tempfile.TemporaryDirectory() as folder, launched() as chromium:
        web = make_web(Path(folder))
        ticket = web.order()
        web.do("started", ticket=ticket, artist="a1")
        id = web.desk.add_photo(ticket, take_in(out.getvalue()))
        web.desk.standing(wait_s=10)
        with serving(web) as address:
            page = chromium.new_page(viewport={"width": 820, "height": 1180})
            page.goto(f"{address}/sign-in?next=/quay/easel/a1")
            page.fill("[name=passphrase]", PASSPHRASE)
            with page.expect_response(lambda answer: f"{id}/colours" in answer.url):  # the last that is fetched ahead
                page.press("[name=passphrase]", "Enter")
            page.wait_for_timeout(500)
            page.evaluate(SHOWN)
            ours = took_ms(page, "g3571")
            bare = chromium.new_page(viewport={"width": 820, "height": 1180})
            bare.goto(f"{address}/healthz")
            bare.context.add_cookies(page.context.cookies())
            bare.evaluate(BARE_SWAP, [f"/quay/photos/{id}", f"/quay/photos/{id}/views/grey"])
            floor = took_ms(bare, "g")
        web.desks.close()
    for what, at in (("median", SWITCHES // 2), ("slowest but one", SWITCHES - 2)):
        line(f"another view of 1800 × 2400 on the easel, {what}", ours[at], "bare swap of two such pictures", floor[at])


def start() -> None:
    """Opening an empty store and one of 20 000 tickets, against reading the same lines bare."""
    with tempfile.TemporaryDirectory() as folder:
        empty = Path(folder) / "empty"
        interpreter = median_ms(lambda: subprocess.run([sys.executable, "-c", ""], check=True), 5)
        program = (
            "import sys; from portraitq.desk import Desks; from portraitq.store.store import open_store; "
            "Desks(open_store(sys.argv[1])).close()"
        )

        def opened(where: Path) -> None:
            subprocess.run([sys.executable, "-c", program, str(where)], check=True, cwd=HERE.parent)

        line(
            "start-up with an empty store", median_ms(lambda: opened(empty), 3), "python starts and stops", interpreter
        )
        full = Path(folder) / "full"
        events = many_days(20_000)
        store = open_store(full)
        with store.writing() as connection:
            journal.append(connection, "quayside", events)
        store.close()

        def bare() -> None:
            with sqlite3.connect(next(full.glob("*.sqlite3"))) as raw:
                for (text,) in raw.execute("SELECT line FROM journal ORDER BY seq"):
                    json.loads(text)

        line(
            f"start-up with 20 000 tickets ({len(events):,} lines)",
            median_ms(lambda: opened(full), 2),
            "reading these lines and their JSON",
            median_ms(bare, 2) + interpreter,
        )


BENCH_PASSPHRASE = "harbour-lantern-chalk"
PHONES = 200
BARE = """
import os
from flask import Flask
from flask_socketio import SocketIO, join_room
app = Flask(__name__)
io = SocketIO(app, async_mode="threading")
@io.on("connect", namespace="/live")
def connected(auth=None):
    join_room("all")
@app.post("/tap")
def tap():
    io.emit("view", {"seq": 1, "html": "x" * int(os.environ["SIZE"]), "as_of": ""}, to="all", namespace="/live")
    return "done"
"""


class Phone:
    """The lightest client that stays connected: it notes when an event came, and answers pings."""

    def __init__(self, port: int, auth: dict[str, object]) -> None:
        self.port, self.auth, self.came_s, self.events = port, auth, 0.0, 0
        self.greeted = asyncio.Event()

    async def live(self) -> None:
        self.reader, self.writer = await asyncio.open_connection("127.0.0.1", self.port, limit=2**20)
        self.writer.write(
            "GET /socket.io/?EIO=4&transport=websocket HTTP/1.1\r\n"
            f"Host: 127.0.0.1:{self.port}\r\nUpgrade: websocket\r\nConnection: Upgrade\r\n"
            "Sec-WebSocket-Key: dGhlIHNhbXBsZSBub25jZQ==\r\nSec-WebSocket-Version: 13\r\n\r\n".encode()
        )
        await self.reader.readuntil(b"\r\n\r\n")
        while True:
            head = await self.reader.readexactly(2)
            size = head[1] & 127
            if size > 125:
                size = int.from_bytes(await self.reader.readexactly(2 if size == 126 else 8), "big")
            said = await self.reader.readexactly(size)
            self._answer(said)

    def _answer(self, said: bytes) -> None:
        if said.startswith(b"0{"):
            self._send(b"40/live," + json.dumps(self.auth).encode())
        elif said == b"2":
            self._send(b"3")
        elif said.startswith(b"40/live"):
            self.greeted.set()
        elif said.startswith(b"44"):
            raise SystemExit(f"a phone was refused: {said.decode()}")
        elif said.startswith(b"42/live"):
            self.came_s, self.events = time.perf_counter(), self.events + 1

    def _send(self, text: bytes) -> None:
        size = bytes([0x80 | len(text)]) if len(text) < 126 else b"\xfe" + len(text).to_bytes(2, "big")
        self.writer.write(b"\x81" + size + b"\0\0\0\0" + text)  # a mask of zeros leaves the text as it is


async def _to_the_last(
    port: int, auths: list[dict[str, object]], taps: Callable[[int], object], times: int
) -> tuple[float, float]:
    """(median ms from a tap's sending to its arrival on the last phone, and to its acknowledgement)."""
    phones = [Phone(port, auth) for auth in auths]
    lives = [asyncio.create_task(phone.live()) for phone in phones]
    await asyncio.wait_for(asyncio.gather(*(phone.greeted.wait() for phone in phones)), 60)
    await asyncio.sleep(3)
    arrived, answered = [], []
    for count in range(times):
        before = [phone.events for phone in phones]
        began = time.perf_counter()
        await asyncio.to_thread(taps, count)
        answered.append((time.perf_counter() - began) * 1000)
        for _ in range(400):
            if all(phone.events > was for phone, was in zip(phones, before, strict=True)):
                arrived.append((max(phone.came_s for phone in phones) - began) * 1000)
                break
            await asyncio.sleep(0.01)
        else:
            raise SystemExit("a tap did not reach every phone within 4 s")
        await asyncio.sleep(0.4)
    for life in lives:
        life.cancel()
    return statistics.median(arrived), statistics.median(answered)


def _post(address: str, body: object, key: str = "") -> bytes:
    headers = {"Content-Type": "application/json", "Authorization": f"Bearer {key}"}
    with urlopen(Request(address, json.dumps(body).encode(), headers), timeout=30) as answer:
        found: bytes = answer.read()
    return found


def _await(port: int, path: str) -> None:
    for _ in range(200):
        try:
            urlopen(f"http://127.0.0.1:{port}{path}", timeout=1).read()
            return
        except OSError as wrong:
            if getattr(wrong, "code", None):
                return
            time.sleep(0.1)
    raise SystemExit("the server did not start")


def push() -> None:
    """A tap to the last of 200 phones, against a bare broadcast of as many bytes by the same kind of server."""
    gunicorn = shutil.which("gunicorn", path=str(Path(sys.executable).parent))
    if gunicorn is None:
        print("push: gunicorn is not here (it does not run on Windows); left out")
        return
    port, bare_port = 18_751, 18_752
    with tempfile.TemporaryDirectory() as folder:
        store = open_store(Path(folder) / "data")
        with store.writing() as connection:
            journal.append(connection, "quayside", a_morning(artists=3, waiting=12).events)
            key = devices.add(connection, "bench", OPENED_AT)
        store.close()
        (Path(folder) / "bare.py").write_text(BARE)
        serve = [sys.executable, "-m", "portraitq", "serve", "--host", "127.0.0.1", "--port", str(port)]
        bare = [gunicorn, "-k", "gthread", "--threads", "1000", "-b", f"127.0.0.1:{bare_port}", "bare:app"]
        quiet = {"stdout": subprocess.DEVNULL, "stderr": subprocess.DEVNULL}
        ours = subprocess.Popen([*serve, "--data", str(Path(folder) / "data")], cwd=HERE.parent, **quiet)  # type: ignore[call-overload]
        try:
            _await(port, "/healthz")
            wall = json.loads(urlopen(f"http://127.0.0.1:{port}/api/v1/booths/quayside/wall", timeout=5).read())
            api = f"http://127.0.0.1:{port}/api/v1/booths/quayside/commands"

            def tap_ours(count: int) -> None:  # done and taken back: the wall says another stage each time
                kind = "stage_done" if count % 2 == 0 else "stage_undone"
                data = {"ticket": "T1", "stage": "likeness"}
                _post(api, {"id": f"push-{count}", "kind": kind, "data": data}, key)

            auths: list[dict[str, object]] = [{"view": "wall", "booth": "quayside"}] * PHONES
            ours_ms, ack_ms = asyncio.run(_to_the_last(port, auths, tap_ours, 20))
            size = len(urlopen(f"http://127.0.0.1:{port}/quayside/wall?fragment=1", timeout=5).read())
        finally:
            ours.terminate()
            ours.wait(10)
        floor = subprocess.Popen([*bare], cwd=folder, env={"PATH": "/usr/bin:/bin", "SIZE": str(size)}, **quiet)  # type: ignore[call-overload]
        try:
            _await(bare_port, "/")
            floor_ms, bare_ack_ms = asyncio.run(
                _to_the_last(bare_port, [{}] * PHONES, lambda _: _post(f"http://127.0.0.1:{bare_port}/tap", {}), 20)
            )
        finally:
            floor.terminate()
            floor.wait(10)
        assert wall
        line(
            f"tap to the last of {PHONES} phones ({size / 1024:.1f} KB)",
            ours_ms,
            "bare broadcast of as many bytes",
            floor_ms,
        )
        line("that tap's acknowledgement", ack_ms, "bare request that broadcasts", bare_ack_ms)


def replay_minute() -> None:
    """The day once more: a move of its slider, against one re-quote of that queue; and the season read before it."""
    told, at_once = a_morning(EASELS, 60 - EASELS), 60
    with tempfile.TemporaryDirectory() as folder:
        store = open_store(folder)
        with store.writing() as connection:
            journal.append(connection, "quayside", told.events)
        passphrase.set_passphrase(store, BENCH_PASSPHRASE)
        desks = Desks(store, Clock(start_at=OPENED_AT + timedelta(hours=4)))
        client = create_app(desks, address="http://192.168.4.1:8750").test_client()
        client.post("/sign-in", data={"passphrase": BENCH_PASSPHRASE})
        address, asked = "/quayside/daybook/replay?fragment=1&minute=", iter(range(12, 12 + at_once))

        def moved() -> None:
            if client.get(f"{address}{next(asked)}").status_code != 200:
                raise SystemExit("a minute of the day was not shown")

        while client.get(f"{address}0").status_code == 202:
            time.sleep(0.1)  # the record is being read
        known = fold(Booth(), told.events)
        requote = partial(forecast, known, pace_of(known), OPENED_AT + timedelta(minutes=40))
        ours_ms, floor_ms = median_ms(moved, at_once), median_ms(requote, at_once)
        line("a minute of the day once more, 60 tickets in hand", ours_ms, "one re-quote of these 60", floor_ms)
        desks.close()
    events = many_days(20_000, a_day=100)
    day = next(event.data.day for event in reversed(events) if isinstance(event.data, DayOpened))
    line(
        f"the last day of a season of 20,000 portraits read ({len(events):,} lines)",
        median_ms(lambda: day_once_more(events, day), 2),
        "these lines folded",
        median_ms(lambda: fold(Booth(), events), 2),
    )


def daybook() -> None:
    """The page of a day, beside that of a day without a ticket and drawing the same charts; in this thread's time."""
    from portraitq.daybook import plots
    from portraitq.web import daybook_view
    from tests.web.conftest import make_web

    drawn: list[plots.Plot] = []
    shown = daybook_view.chart

    def noted(plot: plots.Plot) -> Chart:
        drawn.append(plot)
        return shown(plot)

    def charts() -> None:
        plots._drawn.cache_clear()
        for plot in drawn:
            plots.svg(plot)

    with tempfile.TemporaryDirectory() as folder:
        web = make_web(Path(folder))
        web.sign_in()

        def opened(slug: str) -> int:
            plots._drawn.cache_clear()
            return len(web.client.get(f"/{slug}/daybook").data)

        web.desks.import_journal("empty", map(print_line, many_days(1)[:3]))  # set up, opened, an artist in
        opened("empty")
        empty_ms = median_ms(partial(opened, "empty"), 9, time.thread_time)
        for slug, n, a_day in (("one-day", 1_000, 1_000), ("five-days", 1_000, 200), ("season", 20_000, 200)):
            web.desks.import_journal(slug, map(print_line, many_days(n, a_day)))
            first_ms = median_ms(partial(opened, slug), 1, time.thread_time)
            daybook_view.chart, drawn[:] = noted, []
            opened(slug)
            daybook_view.chart = shown
            ours_ms, charts_ms = (median_ms(work, 9, time.thread_time) for work in (partial(opened, slug), charts))
            what = f"day of {a_day} tickets of {n:,} (the first time {first_ms:,.0f} ms)"
            line(what, ours_ms, f"day without any {empty_ms:.0f} ms, and its {len(drawn)} charts", empty_ms + charts_ms)
        web.app.extensions["portraitq-live"].close()
        web.desks.close()


def plan() -> None:
    """1,000 planned days of 8 hours on 2 easels, quotes told, against simpy's bare queue of such days."""
    import random

    try:
        import simpy
    except ImportError:
        print("simpy is not in this environment; python3 scripts/test.py makes one that has it", file=sys.stderr)
        return
    from portraitq.forecast.arrivals import typed
    from portraitq.forecast.patience import patience_of
    from portraitq.forecast.plan import Plan, simulate
    from portraitq.forecast.wishes import wishes_of

    booth = a_morning(2, 0).booth
    hours, an_hour, asks = 8, 5.0, typed([5.0] * 8, 8 * 3600.0)
    planned = Plan(540, hours * 3600.0, asks, wishes_of(booth), patience_of(booth), ("a1", "a2"), ("ink-head",), 0.85)
    pace = pace_of(booth)

    def one_day(chance: random.Random) -> None:
        world = simpy.Environment()
        easels = simpy.Resource(world, capacity=2)

        def portrait() -> Generator[object, object, None]:
            with easels.request() as turn:
                yield turn
                for _, usual_s, _ in STAGES:
                    yield world.timeout(usual_s * chance.lognormvariate(0.0, 0.4))
                yield world.timeout(70 * chance.lognormvariate(0.0, 0.5))

        def people() -> Generator[object, object, None]:
            while world.now < hours * 3600:
                world.process(portrait())
                yield world.timeout(chance.expovariate(an_hour / 3600))

        world.process(people())
        world.run()

    ours_ms = median_ms(lambda: simulate(booth, pace, planned, 1000, 1), 3)
    floor_ms = 20 * median_ms(lambda: [one_day(random.Random(seed)) for seed in range(50)], 3)
    line("1,000 planned days", ours_ms, "simpy, 50 such days x 20, nobody told a time", floor_ms)


def season() -> None:
    """The figures of 200 days of 20 portraits, reckoned and out of kept days, against reading that JSON alone."""
    events = many_days(4_000, a_day=20)
    booth, now, here = fold(Booth(), events), events[-1].at + timedelta(days=2), attendances(events)
    with tempfile.TemporaryDirectory() as folder:
        store = open_store(Path(folder))
        with store.writing() as connection:
            journal.append(connection, "quayside", events)

        def looked() -> object:
            return kept_days.summaries(store, "quayside", booth, "0001", "9999", lambda: here, now)

        began = time.perf_counter()
        looked()
        cold_ms = (time.perf_counter() - began) * 1000

        def floor() -> list[object]:
            with store.reading() as connection:
                rows = closed_days.kept(connection, "quayside", kept_days.VERSION, "0001", "9999")
            return [json.loads(row.summary) for row in rows]

        warm_ms, floor_ms = least_ms([looked, floor])
        n = len(floor())
        store.close()
    line("a season of 200 days, reckoned once", cold_ms, "the same out of kept days", warm_ms)
    line(f"a season of 200 days, {n} of them kept", warm_ms, "the kept JSON read, and no more", floor_ms)


TIMES_BACKED_UP = 8


def backup() -> None:
    """A back-up of 200 photos while the booth trades, against a bare copy of the file; the longest tap meanwhile."""
    chance = np.random.default_rng(1)
    with tempfile.TemporaryDirectory(dir=HERE.parent) as folder:  # a folder for temporary files may be in memory
        where = Path(folder)
        store = open_store(where)
        with store.writing() as connection:
            journal.append(connection, "quayside", a_morning(artists=3, waiting=57).events)
            for n in range(1, 61):
                cards.put(connection, "quayside", f"T{n}", Card(f"CODE{n}", name="Ana"))
            for n in range(200):
                photo = Noise(chance.bytes(350_000), chance.bytes(9_000))
                photos.add(connection, "quayside", f"T{n % 60 + 1}", photo)
        store.scrub()
        desks = Desks(store, Clock(start_at=OPENED_AT + timedelta(minutes=20)))
        desk, file, copy = desks.at("quayside"), where / FILE_NAME, where / "copy"
        size_mb = file.stat().st_size / 1e6

        def bare_copy() -> None:
            shutil.copyfile(file, copy)
            with copy.open("rb+") as written:
                os.fsync(written.fileno())

        def bare_pages() -> None:
            remove(copy)
            with closing(sqlite3.connect(file)) as ours, closing(sqlite3.connect(copy)) as theirs:
                ours.execute("BEGIN")
                ours.execute("SELECT count(*) FROM cards").fetchone()
                ours.backup(theirs, pages=256)

        def bare_vacuum() -> None:
            remove(copy)
            with closing(sqlite3.connect(file, isolation_level=None)) as ours:
                ours.execute("VACUUM INTO ?", (str(copy),))
            with copy.open("rb+") as written:
                os.fsync(written.fileno())

        ways = {
            "ours": partial(write_backup, file, where / "ours.sqlite3", replace=True),
            "a bare copy of the file, put on disk": bare_copy,
            "SQLite's page-by-page backup": bare_pages,
            "VACUUM INTO at one go, put on disk": bare_vacuum,
            "no back-up for 1.5 s": partial(time.sleep, 1.5),
        }
        took, longest = ({name: list[float]() for name in ways} for _ in range(2))
        for _ in range(TIMES_BACKED_UP):  # in turns, so that all meet the same machine
            for name, way in ways.items():
                took_ms, longest_ms = _with_taps(desk, way)
                took[name].append(took_ms)
                longest[name].append(longest_ms)
        ours_ms, ours_tap_ms = statistics.median(took["ours"]), statistics.median(longest["ours"])
        rate = size_mb / ours_ms * 1000
        for name in list(ways)[1:4]:
            what = f"back-up of 200 photos, looked through, {size_mb:.0f} MB, {rate:.0f} MB/s"
            line(what, ours_ms, name, statistics.median(took[name]))
        for name in list(ways)[1:]:
            line("the longest tap meanwhile", ours_tap_ms, f"with {name}", statistics.median(longest[name]))
        desks.close()


@dataclass(frozen=True)
class Noise:
    """A picture that no disk can make smaller."""

    jpeg: bytes
    small_jpeg: bytes
    width_px: int = 1800
    height_px: int = 2400


def _with_taps(desk: Desk, work: Callable[[], object]) -> tuple[float, float]:
    """(ms that the work took, ms of the longest of the taps that came one after the other meanwhile)."""
    taps, stop = list[float](), threading.Event()

    def trade() -> None:
        while not stop.is_set():
            began = time.perf_counter()
            desk.carry_out(Command(secrets.token_hex(8), WalkedAway(style=None, sitters=1, ready_by=None)))
            taps.append((time.perf_counter() - began) * 1000)
            stop.wait(0.01)

    trading = threading.Thread(target=trade)
    trading.start()
    began = time.perf_counter()
    work()
    took_ms = (time.perf_counter() - began) * 1000
    stop.set()
    trading.join()
    return took_ms, max(taps)


PARTS = {
    "quote": quote,
    "move-effect": move_effect,
    "last-orders": last_orders,
    "queue": queue,
    "learn": learn,
    "tap": tap,
    "push": push,
    "start": start,
    "views": views,
    "switch": switch,
    "photo": photo,
    "daybook": daybook,
    "replay-minute": replay_minute,
    "plan": plan,
    "season": season,
    "backup": backup,
}

if __name__ == "__main__":
    wanted = sys.argv[1:] or list(PARTS)
    if unknown := [name for name in wanted if name not in PARTS]:
        sys.exit(f"There is no part {unknown[0]!r}; there are {', '.join(PARTS)}.")
    for name in wanted:
        PARTS[name]()

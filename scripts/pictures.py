#!/usr/bin/env python3
"""Pictures of every screen, for README.md and for looking at.

python scripts/pictures.py              the pictures of README.md, into scripts/pictures/
python scripts/pictures.py --all DIR    every screen, whole pages, at 360, 820, 1280 and 1920 px, into DIR

It serves the demo on a free port, always the same evening at the same moment, and looks at it with Chromium. Run it
with the Python of the test environment (see environment.py): `.venv/bin/python scripts/pictures.py`. PORTRAITQ_CHROMIUM
names a browser that is not found by itself.
"""

import argparse
import io
import logging
import os
import shutil
import sys
import tempfile
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import date
from pathlib import Path

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
sys.path.insert(0, str(Path(__file__).resolve().parent.parent))

from PIL import Image
from playwright.sync_api import Browser, Page, sync_playwright
from werkzeug.serving import make_server

from portraitq import passphrase
from portraitq.core.life import READY, WAITING
from portraitq.demo import run as demo
from portraitq.demo.scenario import SLUG
from portraitq.desk import Desks
from portraitq.store.store import open_store
from portraitq.web.app import create_app
from tests.chromium import FLAGS

DAY = date(2026, 6, 6)
EVENING_BEFORE = "2026-06-05"
HERE = Path(__file__).parent / "pictures"
WIDTHS_PX = {360: 740, 820: 1180, 1280: 800, 1920: 1080}  # and the height of such a screen
EVENINGS_OF_A_SEASON = 12
COLOURS = 128  # in a picture of README: it is small then, and faces still look like faces


@dataclass(frozen=True)
class Picture:
    """One picture of README: what is opened, how large the screen is, and what is pressed first."""

    name: str
    path: str
    size_px: tuple[int, int]
    is_staff: bool = True
    is_evening: bool = False
    press: tuple[str, ...] = ()
    part: str | None = None
    wait_for: str = ""


@dataclass(frozen=True)
class Stage:
    """The demo as it is served."""

    address: str
    waiting: str
    ready: str
    code_waiting: str
    code_ready: str


def pictures_of(stage: Stage) -> list[Picture]:
    """The pictures of README."""
    phone = (360, 740)
    choose = ("label:has(input[name=style][value=chalk-half])",)
    return [
        Picture("counter", f"/{SLUG}/counter", (1280, 800), press=choose),
        Picture("easel", f"/{SLUG}/easel/mira", (768, 1024)),
        Picture(
            "easel-values",
            f"/{SLUG}/easel/mira",
            (820, 1180),
            press=tuple(f".sketch:not([hidden]) [data-tool='{tool}']" for tool in ("tools", "values-5", "squares")),
        ),
        Picture("wall", f"/{SLUG}/wall", (1920, 1080), is_staff=False),
        Picture("wall-evening", f"/{SLUG}/wall", (1920, 1080), is_staff=False, is_evening=True),
        Picture("ticket", f"/t/{stage.code_waiting}", phone, is_staff=False),
        Picture("ticket-ready", f"/t/{stage.code_ready}", phone, is_staff=False),
        Picture("hand-over", f"/t/{stage.code_ready}", (820, 1180)),
        Picture("slip", f"/{SLUG}/slip/{stage.waiting}?paper=80", (820, 1180), part=".slip"),
        Picture("daybook", f"/{SLUG}/daybook?day={EVENING_BEFORE}", (1280, 800)),
        Picture("set-up", f"/{SLUG}/set-up", (1280, 800)),
    ]


def pictures_of_a_season() -> list[Picture]:
    """Those of README that need more evenings than the demo has behind it."""
    return [
        Picture("season", f"/{SLUG}/daybook/season", (1280, 800)),
        Picture(
            "plan",
            f"/{SLUG}/daybook/plan",
            (1280, 800),
            press=("button:text-is('Play the day')",),
            wait_for=".plan__answer",
        ),
    ]


def screens_of(stage: Stage) -> list[tuple[str, str, bool]]:
    """Every screen for looking at: a name, its path, and whether it is opened on a device of the booth."""
    return [
        ("start", "/", True),
        ("sign-in", "/sign-in", False),
        ("counter", f"/{SLUG}/counter", True),
        ("easels", f"/{SLUG}/easel", True),
        ("easel", f"/{SLUG}/easel/mira", True),
        ("easel-teo", f"/{SLUG}/easel/teo", True),
        ("wall", f"/{SLUG}/wall", False),
        ("ticket", f"/t/{stage.code_waiting}", False),
        ("ticket-ready", f"/t/{stage.code_ready}", False),
        ("ticket-ask", "/t/", False),
        ("hand-over-waiting", f"/t/{stage.code_waiting}", True),
        ("hand-over", f"/t/{stage.code_ready}", True),
        ("sheet", f"/{SLUG}/counter/tickets/{stage.waiting}", True),
        ("slip", f"/{SLUG}/slip/{stage.waiting}", True),
        ("day", f"/{SLUG}/counter/day", True),
        ("over", f"/{SLUG}/counter/over", True),
        ("daybook-today", f"/{SLUG}/daybook", True),
        ("daybook", f"/{SLUG}/daybook?day={EVENING_BEFORE}", True),
        ("season", f"/{SLUG}/daybook/season", True),
        ("replay", f"/{SLUG}/daybook/replay", True),
        ("close", f"/{SLUG}/daybook/close", True),
        ("plan", f"/{SLUG}/daybook/plan", True),
        ("set-up", f"/{SLUG}/set-up", True),
        ("problem", "/nothing/here", False),
    ]


def main(arguments: list[str]) -> int:
    asked = argparse.ArgumentParser(description="Pictures of every screen.")
    asked.add_argument("--all", type=Path, metavar="DIR", help="every screen at four widths, into DIR")
    asked.add_argument("--only", metavar="NAMES", help="only these, by name, with commas between")
    chosen = asked.parse_args(arguments)
    only = set(chosen.only.split(",")) if chosen.only else None
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=chromium(), args=[*FLAGS, "--hide-scrollbars"])
        if chosen.all:
            with served_demo() as stage:
                take_all(browser, stage, chosen.all, only)
        else:
            with served_demo() as stage:
                take_for_readme(browser, stage, pictures_of(stage), only)
            with served_demo(EVENINGS_OF_A_SEASON) as stage:
                take_for_readme(browser, stage, pictures_of_a_season(), only)
        browser.close()
    return 0


def chromium() -> str | None:
    """The path of the browser; None leaves it to Playwright."""
    named = os.environ.get("PORTRAITQ_CHROMIUM")
    return named or next(filter(None, map(shutil.which, ("chromium", "chromium-browser", "google-chrome"))), None)


@contextmanager
def served_demo(evenings: int = demo.EVENINGS_BEFORE) -> Iterator[Stage]:
    """The demo at curtain-up, served on a free port of this computer; its market stands still meanwhile."""
    with tempfile.TemporaryDirectory(prefix="portraitq-pictures-") as folder:
        store = open_store(Path(folder))
        demo.prepare(store, DAY, evenings=evenings)
        passphrase.set_passphrase(store, demo.PASSPHRASE)
        desks = Desks(store, demo.clock(DAY, 1.0))
        logging.getLogger("werkzeug").setLevel(logging.WARNING)
        app = create_app(desks, address="http://192.168.4.1:8750")
        server = make_server("127.0.0.1", 0, app, threaded=True)
        server.daemon_threads = True  # type: ignore[attr-defined]
        serving = threading.Thread(target=server.serve_forever, daemon=True)
        serving.start()
        try:
            yield staged(desks, f"http://127.0.0.1:{server.server_port}")
        finally:
            app.extensions["portraitq-live"].close()
            server.shutdown()
            serving.join(timeout=5)
            desks.close()


def staged(desks: Desks, address: str) -> Stage:
    desk = desks.at(SLUG)
    tickets = desk.standing().booth.open_tickets()
    waiting = [ticket.id for ticket in tickets if ticket.place == WAITING][2]  # neither next nor last
    ready = next(ticket.id for ticket in tickets if ticket.place == READY)
    cards = desk.cards([waiting, ready])
    return Stage(address, waiting, ready, cards[waiting].code, cards[ready].code)


@contextmanager
def page(browser: Browser, stage: Stage, size_px: tuple[int, int], is_staff: bool, is_evening: bool) -> Iterator[Page]:
    """A browser's page, signed in or not."""
    context = browser.new_context(
        viewport={"width": size_px[0], "height": size_px[1]},
        color_scheme="dark" if is_evening else "light",
        reduced_motion="reduce",
        locale="en-GB",
    )
    opened = context.new_page()
    if is_staff:
        opened.goto(f"{stage.address}/sign-in")
        opened.fill("input[name=passphrase]", demo.PASSPHRASE)
        opened.press("input[name=passphrase]", "Enter")
        opened.wait_for_url(lambda url: not url.endswith("/sign-in"))
    try:
        yield opened
    finally:
        context.close()


def opened_at(on: Page, stage: Stage, path: str) -> None:
    """Open it and wait until its pictures are there."""
    on.goto(stage.address + path, wait_until="load")
    on.wait_for_function("[...document.images].every(image => image.complete || image.loading === 'lazy')")
    on.wait_for_timeout(400)


def take_for_readme(browser: Browser, stage: Stage, pictures: list[Picture], only: set[str] | None) -> None:
    HERE.mkdir(exist_ok=True)
    for picture in pictures:
        if only and picture.name not in only:
            continue
        with page(browser, stage, picture.size_px, picture.is_staff, picture.is_evening) as on:
            opened_at(on, stage, picture.path)
            for selector in picture.press:
                on.click(selector)
                on.wait_for_timeout(600)
            if picture.wait_for:
                on.wait_for_selector(picture.wait_for, timeout=120_000)
                on.wait_for_timeout(600)
            taken = on.locator(picture.part).first.screenshot() if picture.part else on.screenshot()
        size_kb = save_small(taken, HERE / f"{picture.name}.png")
        print(f"{picture.name}.png {size_kb} kB")


def save_small(png: bytes, to: Path) -> int:
    """Save a picture with fewer colours; its size in kB."""
    image = Image.open(io.BytesIO(png)).convert("RGB")
    image.quantize(COLOURS, dither=Image.Dither.NONE).save(to, optimize=True)
    return to.stat().st_size // 1000


def take_all(browser: Browser, stage: Stage, to: Path, only: set[str] | None) -> None:
    """Whole pages at each width, and at 820 px in the evening too; says where something is wider than its screen."""
    to.mkdir(parents=True, exist_ok=True)
    for width_px, height_px in WIDTHS_PX.items():
        for is_evening in (False, True) if width_px == 820 else (False,):
            for is_staff in (True, False):
                with page(browser, stage, (width_px, height_px), is_staff, is_evening) as on:
                    for name, path, by_staff in screens_of(stage):
                        if by_staff == is_staff and not (only and name not in only):
                            opened_at(on, stage, path)
                            shot(on, to / f"{name}-{width_px}{'-evening' if is_evening else ''}.png")


def shot(on: Page, to: Path) -> None:
    too_wide_px = on.evaluate("document.documentElement.scrollWidth - document.documentElement.clientWidth")
    if too_wide_px > 0:
        print(f"{to.name}: {too_wide_px} px wider than the screen", file=sys.stderr)
    on.screenshot(path=to, full_page=True)


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))

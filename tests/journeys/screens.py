"""One screen of the booth in a real browser: what it says, what came over its line, and what it complained of."""

from __future__ import annotations

import io
import json
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

import zxingcpp
from axe_playwright_python.sync_playwright import Axe
from PIL import Image
from playwright.sync_api import BrowserContext, ConsoleMessage, Locator, Page, Response, WebSocket, expect

PATIENCE_MS = 40_000  # for a slow machine; what is waited for usually comes within a fraction of a second
BOUNCE_MS = 850  # the Easel takes two presses within 800 ms for one
OUT_OF_REACH = ("net::ERR_", "WebSocket connection to")  # what Chromium itself says while nobody answers
ANSWERED_NO = (
    "the server responded with a status of 4",
    "the server responded with a status of 503",
)  # and where a test asks for what there is not
COUNTS_TOUCHES = """
window.touches = 0;
window.pressedAt = -Infinity;
addEventListener("touchend", () => { window.touches += 1; }, true);
addEventListener("click", () => { window.pressedAt = performance.now(); }, true);
"""


CUT_OFF = """
() => {
  const width = document.documentElement.clientWidth;
  const lets = (part) => ["auto", "scroll"].includes(getComputedStyle(part).overflowX);
  const scrolls = (part) => part && (lets(part) || scrolls(part.parentElement));
  const isThere = (part) => !part.closest(".skip, dialog:not([open])");
  const says = (part) => [...part.childNodes].some((node) => node.nodeType === Node.TEXT_NODE && node.data.trim());
  const sticksOut = (part) => {
    const { left, right, width: wide, height } = part.getBoundingClientRect();
    return wide > 1 && height > 1 && (left < -1 || right > width + 1);
  };
  return [...document.querySelectorAll("body *")]
    .filter((part) => says(part) && isThere(part) && sticksOut(part) && !scrolls(part.parentElement))
    .map((part) => part.textContent.trim());
}
"""


@dataclass
class Screen:
    """A page in a context of its own."""

    name: str
    context: BrowserContext
    page: Page
    complaints: list[str] = field(default_factory=list)
    acknowledged: list[str] = field(default_factory=list)
    pushes: list[int] = field(default_factory=list)
    lines: int = 0
    loads: int = 0
    may_be_cut_off: bool = False
    may_answer_no: bool = False

    def __post_init__(self) -> None:
        self.context.set_default_timeout(PATIENCE_MS)
        self.context.add_init_script(COUNTS_TOUCHES)
        self.page.on("console", self._heard)
        self.page.on("pageerror", lambda error: self.complaints.append(f"{self.name}: {error}"))
        self.page.on("load", self._loaded)
        self.page.on("websocket", self._connected)
        self.page.on("response", self._answered)

    def _heard(self, message: ConsoleMessage) -> None:
        if message.type not in ("error", "warning"):
            return
        excused = (*(OUT_OF_REACH if self.may_be_cut_off else ()), *(ANSWERED_NO if self.may_answer_no else ()))
        if any(part in message.text for part in excused):
            return
        self.complaints.append(f"{self.name} at {message.location.get('url', '')}: {message.text}")

    def _loaded(self, page: Page) -> None:
        self.loads += 1

    def _connected(self, line: WebSocket) -> None:
        self.lines += 1
        line.on("framereceived", self._received)

    def _received(self, frame: str | bytes) -> None:
        prefix = "42/live,"
        if isinstance(frame, str) and frame.startswith(prefix):
            name, content = json.loads(frame.removeprefix(prefix))
            if name == "view":
                self.pushes.append(content["seq"])

    def _answered(self, answer: Response) -> None:
        if answer.url.endswith("/commands") and answer.ok:
            self.acknowledged.append(json.loads(answer.request.post_data or "{}")["id"])

    def open(self, address: str) -> None:
        self.page.goto(address)

    def sign_in(self, passphrase: str) -> None:
        self.page.get_by_label("Passphrase").fill(passphrase)
        self.page.get_by_role("button", name="Sign in").tap()
        self.page.wait_for_url(lambda address: "/sign-in" not in address)

    def says(self, *sentences: str) -> None:
        """Wait until it says all of this."""
        for sentence in sentences:
            expect(self.page.locator("main")).to_contain_text(sentence)

    def part(self, selector: str) -> Locator:
        return self.page.locator(selector)

    def touch(self, part: Locator) -> None:
        """One touch by a hand that lets a moment pass since the last one: no bounce of it."""
        self.wait_until(lambda: bool(self.page.evaluate("ms => performance.now() - window.pressedAt > ms", BOUNCE_MS)))
        part.tap()

    def touch_button(self, said: str) -> None:
        self.touch(self.page.get_by_role("button", name=said))

    def touches(self) -> int:
        """How often this page was touched since it was loaded."""
        return int(self.page.evaluate("window.touches"))

    def is_connected(self) -> bool:
        return bool(self.page.evaluate("document.querySelector('[data-view]').live?.isUp === true"))

    def wait_for_its_line(self) -> None:
        """Wait until its live line stands."""
        self.wait_until(self.is_connected)

    def wait_until(self, is_so: Callable[[], bool], step_ms: int = 50) -> None:
        """Let the browser's events in until something is so. (`wait_for_function` evaluates text, which our
        Content-Security-Policy forbids.)
        """
        for _ in range(PATIENCE_MS // step_ms):
            if is_so():
                return
            self.page.wait_for_timeout(step_ms)
        raise AssertionError(f"{self.name}: waited for {PATIENCE_MS / 1000:g} s in vain")

    # What is looked at with a reader's or a rule's eyes

    def scanned(self) -> str:
        """What a scanner reads from a picture of the screen."""
        codes = zxingcpp.read_barcodes(Image.open(io.BytesIO(self.page.screenshot())))
        assert len(codes) == 1, f"{len(codes)} codes are seen on the {self.name}"
        return codes[0].text

    def grave_faults(self) -> list[str]:
        """What axe-core finds serious or critical, each with where it is."""
        found: list[dict[str, Any]] = Axe().run(self.page).response["violations"]
        return [
            f"{one['id']}: {one['help']} at {' '.join(str(node['target']) for node in one['nodes'][:3])}"
            for one in found
            if one["impact"] in ("serious", "critical")
        ]

    def sideways_px(self) -> int:
        """By how much the page is wider than the screen."""
        return int(self.page.evaluate("document.documentElement.scrollWidth - document.documentElement.clientWidth"))

    def cut_off(self) -> list[str]:
        """Words that stick out of the screen at its side, where nothing can be scrolled to show them."""
        return list(self.page.evaluate(CUT_OFF))

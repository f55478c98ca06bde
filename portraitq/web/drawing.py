"""What an artist can do with the photo on the Easel: its views, and the tools by which they are chosen.

The server makes grey, values, eyes and colours (`portraitq.photo`); turning, zooming and the grid are the browser's
(`static/js/drawing.js`). Here is only what the template must know of both: which photo has which views, and each tool
with its words and its key, so that buttons, keyboard and the menu's text never disagree.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterable
from dataclasses import dataclass
from typing import TYPE_CHECKING

from portraitq.photo import views
from portraitq.photo.face import read_faces

if TYPE_CHECKING:
    from portraitq.store.photos import PhotoRef

LOOK, LINES, ZOOM = "look", "lines", "zoom"  # the three pages in which a phone shows the tools; a tablet shows them all
PAGES = ((LOOK, "Look"), (LINES, "Lines"), (ZOOM, "Zoom"))
STAYS = "stays"  # a tool that is on or off
ONCE = "once"  # a tool that does something each time
VERSION_CHARS = 8


@dataclass(frozen=True)
class Tool:
    """One thing that a touch or a key does to the photo.

    name    what `drawing.js` knows it by
    said    the word on the button; short, because a button is 64 px wide
    key     the key that does the same; never one that a page-turner sends
    does    the same in a few words, for the menu
    page    where a phone shows it
    kind    STAYS or ONCE
    """

    name: str
    said: str
    key: str
    does: str
    page: str
    kind: str = STAYS


TOOLS = (
    Tool("plain", "Plain", "1", "plain photo", LOOK),
    Tool("grey", "Grey", "G", "grey", LOOK),
    Tool("values-3", "3 values", "3", "three flat values", LOOK),
    Tool("values-5", "5 values", "5", "five flat values", LOOK),
    Tool("values-7", "7 values", "7", "seven flat values", LOOK),
    Tool("mirrored", "Mirror", "M", "mirrored", LOOK),
    Tool("upside-down", "Upside down", "U", "upside down", ZOOM),
    Tool("soft", "Soft", "S", "soft, as when you squint", LINES),
    Tool("eyes", "Eyes", "E", "eyes close up, face by face", LOOK),
    Tool("colours", "Colours", "C", "colours", LOOK),
    Tool("squares", "Grid", "Q", "a grid of squares", LINES),
    Tool("thirds", "Thirds", "T", "thirds", LINES),
    Tool("fewer", "Fewer squares", "8", "fewer squares", LINES, ONCE),
    Tool("more", "More squares", "9", "more squares", LINES, ONCE),
    Tool("thicker", "Thicker", "W", "thicker lines, or thin again", LINES, ONCE),
    Tool("dark", "Dark lines", "D", "dark lines", LINES),
    Tool("out", "−", "-", "smaller", ZOOM, ONCE),
    Tool("in", "+", "+", "larger", ZOOM, ONCE),
    Tool("whole", "Whole", "0", "whole photo", ZOOM, ONCE),
)
SIDES = (
    Tool("up", "↑", "I", "show more above", ZOOM, ONCE),
    Tool("left", "←", "J", "more on the left", ZOOM, ONCE),
    Tool("down", "↓", "K", "more below", ZOOM, ONCE),
    Tool("right", "→", "L", "more on the right", ZOOM, ONCE),
)
SPOKEN = (
    ("out", "Smaller"),
    ("in", "Larger"),
    ("up", "Show more above"),
    ("left", "Show more on the left"),
    ("down", "Show more below"),
    ("right", "Show more on the right"),
)
OPENS = Tool("tools", "Views", "V", "open or fold the tools", LOOK)
FLIPS = Tool("flip", "", "F", "next photo of this sketch", LOOK, ONCE)


@dataclass(frozen=True)
class Toolkit:
    """All tools, as the template asks for them; `spoken` is what a screen reader says where a sign stands."""

    pages: tuple[tuple[str, str], ...] = PAGES
    tools: tuple[Tool, ...] = TOOLS
    sides: tuple[Tool, ...] = SIDES
    opens: Tool = OPENS
    flips: Tool = FLIPS
    spoken: tuple[tuple[str, str], ...] = SPOKEN

    @property
    def all(self) -> tuple[Tool, ...]:
        """Everything that has a key, in the order in which the menu tells of it."""
        return (self.opens, *self.tools, *self.sides, self.flips)


TOOLKIT = Toolkit()


@dataclass(frozen=True)
class Drawn:
    """One photo to draw from: where its views are, and how many faces have eyes to look at.

    `version` changes with the marked faces, and with it the addresses of what depends on them.
    """

    id: str
    width_px: int
    height_px: int
    eyes: int
    version: str


def drawn(photos: Iterable[PhotoRef]) -> tuple[Drawn, ...]:
    """The photos of a sketch, as the easel shows them."""
    return tuple(_drawn(photo) for photo in photos)


def _drawn(photo: PhotoRef) -> Drawn:
    faces = read_faces(photo.faces)
    eyes = sum(name.startswith("eyes-") for name in views.names(faces))
    version = hashlib.sha256(photo.faces.encode()).hexdigest()[:VERSION_CHARS]
    return Drawn(photo.id, photo.width_px, photo.height_px, eyes, version)

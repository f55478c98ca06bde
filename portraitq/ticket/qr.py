"""QR codes: of an address, as a picture for screens and slips, as a file, and as text for a terminal.

Always black on white with the quiet zone of ISO/IEC 18004, also on a dark page: scanners of phones expect that.
What the code says is the caller's; only how an address is written so that the code stays small is decided here.
"""

from __future__ import annotations

import io
import re
from functools import lru_cache
from html import escape
from typing import Literal
from urllib.parse import urlsplit

from PIL import Image
from qrcode import QRCode, constants
from qrcode.exceptions import DataOverflowError

from portraitq.core.errors import Malformed
from portraitq.ticket.codes import normalise

Level = Literal["L", "M", "Q", "H"]
Matrix = tuple[tuple[bool, ...], ...]

SCREEN: Level = "M"
SLIP: Level = "Q"  # paper is folded, wetted and torn
QUIET_MODULES = 4  # ISO/IEC 18004
LONGEST_VERSION = 40

_LEVELS = {
    "L": constants.ERROR_CORRECT_L,
    "M": constants.ERROR_CORRECT_M,
    "Q": constants.ERROR_CORRECT_Q,
    "H": constants.ERROR_CORRECT_H,
}
_ALPHANUMERIC = re.compile(r"[0-9A-Z $%*+\-./:]*")
_BLACK_ON_WHITE = "\x1b[38;5;16;48;5;231m"  # fixed colours of the 256: the first 16 follow the terminal's theme
_AS_BEFORE = "\x1b[0m"
_HALF_BLOCKS = {(False, False): " ", (True, False): "▀", (False, True): "▄", (True, True): "█"}


def compact(address: str) -> str:
    """`address` in capitals where that is the same address, so that the QR may use its smaller alphabet.

    Scheme and host do not care (RFC 3986 §6.2.2.1); the path does, except that the ticket page answers `/T/CODE` as
    `/t/CODE`. Anything else stays as it is.

    >>> compact("http://192.168.4.1:8750/t/00000000000011")
    'HTTP://192.168.4.1:8750/T/00000000000011'
    >>> compact("http://192.168.4.1:8750/quay/counter")
    'http://192.168.4.1:8750/quay/counter'
    """
    parts = urlsplit(address)
    if parts.query or parts.fragment or parts.username is not None:
        return address
    ticket = re.fullmatch(r"/[tT]/([^/]+)", parts.path)
    if parts.path not in ("", "/") and not (ticket and normalise(ticket[1])):
        return address
    return address.upper() if _ALPHANUMERIC.fullmatch(address.upper()) else address


@lru_cache(maxsize=256)  # a code takes some 10 ms to lay out, and stands on the screen for hours
def modules(text: str, level: Level = SCREEN) -> Matrix:
    """The dark (True) and light modules of the smallest QR that holds `text`, row by row, without quiet zone.

    Raises Malformed, field "text", when there is nothing to say or it is more than a QR holds.
    """
    code = QRCode(version=None, error_correction=_LEVELS[level], border=0)
    code.add_data(text.encode("utf-8"), optimize=0)
    try:
        if not text:
            raise DataOverflowError("empty")
        code.make(fit=True)
    except (DataOverflowError, ValueError) as error:
        raise Malformed(
            f"A QR code holds 1 to some 2000 characters, not {len(text)}. Shorten the address.", field="text"
        ) from error
    return tuple(tuple(bool(dark) for dark in row) for row in code.modules)


def as_svg(text: str, *, title: str, level: Level = SCREEN) -> str:
    """An `<svg>` element to stand inside a page; `title` says what it is to who cannot see it. Sized by the page."""
    rows = _with_quiet_zone(modules(text, level))
    side = len(rows)
    said = escape(title, quote=True)
    return (
        f'<svg class="qr" xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {side} {side}" role="img" '
        f'aria-label="{said}" shape-rendering="crispEdges"><title>{said}</title>'
        f'<path fill="#fff" d="M0 0h{side}v{side}H0z"/><path fill="#000" d="{_outline(rows)}"/></svg>'
    )


def as_png(text: str, *, level: Level = SCREEN, module_px: int = 8) -> bytes:
    """A PNG in black and white with `module_px` dots a module, whole dots only."""
    rows = _with_quiet_zone(modules(text, level))
    image = Image.frombytes("L", (len(rows), len(rows)), bytes(0 if dark else 255 for row in rows for dark in row))
    side_px = len(rows) * module_px
    out = io.BytesIO()
    image.resize((side_px, side_px), Image.Resampling.NEAREST).convert("1").save(out, "PNG")
    return out.getvalue()


def as_terminal(text: str, *, level: Level = "L") -> str:
    """Lines of half blocks, two modules high each, black on white whatever the terminal's theme.

    Level L by itself: the screen of a terminal is clean, and its rows are few.
    """
    rows = list(_with_quiet_zone(modules(text, level)))
    if len(rows) % 2:
        rows.append((False,) * len(rows))
    lines = (
        "".join(_HALF_BLOCKS[pair] for pair in zip(upper, lower, strict=True))
        for upper, lower in zip(rows[::2], rows[1::2], strict=True)
    )
    return "\n".join(f"{_BLACK_ON_WHITE}{line}{_AS_BEFORE}" for line in lines)


def _with_quiet_zone(rows: Matrix) -> Matrix:
    side = (False,) * QUIET_MODULES
    empty = ((False,) * (len(rows) + 2 * QUIET_MODULES),) * QUIET_MODULES
    return empty + tuple(side + row + side for row in rows) + empty


def _outline(rows: Matrix) -> str:
    """SVG path data: one rectangle for each run of dark modules in a row."""
    parts = []
    for y, row in enumerate(rows):
        for run in re.finditer("1+", "".join("1" if dark else "0" for dark in row)):
            length = run.end() - run.start()
            parts.append(f"M{run.start()} {y}h{length}v1h-{length}z")
    return "".join(parts)

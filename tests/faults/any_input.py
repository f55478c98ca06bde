"""What somebody might send who means no good, or whose file is broken: bytes and texts, chosen by a seed."""

from __future__ import annotations

from random import Random

ODD_TEXTS = (
    "",
    " ",
    "\t",
    "0",
    "-1",
    "1e9",
    "NaN",
    "∞",
    "٣",
    "１２",
    "9" * 400,
    "0x10",
    "true",
    "null",
    "[]",
    "{}",
    "\x00",
    "a\x00b",
    "\x1b[2J",
    "\r\nSet-Cookie: a=b",
    "\u2028",
    "\u202e\u2066evil\u2069",
    "\u200b\ufeff\u200d",
    "\udcff",
    "😀" * 30,
    "e" + "\u0301" * 10_000,
    "<script>alert(1)</script>",
    '"><img src=x onerror=alert(1)>',
    "javascript:alert(1)",
    "{{7*7}}",
    "${7*7}",
    "%s%n%x",
    "$\\frac{",
    "=1+1",
    "@SUM(A1)",
    "+1",
    "-1+1",
    "'; DROP TABLE events; --",
    "\\",
    "%00",
    "../../../etc/passwd",
    "..%2f..%2fetc",
    "C:\\nul",
    "http://evil.example/",
    "//evil.example",
    "T1",
    "T99",
    "a1",
    "quay",
    "2026-02-30",
    "0000-00-00",
    "24:60",
    "2026-06-06T09:00:00.000Z",
    "x" * 20_000,
    "[" * 5_000,
    '{"a":' * 5_000,
    "1,5,9",
)
WRONG_KINDS = (
    b"",
    b"\x00",
    b"\xff" * 64,
    b"%PDF-1.7\n",
    b"PK\x03\x04",
    b"\x7fELF",
    b"SQLite format 3\x00",
    b"GIF89a",
    b"{}",
    b"[]\n",
    b"\xef\xbb\xbf{}",
    "\ufeff{}".encode("utf-16"),
    b"\n" * 100,
    b"<svg xmlns='http://www.w3.org/2000/svg'/>",
    b"null\n" * 9,
    b"\x89PNG\r\n\x1a\n",
    b"\xff\xd8\xff",
    b"RIFF\xff\xff\xff\xffWEBP",
    b"\x00\x00\x00\x18ftypheic",
    b"II*\x00",
    b"\x1f\x8b",
)
LARGEST_RANDOM_BYTES = 4096


def some_bytes(chance: Random, good: bytes) -> bytes:
    """Bytes for a reader that takes `good`: random ones, of a wrong kind, `good` cut, bent, doubled, seldom whole."""
    way = chance.random()
    if way < 0.03:
        return good
    if way < 0.15 or not good:
        return chance.randbytes(chance.choice([1, 7, 64, 1000, LARGEST_RANDOM_BYTES]))
    if way < 0.25:
        wrong = chance.choice(WRONG_KINDS)
        return wrong + chance.choice([b"", chance.randbytes(200), good])
    if way < 0.4:
        return good[: chance.randrange(len(good))]
    at, to = sorted((chance.randrange(len(good)), chance.randrange(len(good) + 1)))
    if way < 0.7:
        bent = bytearray(good)
        for _ in range(chance.choice([1, 1, 2, 8, 64])):
            bent[chance.randrange(len(bent))] = chance.choice([0, 255, 127, 34, 44, chance.randrange(256)])
        return bytes(bent)
    if way < 0.8:
        return good[:at] + good[to:]
    if way < 0.9:
        return good[:to] + good[at:]
    if way < 0.95:
        return good[:at] + chance.choice(ODD_TEXTS).encode("utf-8", "surrogatepass") + good[to:]
    return good + chance.randbytes(chance.choice([1, 100]))


def some_text(chance: Random, good: str = "") -> str:
    """A text that may stand in a form: `good` where there is one, most often an odd one."""
    return good if good and chance.random() < 0.4 else chance.choice(ODD_TEXTS)

"""A ticket's code: what stands in the ticket's address, and what a customer reads aloud when there is no camera.

Crockford's base 32 (no I, L, O, U), 13 symbols of 5 random bits and one check symbol modulo 37, so that every single
wrong symbol and every swap of neighbours is noticed. Five of the 37 check symbols are bad in an address and when read
aloud, so codes are drawn until the check falls among the plain 32: 65 bits less log2(37/32) leaves 64.8.
How often somebody may guess is the web's to bound.

Source: Douglas Crockford, "Base 32", crockford.com/base32.
"""

from __future__ import annotations

import secrets
from collections.abc import Callable

SYMBOLS = "0123456789ABCDEFGHJKMNPQRSTVWXYZ"
CHECK_SYMBOLS = SYMBOLS + "*~$=U"
RANDOM_BITS = 65  # 13 symbols; a ticket stays unguessable for as long as anybody tries
CODE_SYMBOLS = RANDOM_BITS // 5 + 1
GROUPS = (5, 5, 4)  # what a person holds in mind between looking and typing
LONGEST_TYPED = 64  # what is longer was never a code

_VALUE = {symbol: value for value, symbol in enumerate(SYMBOLS)}
_READ_AS = str.maketrans({"O": "0", "I": "1", "L": "1"})
_DROPPED = str.maketrans("", "", "-‐‑‒–—− \t\r\n\u00a0\u202f")  # with the dashes that phones put in by themselves


def new_code(random_bits: Callable[[int], int] = secrets.randbits) -> str:
    """A new code in its stored form, 14 plain symbols without hyphens.

    random_bits   gives that many random bits as an integer ≥ 0; the operating system's unless a test says otherwise
    """
    while True:
        value = random_bits(RANDOM_BITS)
        if value % 37 < 32:
            return encode(value).rjust(CODE_SYMBOLS - 1, "0") + check_symbol(value)


def normalise(text: str) -> str | None:
    """The code that somebody typed, in its stored form; None when it is none, or its check symbol does not fit.

    Case, hyphens and blanks do not matter, O is read as 0, I and L as 1.

    >>> normalise("oooo-oooo oooo-1l")
    '00000000000011'
    """
    if len(text) > LONGEST_TYPED:
        return None
    code = plain(text)
    if len(code) != CODE_SYMBOLS or not set(code) <= _VALUE.keys():
        return None
    return code if check_symbol(decode(code[:-1])) == code[-1] else None


def shown(code: str) -> str:
    """`code` in groups, for reading.

    >>> shown("00000000000011")
    '00000-00000-0011'
    """
    parts, rest = [], code
    for length in GROUPS:
        parts.append(rest[:length])
        rest = rest[length:]
    return "-".join(part for part in (*parts, rest) if part)


def encode(value: int, *, check: bool = False) -> str:
    """`value` ≥ 0 in base 32, most significant symbol first, with its check symbol when asked for.

    >>> encode(1234), encode(1234, check=True)
    ('16J', '16JD')
    """
    if value < 0:
        raise ValueError(f"value must be 0 or more, not {value!r}")
    symbols: list[str] = []
    rest = value
    while rest or not symbols:
        rest, digit = divmod(rest, 32)
        symbols.append(SYMBOLS[digit])
    return "".join(reversed(symbols)) + (check_symbol(value) if check else "")


def decode(text: str, *, check: bool = False) -> int:
    """The value that `text` writes; ValueError when a symbol is none of the 32 or the check does not fit."""
    code = plain(text)
    body = code[:-1] if check else code
    if not body or not set(body) <= _VALUE.keys():
        raise ValueError("symbols 0–9 and A–Z without U were expected")
    value = 0
    for symbol in body:
        value = value * 32 + _VALUE[symbol]
    if check and check_symbol(value) != code[-1]:
        raise ValueError("the check symbol does not fit: one of the symbols is wrong")
    return value


def check_symbol(value: int) -> str:
    """The symbol that follows `value`: its remainder by 37, a prime above 32."""
    return CHECK_SYMBOLS[value % 37]


def plain(text: str) -> str:
    """`text` in capitals, without hyphens and blanks, look-alikes read as what they stand for; ASCII alone."""
    dropped = text.translate(_DROPPED)
    return dropped.upper().translate(_READ_AS) if dropped.isascii() else dropped

"""How many digits the minor unit of a currency has.

By ISO 4217 (package iso4217, the official table), not by CLDR, which rounds some currencies to what is used in shops.
"""

from __future__ import annotations

from functools import lru_cache

from iso4217 import Currency

USUAL_DIGITS = 2


@lru_cache(maxsize=32)
def digits_of(currency: str) -> int:
    """The digits of `currency` after the point; 2 for a code that the table does not know.

    >>> [digits_of(code) for code in ("EUR", "JPY", "KWD", "MGA")]
    [2, 0, 3, 2]
    """
    try:
        exponent = Currency(currency).exponent
    except ValueError:
        return USUAL_DIGITS
    return int(exponent or 0)

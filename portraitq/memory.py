"""Memory that is not used any more goes back to the system.

The C library keeps what threads let go of, a pool for several threads each: after evenings of pages and photos that is
more than all that is in use, and on a small board it is missed elsewhere. GNU's lets it be asked back; others are left
alone.
"""

from __future__ import annotations

import ctypes
import functools
import sys
import threading
import time
from collections.abc import Callable

EVERY_S = 30.0
_turn = threading.Lock()
_given_back_s = float("-inf")


def give_back(every_s: float = EVERY_S) -> bool:
    """Give back what is not used, unless that was done within `every_s`; whether it was done now."""
    global _given_back_s
    with _turn:
        if time.monotonic() - _given_back_s < every_s:
            return False
        _given_back_s = time.monotonic()
    trim = _trim()
    if trim is None:
        return False
    trim(0)
    return True


@functools.cache
def _trim() -> Callable[[int], int] | None:
    """`malloc_trim(3)` of the GNU C library; None where there is none. Called with the interpreter let go of."""
    if not sys.platform.startswith("linux"):
        return None
    try:
        found = ctypes.CDLL(None).malloc_trim
    except (OSError, AttributeError):  # another C library, such as musl
        return None
    found.argtypes, found.restype = [ctypes.c_size_t], ctypes.c_int
    return found

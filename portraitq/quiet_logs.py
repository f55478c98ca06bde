"""What no log may name: an address that somebody asked for (those of photos and tickets are secrets of their
customers), and the words of an error, which often repeat the value that was wrong: a name, a note, a code. And what
any stranger can cause is logged a few times a minute and then counted, or a laptop could fill the card with it.

Our own lines never do. This is for the lines of Flask and gunicorn, which name addresses where a request goes wrong,
and for every traceback, whoever logs it: it keeps where in the code something went wrong, and of what kind it was.
"""

from __future__ import annotations

import logging
import re
import sqlite3
import threading
import time
import traceback
from collections.abc import Callable, Iterator
from typing import Any

from portraitq.store.store import StoreError

LOGGERS = ("gunicorn.error", "portraitq", "werkzeug")  # Flask's is called as the application is
UNREADABLE = re.compile(r"^(Invalid request from ip=\S+):.*", re.DOTALL)  # what follows is the request itself
ADDRESS = re.compile(r"(?<![\w.])(?:https?:/)?/[^\s'\"]*")
FROM_STRANGERS_A_MINUTE = 10
MINUTE_S = 60.0
log = logging.getLogger(__name__)


class FewFromStrangers(logging.Filter):
    """Lets few lines a minute pass of requests that could not be read; the next that passes says how many did not."""

    def __init__(self, seconds: Callable[[], float] = time.monotonic) -> None:
        super().__init__()
        self._seconds = seconds
        self._began_s, self._passed, self._left_out = -MINUTE_S, 0, 0
        self._lock = threading.Lock()

    def filter(self, record: logging.LogRecord) -> bool:
        """Whether the line passes."""
        if not UNREADABLE.match(record.getMessage()):
            return True
        with self._lock:
            if self._seconds() - self._began_s >= MINUTE_S:
                self._began_s, self._passed = self._seconds(), 0
            if self._passed >= FROM_STRANGERS_A_MINUTE:
                self._left_out += 1
                return False
            self._passed += 1
            left_out, self._left_out = self._left_out, 0
        if left_out:
            source = UNREADABLE.sub(r"\1", record.getMessage())
            record.msg, record.args = f"{source}, the next after {left_out} that were not logged", None
        return True


class _WithoutAddresses(logging.Filter):
    """Lets every record pass, its addresses replaced. Where in the code something went wrong stays to be read."""

    def filter(self, record: logging.LogRecord) -> bool:
        record.msg, record.args = ADDRESS.sub("(an address)", UNREADABLE.sub(r"\1", record.getMessage())), None
        return True


class _WithoutValues:
    """Makes records as `usual` does, their tracebacks printed already and without the words of the errors.

    A filter would not do: those of a logger never see what the loggers below it say.
    """

    def __init__(self, usual: Callable[..., logging.LogRecord]) -> None:
        self._usual = usual

    def __call__(self, *args: Any, **more: Any) -> logging.LogRecord:
        record = self._usual(*args, **more)
        if record.exc_info and record.exc_info[1] is not None:
            record.exc_text = traceback_without_values(record.exc_info[1])
        return record


_without_addresses = _WithoutAddresses()
_few_from_strangers = FewFromStrangers()


def keep_addresses_out() -> None:
    """From now on no line of these loggers has an address of a request in it, and few a minute are by strangers' doing.

    Doing it twice is harmless.
    """
    for name in LOGGERS:
        logging.getLogger(name).addFilter(_few_from_strangers)  # knows such a line by what the other takes away
        logging.getLogger(name).addFilter(_without_addresses)


def keep_values_out() -> None:
    """From now on no traceback of any logger has the words of its errors in it. Doing it twice is harmless."""
    if not isinstance(logging.getLogRecordFactory(), _WithoutValues):
        logging.setLogRecordFactory(_WithoutValues(logging.getLogRecordFactory()))


def log_what_ends_a_thread() -> None:
    """From now on an error that ends a thread is logged like any other, instead of being printed with its words."""

    def ended(what: threading.ExceptHookArgs) -> None:
        if what.exc_value is not None and not isinstance(what.exc_value, SystemExit):
            name = what.thread.name if what.thread else "a thread"
            log.error("The thread %s ended by an error.", name, exc_info=what.exc_value)

    threading.excepthook = ended


def traceback_without_values(error: BaseException) -> str:
    """Where `error` came from, and what it followed from, without a word that might repeat what somebody typed.

    Of errors of the system, of the store (SQLite names tables and columns, never what stands in them) and of names in
    the code the words are kept: they name what is full, locked, gone or misspelt.
    """
    return "".join(_parts(error, set())).rstrip("\n")


def _parts(error: BaseException, seen: set[int]) -> Iterator[str]:
    seen.add(id(error))
    before = error.__cause__ or (None if error.__suppress_context__ else error.__context__)
    if before is not None and id(before) not in seen:
        yield from _parts(before, seen)
        yield "\nand after that:\n\n"
    yield "Traceback (most recent call last):\n"
    yield from traceback.format_tb(error.__traceback__)
    kind = type(error)
    yield f"{kind.__module__}.{kind.__qualname__}{_words(error)}\n"


def _words(error: BaseException) -> str:
    if isinstance(error, StoreError | sqlite3.Error | NameError | ImportError):
        return f": {error}"
    if isinstance(error, OSError):
        return f": {error.strerror} (error {error.errno})"  # the file that it names is left out
    return " (its words are left out: they may name somebody)"

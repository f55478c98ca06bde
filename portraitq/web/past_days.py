"""The days that somebody goes through once more: read in a thread of their own, the last few of each booth kept.

A long season takes seconds to read. Nobody waits for it: whoever asks hears that it is being read, and asks again. What
was read is kept in this process alone; the journal stays the record. Lines that come meanwhile are read on.
"""

from __future__ import annotations

import gc
import logging
import threading
from collections import OrderedDict
from concurrent.futures import Future
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any
from weakref import WeakKeyDictionary

from portraitq.forecast.past import PastDay, day_once_more, lines_of
from portraitq.store import journal

if TYPE_CHECKING:
    from collections.abc import Callable

    from portraitq.desk import Desk

log = logging.getLogger(__name__)

DAYS_KEPT = 4  # of each booth; one after a season of 20 000 portraits takes 16 MB, 3 of them its own lines
ANSWERS_KEPT = 512  # of each booth, some 20 KB each: as many minutes as somebody looks at in a sitting


@dataclass
class _Kept:
    """What is kept of one desk."""

    turn: threading.Lock = field(default_factory=threading.Lock)
    days: OrderedDict[str, Future[PastDay]] = field(default_factory=OrderedDict)
    answers: OrderedDict[tuple[Any, ...], Any] = field(default_factory=OrderedDict)


_LOOKING = threading.Lock()
_FROZEN = threading.Event()
_ONE_AT_A_TIME = threading.Lock()  # two seasons read side by side would only take twice as long, and be in the way
_kept: WeakKeyDictionary[Desk, _Kept] = WeakKeyDictionary()


def past_day(desk: Desk, day: str, wait_s: float) -> PastDay | None:
    """That day of the booth, which traded on it, with every line written so far; None while it is being read.

    What went wrong while it was read is raised here, and the next one who asks begins anew.
    """
    kept = _of(desk)
    with kept.turn:
        reading = kept.days.get(day)
        if reading is None or (reading.done() and reading.exception() is not None):
            reading = kept.days[day] = Future()
            threading.Thread(target=_read, args=(desk, day, reading), name=f"{day} of {desk.slug}", daemon=True).start()
        kept.days.move_to_end(day)
        while len(kept.days) > DAYS_KEPT:
            kept.days.popitem(last=False)
    try:
        found = reading.result(timeout=wait_s)
    except TimeoutError:
        if reading.done():  # reading itself ran out of time somewhere
            raise
        return None
    return _with_what_came(desk, kept, found)


def answered_once(desk: Desk, key: tuple[Any, ...], answer: Callable[[], Any]) -> Any:
    """What `answer` gives, made once for each key as long as it is among those asked for lately."""
    kept = _of(desk)
    with kept.turn:
        if key in kept.answers:
            kept.answers.move_to_end(key)
            return kept.answers[key]
    made = answer()
    with kept.turn:
        kept.answers[key] = made
        while len(kept.answers) > ANSWERS_KEPT:
            kept.answers.popitem(last=False)
    return made


def _of(desk: Desk) -> _Kept:
    with _LOOKING:
        return _kept.setdefault(desk, _Kept())


def _read(desk: Desk, day: str, reading: Future[PastDay]) -> None:
    try:
        with _ONE_AT_A_TIME:
            if not _FROZEN.is_set():  # a second time would keep for ever what was read the first time, once let go of
                gc.freeze()  # or a full collection walks the whole season while every tap waits: 0.9 s at 20 000
                _FROZEN.set()
            booth = desk.standing(wait_s=0).booth
            with desk.store.reading() as connection:
                beside = journal.of_no_ticket(connection, desk.slug)
            found = day_once_more(lines_of(booth, beside), day)
        if found is None:
            raise LookupError(f"{day} was never opened at {desk.slug}")
        reading.set_result(found)
    except Exception as wrong:  # it is raised again for whoever asked
        log.exception("%s of %s could not be read once more.", day, desk.slug)
        reading.set_exception(wrong)


def _with_what_came(desk: Desk, kept: _Kept, found: PastDay) -> PastDay:
    """`found` with the lines that were written since it was read, as far as the desk knows them."""
    known = desk.standing(wait_s=0).seq
    if found.is_over or found.seq >= known:
        return found
    with kept.turn:
        latest = kept.days.get(found.day)
        if latest is not None and latest.done() and latest.exception() is None:
            found = latest.result()
        with desk.store.reading() as connection:
            new = journal.events(connection, desk.slug, after=found.seq)
        found = found.with_more(line for line in new if line.seq <= known)
        kept.days[found.day] = Future()
        kept.days[found.day].set_result(found)
    return found

"""Memory that threads let go of goes back to the system, where its C library can be asked to."""

from __future__ import annotations

import sys
import threading

import psutil
import pytest

from portraitq import memory

MB = 1 << 20
linux_only = pytest.mark.skipif(not sys.platform.startswith("linux"), reason="GNU's C library is asked on Linux")


def used_mb() -> float:
    return float(psutil.Process().memory_info().rss / MB)


def let_go_of_much() -> None:
    """Much in small pieces, all but a last one freed in the thread that made them: what a pool keeps."""
    made = [bytes(1000) for _ in range(100_000)]
    del made[:-1]


@linux_only
def test_what_threads_let_go_of_is_given_back() -> None:
    memory.give_back(every_s=0)
    before = used_mb()
    held = [threading.Thread(target=let_go_of_much) for _ in range(4)]
    for one in held:
        one.start()
    for one in held:
        one.join()

    assert memory.give_back(every_s=0)

    assert used_mb() - before < 50  # of some 400 that were asked for


@linux_only
def test_it_is_not_asked_for_again_at_once() -> None:
    memory.give_back(every_s=0)

    assert not memory.give_back(every_s=60)


def test_where_the_library_cannot_be_asked_nothing_happens(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(memory, "_trim", lambda: None)

    assert not memory.give_back(every_s=0)

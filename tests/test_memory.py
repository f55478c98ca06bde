"""Memory that threads let go of goes back to the system, where its C library can be asked to."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

from portraitq import memory

ROOT = Path(__file__).resolve().parent.parent

linux_only = pytest.mark.skipif(not sys.platform.startswith("linux"), reason="GNU's C library is asked on Linux")
MUCH = """
import threading, psutil
from portraitq import memory

def used_mb():
    return psutil.Process().memory_info().rss / 2**20

def let_go_of_much():
    made = [bytes(1000) for _ in range(100_000)]
    del made[:-1]

memory.give_back(every_s=0)
before = used_mb()
held = [threading.Thread(target=let_go_of_much) for _ in range(4)]
for one in held:
    one.start()
for one in held:
    one.join()
kept = used_mb()
assert memory.give_back(every_s=0)
print(kept - before, used_mb() - before)
"""


@linux_only
def test_what_threads_let_go_of_is_given_back() -> None:
    done = subprocess.run([sys.executable, "-c", MUCH], cwd=ROOT, capture_output=True, text=True, check=True)

    kept_mb, left_mb = map(float, done.stdout.split())
    assert left_mb < max(20, kept_mb / 2)  # of some 400 that were asked for


@linux_only
def test_it_is_not_asked_for_again_at_once() -> None:
    memory.give_back(every_s=0)

    assert not memory.give_back(every_s=60)


def test_where_the_library_cannot_be_asked_nothing_happens(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(memory, "_trim", lambda: None)

    assert not memory.give_back(every_s=0)

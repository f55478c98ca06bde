"""The short form of scripts/fuzz.py: every reader of the program is given some of what anybody may send."""

from __future__ import annotations

import re
import runpy
import subprocess
import sys
from pathlib import Path
from random import Random

import pytest

from tests.faults.any_input import some_bytes
from tests.faults.readers import Readers

ROOT = Path(__file__).resolve().parents[2]
SCRIPT = ROOT / "scripts" / "fuzz.py"


def test_every_reader_takes_what_comes_or_says_why_not_and_all_is_counted():
    """OWASP ASVS 5.0 V2.2 and V5.2 (from memory): input and files of strangers."""
    done = subprocess.run(
        [sys.executable, str(SCRIPT), "readers", "core", "--seed", "7", "--inputs", "25", "--steps", "150"],
        capture_output=True,
        text=True,
        timeout=400,
        check=False,
    )

    assert done.returncode == 0, done.stdout[-3000:] + done.stderr[-1000:]
    tried = dict(re.findall(r"([a-z-]+) (\d+) \(\d+ taken\)", done.stdout))
    assert {name: int(count) for name, count in tried.items() if int(count) < 2} == {}
    assert set(tried) == {"journal", "import", "photo", "json", "form", "query", "cookie", "back-up"}
    steps = re.search(r"core: (\d+) steps", done.stdout)
    assert steps
    assert int(steps[1]) >= 150
    assert done.stdout.rstrip().endswith("verdict (seed 7): all held")


def test_what_goes_wrong_is_told_and_ends_with_1(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]):
    """The same script where a reader breaks: it must not say that all held."""
    script = runpy.run_path(str(SCRIPT))

    def breaks(*_: object) -> None:
        raise ZeroDivisionError("by the test")

    monkeypatch.setattr(Readers, "a_journal", breaks)

    code = script["main"](["readers", "--reader", "journal", "--inputs", "1"])

    said = capsys.readouterr().out
    assert code == 1
    assert "readers: journal 0: ZeroDivisionError: by the test" in said
    assert "verdict (seed 1): 1 faults" in said


def test_the_same_seed_gives_the_same_bytes():
    assert [some_bytes(Random(3), b"good" * 9) for _ in range(2)] == [some_bytes(Random(3), b"good" * 9)] * 2
    assert len({some_bytes(Random(seed), b"good" * 9) for seed in range(200)}) > 150

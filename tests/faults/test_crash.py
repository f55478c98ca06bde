"""The service killed while a booth trades: the same script as the long run, a few kills of it."""

from __future__ import annotations

import re
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]


@pytest.mark.skipif(sys.platform != "linux", reason="kill -9, and processes as Linux tells of them")
def test_a_service_that_is_killed_again_and_again_loses_nothing() -> None:
    done = subprocess.run(
        [sys.executable, ROOT / "scripts" / "crash.py", "--kills", "2", "--clients", "2", "--seed", "4"],
        cwd=ROOT, capture_output=True, text=True, timeout=500,
    )  # fmt: skip

    assert done.returncode == 0, done.stdout + done.stderr
    assert "nothing was lost" in done.stdout
    assert re.search(r"^[23] kills survived: ", done.stdout)
    acknowledged = re.search(r"by 2 clients: (\d+) acknowledged", done.stdout)
    assert acknowledged is not None
    assert int(acknowledged[1]) > 0

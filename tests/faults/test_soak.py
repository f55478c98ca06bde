"""Two short evenings at the demo's market by the script that plays a season: every page answers, nothing goes back."""

from __future__ import annotations

import re
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
PATIENCE_S = 300  # a busy machine takes its time; a quiet one needs about ten seconds
sys.path.insert(0, str(ROOT / "scripts"))

from soak import slope  # noqa: E402


def test_two_evenings_go_by_with_people_coming_and_going():
    asked = ["--days", "2", "--hours", "0.3", "--seed", "3"]

    done = subprocess.run(
        [sys.executable, str(ROOT / "scripts" / "soak.py"), *asked], capture_output=True, text=True, timeout=PATIENCE_S
    )

    assert done.returncode == 0, done.stdout + done.stderr
    assert re.search(r"^2 evenings, \d\d+ lines", done.stdout, re.MULTILINE), done.stdout
    assert done.stdout.endswith("Everything stayed flat.\n")


def test_the_slope_of_a_straight_line_is_that_of_a_worked_example():
    """y on x = 1…5; by hand: slope 0.6, standard error 0.2828, t(0.975, 3) = 3.1824 (any table of Student's t)."""
    found = slope([2.0, 4.0, 5.0, 4.0, 5.0])

    assert found == pytest.approx((0.6, 0.6 - 3.1824 * 0.2828, 0.6 + 3.1824 * 0.2828), abs=1e-3)

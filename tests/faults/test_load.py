"""A small hall of phones, some dropping and returning: whatever the machine does meanwhile, nothing is lost.

The same script measures five hundred; here it is asked what it counts, and no time.
"""

from __future__ import annotations

import re
import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
PATIENCE_S = 300  # a busy machine takes its time; a quiet one needs about fifteen seconds


def test_a_hall_that_comes_and_goes_loses_no_view_and_sees_none_older_than_it_says():
    asked = ["--only", "crowd", "--phones", "40", "--tickets", "12", "--taps", "3", "--seed", "7", "--short"]

    done = subprocess.run(
        [sys.executable, str(ROOT / "scripts" / "load.py"), *asked], capture_output=True, text=True, timeout=PATIENCE_S
    )

    assert done.returncode == 0, done.stdout + done.stderr
    assert "40 phones on 12 tickets (8 of them dropping and returning)" in done.stdout
    assert int(re.findall(r"they came back (\d+) times", done.stdout)[0]) > 0
    counted = re.findall(r"refused: (\d+);.*changed: (\d+); views lost: (\d+);.*going back: (\d+)", done.stdout)
    assert counted == [("0", "0", "0", "0")]
    assert "1.00 a phone" in done.stdout  # threads

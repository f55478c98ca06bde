"""Nothing is left of whoever was erased: every byte that a real service wrote is searched by `scripts/leftovers.py`.

OWASP ASVS 5.0, 14.2.7: personal data are deleted as the situation requires; here, to the last byte.
"""

from __future__ import annotations

import random
import subprocess
import sys
import zlib
from pathlib import Path

import pytest

from scripts.leftovers import forms, search, windows

SCRIPT = Path(__file__).resolve().parents[2] / "scripts" / "leftovers.py"
NAME = "Zoë O'Neill & <Sons>"


def test_nothing_is_left_of_whoever_was_erased_in_any_way() -> None:
    done = subprocess.run(
        [sys.executable, str(SCRIPT), "--people", "4"], capture_output=True, text=True, timeout=400, check=False
    )

    assert done.returncode == 0, done.stdout + done.stderr
    assert "1 erased by button, 1 by command, 1 by the day's close; 1 stay" in done.stdout
    assert done.stdout.rstrip().endswith("verdict: nothing is left")


@pytest.mark.parametrize("form", forms(NAME))
def test_the_search_finds_a_name_in_every_spelling_wherever_it_stands(tmp_path: Path, form: str) -> None:
    written = forms(NAME)[form]
    (tmp_path / "deep").mkdir()
    (tmp_path / "deep" / "file").write_bytes(bytes(4093) + written + bytes(11))

    looked = search(tmp_path, {"the name": (written, False), "another": (b"somebody else", False)}, [])

    assert looked.found == {"the name": {"deep/file"}}


def test_the_search_finds_a_picture_of_which_only_a_part_is_left(tmp_path: Path) -> None:
    chance = random.Random(7)
    picture = chance.randbytes(20_000)
    pieces = {f"piece {at}": (piece, False) for at, piece in enumerate(windows(picture, chance))}
    (tmp_path / "page").write_bytes(zlib.compress(b"nothing") + picture[9_000:15_000])

    looked = search(tmp_path, pieces, [])

    assert len(pieces) == 5
    assert 1 <= len(looked.found) < 5

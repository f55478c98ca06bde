"""SQLite's own locks hold whatever the service does with its file.

On POSIX, closing any descriptor of a file takes away all locks that the process has on it. A program beside the service
that closes the database then takes itself for the last one, deletes the write-ahead log, and what the service writes
from there on is lost (https://www.sqlite.org/howtocorrupt.html, section 2.2; from memory).
"""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest

from portraitq.store import backup, settings, trouble
from portraitq.store.store import FILE_NAME, open_store

LOOK_AND_CLOSE = (
    "import sqlite3, sys\nraw = sqlite3.connect(sys.argv[1])\n"
    "print(raw.execute('SELECT value FROM settings').fetchall())\nraw.close()"
)


def back_up(file: Path) -> None:
    backup.write(file, file.parent / "copy.sqlite3")


def say_what_is_wrong(file: Path) -> None:
    trouble._of_the_disk(file)


@pytest.mark.skipif(sys.platform == "win32", reason="locks are of descriptors there")
@pytest.mark.parametrize("meanwhile", [back_up, say_what_is_wrong], ids=["a back-up", "trouble told"])
def test_a_program_that_looks_into_a_store_leaves_the_log_to_the_service(
    tmp_path: Path, meanwhile: Callable[[Path], None]
) -> None:
    store = open_store(tmp_path)
    with store.writing() as connection:
        settings.put(connection, "before", "kept")

    meanwhile(tmp_path / FILE_NAME)
    subprocess.run([sys.executable, "-c", LOOK_AND_CLOSE, tmp_path / FILE_NAME], check=True, timeout=60)
    with store.writing() as connection:
        settings.put(connection, "after", "kept")

    seen = subprocess.run(
        [sys.executable, "-c", LOOK_AND_CLOSE, tmp_path / FILE_NAME],
        check=True, timeout=60, capture_output=True, text=True,
    )  # fmt: skip
    assert seen.stdout.count("kept") == 2
    store.close()

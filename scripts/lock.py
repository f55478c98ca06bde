"""Remakes the two lock files from `pyproject.toml`; run it with uv on PATH after a dependency changed.

    python3 scripts/lock.py                            what is pinned stays, what is new is added
    python3 scripts/lock.py --upgrade                  everything as new as pyproject.toml allows
    python3 scripts/lock.py --upgrade-package flask    only that one

`locked.txt` is for running, `locked-for-tests.txt` is the same pins and the tests' tools. Both hold for Linux, macOS
and Windows and for every Python from 3.11 on, each pin with its hashes. They name no index: where packages come from is
for the machine that installs them to say, and the hashes hold wherever that is. For the same reason this machine's own
settings of pip and uv are left out here.
"""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
OLDEST_PYTHON = "3.11"  # as `requires-python` says
RUNNING, TESTING = "scripts/locked.txt", "scripts/locked-for-tests.txt"


def main(wishes: list[str]) -> int:
    uv = shutil.which("uv")
    if not uv:
        sys.exit("uv is needed to remake the locks: `python3 -m pip install uv`, then run this again.")
    pin(uv, RUNNING, ["--group", "build", *wishes])
    pin(uv, TESTING, ["--group", "test", "--constraints", RUNNING, *wishes])
    return 0


def pin(uv: str, lock: str, wishes: list[str]) -> None:
    header = "# Remake with `python3 scripts/lock.py` (see there); it is made from pyproject.toml.\n"
    command = [uv, "--no-config", "--no-python-downloads", "pip", "compile", "pyproject.toml", "--universal"]
    command += ["--python-version", OLDEST_PYTHON, "--generate-hashes", "--no-header", "--quiet", "-o", lock, *wishes]
    subprocess.run(command, cwd=ROOT, env=without_own_settings(), check=True, stdout=subprocess.DEVNULL)
    path = ROOT / lock
    text = path.read_text("utf-8")
    if "://" in text:
        sys.exit(f"{lock} names an address. It must not; look where that comes from before you commit it.")
    path.write_text(header + text, "utf-8", newline="\n")
    print(f"{lock}: {sum(line[:1].isalnum() for line in text.splitlines())} pins")


def without_own_settings() -> dict[str, str]:
    return {name: value for name, value in os.environ.items() if not name.startswith(("UV_", "PIP_"))}


if __name__ == "__main__":
    raise SystemExit(main(sys.argv[1:]))

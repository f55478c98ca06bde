"""Programs of the system that tests ask for a second opinion."""

from __future__ import annotations

import os
import shutil

import pytest


def path_of(name: str) -> str:
    """Where that program is. Where it is missing, tests are skipped, but never where nobody would notice."""
    found = shutil.which(name)
    if found:
        return found
    missing = f"there is no {name} here: scripts/test.py installs it, or says how to"
    if os.environ.get("CI"):
        pytest.fail(missing)
    pytest.skip(missing)

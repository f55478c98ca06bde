"""The two lock files: whole, with hashes, naming no place, and true to pyproject.toml."""

from __future__ import annotations

import re
import tomllib
from typing import Any

import pytest
from packaging.requirements import Requirement
from packaging.utils import canonicalize_name
from packaging.version import Version

from scripts.environment import ROOT, RUNNING, TESTING

PROJECT: dict[str, Any] = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))
LOCKS = {name: (ROOT / name).read_text("utf-8") for name in (RUNNING, TESTING)}
PYTHONS = ("3.11", "3.12", "3.13", "3.14")
REMAKE = "remake the locks: python3 scripts/lock.py"


def pins(lock: str) -> list[tuple[Requirement, int]]:
    """Each pin, with how many hashes it has."""
    logical = re.sub(r"\\\n", " ", re.sub(r"(?m)^\s*#.*\n", "", lock)).splitlines()
    return [(Requirement(line.split(" --hash")[0]), line.count("--hash=sha256:")) for line in logical if line.strip()]


def asked_for(*groups: str) -> list[Requirement]:
    """What pyproject.toml asks for: to run, and for the groups named."""
    lines = list(PROJECT["project"]["dependencies"])
    for group in groups:
        lines += [line for line in PROJECT["dependency-groups"][group] if isinstance(line, str)]
    return [Requirement(line) for line in lines]


@pytest.mark.parametrize("name", LOCKS)
def test_every_line_pins_one_version_with_its_hashes(name: str) -> None:
    loose = [
        str(pin) for pin, hashes in pins(LOCKS[name]) if not re.fullmatch(r"==[\w.]+", str(pin.specifier)) or not hashes
    ]

    assert loose == []


@pytest.mark.parametrize("name", LOCKS)
def test_a_lock_names_no_index_and_no_place(name: str) -> None:
    told = re.findall(r"(?m)^.*(?:://|--(?!hash)\w|@ |^-[a-z]).*$", LOCKS[name])

    assert told == []


@pytest.mark.parametrize("python", PYTHONS)
@pytest.mark.parametrize(("name", "groups"), [(RUNNING, ("build",)), (TESTING, ("build", "test"))])
def test_a_lock_holds_all_that_the_project_asks_for(name: str, groups: tuple[str, ...], python: str) -> None:
    machine = {"python_version": python, "python_full_version": f"{python}.0", "sys_platform": "linux"}
    pinned = {
        canonicalize_name(pin.name): Version(str(pin.specifier).removeprefix("=="))
        for pin, _ in pins(LOCKS[name])
        if pin.marker is None or pin.marker.evaluate(machine)
    }

    missing = [
        str(asked)
        for asked in asked_for(*groups)
        if canonicalize_name(asked.name) not in pinned or pinned[canonicalize_name(asked.name)] not in asked.specifier
    ]

    assert missing == [], REMAKE


def test_tests_run_with_the_very_pins_that_the_booth_runs_with() -> None:
    running, testing = ({str(pin) for pin, _ in pins(LOCKS[name])} for name in (RUNNING, TESTING))

    assert running - testing == set(), REMAKE

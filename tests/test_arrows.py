"""Dependencies point one way: web → desk → (core, forecast, store); core and forecast know nothing of the outside.

Judged is what a module imports, wherever in it and however spelled, and what those of our own modules import in turn.
What is loaded for types alone counts as well.
"""

from __future__ import annotations

import ast
import subprocess
import sys
from collections.abc import Iterator
from functools import cache
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent
OUTSIDE = ("flask", "flask_socketio", "sqlalchemy", "time", "random", "secrets", "socket", "threading", "importlib",
           "portraitq.web", "portraitq.desk", "portraitq.store")  # fmt: skip
FORBIDDEN = {
    "portraitq.core": (*OUTSIDE, "portraitq.forecast"),
    "portraitq.forecast": OUTSIDE,
    "portraitq.store": ("flask", "flask_socketio", "portraitq.web", "portraitq.desk"),
    "portraitq.daybook": ("flask", "flask_socketio", "portraitq.web"),
    "portraitq.photo": ("flask", "flask_socketio", "sqlalchemy", "portraitq.web", "portraitq.desk", "portraitq.store"),
    "portraitq.ticket": ("flask", "flask_socketio", "sqlalchemy", "portraitq.web", "portraitq.desk", "portraitq.store"),
    "portraitq.desk": ("flask", "flask_socketio", "portraitq.web"),
}
LOADERS = {"import_module", "__import__", "find_spec"}


def modules_of(*parts: str) -> list[str]:
    """The full names of all modules of these packages, or these modules themselves."""
    return [module for part in parts for module in OURS if is_in(module, part)]


def is_in(module: str, part: str) -> bool:
    """Is `module` that part of the program, or inside it? `timing` is not in `time`."""
    return f"{module}.".startswith(f"{part}.")


def name_of(path: Path) -> str:
    """`portraitq/core/life.py` is `portraitq.core.life`, and a package is named for its folder."""
    parts = path.relative_to(ROOT).with_suffix("").parts
    return ".".join(parts[:-1] if parts[-1] == "__init__" else parts)


OURS = {name_of(path): path for path in sorted((ROOT / "portraitq").rglob("*.py"))}


def imports_of(module: str) -> frozenset[str]:
    """Every full dotted name that `module` imports."""
    return imports_at(OURS[module], module)


@cache
def imports_at(path: Path, module: str) -> frozenset[str]:
    """The same of what stands at `path`, which is read once."""
    return frozenset(imports_in(path.read_text("utf-8"), module, is_package=path.name == "__init__.py"))


def imports_in(source: str, module: str, *, is_package: bool = False) -> set[str]:
    """Every full dotted name that `source` imports, standing as `module`; relative ones resolved.

    >>> sorted(imports_in("from .. import store", "portraitq.core.life"))
    ['portraitq', 'portraitq.store']
    """
    package = module if is_package else module.rpartition(".")[0]
    return {name for node in ast.walk(ast.parse(source)) for name in named_by(node, package)}


def named_by(node: ast.AST, package: str) -> Iterator[str]:
    """The full names in one import statement, or in a call that loads a module by its name."""
    if isinstance(node, ast.Import):
        yield from (alias.name for alias in node.names)
    elif isinstance(node, ast.ImportFrom):
        above = package.split(".")[: len(package.split(".")) - node.level + 1] if node.level else []
        base = ".".join([*above, *([node.module] if node.module else [])])
        yield base
        yield from (f"{base}.{alias.name}" for alias in node.names)
    elif isinstance(node, ast.Call):
        called = node.func.attr if isinstance(node.func, ast.Attribute) else getattr(node.func, "id", "")
        if called in LOADERS:
            constant = [given.value for given in node.args if isinstance(given, ast.Constant)]
            yield str(constant[0]) if constant else "importlib"  # computed: whatever it is, it was loaded by name


def reached_from(module: str) -> set[str]:
    """Every name that `module` imports, and that those of our own modules import in turn."""
    reached: set[str] = set()
    ahead = [module]
    while ahead:
        for name in imports_of(ahead.pop()) - reached:
            reached.add(name)
            if name in OURS:
                ahead.append(name)
    return reached


def against_the_arrows(names: set[str], forbidden: tuple[str, ...]) -> list[str]:
    """Those of `names` that are forbidden."""
    return sorted(name for name in names if any(is_in(name, outside) for outside in forbidden))


@pytest.mark.parametrize("module", modules_of("portraitq.core", "portraitq.forecast"))
def test_the_core_and_the_forecast_import_nothing_of_the_outside(module: str) -> None:
    forbidden = FORBIDDEN["portraitq.core" if is_in(module, "portraitq.core") else "portraitq.forecast"]

    reached = against_the_arrows(reached_from(module), forbidden)

    assert reached == []


@pytest.mark.parametrize("part", [part for part in FORBIDDEN if part not in ("portraitq.core", "portraitq.forecast")])
def test_no_part_imports_what_stands_above_it(part: str) -> None:
    reached = {module: against_the_arrows(reached_from(module), FORBIDDEN[part]) for module in modules_of(part)}

    assert {module: names for module, names in reached.items() if names} == {}


def test_loading_the_whole_core_and_forecast_loads_nothing_of_the_outside() -> None:
    names = modules_of("portraitq.core", "portraitq.forecast")
    ask = f"import sys\nfor name in {names!r}: __import__(name)\nprint(*sys.modules)"

    loaded = set(subprocess.check_output([sys.executable, "-c", ask], cwd=ROOT, text=True).split())

    ours = {name for name in loaded if is_in(name, "portraitq")}
    web_or_database = {name for name in loaded if name in ("flask", "flask_socketio", "sqlalchemy")}
    assert web_or_database == set()
    assert against_the_arrows(ours, OUTSIDE) == []


@pytest.mark.parametrize(
    ("line", "named"),
    [
        ("import time", "time"),
        ("import os, time as clock", "time"),
        ("from time import monotonic", "time.monotonic"),
        ("import numpy.random, random", "random"),
        ("from random import Random as Chance", "random.Random"),
        ("import flask.globals", "flask.globals"),
        ("def later():\n    import sqlalchemy", "sqlalchemy"),
        ("if TYPE_CHECKING:\n    from sqlalchemy import Connection", "sqlalchemy.Connection"),
        ("try:\n    import portraitq.web.api\nexcept ImportError:\n    pass", "portraitq.web.api"),
        ("from portraitq import store", "portraitq.store"),
        ("from portraitq import desk as below", "portraitq.desk"),
        ("from .. import store", "portraitq.store"),
        ("from ..web import api", "portraitq.web.api"),
        ("from ..desk import *", "portraitq.desk"),
        ("importlib.import_module('time')", "time"),
        ("import_module('portraitq.store.journal')", "portraitq.store.journal"),
        ("__import__('flask')", "flask"),
        ("__import__(name)", "importlib"),
    ],
)
def test_the_guard_goes_red_on_every_spelling(line: str, named: str) -> None:
    refused = against_the_arrows(imports_in(line, "portraitq.core.life"), OUTSIDE)

    assert named in refused


def test_the_guard_goes_red_on_a_package_that_names_its_neighbour() -> None:
    refused = against_the_arrows(imports_in("from ..store import journal", "portraitq.core", is_package=True), OUTSIDE)

    assert refused == ["portraitq.store", "portraitq.store.journal"]


@pytest.mark.parametrize(
    "line",
    ["from datetime import time", "import timeit", "from numpy import random", "from . import timing", "x = time.now"],
)
def test_the_guard_lets_by_what_only_looks_alike(line: str) -> None:
    refused = against_the_arrows(imports_in(line, "portraitq.core.life"), OUTSIDE)

    assert refused == []


def test_the_guard_follows_an_import_through_our_own_modules(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "innocent.py").write_text("from portraitq import between")
    (tmp_path / "between.py").write_text("from portraitq.core import innocent\nimport sqlalchemy")
    ours = {"portraitq.core.innocent": tmp_path / "innocent.py", "portraitq.between": tmp_path / "between.py"}
    for name, path in ours.items():
        monkeypatch.setitem(OURS, name, path)

    refused = against_the_arrows(reached_from("portraitq.core.innocent"), OUTSIDE)

    assert refused == ["sqlalchemy"]

"""The wheel carries the package, its templates and its static files, and finds them where it was unpacked."""

from __future__ import annotations

import subprocess
import sys
import zipfile
from pathlib import Path

import pytest

from portraitq.paths import static, templates

ROOT = Path(__file__).resolve().parent.parent
LEFT_OUT = {"__pycache__", ".gitkeep"}


@pytest.fixture(scope="module")
def wheel(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The wheel as hatchling builds it from the checkout."""
    built = tmp_path_factory.mktemp("wheel")
    command = [sys.executable, "-m", "hatchling", "build", "-t", "wheel", "-d", str(built)]
    subprocess.run(command, cwd=ROOT, check=True, capture_output=True)
    return next(built.glob("*.whl"))


def files_under(folder: Path) -> list[str]:
    """All files under `folder`, relative to it, sorted."""
    return sorted(
        file.relative_to(folder).as_posix()
        for file in folder.rglob("*")
        if file.is_file() and not LEFT_OUT & {*file.relative_to(folder).parts}
    )


@pytest.mark.parametrize("folder", ["templates", "static"])
def test_the_wheel_carries_every_template_and_static_file(wheel: Path, folder: str) -> None:
    names = zipfile.ZipFile(wheel).namelist()

    carried = sorted(name.removeprefix(f"portraitq/{folder}/") for name in names if f"portraitq/{folder}/" in name)

    assert carried
    assert carried == files_under(ROOT / folder)


def test_the_wheel_carries_the_whole_package_and_nothing_beside_it(wheel: Path) -> None:
    names = zipfile.ZipFile(wheel).namelist()

    modules = sorted(name.removeprefix("portraitq/") for name in names if name.endswith(".py"))

    assert modules == [name for name in files_under(ROOT / "portraitq") if name.endswith(".py")]
    assert {name.split("/")[0] for name in names} == {"portraitq", wheel.name.split("-py3")[0] + ".dist-info"}


def test_an_unpacked_wheel_finds_its_own_templates_and_static_files(wheel: Path, tmp_path: Path) -> None:
    zipfile.ZipFile(wheel).extractall(tmp_path)
    ask = "import sys; sys.path.insert(0, sys.argv[1]); from portraitq.paths import *; print(templates(), static())"

    told = subprocess.check_output([sys.executable, "-I", "-c", ask, str(tmp_path)], text=True)

    assert told.split() == [str(tmp_path / "portraitq" / "templates"), str(tmp_path / "portraitq" / "static")]


def test_a_checkout_finds_them_beside_the_package() -> None:
    assert (templates(), static()) == (ROOT / "templates", ROOT / "static")


def test_every_page_is_made_where_gunicorn_is_not_installed_as_on_windows() -> None:
    ask = "import sys; sys.modules['gunicorn'] = None; import portraitq.web.app, portraitq.serve"

    subprocess.run([sys.executable, "-c", ask], cwd=ROOT, check=True)

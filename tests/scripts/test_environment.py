"""The environment of start.py and test.py: real ones, for a tiny project whose build needs nothing from outside."""

from __future__ import annotations

import json
import subprocess
import sys
import threading
from pathlib import Path

import pytest

from scripts import environment
from scripts.environment import MARK, RUNNING, TESTING, Holds, python_in, ready

BACKEND = '''
"""Builds tiny as an editable wheel by hand, so that no build tool has to be fetched."""
import os, zipfile

INFO = "tiny-1.dist-info"

def build_editable(directory, config_settings=None, metadata_directory=None):
    name = "tiny-1-py3-none-any.whl"
    with zipfile.ZipFile(os.path.join(directory, name), "w") as wheel:
        wheel.writestr("tiny.pth", os.getcwd())
        wheel.writestr(f"{INFO}/METADATA", "Metadata-Version: 2.1\\nName: tiny\\nVersion: 1\\n")
        wheel.writestr(f"{INFO}/WHEEL", "Wheel-Version: 1.0\\nRoot-Is-Purelib: true\\nTag: py3-none-any\\n")
        wheel.writestr(f"{INFO}/RECORD", f"tiny.pth,,\\n{INFO}/METADATA,,\\n{INFO}/WHEEL,,\\n{INFO}/RECORD,,\\n")
    return name
'''


@pytest.fixture
def root(tmp_path: Path) -> Path:
    """A project with two empty locks."""
    root = tmp_path / "a project"
    (root / "scripts").mkdir(parents=True)
    (root / "portraitq").mkdir()
    (root / RUNNING).write_text("# nothing\n")
    (root / TESTING).write_text("# nothing\n")
    (root / "backend.py").write_text(BACKEND)
    (root / "portraitq/__init__.py").write_text('"""Found through the editable install."""\n')
    (root / "pyproject.toml").write_text(
        '[build-system]\nrequires = []\nbuild-backend = "backend"\nbackend-path = ["."]\n'
        '[project]\nname = "tiny"\nversion = "1"\n'
    )
    return root


@pytest.fixture
def pips(monkeypatch: pytest.MonkeyPatch) -> list[tuple[str, ...]]:
    """What pip was asked, in order; it is really asked."""
    asked: list[tuple[str, ...]] = []
    real = environment.pip

    def noted(place: Path, *what: str) -> None:
        asked.append(what)
        real(place, *what)

    monkeypatch.setattr(environment, "pip", noted)
    return asked


@pytest.fixture
def no_installing(monkeypatch: pytest.MonkeyPatch) -> list[Path]:
    """Environments without pip and its second or two, for what is not about installing; the places made anew."""
    made: list[Path] = []

    def made_empty(place: Path) -> None:
        environment.clear(place)
        python_in(place).parent.mkdir(parents=True)
        python_in(place).touch()
        made.append(place)

    monkeypatch.setattr(environment, "make_empty", made_empty)
    monkeypatch.setattr(environment, "pip", lambda place, *what: None)
    return made


def test_an_environment_is_made_that_finds_the_project_and_the_second_run_installs_nothing(
    root: Path, tmp_path: Path, pips: list[tuple[str, ...]]
) -> None:
    first = ready(root=root)
    asked = list(pips)
    second = ready(root=root)

    assert first == second == python_in(root / ".venv")
    assert [what[0] for what in asked] == ["--require-hashes", "--no-deps"]
    assert pips == asked
    where = [str(first), "-I", "-c", "import portraitq; print(portraitq.__file__)"]
    assert subprocess.check_output(where, cwd=tmp_path, text=True).strip() == str(root / "portraitq/__init__.py")


def test_a_changed_project_is_installed_again_without_a_new_environment(root: Path, no_installing: list[Path]) -> None:
    ready(root=root)
    (root / "pyproject.toml").write_text("[project]\nname = 'other'\n")

    ready(root=root)

    assert len(no_installing) == 1


@pytest.mark.parametrize("lock", [RUNNING, TESTING])
def test_a_changed_lock_makes_the_environment_anew_so_that_nothing_unpinned_stays(
    root: Path, no_installing: list[Path], lock: str
) -> None:
    ready(root=root)
    left_behind = root / ".venv" / "no-longer-pinned.py"
    left_behind.touch()
    (root / lock).write_text("# something else\n")

    ready(root=root)

    assert len(no_installing) == 2
    assert not left_behind.exists()


def test_line_ends_that_git_changed_are_no_change(root: Path, no_installing: list[Path]) -> None:
    ready(root=root)
    (root / RUNNING).write_bytes((root / RUNNING).read_bytes().replace(b"\n", b"\r\n"))

    ready(root=root)

    assert len(no_installing) == 1


def test_what_tests_need_is_added_to_an_environment_and_serves_for_running_afterwards(
    root: Path, no_installing: list[Path], pips: list[tuple[str, ...]], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(environment, "pip", lambda place, *what: pips.append(what))

    ready(root=root)
    ready(root=root, for_tests=True)
    ready(root=root)

    assert len(no_installing) == 1
    assert [what[-1] for what in pips] == [str(root / RUNNING), str(root), str(root / TESTING)]


def test_an_environment_that_was_interrupted_is_made_anew(
    root: Path, no_installing: list[Path], monkeypatch: pytest.MonkeyPatch
) -> None:
    with monkeypatch.context() as meanwhile:
        meanwhile.setattr(environment, "pip", interrupted)
        with pytest.raises(KeyboardInterrupt):
            ready(root=root)

    ready(root=root)

    assert len(no_installing) == 2
    assert Holds(**json.loads((root / ".venv" / MARK).read_text())).root == str(root)


def test_one_that_was_interrupted_while_tests_tools_were_added_is_made_anew(
    root: Path, no_installing: list[Path], monkeypatch: pytest.MonkeyPatch
) -> None:
    ready(root=root)
    with monkeypatch.context() as meanwhile:
        meanwhile.setattr(environment, "pip", interrupted)
        with pytest.raises(KeyboardInterrupt):
            ready(root=root, for_tests=True)

    ready(root=root)

    assert len(no_installing) == 2


def interrupted(*_: object) -> None:
    raise KeyboardInterrupt


def test_an_environment_whose_python_is_gone_is_made_anew(root: Path, no_installing: list[Path]) -> None:
    ready(root=root)
    python_in(root / ".venv").unlink()

    ready(root=root)

    assert len(no_installing) == 2


def test_a_repository_that_was_moved_gets_an_environment_that_finds_it_there(
    root: Path, no_installing: list[Path]
) -> None:
    ready(root=root)
    moved = root.rename(root.with_name("elsewhere"))

    ready(root=moved)

    assert no_installing == [root / ".venv", moved / ".venv"]


def test_a_folder_that_these_scripts_did_not_make_is_left_as_it_is(root: Path) -> None:
    (root / ".venv").mkdir()
    (root / ".venv" / "letters.txt").write_text("dear")

    with pytest.raises(SystemExit, match=r"was not made by this script, so it is left as it is\. Move it away, or set"):
        ready(root=root)

    assert [file.name for file in (root / ".venv").iterdir()] == ["letters.txt"]


def test_the_environment_stands_where_portraitq_venv_says(
    root: Path, tmp_path: Path, no_installing: list[Path], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("PORTRAITQ_VENV", str(tmp_path / "deep" / "place"))

    ready(root=root)

    assert no_installing == [tmp_path / "deep" / "place"]
    assert not (root / ".venv").exists()


def test_a_place_that_cannot_be_written_is_named_with_what_to_do(root: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("PORTRAITQ_VENV", str(root / "pyproject.toml" / "inside"))

    with pytest.raises(
        SystemExit, match=r"pyproject\.toml cannot be written .*Set PORTRAITQ_VENV to a folder that can"
    ):
        ready(root=root)


@pytest.mark.parametrize("module", ["venv", "ensurepip"])
def test_a_python_without_environments_is_told_which_package_to_install(
    root: Path, monkeypatch: pytest.MonkeyPatch, module: str
) -> None:
    monkeypatch.setitem(sys.modules, module, None)

    with pytest.raises(SystemExit, match=rf"its module {module} is missing.*apt-get install python3-venv"):
        ready(root=root)

    assert not (root / ".venv").exists()


def test_a_failed_install_says_what_to_do_and_is_not_taken_for_a_whole_one(
    root: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (root / RUNNING).write_text("no-such-thing==1 --hash=sha256:" + "0" * 64 + "\n")
    monkeypatch.setenv("PIP_NO_INDEX", "1")

    with pytest.raises(SystemExit, match="Installing failed; pip says above why"):
        ready(root=root)

    assert environment.found_in(root / ".venv") is None


def test_two_runs_at_once_make_one_environment(root: Path, no_installing: list[Path]) -> None:
    together = threading.Barrier(4)

    def run() -> None:
        together.wait()
        ready(root=root)

    runs = [threading.Thread(target=run) for _ in range(4)]
    for one in runs:
        one.start()
    for one in runs:
        one.join()

    assert len(no_installing) == 1


def test_a_run_waits_for_another_process_and_goes_on_when_that_dies(root: Path, no_installing: list[Path]) -> None:
    other = subprocess.Popen(
        [sys.executable, "-c", HOLDER, str(environment.ROOT), str(root / ".venv")],
        stdout=subprocess.PIPE,
        stdin=subprocess.PIPE,
    )
    assert other.stdout is not None
    other.stdout.readline()
    waiting = threading.Thread(target=ready, kwargs={"root": root})
    waiting.start()
    waiting.join(0.3)
    waited = waiting.is_alive() and not no_installing

    other.kill()
    waiting.join(30)
    other.communicate()

    assert waited
    assert no_installing == [root / ".venv"]


HOLDER = """
import sys
from pathlib import Path
sys.path.insert(0, sys.argv[1])
from scripts.environment import alone_at
with alone_at(Path(sys.argv[2])):
    print("held", flush=True)
    sys.stdin.read()
"""

"""start.py and test.py from outside: what they hand on, and what they say when they cannot."""

from __future__ import annotations

import ast
import os
import signal
import subprocess
import sys
import textwrap
from pathlib import Path

import pytest

from scripts import environment

SCRIPTS = environment.ROOT / "scripts"
BY_HAND = {"start.py", "test.py"}
OLDEST_PARSED = (3, 6)  # a Python so old shall still read far enough to say the sentence


def run(script: str, *, first: str = "", environ: dict[str, str] | None = None, arguments: tuple[str, ...] = ()) -> str:
    """What `script` says on stderr and stdout, after the lines `first` were run in its own process."""
    whole = f"import runpy, sys\nsys.path.insert(0, {str(SCRIPTS)!r})\n{textwrap.dedent(first)}\n"
    whole += (
        f"sys.argv = [{script!r}, *{arguments!r}]\nrunpy.run_path({str(SCRIPTS / script)!r}, run_name='__main__')\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", whole], capture_output=True, text=True, env={**os.environ, **(environ or {})}
    )
    return f"{done.returncode}: {done.stdout}{done.stderr}"


PLACES_ARGUMENTS = """
import environment
environment.ready = lambda **asked: "PYTHON"
environment.become = lambda python, *arguments: print(python, *arguments) or 7
"""


@pytest.mark.parametrize(
    ("given", "asked"),
    [
        ((), "serve"),
        (("--port", "0"), "serve --port 0"),
        (("serve", "--port", "0"), "serve --port 0"),
        (("demo", "--port", "0"), "demo --port 0"),
        (("--help",), "serve --help"),
    ],
)
def test_start_goes_on_as_the_service_or_the_demo_and_hands_on_the_exit_code(
    given: tuple[str, ...], asked: str
) -> None:
    said = run("start.py", first=PLACES_ARGUMENTS, arguments=given)

    assert said == f"7: PYTHON -P -m portraitq {asked}\n"


@pytest.mark.parametrize("script", sorted(BY_HAND))
def test_an_older_python_is_answered_with_a_sentence(script: str) -> None:
    said = run(script, first="sys.version_info = (3, 10, 4); sys.version = '3.10.4 (main)'")

    assert said.startswith("1: portraitq needs Python 3.11 or newer, and this is 3.10.4 (")
    assert "Traceback" not in said


@pytest.mark.parametrize("script", sorted(BY_HAND))
def test_an_older_python_can_read_as_far_as_that_sentence(script: str) -> None:
    tree = ast.parse((SCRIPTS / script).read_text("utf-8"), feature_version=OLDEST_PARSED)

    body = [type(node).__name__ for node in tree.body[:3]]
    future = [node for node in tree.body if isinstance(node, ast.ImportFrom) and node.module == "__future__"]

    assert body == ["Expr", "Import", "If"]
    assert future == []


@pytest.mark.parametrize("script", [*sorted(BY_HAND), "environment.py", "lock.py"])
def test_the_scripts_need_nothing_but_the_standard_library(script: str) -> None:
    tree = ast.parse((SCRIPTS / script).read_text("utf-8"))

    imported = {
        name.split(".")[0]
        for node in ast.walk(tree)
        for name in (
            [alias.name for alias in node.names]
            if isinstance(node, ast.Import)
            else [node.module or ""]
            if isinstance(node, ast.ImportFrom)
            else []
        )
    }

    assert imported - set(sys.stdlib_module_names) <= {"environment"}


def test_an_interrupt_before_the_environment_stands_is_told_in_a_sentence() -> None:
    first = "import environment\ndef ready(**asked): raise KeyboardInterrupt\nenvironment.ready = ready"

    said = run("start.py", first=first)

    assert said == "1: Interrupted before the environment stood. Run this again, and it is made anew.\n"


@pytest.mark.skipif(os.name == "nt", reason="Windows has no going on as another program")
def test_going_on_keeps_the_process_so_that_ctrl_c_is_the_services_own() -> None:
    service = "import os, time; print(os.getpid(), flush=True); time.sleep(60)"
    heeds = "import signal; signal.signal(signal.SIGINT, signal.default_int_handler)"  # a shell's & makes it deaf
    whole = f"{heeds}; import environment, sys; sys.exit(environment.become(sys.executable, '-c', {service!r}))"
    started = subprocess.Popen(
        [sys.executable, "-c", whole], cwd=SCRIPTS, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
    )
    assert started.stdout is not None

    own = int(started.stdout.readline())
    started.send_signal(signal.SIGINT)
    started.communicate()

    assert own == started.pid
    assert started.returncode == -signal.SIGINT


STEPS = """
import environment, subprocess
environment.ready = lambda **asked: sys.executable
real = subprocess.run
def ran(command, **how):
    if command[0] == "apt-get":
        return real(command, **how)
    line = " ".join(["ran", *command[2:4]])
    print(chr(10) + line + chr(10), end="", flush=True)  # in one piece and a line of its own: two threads run these
    return subprocess.CompletedProcess(command, int(command[2] in FAILING))
subprocess.run = ran
"""


@pytest.mark.parametrize(
    ("failing", "ends"),
    [
        ((), "ran pytest -n"),
        (("ruff",), "Not green: lint, format."),
        (("mypy", "pytest"), "Not green: types, tests."),
    ],
)
def test_every_step_is_run_and_the_end_tells_which_failed(failing: tuple[str, ...], ends: str, tmp_path: Path) -> None:
    first = f"FAILING = {failing!r}\n{STEPS}\nsys.stderr = sys.stdout"

    said = run("test.py", first=first, environ={"PATH": str(tmp_path), "PORTRAITQ_CHROMIUM": sys.executable})

    assert said.startswith("1: " if failing else "0: ")
    assert said.rstrip().endswith(ends)
    ran = [line for line in said.splitlines() if line.startswith("ran ")]
    ran.remove("ran pytest --collect-only")  # beside the others, at any time before the tests
    assert ran == [
        "ran ruff check",
        "ran ruff format",
        "ran mypy",
        "ran pytest -n",
    ]


def test_without_chromium_the_sentence_says_what_to_install_and_the_run_is_not_green(tmp_path: Path) -> None:
    first = f"FAILING = ()\n{STEPS}\nfrom pathlib import Path\nPath.is_file = lambda path: False"

    said = run("test.py", first=first, environ={"PATH": str(tmp_path), "PORTRAITQ_CHROMIUM": ""})

    assert said.startswith("1: ")
    assert "sudo apt-get install chromium" in said
    assert "Not green: browser." in said
    assert "npm was not found" in said
    assert "Not found: exiftool, heif-convert." in said
    assert "libimage-exiftool-perl and libheif-examples" in said


@pytest.mark.skipif(os.name == "nt", reason="Windows has no apt-get")
@pytest.mark.parametrize(
    ("there_is", "asked_for"),
    [
        ("chromium-headless-shell", ["chromium-headless-shell"]),
        ("chromium", ["chromium-headless-shell", "chromium"]),
    ],
)
def test_who_may_install_system_packages_gets_chromium_from_them(
    there_is: str, asked_for: list[str], tmp_path: Path
) -> None:
    packages = tmp_path / "apt-get"
    none = f'[ "$4" != chromium-headless-shell ] || [ "$4" = {there_is} ] || exit 100'
    install = f'[ "$2" = update ] || /bin/cp /bin/true "{tmp_path}/$4"'
    packages.write_text(f"#!/bin/sh\necho asked $@ >&2\n{none}\n{install}\n")
    packages.chmod(0o755)
    first = f"FAILING = ()\n{STEPS}\nimport os\nfrom pathlib import Path\n"
    first += "Path.is_file = lambda path: False\nos.geteuid = lambda: 0"

    said = run("test.py", first=first, environ={"PATH": str(tmp_path), "PORTRAITQ_CHROMIUM": ""})

    assert said.startswith("0: ")
    lines = said.splitlines()
    assert [line.split()[-1] for line in lines if line.startswith("asked -q install -y chromium")] == asked_for
    assert "asked -q update\nasked -q install -y libimage-exiftool-perl libheif-examples\n" in said
    assert f"Browser: {tmp_path}/{there_is}" in said


def test_a_chromium_that_is_named_but_not_there_is_refused(tmp_path: Path) -> None:
    said = run("test.py", first=f"FAILING = ()\n{STEPS}", environ={"PORTRAITQ_CHROMIUM": str(tmp_path / "nowhere")})

    assert said.startswith("1: PORTRAITQ_CHROMIUM names ")
    assert "nowhere, which is no program here. Mend it or unset it." in said


@pytest.mark.skipif(os.name == "nt", reason="Windows knows no executable bit")
def test_machines_run_the_same_tests_as_people() -> None:
    machines = environment.ROOT / ".ci" / "run"

    assert os.access(machines, os.X_OK)
    assert machines.read_text("utf-8").rstrip().endswith("exec python3 scripts/test.py")

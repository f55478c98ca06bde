#!/usr/bin/env python3
"""Everything a change must pass: lint, format, types, all tests and the examples in docstrings.

python3 scripts/test.py                          all of it
python3 scripts/test.py tests/core -k held       what follows goes to pytest; lint, format and types are checked as well

Installs what tests need first: the environment (see environment.py), and, where the system's packages may be installed,
Chromium, PostgreSQL and the programs that read photos independently of us. All steps run even after one has failed; the
exit code is 0 only when none has. When all is well the last line is pytest's.
"""

import sys

if sys.version_info < (3, 11):  # noqa: UP036  (whoever has an older one shall read a sentence, not a SyntaxError)
    sys.exit(
        f"portraitq needs Python 3.11 or newer, and this is {sys.version.split()[0]} ({sys.executable}). "
        "Install a newer one from your system's packages or from python.org, and run this with it."
    )

import os
import shutil
import subprocess
import threading
import time
from pathlib import Path

import environment

LINT, FORMAT, TYPES, TESTS = "lint", "format", "types", "tests"
SHELL = (
    "chromium-headless-shell"  # Chromium without the frame of a desktop program: two fifths less work in these tests
)
ON_PATH = (SHELL, "chromium", "chromium-browser", "google-chrome", "google-chrome-stable", "chrome", "msedge")
ELSEWHERE = (
    "/usr/bin/chromium",
    "/Applications/Chromium.app/Contents/MacOS/Chromium",
    "/Applications/Google Chrome.app/Contents/MacOS/Google Chrome",
    r"C:\Program Files\Google\Chrome\Application\chrome.exe",
    r"C:\Program Files (x86)\Google\Chrome\Application\chrome.exe",
    r"C:\Program Files (x86)\Microsoft\Edge\Application\msedge.exe",
)
NO_CHROMIUM = (
    "The tests that use a browser need Chromium, and none was found. Install it (Debian, Ubuntu, Raspberry Pi OS: "
    "`sudo apt-get install chromium`; Fedora: `sudo dnf install chromium`; macOS: `brew install --cask chromium`; "
    "Windows: Chrome or Edge will do), or set PORTRAITQ_CHROMIUM to its path."
)
POSTGRESQL = "/usr/lib/postgresql"  # Debian keeps each version's programs to itself, off the path
NO_POSTGRESQL = (
    "PostgreSQL was not found: what checks a booth on a database server is skipped. Install it (Debian, Ubuntu, "
    "Raspberry Pi OS: `sudo apt-get install postgresql`; Fedora: `sudo dnf install postgresql-server`; macOS: "
    "`brew install postgresql`); the tests start a server of their own."
)
READERS = {"exiftool": "libimage-exiftool-perl", "heif-convert": "libheif-examples"}  # a program, and its package


def main(arguments: "list[str]") -> int:
    python = environment.ready(for_tests=True)
    failed = []
    chromium = found_chromium() or installed_chromium()
    if chromium:
        os.environ["PORTRAITQ_CHROMIUM"] = chromium
        environment.say(f"Browser: {chromium}")
    else:
        environment.say(NO_CHROMIUM)
        failed.append("browser")
    missing = [program for program in READERS if not shutil.which(program)]
    if missing and not installed(*(READERS[program] for program in missing)):
        environment.say(
            f"Not found: {', '.join(missing)}. What checks kept photos by them is skipped. Debian's packages are "
            f"{' and '.join(READERS[program] for program in missing)}."
        )
    if not has_postgresql() and not (installed("postgresql") and has_postgresql()):
        environment.say(NO_POSTGRESQL)
    if not shutil.which("npm"):
        environment.say("npm was not found: the test with Socket.IO's own JavaScript client is skipped.")
    os.environ.pop("PYTHONDONTWRITEBYTECODE", None)  # else everything is compiled anew by every process, some 200 times
    compiling = threading.Thread(target=compile_tests, args=([str(python), "-m"], arguments))
    compiling.start()
    for name, command in steps(arguments):
        if name == TESTS:
            compiling.join()
        if not passes(name, [str(python), "-m", *command]):
            failed.append(name)
    if failed:
        environment.say(f"\nNot green: {', '.join(failed)}.")
    return 1 if failed else 0


def steps(arguments: "list[str]") -> "list[tuple[str, list[str]]]":
    """Each step's name and the module with its arguments, the tests last."""
    # A file stays on one worker, so that its server and its browser are started once. Many tests wait for a hand or a
    # line, so there are more workers than cores; in the order of their names, so that the longest do not come last.
    several = str(min(8, 3 * (os.cpu_count() or 1)))
    workers = ["-n", several, "--dist", "loadfile", "--no-loadscope-reorder"]
    return [
        (LINT, ["ruff", "check", "."]),
        (FORMAT, ["ruff", "format", "--check", "."]),
        (TYPES, ["mypy"]),
        (TESTS, ["pytest", *workers, *arguments]),
    ]


def compile_tests(run: "list[str]", arguments: "list[str]") -> None:
    """Has pytest read the tests once, beside lint and types: every worker reads all of them, and compiled ones sooner.

    What it finds wrong is told when they are run.
    """
    collect = [*run, "pytest", "--collect-only", "-qq", *arguments]
    subprocess.run(collect, cwd=environment.ROOT, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)


def passes(name: str, command: "list[str]") -> bool:
    """Runs one step; says what it is, and how long it took unless it is the last."""
    environment.say(f"\n==> {name}: {' '.join(command[2:])}")
    began_s = time.monotonic()
    passed = subprocess.run(command, cwd=environment.ROOT).returncode == 0
    if name != TESTS:  # pytest's own closing line says it, and stays the last
        environment.say(f"{'passed' if passed else 'FAILED'} in {time.monotonic() - began_s:.1f} s")
    return passed


def found_chromium() -> "str | None":
    """The path of a Chromium, or of a relative that serves; PORTRAITQ_CHROMIUM is believed first."""
    named = os.environ.get("PORTRAITQ_CHROMIUM")
    if named:
        if not shutil.which(named):
            sys.exit(f"PORTRAITQ_CHROMIUM names {named}, which is no program here. Mend it or unset it.")
        return named
    on_path = (shutil.which(name) for name in ON_PATH)
    elsewhere = (path for path in ELSEWHERE if Path(path).is_file())
    return next(filter(None, (*on_path, *elsewhere)), None)


def installed_chromium() -> "str | None":
    """Chromium out of the system's packages, where we may install them and there is one; else None."""
    return found_chromium() if any(installed(package) for package in (SHELL, "chromium")) else None


def has_postgresql() -> bool:
    """Whether a server can be made and run."""
    return bool(shutil.which("initdb") or list(Path(POSTGRESQL).glob("*/bin/initdb")))


def installed(*packages: str) -> bool:
    """Whether these packages of the system were installed now; False where we may not."""
    if not shutil.which("apt-get") or os.geteuid() != 0:
        return False
    environment.say(f"Installing what tests need: apt-get install {' '.join(packages)}")
    quietly = {**os.environ, "DEBIAN_FRONTEND": "noninteractive"}
    done = True
    for command in (["apt-get", "-q", "update"], ["apt-get", "-q", "install", "-y", *packages]):
        done = subprocess.run(command, env=quietly, stdout=sys.stderr).returncode == 0
        if not done:
            environment.say(f"`{' '.join(command)}` failed; it says above why.")
    return done


if __name__ == "__main__":
    try:
        sys.exit(main(sys.argv[1:]))
    except KeyboardInterrupt:
        sys.exit("Interrupted.")

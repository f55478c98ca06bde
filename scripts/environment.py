"""The virtual environment that start.py and test.py run in: is it there, is it whole, and if not, make it so.

Standard library only, since nothing else is there before it. The environment is `.venv` beside this folder, or the
folder that PORTRAITQ_VENV names. It holds what the lock files pin, each file checked against its hash, and the project
itself as an editable install. A mark in it says what it holds. The mark is emptied before anything is changed and
written last, so that an environment which was interrupted half way is known as such and made anew.
"""

from __future__ import annotations

import contextlib
import hashlib
import importlib.util
import json
import os
import shutil
import subprocess
import sys
import time
from collections.abc import Iterator
from dataclasses import asdict, dataclass, replace
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
RUNNING, TESTING = "scripts/locked.txt", "scripts/locked-for-tests.txt"  # the second holds all of the first
PROJECT = ("pyproject.toml", "portraitq/__init__.py")  # what an editable install is made from: names and the version
MARK = "portraitq-holds.json"
PIP_ELSEWHERE = ("PIP_TARGET", "PIP_PREFIX", "PIP_ROOT")  # would have pip install outside the environment
LOOK_AGAIN_S = 0.2  # how often to look whether another run has let go of the environment


@dataclass(frozen=True)
class Holds:
    """What an environment holds. Where `root`, `python` or `locks` differ it is made anew, else only added to."""

    root: str
    python: str
    locks: str
    project: str
    for_tests: bool


def ready(*, for_tests: bool = False, root: Path = ROOT, place: Path | None = None) -> Path:
    """The Python of an environment that holds all that `root` asks for; made or mended first where it must be.

    Raises SystemExit with a sentence on what to do when it cannot be made.
    """
    place = place or chosen_place(root)
    wanted = asked_for(root, for_tests=for_tests)
    if serves(found_in(place), wanted, place):
        return python_in(place)
    with alone_at(place):
        if not serves(found := found_in(place), wanted, place):  # the run that we waited for may have made it
            bring_up_to(wanted, found, place)
    return python_in(place)


def chosen_place(root: Path) -> Path:
    """The folder that PORTRAITQ_VENV names, else `.venv` in the repository."""
    return Path(os.environ.get("PORTRAITQ_VENV") or root / ".venv").expanduser().absolute()


def asked_for(root: Path, *, for_tests: bool) -> Holds:
    """What an environment for `root` and the Python that runs now must hold."""
    python = f"{sys.implementation.name} {sys.version_info.major}.{sys.version_info.minor}"
    return Holds(str(root), python, fingerprint(root, RUNNING, TESTING), fingerprint(root, *PROJECT), for_tests)


def found_in(place: Path) -> Holds | None:
    """What the environment at `place` holds by its mark; None where there is none, or an unfinished one."""
    try:
        return Holds(**json.loads((place / MARK).read_text("utf-8")))
    except (OSError, ValueError, TypeError):  # absent, emptied or of another version of this file: to be made anew
        return None


def serves(found: Holds | None, wanted: Holds, place: Path) -> bool:
    """Is nothing left to do? An environment for tests also serves for running."""
    if found is None or not python_in(place).exists():
        return False
    return replace(found, for_tests=wanted.for_tests) == wanted and found.for_tests >= wanted.for_tests


def bring_up_to(wanted: Holds, found: Holds | None, place: Path) -> None:
    """Makes the environment at `place` hold what is `wanted`, out of what was `found` in it."""
    began_s = time.monotonic()
    root = Path(wanted.root)
    kept = found if found and may_stay(found, wanted) and python_in(place).exists() else None
    if kept is None:
        make_empty(place)
    open_mark(place)
    if kept is None or wanted.for_tests > kept.for_tests:
        lock = TESTING if wanted.for_tests else RUNNING
        say(f"Installing what {lock} pins; the first time this downloads it and takes a minute or two.")
        pip(place, "--require-hashes", "--no-deps", "-r", str(root / lock))
    if kept is None or wanted.project != kept.project:
        pip(place, "--no-deps", "--no-build-isolation", "-e", str(root))
    for_tests = wanted.for_tests or (kept is not None and kept.for_tests)
    close_mark(place, replace(wanted, for_tests=for_tests))
    say(f"The environment stands, after {time.monotonic() - began_s:.0f} s: {place}")


def may_stay(found: Holds, wanted: Holds) -> bool:
    """Is it enough to add to what was found? What a lock no longer pins would stay behind in an old environment."""
    return (found.root, found.python, found.locks) == (wanted.root, wanted.python, wanted.locks)


def make_empty(place: Path) -> None:
    """A new virtual environment with nothing but pip at `place`, in the stead of one that was made here before."""
    refuse_without_venv()
    clear(place)
    say(f"Making a virtual environment in {place}")
    outside = getattr(sys, "_base_executable", sys.executable)  # ours may have been inside `place`
    if subprocess.run([outside, "-I", "-m", "venv", str(place)], stdout=sys.stderr, close_fds=False).returncode:
        raise SystemExit(f"The virtual environment could not be made in {place}; the reason stands above.")


def clear(place: Path) -> None:
    """An empty folder but for the opened mark; only what these scripts made is ever removed."""
    if place.exists() and not place.is_dir():
        raise SystemExit(f"{place} is not a folder. Move it away, or set PORTRAITQ_VENV to a new folder.")
    if place.is_dir() and any(place.iterdir()) and not (place / MARK).exists():
        raise SystemExit(
            f"{place} was not made by this script, so it is left as it is. "
            "Move it away, or set PORTRAITQ_VENV to a new folder."
        )
    try:
        place.mkdir(parents=True, exist_ok=True)
        open_mark(place)
        for old in place.iterdir():
            if old.is_dir() and not old.is_symlink():
                shutil.rmtree(old)
            elif old.name != MARK:
                old.unlink()
    except OSError as wrong:
        raise SystemExit(
            f"{place} could not be made anew ({wrong}). If portraitq is running out of it, stop that first."
        ) from wrong


def refuse_without_venv() -> None:
    """Debian and its relatives ship Python without the two modules that make environments."""
    for module in ("venv", "ensurepip"):
        if importlib.util.find_spec(module) is None:
            raise SystemExit(
                f"{sys.executable} cannot make virtual environments: its module {module} is missing. "
                "On Debian, Ubuntu or Raspberry Pi OS install it with `sudo apt-get install python3-venv`; "
                "elsewhere install Python from python.org. Then run this again."
            )


def pip(place: Path, *what: str) -> None:
    """Installs into the environment; where packages come from is as this machine's own settings of pip say."""
    command = [str(python_in(place)), "-I", "-m", "pip", "install", "--quiet", "--no-input", *what]
    settings = {
        name: value for name, value in os.environ.items() if name not in ("PIP_TARGET", "PIP_PREFIX", "PIP_ROOT")
    }
    settings |= {"PIP_USER": "0", "PIP_DISABLE_PIP_VERSION_CHECK": "1"}  # into the environment, and nowhere else
    if subprocess.run(command, env=settings, stdout=sys.stderr, close_fds=False).returncode:
        raise SystemExit(
            "Installing failed; pip says above why. Most often it is the network: once that is mended run this again, "
            "and it begins anew."
        )


def python_in(place: Path) -> Path:
    """The Python of the environment at `place`, whether it is there or not."""
    return place / "Scripts" / "python.exe" if os.name == "nt" else place / "bin" / "python"


def open_mark(place: Path) -> None:
    """From here on the environment is unfinished."""
    (place / MARK).write_text("{}", "utf-8")


def close_mark(place: Path, holds: Holds) -> None:
    """From here on the environment is whole."""
    done = place / f"{MARK}.new"
    done.write_text(json.dumps(asdict(holds)), "utf-8")
    done.replace(place / MARK)


def fingerprint(root: Path, *names: str) -> str:
    """SHA-256 over files of the repository; line ends as git may have changed them do not count."""
    whole = hashlib.sha256()
    for name in names:
        whole.update((root / name).read_bytes().replace(b"\r\n", b"\n") + b"\0")
    return whole.hexdigest()


@contextlib.contextmanager
def alone_at(place: Path) -> Iterator[None]:
    """Holds other runs off `place` meanwhile; a run that dies lets go by itself."""
    beside = place.with_name(f"{place.name}.lock")
    try:
        beside.parent.mkdir(parents=True, exist_ok=True)
        file = beside.open("a")
    except OSError as wrong:
        raise SystemExit(
            f"{beside.parent} cannot be written ({wrong.strerror}). Set PORTRAITQ_VENV to a folder that can."
        ) from wrong
    with file:
        os.set_inheritable(file.fileno(), True)  # a pip that outlives a killed run holds others off as well
        if not taken(file.fileno()):
            say(f"Another run is making the environment in {place}; waiting for it.")
            while not taken(file.fileno()):
                time.sleep(LOOK_AGAIN_S)
        yield


def taken(file: int) -> bool:
    """Takes the lock on an open file, which ends with the file; False when another has it."""
    try:
        if sys.platform == "win32":
            import msvcrt

            msvcrt.locking(file, msvcrt.LK_NBLCK, 1)
        else:
            import fcntl

            fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except (BlockingIOError, PermissionError):
        return False
    return True


def become(python: Path, *arguments: str) -> int:
    """Goes on as `python` with these arguments, so that Ctrl-C and the exit code are its own.

    Windows has no going on as another program: there it is run, and its exit code returned.
    """
    command = [str(python), *arguments]
    sys.stdout.flush()
    sys.stderr.flush()
    if os.name != "nt":
        os.execv(command[0], command)
    child = subprocess.Popen(command)
    while True:
        try:
            return child.wait()
        except KeyboardInterrupt:  # it went to the child too, which ends in its own way
            continue


def say(sentence: str) -> None:
    """To stderr: stdout is the program's."""
    print(sentence, file=sys.stderr, flush=True)

"""Kills the service again and again while a booth trades, and looks each time whether anything was lost.

    .venv/bin/python scripts/crash.py --kills 300 --seed 1         the long form
    .venv/bin/python scripts/crash.py --kills 4 --clients 3        the short form of the tests
    .venv/bin/python scripts/crash.py --database postgresql://…    on a server, in a database that is empty

It starts the real service (`python -m portraitq serve`) on a folder of its own; clients order with photos, draw, pause,
pay, hand over, erase and change the set-up over HTTP, as fast as they are answered. At random moments everything is
killed with SIGKILL, or the serving process alone, or the one that watches over it; also while it starts, while photos
come in, while something is erased, and while `portraitq backup` runs. Whatever was not answered is sent again with the
same id. After each kill `crash_found.py` compares the store with what the clients were told. On a database server no
back-ups are made and no files searched, for both are the server's own.

All traffic stays on 127.0.0.1 and ends with the last kill. Exit code 0 when all held, 1 with a sentence for each fault.

How long it takes hangs on the starts, each of which reads the whole journal; `--minutes` bounds it. Most starts are
forks of an interpreter that has loaded the program already; every eighth one is a new interpreter. A kill is not a
power cut: for that there is tests/faults/test_power_cut.py.
"""

from __future__ import annotations

import argparse
import os
import runpy
import shutil
import signal
import socket
import statistics
import subprocess
import sys
import tempfile
import time
import urllib.error
import urllib.request
from collections import Counter
from collections.abc import Callable
from contextlib import suppress
from datetime import UTC, datetime
from json import load
from pathlib import Path
from random import Random
from typing import Any

HERE = Path(__file__).resolve().parent
sys.path[:0] = [str(HERE.parent), str(HERE)]

from crash_clients import SLUG, STAGES, STYLE, Client, Gate  # noqa: E402
from crash_found import Found  # noqa: E402

from portraitq.core.life import DRAWING  # noqa: E402
from portraitq.store import devices  # noqa: E402
from portraitq.store.store import open_store  # noqa: E402

UP_WITHIN_S = 120.0  # a busy machine takes its time
DOWN_WITHIN_S = 30.0
LONGEST_TRADE_S = 1.2  # the kill comes at random before that
SANE_S = 26 * 3600.0  # while the day is closed, the next one begins within 24 hours; these portraits take minutes
MID_START = ", and once more in mid-start"
HOW = ("everything", "the serving process", "the watching process", f"everything{MID_START}")
HOW_OFTEN = (10, 3, 2, 3)


class Nursery:
    """A process that has loaded the program and forks one for each command line."""

    def __init__(self, said: Path) -> None:
        self._ours, theirs = socket.socketpair()
        self.pid = os.fork()
        if not self.pid:
            self._ours.close()
            try:
                _serve_forks(theirs, said)
            finally:
                os._exit(0)
        theirs.close()

    def start(self, *words: str) -> int:
        """Run `portraitq WORDS` as a session of its own; its process id."""
        self._ours.sendall("\0".join(words).encode() + b"\n")
        return int(self._ours.makefile().readline())

    def close(self) -> None:
        """End it; what it started goes on."""
        self._ours.close()
        os.waitpid(self.pid, 0)


def _serve_forks(line: socket.socket, said: Path) -> None:
    import portraitq.cli
    import portraitq.serve  # noqa: F401

    signal.signal(signal.SIGINT, signal.SIG_IGN)
    signal.signal(signal.SIGCHLD, signal.SIG_IGN)  # whoever ended leaves no zombie
    orders = line.makefile()
    while words := orders.readline().rstrip("\n"):
        pid = os.fork()
        if not pid:
            _become(words.split("\0"), said)
        line.sendall(f"{pid}\n".encode())


def _become(words: list[str], said: Path) -> None:
    """This process is from now on `python -m portraitq WORDS`."""
    code = 1
    try:
        os.setsid()
        signal.signal(signal.SIGCHLD, signal.SIG_DFL)
        signal.signal(signal.SIGINT, signal.default_int_handler)
        out = os.open(said, os.O_WRONLY | os.O_CREAT | os.O_APPEND, 0o600)
        os.dup2(os.open(os.devnull, os.O_RDONLY), 0)
        os.dup2(out, 1)
        os.dup2(out, 2)
        sys.argv = ["portraitq", *words]
        runpy.run_module("portraitq", run_name="__main__", alter_sys=True)
    except SystemExit as ended:
        code = ended.code if isinstance(ended.code, int) else int(ended.code is not None)
    finally:
        os._exit(code)


class Service:
    """The service on one folder and port, killed and started anew."""

    def __init__(self, folder: Path, nursery: Nursery, database: str | None) -> None:
        self.data, self.said = folder / "data", folder / "said.txt"
        self.where: Path | str = database or self.data
        self.store = ("--database", database) if database else ("--data", str(self.data))
        self.starts = 0
        self.up_after_s: list[float] = []
        self.leader = 0
        self._nursery = nursery
        with socket.socket() as asking:
            asking.bind(("127.0.0.1", 0))
            self.port: int = asking.getsockname()[1]

    def start(self) -> None:
        """Begin a start; `wait_until_up` sees it through."""
        words = ("serve", *self.store, "--host", "127.0.0.1", "--port", str(self.port))
        self.starts += 1
        if self.starts % 8:
            self.leader = self._nursery.start(*words)
            return
        with self.said.open("ab") as out:
            self.leader = subprocess.Popen(
                [sys.executable, "-m", "portraitq", *words],
                cwd=HERE.parent,
                stdin=subprocess.DEVNULL,
                stdout=out,
                stderr=subprocess.STDOUT,
                start_new_session=True,
            ).pid

    def wait_until_up(self) -> None:
        """Until it answers, and how long that took is kept; SystemExit when it does not."""
        begun_s = time.monotonic()
        while not self._answers():
            if time.monotonic() - begun_s > UP_WITHIN_S or not _is_alive(self.leader):
                raise SystemExit(f"The service did not come up again:\n{self.said.read_text()[-3000:]}")
            time.sleep(0.01)
        self.up_after_s.append(time.monotonic() - begun_s)

    def _answers(self) -> bool:
        try:
            with urllib.request.urlopen(f"http://127.0.0.1:{self.port}/healthz", timeout=30) as answer:
                return bool(answer.status == 200)
        except (urllib.error.URLError, OSError):
            return False

    def get(self, path: str) -> Any:
        """What the API answers."""
        with urllib.request.urlopen(f"http://127.0.0.1:{self.port}{path}", timeout=30) as answer:
            return load(answer)

    def kill(self, how: str) -> bool:
        """Kill it; whether it comes up again by itself."""
        if how == "the serving process":
            if worker := _child_of(self.leader):
                os.kill(worker, signal.SIGKILL)
                _wait(lambda: not _is_alive(worker) or _child_of(self.leader) != worker, "The worker lives on.")
                return True
            how = "everything"
        if how == "the watching process":
            os.kill(self.leader, signal.SIGKILL)
            _reap(self.leader)
            _wait(lambda: not _group(self.leader), "The serving process outlived the one that watches over it.")
            return False
        self.kill_all()
        return False

    def kill_all(self) -> None:
        """Every process of it, at once."""
        with suppress(ProcessLookupError):
            os.killpg(self.leader, signal.SIGKILL)
        _reap(self.leader)
        _wait(lambda: not _group(self.leader), "The service lives on after kill -9.")


def _is_alive(pid: int) -> bool:
    try:
        return Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()[0] != "Z"
    except (FileNotFoundError, ProcessLookupError):
        return False


def _stats() -> list[tuple[int, int, int]]:
    """Every process that lives: its id, its parent's and its group's (proc_pid_stat(5))."""
    found = []
    for file in Path("/proc").glob("[0-9]*/stat"):
        with suppress(FileNotFoundError, ProcessLookupError):
            state, parent, group = file.read_text().rpartition(")")[2].split()[:3]
            if state != "Z":
                found.append((int(file.parent.name), int(parent), int(group)))
    return found


def _group(leader: int) -> list[int]:
    return [pid for pid, _, group in _stats() if group == leader]


def _child_of(leader: int) -> int:
    """The serving process: the first that the watching one made."""
    return min((pid for pid, parent, _ in _stats() if parent == leader), default=0)


def _reap(pid: int) -> None:
    with suppress(ChildProcessError):  # it was a child of the nursery
        os.waitpid(pid, 0)


def _wait(until: Callable[[], bool], otherwise: str) -> None:
    until_s = time.monotonic() + DOWN_WITHIN_S
    while not until():
        if time.monotonic() > until_s:
            raise SystemExit(otherwise)
        time.sleep(0.01)


class Harness:
    """Clients, service and what is found, through a number of kills."""

    def __init__(
        self, folder: Path, kills: int, clients: int, seed: int, minutes: float, database: str | None = None
    ) -> None:
        self.kills, self.minutes, self.chance, self.folder = kills, minutes, Random(seed), folder
        self.gate = Gate()
        self.nursery = Nursery(folder / "said.txt")
        self.service = Service(folder, self.nursery, database)
        self.killed = Counter[str]()
        self.faults: list[str] = []
        self.backups = self.backups_cut = 0
        set_up = _set_up(clients)
        self.service.start()
        self.service.wait_until_up()
        store = open_store(self.service.where)
        try:
            with store.writing() as connection:
                key = devices.add(connection, "crash", datetime.now(UTC))  # noqa: TID251
        finally:
            store.close()
        self.clients = [Client(n, self.service.port, key, self.gate, seed * 1000 + n, set_up) for n in range(clients)]
        first = self.clients[0]
        first.sent.append(first._command("set_up", **set_up))
        self.found = Found(self.service.where, self.clients)

    def run(self) -> None:
        """Kill and look, so many times; then once more at everything."""
        for client in self.clients:
            client.start()
        try:
            begun_s = time.monotonic()
            for count in range(self.kills):
                if sum(self.killed.values()) >= self.kills or time.monotonic() - begun_s > self.minutes * 60:
                    break
                self._one_kill(count)
            self._end()
        finally:
            self.service.kill_all()
            self.nursery.close()

    def _one_kill(self, count: int) -> None:
        backup = self.folder / "backup.sqlite3"
        backing_up = 0
        self.gate.open()
        time.sleep(self.chance.random() * LONGEST_TRADE_S)
        if count % 6 == 2 and self.service.where == self.service.data:
            backup.unlink(missing_ok=True)
            backing_up = self.nursery.start("backup", str(backup), "--data", str(self.service.data))
            time.sleep(self.chance.random() * LONGEST_TRADE_S)
        how = self.chance.choices(HOW, HOW_OFTEN)[0]
        self.killed[how.removesuffix(MID_START)] += 1
        self.gate.shut()
        comes_by_itself = self.service.kill(how)
        if backing_up and self.chance.random() < 0.5:
            with suppress(ProcessLookupError):
                os.kill(backing_up, signal.SIGKILL)
        if not self.gate.wait_until_empty(DOWN_WITHIN_S + UP_WITHIN_S):
            raise SystemExit("A client waits for ever for an answer.")
        if not comes_by_itself:
            self.service.start()
            if how.endswith(MID_START):
                self.killed["the service in mid-start"] += 1
                time.sleep(self.chance.random() * 1.2 * statistics.median(self.service.up_after_s))
                self.service.kill_all()
                self.service.start()
        self.service.wait_until_up()
        if backing_up:
            _wait(lambda: not _is_alive(backing_up), "The back-up does not end.")
            self._back_up_is_whole_or_not_there(backup)
        self.found.look()
        self._shows_what_was_told()
        if sys.stderr.isatty():
            print(f"\r{sum(self.killed.values())} of {self.kills} kills", end="", file=sys.stderr, flush=True)

    def _back_up_is_whole_or_not_there(self, backup: Path) -> None:
        if not backup.exists():
            self.backups_cut += 1
            return
        import sqlite3
        from contextlib import closing

        self.backups += 1
        with closing(sqlite3.connect(f"{backup.as_uri()}?mode=ro&immutable=1", uri=True)) as raw:
            said = [row[0] for row in raw.execute("PRAGMA integrity_check")]
            lines = [line for (line,) in raw.execute("SELECT line FROM journal WHERE booth = ? ORDER BY seq", (SLUG,))]
        if said != ["ok"]:
            self.faults.append(f"A back-up under its own name is not whole: {said[:3]}")
        self.found.backed_up(lines)

    def _shows_what_was_told(self) -> None:
        """The pages are made from the same: each portrait where its artist left it, and no quote in the past."""
        for client in self.clients:
            waiting = client.unanswered()
            for own in client.own.values():
                if own.place == DRAWING and waiting is None:
                    shown = self.service.get(f"/api/v1/tickets/{own.code}")
                    if (shown["place"], shown["stages_done"]) != ("easel", own.stages_done):
                        self.faults.append(f"{own.id} is shown {shown['place']}, {shown['stages_done']} stages done.")
        wall = self.service.get(f"/api/v1/booths/{SLUG}/wall")
        as_of = datetime.fromisoformat(wall["as_of"])
        windows = [one["window"] for one in (*wall["tickets"], *wall["order_now"]) if one.get("window")]
        for window in windows:
            low, high = (datetime.fromisoformat(window[name]) for name in ("ready_from", "ready_to"))
            if not (low <= high and -60 < (low - as_of).total_seconds() < SANE_S):
                self.faults.append(f"The wall of {as_of} says {low} to {high}.")

    def _end(self) -> None:
        """Everybody gets the answers still owed; then all of the store is looked at."""
        for client in self.clients:
            client.is_done.set()
        self.gate.open()
        for client in self.clients:
            client.join(UP_WITHIN_S)
            if client.is_alive():
                raise SystemExit("A client waits for ever for its last answer.")
        self.found.look(whole=True)
        self.found.clocks_ran_on()
        done = subprocess.run(
            [sys.executable, "-m", "portraitq", "check", *self.service.store],
            cwd=HERE.parent, capture_output=True, text=True, check=False, timeout=300,
        )  # fmt: skip
        if done.returncode:
            self.faults.append(f"portraitq check says: {done.stdout} {done.stderr}")

    def told(self) -> list[str]:
        """The figures, a line each, and the verdict."""
        sent = [one for client in self.clients for one in client.sent]
        kinds = Counter(one.what for one in sent if one.is_taken)
        refused = sum(1 for one in sent if one.status and not one.is_taken)
        up_s = self.service.up_after_s
        self.faults += self.found.faults + [fault for client in self.clients for fault in client.faults]
        return [
            f"{sum(self.killed.values())} kills survived: "
            + ", ".join(f"{count} of {how}" for how, count in self.killed.items()),
            f"{len(sent)} commands sent by {len(self.clients)} clients: {sum(kinds.values())} acknowledged, "
            f"{refused} refused, {sum(client.resent for client in self.clients)} sent again",
            "of each kind: " + ", ".join(f"{kind} {count}" for kind, count in kinds.most_common()),
            f"{len(self.found.lines)} lines in the journal, {self.found.measured_stages} measured stages compared, "
            f"{self.found.photos} photos read and compared, {self.found.looks} looks at the whole store",
            f"{self.backups} back-ups whole, {self.backups_cut} cut off and not there",
            f"{self.service.starts} starts, up again after {statistics.median(up_s):.2f} s (median), "
            f"{max(up_s):.2f} s (longest)",
            *self.faults[:30],
            f"{len(self.faults)} faults" if self.faults else "nothing was lost",
        ]


def _set_up(easels: int) -> dict[str, Any]:
    stages = [{"id": id, "name": id, "quick_s": 20, "usual_s": 40, "slow_s": 90, "per_sitter": True} for id in STAGES]
    return {
        "booth": {"name": "Quay", "zone": "UTC", "currency": "EUR", "confidence": 0.85, "round_to_s": 60},
        "styles": [{"id": STYLE, "name": "Quick head", "price": 1800, "stages": stages}],
        "artists": [{"id": f"c{n}", "name": f"Easel {n}", "styles": [STYLE]} for n in range(easels)],
        "turnaround": {"quick_s": 10, "usual_s": 20, "slow_s": 40},
    }


def main() -> int:
    """Run it as the command line says; the exit code."""
    asked = argparse.ArgumentParser(description="Kill the service again and again; exit 1 when anything was lost.")
    asked.add_argument("--kills", type=int, default=300)
    asked.add_argument("--clients", type=int, default=6)
    asked.add_argument("--seed", type=int, default=1)
    asked.add_argument("--minutes", type=float, default=60, help="kill no longer than that")
    asked.add_argument("--database", help="address of an empty database on a server, instead of a file")
    asked.add_argument("--keep", action="store_true", help="leave the folder there to look into")
    given = asked.parse_args()
    folder = Path(tempfile.mkdtemp(prefix="portraitq-crash-"))
    begun_s = time.monotonic()
    try:
        harness = Harness(folder, given.kills, given.clients, given.seed, given.minutes, given.database)
        harness.run()
        print("\n".join(harness.told()))
        print(f"{time.monotonic() - begun_s:.0f} s, seed {given.seed}")
        return 1 if harness.faults else 0
    finally:
        if given.keep:
            print(folder)
        else:
            shutil.rmtree(folder, ignore_errors=True)


if __name__ == "__main__":
    sys.exit(main())

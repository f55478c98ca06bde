"""The commands as somebody types them: what comes out where, and with which exit code."""

from __future__ import annotations

import json
import os
import re
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from hashlib import sha256
from pathlib import Path

import pytest
import requests
import socketio
from click.testing import CliRunner, Result
from sqlalchemy import text

from portraitq import cli, passphrase, starter
from portraitq.core.commands import Command, Order
from portraitq.core.events import print_line
from portraitq.desk import Desks, NewCard
from portraitq.forecast.explain import explain_past
from portraitq.forecast.replay import read_journal
from portraitq.forecast.score import report
from portraitq.serve import CannotServe, free_port
from portraitq.store import backup, devices
from portraitq.store.store import FILE_NAME, open_store
from portraitq.web.explained import afterwards, explained
from tests.web.conftest import ZONE

ROOT = Path(__file__).resolve().parent.parent
PATIENCE_S = 60
WALL = {"view": "wall", "booth": "booth"}


def portraitq(*arguments: str | Path, given: str | bytes = "") -> Result:
    return CliRunner().invoke(cli.main, [str(one) for one in arguments], input=given)


@pytest.fixture
def booth(tmp_path: Path) -> Path:
    """A data folder with the booth `quay` and one order in it."""
    desks = Desks(open_store(tmp_path / "data"))
    desk = desks.create("quay", starter.set_up("Europe/Lisbon", "EUR"))
    desk.carry_out(Command("day", starter.first_day(desks.clock.now(), ZONE)))
    desk.take_order(Command("o1", Order(style="pencil-head", sitters=1)), NewCard(name="Ana", contact="555 0142"), ())
    desks.close()
    return tmp_path / "data"


@pytest.mark.parametrize("command", sorted(cli.main.commands))
def test_every_command_says_what_it_does(command: str):
    result = portraitq(command, "--help")

    assert result.exit_code == 0
    assert "Usage:" in result.stdout


@pytest.mark.parametrize("wrong", [["draw"], ["serve", "--port", "90000"], ["import"], ["replay", "x.jsonl"]])
def test_wrong_usage_is_exit_code_2(wrong: list[str]):
    assert portraitq(*wrong).exit_code == 2


def test_what_is_exported_imported_and_exported_again_is_the_same_to_the_byte(booth: Path, tmp_path: Path):
    first = portraitq("export", "--booth", "quay", "--data", booth)
    (tmp_path / "quay.jsonl").write_bytes(first.stdout_bytes)

    taken = portraitq("import", tmp_path / "quay.jsonl", "--booth", "pier", "--data", tmp_path / "other")
    again = portraitq("export", tmp_path / "again.jsonl", "--data", tmp_path / "other")

    assert (first.exit_code, taken.exit_code, again.exit_code) == (0, 0, 0)
    assert (tmp_path / "again.jsonl").read_bytes() == first.stdout_bytes
    assert (taken.stdout, again.stdout) == ("pier\n", "")
    assert b"Ana" not in first.stdout_bytes


def test_a_journal_comes_from_standard_input_too(booth: Path, tmp_path: Path):
    exported = portraitq("export", "--data", booth).stdout_bytes

    taken = portraitq("import", "-", "--booth", "pier", "--data", tmp_path / "other", given=exported)

    assert taken.exit_code == 0


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (b"", "empty"),
        (b"Dear customer,\n", "line 1"),
        (b"\xff\xd8\xff\xe0", "UTF-8"),
        (b"{}\n", "line 1"),
        (b"\n", "line 1"),
    ],
)
def test_a_foreign_journal_is_refused_with_its_line_and_nothing_is_taken(tmp_path: Path, content: bytes, said: str):
    file = tmp_path / "foreign.jsonl"
    file.write_bytes(content)

    result = portraitq("import", file, "--booth", "pier", "--data", tmp_path / "data")

    assert result.exit_code == 1
    assert said in result.stderr
    assert result.stderr.count("\n") == 1
    assert portraitq("export", "--data", tmp_path / "data").exit_code == 1  # there is no booth


def test_a_journal_with_a_gap_names_the_first_line_that_is_wrong(booth: Path, tmp_path: Path):
    lines = portraitq("export", "--data", booth).stdout.splitlines(keepends=True)
    file = tmp_path / "gap.jsonl"
    file.write_text("".join([*lines[:1], *lines[2:]]))

    result = portraitq("import", file, "--booth", "pier", "--data", tmp_path / "other")

    assert result.exit_code == 1
    assert re.search("gap.jsonl, line 2: .*seq 2 was expected", result.stderr)
    assert "Nothing was imported" in result.stderr


@pytest.mark.parametrize("name", ["api", "t", "Quay", "", "a/b", "x" * 33])
def test_a_booth_gets_no_name_that_is_none_in_addresses(booth: Path, tmp_path: Path, name: str):
    file = tmp_path / "quay.jsonl"
    portraitq("export", file, "--data", booth)

    assert portraitq("import", file, "--booth", name, "--data", tmp_path / "other").exit_code == 1


def test_an_imported_booth_without_a_name_for_addresses_gets_one_out_of_its_own(booth: Path, tmp_path: Path):
    set_up = starter.set_up("Europe/Lisbon", "EUR")
    for name, expected in (("Café “Am Kai” 2", "cafe-am-kai-2"), ("Api", "booth"), ("肖像", "booth")):
        desks = Desks(open_store(tmp_path / f"made {name}"))
        desks.create("made", set_up.model_copy(update={"booth": set_up.booth.model_copy(update={"name": name})}))
        desks.close()
        portraitq("export", tmp_path / "made.jsonl", "--data", tmp_path / f"made {name}")

        taken = portraitq("import", tmp_path / "made.jsonl", "--data", tmp_path / f"taken {name}")

        assert (taken.exit_code, taken.stdout) == (0, f"{expected}\n")
        checked = portraitq("check", "--data", tmp_path / f"taken {name}").stdout
        assert f"journal of {expected}: 1 lines fold without a gap\n" in checked


def test_a_journal_that_windows_editors_saved_is_taken(booth: Path, tmp_path: Path):
    exported = portraitq("export", "--data", booth).stdout_bytes
    (tmp_path / "edited.jsonl").write_bytes(b"\xef\xbb\xbf" + exported.replace(b"\n", b"\r\n").removesuffix(b"\r\n"))

    taken = portraitq("import", tmp_path / "edited.jsonl", "--booth", "pier", "--data", tmp_path / "other")

    assert taken.exit_code == 0
    assert portraitq("export", "--data", tmp_path / "other").stdout_bytes == exported


@pytest.mark.parametrize(
    "typed",
    [["import", "{}"], ["score", "{}"], ["replay", "{}", "--quotes", "q.csv"], ["export", "{}"]],
    ids=lambda typed: typed[0],
)
def test_a_folder_in_a_files_place_is_told_in_one_sentence(booth: Path, tmp_path: Path, typed: list[str]):
    command = [part.format(tmp_path) for part in typed]
    where = ["--data", booth] if typed[0] in ("import", "export") else []

    result = portraitq(*command, *where)

    assert (result.exit_code, result.stdout) == (1, "")
    assert result.stderr == f"{tmp_path}: Is a directory.\n"


def test_a_path_for_a_databases_address_makes_no_store(tmp_path: Path):
    result = portraitq("check", "--database", tmp_path / "other")

    assert (result.exit_code, "postgresql://" in result.stderr) == (1, True)
    assert not (tmp_path / "other").exists()


def test_a_booth_that_is_there_is_not_imported_over(booth: Path, tmp_path: Path):
    portraitq("export", tmp_path / "quay.jsonl", "--data", booth)

    result = portraitq("import", tmp_path / "quay.jsonl", "--booth", "quay", "--data", booth)

    assert (result.exit_code, "already" in result.stderr) == (1, True)


def test_an_unknown_booth_and_a_missing_file_are_told_in_a_sentence(booth: Path, tmp_path: Path):
    unknown = portraitq("export", "--booth", "pier", "--data", booth)
    missing = portraitq("import", tmp_path / "none.jsonl", "--booth", "pier", "--data", booth)

    assert (unknown.exit_code, missing.exit_code) == (1, 1)
    assert unknown.stderr == "There is no booth 'pier' (there is: quay).\n"
    assert "none.jsonl: No such file" in missing.stderr


def test_check_finds_a_whole_store_whole_and_a_changed_line(booth: Path):
    whole = portraitq("check", "--data", booth)
    store = open_store(booth)
    with store.writing() as conn:
        conn.execute(text("DELETE FROM journal WHERE seq = 2"))
    store.close()

    broken = portraitq("check", "--data", booth)

    assert (whole.exit_code, whole.stderr) == (0, "")
    assert whole.stdout.splitlines()[:2] == ["database: sound", "journal of quay: 4 lines fold without a gap"]
    assert whole.stdout.splitlines()[-1] == "whole"
    assert broken.exit_code == 1
    assert re.search("line 2: .*seq 2 was expected", broken.stdout)
    assert "is not whole (1 faults)" in broken.stderr


def test_a_back_up_says_what_is_in_it_and_how_to_keep_it_and_is_whole(booth: Path, tmp_path: Path):
    file = tmp_path / "b.sqlite3"

    made = portraitq("backup", file, "--data", booth)
    sha256_then = sha256(file.read_bytes()).hexdigest()
    again = portraitq("backup", file, "--data", booth)
    checked = portraitq("check", file)

    assert (made.exit_code, checked.exit_code) == (0, 0)
    assert re.match(r"quay with 4 lines; 1 card, 0 photos; 0\.\d MB, SHA-256 ", made.stdout)
    assert made.stdout.endswith(f" {sha256_then}\n")
    assert "personal data" in made.stderr
    assert "like the cash box" in made.stderr
    assert (again.exit_code, "--replace" in again.stderr) == (1, True)
    assert portraitq("backup", file, "--replace", "--data", booth).exit_code == 0
    assert checked.stdout.splitlines()[-1] == "whole"


def test_a_back_up_is_restored_into_an_empty_folder_and_over_a_store_when_it_is_said(booth: Path, tmp_path: Path):
    file = tmp_path / "b.sqlite3"
    portraitq("backup", file, "--data", booth)
    exported = portraitq("export", "--data", booth).stdout_bytes

    new = portraitq("restore", file, "--data", tmp_path / "new")
    refused = portraitq("restore", file, "--data", booth)
    erased = portraitq("erase", "T1", "--data", booth)
    over = portraitq("restore", file, "--replace", "--data", booth)

    assert (new.exit_code, refused.exit_code, erased.exit_code, over.exit_code) == (0, 1, 0, 0)
    assert new.stdout.startswith("quay with 4 lines; 1 card, 0 photos; the last line is of 20")
    assert "every browser signs in again" in new.stderr
    assert portraitq("export", "--data", tmp_path / "new").stdout_bytes == exported
    assert refused.stderr.count("\n") == 1
    assert "Nothing was changed" in refused.stderr
    assert "1 ticket erased in it too" in over.stderr
    assert "before-restore-" in over.stderr
    assert b"555 0142" not in b"".join(one.read_bytes() for one in booth.rglob("*") if one.is_file())


@pytest.mark.parametrize("command", ["backup", "restore"])
def test_a_booth_on_a_server_is_backed_up_with_the_servers_own_tools(tmp_path: Path, command: str):
    result = portraitq(command, tmp_path / "b.sqlite3", "--database", "postgresql://booth@localhost/booth")

    assert (result.exit_code, result.stdout) == (1, "")
    assert "pg_dump" in result.stderr
    assert result.stderr.count("\n") == 1


@pytest.mark.parametrize("command", ["check", "restore"])
def test_a_file_that_is_no_back_up_is_told_in_a_sentence(tmp_path: Path, command: str):
    (tmp_path / "letter.txt").write_text("Dear customer,")

    result = portraitq(command, tmp_path / "letter.txt", "--data", tmp_path / "data")

    assert result.exit_code == 1
    assert "letter.txt is no database" in result.stderr
    assert not (tmp_path / "data").exists()


def test_where_there_is_no_store_nothing_is_backed_up_and_none_is_made(tmp_path: Path):
    backed_up = portraitq("backup", tmp_path / "b.sqlite3", "--data", tmp_path / "data")
    checked = portraitq("check", "--data", tmp_path / "data")

    assert (backed_up.exit_code, checked.exit_code) == (1, 1)
    assert backed_up.stderr == checked.stderr
    assert checked.stderr == f"There is no store in {tmp_path / 'data'}: give the folder of one with --data.\n"
    assert list(tmp_path.iterdir()) == []


def test_erase_reaches_the_back_ups_beside_the_store(booth: Path):
    backup.write_among(booth / "portraitq.sqlite3", "portraitq-2026-06-06.sqlite3")
    assert b"555 0142" in (booth / "backups" / "portraitq-2026-06-06.sqlite3").read_bytes()

    portraitq("erase", "T1", "--data", booth)

    assert b"555 0142" not in b"".join(one.read_bytes() for one in booth.rglob("*") if one.is_file())


def test_erase_takes_the_person_and_leaves_the_journal_whole(booth: Path):
    result = portraitq("erase", "T1", "--data", booth)

    assert result.exit_code == 0
    assert portraitq("check", "--data", booth).exit_code == 0
    kept = b"".join(file.read_bytes() for file in booth.rglob("*") if file.is_file())
    assert b"555 0142" not in kept
    assert b'"kind":"erased"' in portraitq("export", "--data", booth).stdout_bytes


def test_erase_of_an_unknown_ticket_is_told(booth: Path):
    result = portraitq("erase", "T9", "--data", booth)

    assert (result.exit_code, "There is no ticket T9" in result.stderr) == (1, True)
    assert "the code on its slip" in result.stderr  # a number alone, as screens call it out, is another's tomorrow


def test_a_device_is_added_listed_and_withdrawn(booth: Path):
    key = portraitq("device", "add", "easel tablet", "--data", booth).stdout.strip()
    listed = portraitq("device", "list", "--data", booth).stdout
    withdrawn = portraitq("device", "withdraw", listed.split()[0], "--data", booth)
    again = portraitq("device", "withdraw", listed.split()[0], "--data", booth)

    store = open_store(booth)
    with store.reading() as conn:
        assert devices.find(conn, key) is None
    store.close()
    assert re.fullmatch(r"[\w-]{32}", key)
    assert "easel tablet" in listed
    assert " owner " in listed
    assert key not in listed
    assert (withdrawn.exit_code, again.exit_code) == (0, 1)


def test_a_key_for_the_staff_is_the_staffs(booth: Path):
    portraitq("device", "add", "counter tablet", "--for", "staff", "--data", booth)

    listed = portraitq("device", "list", "--data", booth).stdout
    wrong = portraitq("device", "add", "x", "--for", "king", "--data", booth)

    assert " staff " in listed
    assert wrong.exit_code == 2


def test_a_new_passphrase_is_printed_and_is_the_right_one(booth: Path):
    made = portraitq("passphrase", "--data", booth).stdout.strip()
    own = portraitq("passphrase", "--own", "--data", booth, given="a few words of my own\na few words of my own\n")

    store = open_store(booth)
    assert (passphrase.is_right(store, made), passphrase.is_right(store, "a few words of my own")) == (False, True)
    store.close()
    assert (own.exit_code, own.stdout) == (0, "")


def test_a_data_folder_that_cannot_be_written_is_told(tmp_path: Path):
    (tmp_path / "file").write_text("not a folder")

    result = portraitq("device", "list", "--data", tmp_path / "file" / "data")

    assert result.exit_code == 1
    assert "cannot be written" in result.stderr
    assert "--data" in result.stderr


def test_a_database_of_a_newer_version_is_left_alone(booth: Path):
    store = open_store(booth)
    with store.writing() as conn:
        conn.execute(text("UPDATE portraitq_schema SET version = 999"))
    store.close()

    result = portraitq("serve", "--data", booth, "--port", "0")

    assert result.exit_code == 1
    assert "update portraitq" in result.stderr
    assert result.stderr.count("\n") == 1


def test_a_port_in_use_is_told_before_anything_starts(tmp_path: Path):
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        port = taken.getsockname()[1]

        result = portraitq("serve", "--data", tmp_path / "data", "--host", "127.0.0.1", "--port", str(port))

    assert result.exit_code == 1
    assert result.stderr.startswith(f"Port {port} is in use")
    assert not (tmp_path / "data" / FILE_NAME).exists()


def test_a_host_that_is_none_of_ours_is_told():
    with pytest.raises(CannotServe, match="no address of this computer"):
        free_port("203.0.113.7", 0)


def test_replay_explains_one_quote_in_the_words_of_the_counter():
    journal = ROOT / "tests" / "journals" / "two-days.jsonl"
    past = explain_past(read_journal(journal), "T3")
    told = explained(past.explanation)

    result = portraitq("replay", journal, "--explain", "T3")

    assert (result.exit_code, result.stderr) == (0, "")
    assert result.stdout.splitlines()[0] == told.title
    assert "by the clocks of Europe/Lisbon." in result.stdout
    unwrapped = " ".join(result.stdout.split())
    for part in (*told.parts, afterwards(past)):
        assert " ".join([part.heading, *part.lines]).replace("\u00a0", " ") in unwrapped
    assert max(map(len, result.stdout.splitlines())) <= cli.ASK_WIDTH


def test_replay_explains_a_quote_as_of_a_later_line():
    journal = ROOT / "tests" / "journals" / "contract-example.jsonl"

    ordered, later = (portraitq("replay", journal, "--explain", "T1", *more) for more in ((), ("--line", "7")))

    assert "As of 10:04" in ordered.stdout
    assert "Nothing: it is the next one for First easel." in ordered.stdout
    assert "As of 10:06" in later.stdout
    assert "It is on the easel of First easel: stage 2 of 3, Likeness" in later.stdout
    assert "It was ready at 10:15" in later.stdout


@pytest.mark.parametrize(
    ("asked", "code", "said"),
    [
        (["--explain", "T7"], 1, "There is no ticket T7 in this journal. It has T1 to T1.\n"),
        (["--explain", "T1", "--line", "3"], 1, "a line from there to 11 was expected.\n"),
        (["--explain", "T1", "--line", "11"], 1, "Number 1 is collected: only a portrait still to be drawn"),
        (["--line", "7"], 2, "--quotes FILE, --explain TICKET, or both"),
        (["--quotes", "q.csv", "--line", "7"], 2, "--line chooses the instant for --explain"),
        ([], 2, "--quotes FILE, --explain TICKET, or both"),
    ],
)
def test_what_replay_cannot_explain_is_told(asked: list[str], code: int, said: str):
    result = portraitq("replay", ROOT / "tests" / "journals" / "contract-example.jsonl", *asked)

    assert (result.exit_code, result.stdout) == (code, "")
    assert said in result.stderr


def test_replay_writes_quotes_and_explains_one_in_one_go(tmp_path: Path):
    journal = ROOT / "tests" / "journals" / "contract-example.jsonl"

    result = portraitq("replay", journal, "--explain", "T1", "--quotes", tmp_path / "quotes.csv")

    assert result.exit_code == 0
    assert result.stdout.startswith("Number 1")
    assert (tmp_path / "quotes.csv").read_text().count("\n") == 2


def test_replay_writes_a_row_for_each_order(booth: Path, tmp_path: Path):
    portraitq("export", tmp_path / "quay.jsonl", "--data", booth)

    result = portraitq("replay", tmp_path / "quay.jsonl", "--quotes", tmp_path / "quotes.csv")

    rows = (tmp_path / "quotes.csv").read_bytes().split(b"\r\n")
    assert result.exit_code == 0, result.stderr
    assert rows[0] == b"seq,at,ticket,q05,q10,q20,q30,q40,q50,q60,q70,q80,q90,q95,ready_by,ready_at"
    assert (len(rows), rows[-1]) == (3, b"")


def test_quotes_never_overwrite_their_journal(booth: Path, tmp_path: Path):
    journal = tmp_path / "quay.jsonl"
    portraitq("export", journal, "--data", booth)
    before = journal.read_bytes()

    result = portraitq("replay", journal, "--quotes", journal)

    assert (result.exit_code, "overwrite" in result.stderr) == (1, True)
    assert journal.read_bytes() == before


def test_the_score_comes_as_json_too(booth: Path, tmp_path: Path):
    portraitq("export", tmp_path / "quay.jsonl", "--data", booth)

    result = portraitq("score", tmp_path / "quay.jsonl", "--json")

    events = read_journal(tmp_path / "quay.jsonl")
    assert (result.exit_code, result.stderr) == (0, "")
    assert json.loads(result.stdout) == report(events)


@pytest.mark.skipif(sys.platform == "win32", reason="gunicorn does not run there")
def test_a_damaged_journal_is_told_without_a_traceback(booth: Path):
    store = open_store(booth)
    with store.writing() as conn:
        conn.execute(text("UPDATE journal SET line = '{' WHERE seq = 2"))
    store.close()
    where = ["--data", str(booth), "--host", "127.0.0.1", "--port", "0"]

    result = subprocess.run(
        [sys.executable, "-m", "portraitq", "serve", *where],
        capture_output=True,
        text=True,
        cwd=Path(cli.__file__).parents[1],
        env={**os.environ, "PYTHONIOENCODING": "utf-8"},
        timeout=PATIENCE_S,
    )

    assert result.returncode == 1
    assert "damaged" in result.stderr
    assert "portraitq check" in result.stderr
    assert "Traceback" not in result.stderr


@contextmanager
def served(folder: Path, port: int = 0) -> Iterator[tuple[subprocess.Popen[str], str, list[str]]]:
    """A really started service: its process, its address, and what it printed."""
    port = free_port("127.0.0.1", port)
    where = ["--data", str(folder), "--host", "127.0.0.1", "--port", str(port)]
    process = subprocess.Popen(
        [sys.executable, "-m", "portraitq", "serve", *where],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        cwd=Path(cli.__file__).parents[1],
        env={**os.environ, "PYTHONIOENCODING": "utf-8"},
    )
    assert process.stdout is not None
    try:
        printed = []
        while (line := process.stdout.readline()) and "Ctrl-C" not in line:
            printed.append(line.rstrip("\n"))
        yield process, _answering(f"http://127.0.0.1:{port}", process), printed
    finally:
        if process.poll() is None:
            process.terminate()
        process.communicate(timeout=PATIENCE_S)


def _answering(address: str, process: subprocess.Popen[str]) -> str:
    until_s = time.monotonic() + PATIENCE_S
    while time.monotonic() < until_s:
        assert process.poll() is None, f"the service ended: {process.stderr.read() if process.stderr else ''}"
        try:
            requests.get(f"{address}/healthz", timeout=5)
        except requests.ConnectionError:
            time.sleep(0.1)
        else:
            return address
    raise TimeoutError(address)


def test_a_first_start_makes_a_booth_that_takes_an_order_at_once(tmp_path: Path):
    with served(tmp_path) as (_, address, printed):
        health = requests.get(f"{address}/healthz", timeout=5).json()
        said = next(line for line in printed if "Passphrase" in line).split(": ")[1]
        browser = requests.Session()
        browser.post(f"{address}/sign-in", data={"passphrase": said}, timeout=10)
        token = re.search(r'token" content="([^"]+)"', browser.get(address, timeout=10).text)
        taken = browser.post(
            f"{address}/api/v1/booths/booth/orders",
            files={"order": (None, '{"id":"o1","style":"pencil-head","sitters":1}')},
            headers={"X-Portraitq-Token": token[1] if token else ""},
            timeout=20,
        )

    assert list(health["booths"]) == ["booth"]
    assert any(address in line for line in printed)
    assert sum("▀" in line or "█" in line for line in printed) > 10  # the QR
    assert (taken.status_code, taken.json()["number"]) == (201, 1)
    assert taken.json()["ready_by"]


@pytest.mark.skipif(sys.platform == "win32", reason="gunicorn does not run there")
@pytest.mark.parametrize("way", [signal.SIGINT, signal.SIGTERM], ids=lambda way: way.name)
def test_it_stops_at_once_although_somebody_is_watching(tmp_path: Path, way: signal.Signals):
    with served(tmp_path) as (process, address, _):
        watching = socketio.Client(reconnection=False)
        views: list[object] = []
        watching.on("view", views.append, namespace="/live")
        watching.connect(address, auth=WALL, namespaces=["/live"], transports=["websocket"], wait_timeout=PATIENCE_S)
        until_s = time.monotonic() + PATIENCE_S
        while not views and time.monotonic() < until_s:
            time.sleep(0.02)

        process.send_signal(way)
        code = process.wait(timeout=PATIENCE_S)
        watching.wait()

    assert (bool(views), code) == (True, 0)


@pytest.mark.skipif(sys.platform == "win32", reason="there are no such signals")
def test_a_killed_service_starts_again_at_once_at_the_same_port_and_has_everything(tmp_path: Path):
    watching = socketio.Client(reconnection=False)
    with served(tmp_path) as (process, address, _):
        before = requests.get(f"{address}/healthz", timeout=5).json()["booths"]
        watching.connect(address, auth=WALL, namespaces=["/live"], transports=["websocket"], wait_timeout=PATIENCE_S)
        os.kill(process.pid, signal.SIGKILL)
        process.wait(timeout=PATIENCE_S)

    with served(tmp_path, int(address.rpartition(":")[2])) as (_, address, printed):
        watching.wait()
        after = requests.get(f"{address}/healthz", timeout=5).json()["booths"]

    assert before == after
    assert not any("Passphrase" in line for line in printed)


def test_no_address_of_a_ticket_stands_in_the_log(tmp_path: Path):
    with served(tmp_path) as (process, address, _):
        requests.get(f"{address}/t/7ZZZZ-ZZZZZ-ZZZZ", timeout=5)
        requests.get(f"{address}/api/v1/tickets/7ZZZZZZZZZZZZZ", timeout=5)
        process.terminate()
        _, told = process.communicate(timeout=PATIENCE_S)

    assert "7ZZZZ" not in told


def test_werkzeug_serves_where_gunicorn_cannot(tmp_path: Path):
    port = free_port("127.0.0.1", 0)
    program = (
        "import sys; from pathlib import Path; from portraitq import serve, clock; from portraitq.desk import Desks; "
        "from portraitq.store.store import open_store; where = Path(sys.argv[1]); store = open_store(where); "
        "serve.first_start(store, clock.Clock()); store.close(); "
        "serve.with_werkzeug(serve.Service(lambda: Desks(open_store(where)), '127.0.0.1', int(sys.argv[2]), 'http://x'))"
    )
    process = subprocess.Popen(
        [sys.executable, "-c", program, str(tmp_path), str(port)],
        stderr=subprocess.PIPE,
        text=True,
        cwd=Path(cli.__file__).parents[1],
    )
    address = _answering(f"http://127.0.0.1:{port}", process)
    watching = socketio.Client(reconnection=False)
    views: list[object] = []
    watching.on("view", views.append, namespace="/live")
    watching.connect(address, auth=WALL, namespaces=["/live"], transports=["websocket"], wait_timeout=PATIENCE_S)
    until_s = time.monotonic() + PATIENCE_S
    while not views and time.monotonic() < until_s:
        time.sleep(0.02)
    process.terminate()
    _, told = process.communicate(timeout=PATIENCE_S)
    watching.wait()

    assert views
    assert "Traceback" not in told


def test_the_journal_lines_of_an_export_are_those_that_were_written(booth: Path):
    desks = Desks(open_store(booth))
    with desks.store.reading() as conn:
        from portraitq.store import journal

        events = journal.events(conn, "quay")
    desks.close()

    assert portraitq("export", "--data", booth).stdout.splitlines() == [print_line(event) for event in events]

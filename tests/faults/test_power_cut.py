"""What a power cut may take: the end of the write-ahead log that no commit was answered for yet, and nothing else.

SQLite promises for WAL with synchronous=FULL that the log is synced after each commit
(https://www.sqlite.org/pragma.html#pragma_synchronous), and that recovery takes the frames up to the last commit whose
checksums hold (https://www.sqlite.org/walformat.html, "Recovery"; both from memory). So the log is cut at all kinds
of places, with and without rubbish behind the cut, as a disk leaves it that had not written it all.
"""

from __future__ import annotations

import secrets
from contextlib import ExitStack
from pathlib import Path
from random import Random

from sqlalchemy import text

from portraitq.store import journal
from portraitq.store.store import CONNECTIONS, FILE_NAME, open_store
from tests.web.conftest import make_web

TAPS, CUTS = 20, 36


def test_every_connection_waits_for_the_disk_at_each_commit(tmp_path: Path) -> None:
    store = open_store(tmp_path)
    wanted = {"journal_mode": "wal", "synchronous": 2, "foreign_keys": 1, "secure_delete": 1, "temp_store": 2}

    with ExitStack() as all_at_once:
        held = [all_at_once.enter_context(store.reading()) for _ in range(CONNECTIONS + 2)]
        held.append(all_at_once.enter_context(store.writing()))
        found = [{name: one.execute(text(f"PRAGMA {name}")).scalar() for name in wanted} for one in held]

    assert found == [wanted] * (CONNECTIONS + 3)
    store.close()


def test_a_log_that_is_cut_anywhere_loses_nothing_that_was_answered_before(tmp_path: Path) -> None:
    chance = Random(7)
    web = make_web(tmp_path / "booth")
    web.desk.standing(wait_s=30)
    web.desks.store.scrub()
    file = tmp_path / "booth" / FILE_NAME
    log = file.with_name(f"{FILE_NAME}-wal")
    answered = []  # how long the log and the journal were at each answer
    for _ in range(TAPS):
        seq = web.do("walked_away", style=None, sitters=1, ready_by=None).seq
        answered.append((log.stat().st_size, seq))
    with web.desks.store.reading() as connection:
        lines = journal.lines(connection, "quay")
    database, whole = file.read_bytes(), log.read_bytes()
    web.app.extensions["portraitq-live"].close()
    web.desks.close()

    places = [chance.randrange(len(whole) + 1) for _ in range(CUTS - TAPS)] + [size for size, _ in answered]
    for place in places:
        folder = tmp_path / secrets.token_hex(4)
        folder.mkdir()
        (folder / FILE_NAME).write_bytes(database)
        rubbish = chance.choice([b"", bytes(8192), chance.randbytes(8192)])
        (folder / log.name).write_bytes(whole[:place] + rubbish)
        store = open_store(folder)
        with store.reading() as connection:
            found = journal.lines(connection, "quay")
            assert connection.execute(text("PRAGMA integrity_check")).scalar() == "ok"
        store.close()
        owed = max((seq for size, seq in answered if size <= place), default=answered[0][1] - 1)
        assert found == lines[: len(found)]
        assert len(found) >= owed

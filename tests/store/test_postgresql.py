"""A booth kept on a PostgreSQL server: the same promises as in a file, and where they end.

What the store promises of both is asked of both in the files beside this one and in tests/test_desk.py.
"""

from __future__ import annotations

import io
import json
import logging
import secrets
import signal
import threading
import time
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import psycopg
import pytest
from click.testing import CliRunner
from sqlalchemy import select, text
from werkzeug.test import TestResponse

from portraitq.cli import main
from portraitq.store import (
    cards,
    devices,
    health,
    journal,
    pairings,
    photos,
    postgresql,
    schema,
    settings,
    trouble,
)
from portraitq.store.cards import Card
from portraitq.store.store import Store, StoreError, open_store, url_of
from tests.builders import a_booth, instant
from tests.postgres import BOOTH, Postgres
from tests.store.picture import Picture
from tests.web.conftest import Web, jpeg, make_web


@pytest.fixture
def store(postgres: Postgres) -> Iterator[Store]:
    opened = open_store(postgres.emptied())
    yield opened
    opened.close()


@contextmanager
def trading(where: str) -> Iterator[Web]:
    web = make_web(where)
    try:
        web.sign_in()
        yield web
    finally:
        web.app.extensions["portraitq-live"].close()
        web.desks.close()


def ordered(web: Web, key: dict[str, str], id: str) -> TestResponse:
    """An order with a photo, as a script sends it."""
    order = json.dumps({"id": id, "style": "pencil-head", "sitters": 1})
    sent = {"order": order, "name": "Anouk-of-the-quay", "photo": (io.BytesIO(jpeg()), "a.jpg")}
    return web.client.post("/api/v1/booths/quay/orders", data=sent, headers=key)


def told(web: Web, key: dict[str, str], kind: str, **data: Any) -> TestResponse:
    sent = {"id": secrets.token_hex(8), "kind": kind, "data": data}
    return web.client.post("/api/v1/booths/quay/commands", json=sent, headers=key)


def test_a_whole_order_is_taken_drawn_handed_over_and_erased(postgres: Postgres) -> None:
    address = postgres.emptied()
    with trading(address) as web:
        key = web.key()
        taken = ordered(web, key, "order-1").json
        ticket = taken["ticket"]
        (photo,) = web.desk.photo_refs([ticket])[ticket]
        assert told(web, key, "started", ticket=ticket, artist="a1").status_code == 200
        while stage := web.desk.ticket(ticket).stage_in_hand:
            assert told(web, key, "stage_done", ticket=ticket, stage=stage.id).status_code == 200
        assert web.client.get(f"/quay/photos/{photo.id}").status_code == 200
        for path in ("quay/wall", "quay/counter", "quay/easel/a1", "quay/set-up", f"t/{taken['code']}"):
            with web.client.get(path) as page:
                assert page.status_code == 200, path
        assert told(web, key, "collected", ticket=ticket).status_code == 200
        set_up = web.client.get("/quay/set-up").get_data(as_text=True)
        assert "cleared out of its tables at once" in set_up
        assert "The database file" not in set_up
        assert "back it up with the server&#39;s own tools, such as pg_dump" in set_up
        lines = web.desk.standing(wait_s=10).seq

    found = CliRunner().invoke(main, ["check", "--database", address])
    assert (found.exit_code, found.output.splitlines()[-1]) == (0, "whole"), found.output
    assert CliRunner().invoke(main, ["erase", taken["code"], "--database", address]).exit_code == 0

    with trading_again(address) as (kept, events):
        assert kept == {}
        assert len(events) == lines + 1, "the erasing"


@contextmanager
def trading_again(address: str) -> Iterator[tuple[dict[str, Any], list[str]]]:
    """What a restart finds: the photos, and the lines of the journal."""
    store = open_store(address)
    with store.reading() as connection:
        lines = journal.lines(connection, "quay")
        tickets = connection.execute(select(schema.cards.c.ticket)).scalars().all()
        yield photos.of_tickets(connection, "quay", tickets), lines
    store.close()


@pytest.mark.parametrize("how", [signal.SIGINT, signal.SIGQUIT], ids=["in order", "as after a crash"])
def test_a_server_that_goes_away_while_the_booth_trades_is_told_of_and_the_same_tap_taken_once_it_is_back(
    postgres: Postgres, caplog: pytest.LogCaptureFixture, how: signal.Signals
) -> None:
    with trading(postgres.emptied()) as web:
        key = web.key()
        assert ordered(web, key, "before").status_code == 201
        before = web.desk.standing(wait_s=10).seq

        postgres.stop(how)
        try:
            answers = [ordered(web, key, "meanwhile") for _ in range(2)]
            pages = [web.client.get(path) for path in ("/quay/wall", "/quay/counter", "/quay/easel/a1")]
            told_on_them = [trouble.SERVER_GONE in page.get_data(as_text=True) for page in pages]
        finally:
            postgres.start()
        again = [ordered(web, key, "meanwhile") for _ in range(2)]

        assert [(one.status_code, one.json["detail"]) for one in answers] == [(503, trouble.SERVER_GONE)] * 2
        assert [page.status_code for page in pages] == [503] * 3
        assert all(told_on_them)
        assert [one.status_code for one in again] == [201, 201]
        assert again[0].json == again[1].json
        with web.desks.store.reading() as connection:
            assert journal.head(connection, "quay") == before + 2, "the order and its promise"
        said = [one.getMessage().split(" (")[0] for one in caplog.records if one.levelno >= logging.WARNING]
        assert said.count(trouble.SERVER_GONE) == 1
        assert said.count("The database answers again.") == 1


def test_whoever_reads_sees_one_state_throughout(store: Store) -> None:
    with store.reading() as connection:
        before = settings.get(connection, "key")
        with store.writing() as other:
            settings.put(other, "key", "value")
        assert settings.get(connection, "key") == before is None

    with store.reading() as connection, pytest.raises(StoreError, match="can only be read"), store._told():
        settings.put(connection, "key", "value")


def test_one_writes_at_a_time_and_who_waits_too_long_is_told(store: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(postgresql, "LOCK_WAIT_MS", 150)
    store.engine.dispose()  # so that new connections wait no longer than that
    written = list[str]()

    def second() -> None:
        with pytest.raises(StoreError) as told, store.writing():
            written.append("both wrote")
        written.append(str(told.value))

    with store.writing():
        beside = threading.Thread(target=second)
        beside.start()
        beside.join()

    assert written == [trouble.HELD]


def test_of_two_tablets_that_type_one_code_at_once_one_is_let_in_and_one_photo_sent_twice_at_once_is_one(
    store: Store,
) -> None:
    now, has_looked = instant("09:00"), threading.Event()
    with store.writing() as connection:
        _, code = pairings.invite(connection, "easel tablet", devices.STAFF, now)

    def tablet(comes_first: bool) -> bool:
        comes_first or has_looked.wait(60)
        with store.writing() as connection:
            assert (pairings.by_code(connection, code, now) is not None) == comes_first
            is_there = photos.ref(connection, "quay", "photo-1") is not None
            has_looked.set()
            time.sleep(0.2 if comes_first else 0)  # long enough for the other to look as well, if it were let
            if not is_there:
                photos.add(connection, "quay", "T1", Picture(), id="photo-1")
            return pairings.use(connection, code, now) is not None

    with ThreadPoolExecutor(2) as hands:
        let_in = list(hands.map(tablet, (True, False)))

    assert let_in == [True, False]
    with store.reading() as connection:
        assert len(photos.of_tickets(connection, "quay", ["T1"])["T1"]) == 1


def test_a_commit_waits_for_the_servers_disk_whatever_the_server_is_set_to(postgres: Postgres) -> None:
    address = postgres.new_database()
    postgres.administer(f"ALTER DATABASE {postgres.databases[-1]} SET synchronous_commit = off")
    store = open_store(address)

    with store.writing() as connection:
        assert connection.execute(text("SHOW synchronous_commit")).scalar_one() == "on"
    store.close()


def test_a_server_far_away_soon_notices_that_our_computer_lost_its_power(postgres: Postgres) -> None:
    """Until then it would hold the database for whoever is gone, and refuse the next start.

    Asked by TCP, for over a socket of one computer the server tells nothing of it.
    """
    with postgres.by_tcp() as address:
        url = url_of(address)
        held = postgresql.hold(url, "portraitq")
        store = open_store(address)
        with store.reading() as connection:
            for asks in (lambda name: held.execute(f"SHOW {name}").fetchone()[0],
                         lambda name: connection.execute(text(f"SHOW {name}")).scalar_one()):  # fmt: skip
                idle_s, every_s, times = (int(asks(f"tcp_keepalives_{what}")) for what in ("idle", "interval", "count"))
                assert idle_s + every_s * times <= 20
        store.close()
        held.close()


def test_a_sign_that_the_server_keeps_in_no_text_becomes_the_one_for_an_unknown_sign(store: Store) -> None:
    with store.writing() as connection:
        cards.put(connection, "quay", "T1", Card("CODE", name="An\0na"))

    with store.reading() as connection:
        found = cards.of_ticket(connection, "quay", "T1")
        assert found is not None
        assert found.name == "An\ufffdna"
        assert photos.ref(connection, "quay", "no\0photo") is None


def test_what_is_erased_leaves_no_row_and_cards_stand_in_no_byte_of_the_tables(
    store: Store, postgres: Postgres
) -> None:
    with store.writing() as connection:
        for number in range(30):
            card = Card(f"CODE{number}", name=f"MARK-{number:02}-OF-THE-QUAY", note="x" * 700)
            cards.put(connection, "quay", f"T{number}", card)
            photos.add(connection, "quay", f"T{number}", Picture(b"\xff\xd8" + bytes(range(256)) * 90))
    with store.writing() as connection:
        for number in range(10, 20):
            cards.erase(connection, "quay", f"T{number}")

    assert store.scrub()

    postgres.administer("CHECKPOINT")  # what the server holds in memory goes into its files
    tables = b"".join(file.read_bytes() for file in (postgres.folder / "data" / "base").glob("*/*") if file.is_file())
    there = [number for number in range(30) if f"MARK-{number:02}-OF-THE-QUAY".encode() in tables]
    assert there == [*range(10), *range(20, 30)]
    with store.reading() as connection:
        assert connection.execute(text("SELECT count(*) FROM photos")).scalar_one() == 20
    assert _old_rows(store, postgres) == 0


def _old_rows(store: Store, postgres: Postgres) -> int:
    """Old versions of rows in the table of photos and in the one that holds their bytes, as pgstattuple counts them.

    (https://www.postgresql.org/docs/15/pgstattuple.html; from memory)
    """
    name = store.engine.url.database or ""
    postgres.administer("CREATE EXTENSION IF NOT EXISTS pgstattuple", name)
    postgres.administer(f"GRANT pg_stat_scan_tables TO {BOOTH}", name)
    asked = "SELECT sum((pgstattuple(oid)).dead_tuple_count) FROM pg_class WHERE oid IN ('photos'::regclass, {toast})"
    toast = "(SELECT reltoastrelid FROM pg_class WHERE oid = 'photos'::regclass)"
    with store.reading() as connection:
        return int(connection.execute(text(asked.format(toast=toast))).scalar_one())


def test_while_somebody_reads_the_cards_erasing_is_not_waited_for_and_is_made_up_for(
    store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(postgresql, "CLEAR_WAIT_MS", 50)
    with store.reading() as connection:
        connection.execute(text("SELECT name FROM cards")).all()
        assert (store.scrub(), store.is_scrubbed) == (False, False)

    assert (store.scrub(), store.is_scrubbed) == (True, True)
    with store.reading() as connection:
        waits = connection.execute(text("SHOW lock_timeout")).scalar_one()
    assert waits == f"{postgresql.LOCK_WAIT_MS // 1000}s"


def test_what_is_wrong_in_it_is_found(store: Store) -> None:
    day = a_booth().ordered("T1")
    with store.writing() as connection:
        journal.append(connection, "quay", day.events)
        cards.put(connection, "quay", "T1", Card("CODE"))
        photos.add(connection, "quay", "T1", Picture(), id="p1")
        connection.execute(text("DELETE FROM journal WHERE seq = 3"))

    with store.reading() as connection:
        found = {one.name: one for one in health.look_through(connection)}

    assert found["database"].said.startswith("PostgreSQL 1")
    assert "its fsync is off" in found["database"].said, "as it is in tests"
    assert "seq 3 was expected" in found["journal of quay"].faults[0]
    assert found["photos"].faults


def test_a_database_that_cannot_be_used_is_refused_in_one_sentence(postgres: Postgres) -> None:
    with psycopg.connect(postgres.address("postgres", "postgres")) as raw:
        by_whom = "LOCALE_PROVIDER libc" if raw.info.server_version >= 150_000 else ""
    postgres.administer(f"CREATE DATABASE old_signs ENCODING 'LATIN1' LOCALE 'C' {by_whom} TEMPLATE template0")
    said = {
        postgres.address("old_signs"): "cannot hold a booth: its encoding is LATIN1, and names need UTF8",
        postgres.address("not_there"): 'cannot be opened: .*database "not_there" does not exist',
        "postgresql://booth@127.0.0.1:1/quay": "cannot be opened: .*Connection refused",
        "mysql://booth@quay/booth": "mysql is no database that portraitq can use: postgresql://USER@HOST/NAME",
    }
    for address, sentence in said.items():
        with pytest.raises(StoreError, match=sentence):
            open_store(address)
    secret = postgres.address("not_there").replace("booth@", "booth:chalk-dust@")

    failed = CliRunner().invoke(main, ["serve", "--database", secret, "--port", "0"])

    assert failed.exit_code == 1
    assert "chalk-dust" not in failed.output
    assert len(failed.output.splitlines()) == 1
    postgres.administer("DROP DATABASE old_signs")


def test_a_second_service_is_refused_in_one_sentence(postgres: Postgres, tmp_path: Path) -> None:
    from portraitq.store.lock import alone_in

    address = postgres.emptied()
    with alone_in(address):
        second = CliRunner().invoke(main, ["serve", "--database", address, "--data", str(tmp_path), "--port", "0"])

    assert second.exit_code == 1
    assert second.output.startswith(f"The database at {address} is served already by portraitq, process ")
    assert len(second.output.splitlines()) == 1


def test_a_database_of_an_older_version_is_taken_forward_or_not_at_all(
    postgres: Postgres, monkeypatch: pytest.MonkeyPatch
) -> None:
    address = postgres.new_database()
    store = open_store(address)
    with store.writing() as connection:
        connection.exec_driver_sql("ALTER TABLE devices DROP COLUMN role")
        connection.exec_driver_sql("DROP TABLE pairings")
        connection.execute(schema.schema.update().values(version=3))
    store.close()

    with monkeypatch.context() as broken:
        broken.setitem(schema.STEPS, 3, _breaks)
        with pytest.raises(RuntimeError, match="the pencil broke"):
            open_store(address)
    store = open_store(address)

    with store.reading() as connection:
        assert connection.execute(select(schema.schema.c.version)).scalar_one() == schema.VERSION
        assert connection.execute(select(schema.pairings)).all() == []
        assert connection.execute(select(schema.devices.c.role)).all() == []
    store.close()


def _breaks(connection: Any) -> None:
    schema.pairings.create(connection)
    raise RuntimeError("the pencil broke")

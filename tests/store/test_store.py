"""The database: opened safely, in whole transactions, never taken backwards."""

from __future__ import annotations

import os
import sqlite3
from contextlib import closing
from pathlib import Path

import pytest
from sqlalchemy import insert, select, text, update

from portraitq.store import devices, pairings, photos, schema, settings
from portraitq.store.store import FILE_NAME, StoreError, open_store
from tests.builders import instant
from tests.store.picture import Picture


def test_a_folder_that_is_not_there_is_made_and_holds_one_database(tmp_path: Path) -> None:
    store = open_store(tmp_path / "new" / "deep")

    store.ping()

    assert (tmp_path / "new" / "deep" / FILE_NAME).is_file()
    store.close()


@pytest.mark.parametrize(
    ("pragma", "value"),
    [
        ("journal_mode", "wal"),
        ("synchronous", 2),  # FULL, https://sqlite.org/pragma.html#pragma_synchronous (checks L1; from memory)
        ("secure_delete", 1),
    ],
)
def test_what_was_acknowledged_survives_a_power_cut_by_sqlites_own_settings(
    tmp_path: Path, pragma: str, value: object
) -> None:
    store = open_store(tmp_path)

    with store.reading() as connection:
        found = connection.execute(text(f"PRAGMA {pragma}")).scalar()

    assert found == value
    store.close()


@pytest.mark.skipif(os.name == "nt", reason="Windows has no such modes")
def test_nobody_else_on_the_computer_may_read_the_store(tmp_path: Path) -> None:
    store = open_store(tmp_path / "data")
    with store.writing() as connection:
        settings.put(connection, "key", "value")

    modes = [file.stat().st_mode & 0o077 for file in (tmp_path / "data", *(tmp_path / "data").iterdir())]

    assert len(modes) >= 3, "the folder, the database and its log"
    assert set(modes) == {0}
    store.close()


def test_a_transaction_that_fails_leaves_nothing(tmp_path: Path) -> None:
    store = open_store(tmp_path)

    def half_a_change() -> None:
        with store.writing() as connection:
            settings.put(connection, "half", "done")
            raise RuntimeError("the pencil broke")

    with pytest.raises(RuntimeError, match="the pencil broke"):
        half_a_change()

    with store.reading() as connection:
        assert settings.get(connection, "half") is None
    store.close()


def test_a_database_of_a_newer_version_is_refused_in_one_sentence_and_left_as_it_is(tmp_path: Path) -> None:
    store = open_store(tmp_path)
    with store.writing() as connection:
        connection.execute(update(schema.schema).values(version=schema.VERSION + 2))
    store.close()
    before = _dump(tmp_path)

    said = rf"version {schema.VERSION + 2} .*knows versions up to {schema.VERSION}: .*Nothing was changed\.$"
    with pytest.raises(StoreError, match=said):
        open_store(tmp_path)

    assert _dump(tmp_path) == before


def test_an_older_database_is_taken_forward_step_by_step(tmp_path: Path) -> None:
    store = open_store(tmp_path)
    walked: list[int] = []
    with store.writing() as connection:
        connection.execute(update(schema.schema).values(version=schema.VERSION - 2))

        schema.bring_up_to_date(
            connection,
            {schema.VERSION - 2: lambda _: walked.append(-2), schema.VERSION - 1: lambda _: walked.append(-1)},
        )

        assert walked == [-2, -1]
        assert connection.execute(select(schema.schema.c.version)).scalar() == schema.VERSION
    store.close()


def test_a_store_of_the_first_version_keeps_its_photos_and_can_say_where_their_faces_are(tmp_path: Path) -> None:
    store = open_store(tmp_path)
    with store.writing() as connection:
        id = photos.add(connection, "quayside", "T1", Picture())
        for was_not_there in ("DROP TABLE photo_views", "ALTER TABLE photos DROP COLUMN faces"):
            connection.exec_driver_sql(was_not_there)
        connection.exec_driver_sql("ALTER TABLE photos DROP COLUMN came_at")
        connection.exec_driver_sql("ALTER TABLE devices DROP COLUMN role")
        connection.execute(update(schema.schema).values(version=1))
    store.close()

    store = open_store(tmp_path)

    with store.writing() as connection:
        assert photos.mark_faces(connection, "quayside", id, "[[0,0,1,1]]")
        photos.keep_view(connection, id, "grey", b"made")
        assert photos.of_tickets(connection, "quayside", ["T1"])["T1"][0].faces == "[[0,0,1,1]]"
        assert photos.view(connection, id, "grey") == b"made"
    store.close()


def test_a_key_made_before_there_were_roles_opens_what_it_opened(tmp_path: Path) -> None:
    store = open_store(tmp_path)
    with store.writing() as connection:
        key = devices.add(connection, "board", instant("09:00"), devices.STAFF)
        connection.exec_driver_sql("ALTER TABLE devices DROP COLUMN role")
        connection.exec_driver_sql("DROP TABLE pairings")
        connection.execute(update(schema.schema).values(version=3))
    store.close()

    store = open_store(tmp_path)

    with store.writing() as connection:
        found = devices.find(connection, key)
        assert found is not None
        assert found.role == devices.OWNER
        assert pairings.invite(connection, "tablet", devices.STAFF, instant("09:05"))
    store.close()


def test_a_folder_that_is_a_file_is_refused_in_one_sentence(tmp_path: Path) -> None:
    (tmp_path / "data").write_text("a shopping list")

    with pytest.raises(StoreError, match=r"data folder .* cannot be written .*--data"):
        open_store(tmp_path / "data")


@pytest.mark.skipif(os.name == "nt" or os.geteuid() == 0, reason="root may write everywhere")
def test_a_folder_that_may_not_be_written_is_refused_in_one_sentence(tmp_path: Path) -> None:
    tmp_path.chmod(0o500)

    with pytest.raises(StoreError, match=r"data folder .* cannot be written .*--data"):
        open_store(tmp_path)


def test_a_file_that_is_no_database_is_refused_and_left_as_it_is(tmp_path: Path) -> None:
    (tmp_path / FILE_NAME).write_bytes(b"chalk dust " * 500)

    with pytest.raises(StoreError, match="cannot be opened"):
        open_store(tmp_path)

    assert (tmp_path / FILE_NAME).read_bytes() == b"chalk dust " * 500


def test_an_address_of_no_database_is_refused_in_one_sentence() -> None:
    with pytest.raises(StoreError, match="database"):
        open_store("nonsense://nowhere")


def test_what_was_erased_stands_in_no_file_once_the_log_is_scrubbed(tmp_path: Path) -> None:
    store = open_store(tmp_path)
    with store.writing() as connection:
        connection.execute(insert(schema.settings).values(key="contact", value="SECRET-OF-THE-QUAY" * 400))
    with store.writing() as connection:
        connection.execute(schema.settings.delete())

    store.scrub()

    assert not any(b"SECRET-OF-THE-QUAY" in file.read_bytes() for file in tmp_path.iterdir())
    store.close()


def _dump(folder: Path) -> list[str]:
    with closing(sqlite3.connect(folder / FILE_NAME)) as raw:
        return list(raw.iterdump())


def test_a_database_that_was_damaged_or_taken_away_while_it_was_open_does_not_answer(tmp_path: Path) -> None:
    damaged, gone = open_store(tmp_path / "damaged"), open_store(tmp_path / "gone")
    damaged.scrub()
    file = tmp_path / "damaged" / FILE_NAME
    file.write_bytes(b"no database " * (file.stat().st_size // 12))
    damaged.engine.dispose()  # what a connection has read it keeps; a new one looks into the file
    (tmp_path / "gone" / FILE_NAME).rename(tmp_path / "elsewhere")

    with pytest.raises(StoreError, match="is damaged"):
        damaged.ping()
    with pytest.raises(StoreError, match="is gone"):
        gone.ping()

    damaged.close()
    gone.close()

"""Each view is made once, whoever asks, and what was made by old marks or of a deleted photo does not stay."""

from __future__ import annotations

import threading
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest

from portraitq.photo import views
from portraitq.photo.intake import take_in
from portraitq.store import photos
from portraitq.store.store import Store, StoreError, open_store
from portraitq.web import made_once
from portraitq.web.made_once import palettes_of, view_of
from portraitq.web.problems import NotThere
from tests.web.conftest import jpeg


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    opened = open_store(tmp_path)
    yield opened
    opened.close()


@pytest.fixture
def photo(store: Store) -> str:
    with store.writing() as connection:
        return photos.add(connection, "quay", "T1", take_in(jpeg()))


@pytest.fixture
def makings(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """What is made, by name, while the test runs."""
    found: list[str] = []
    make = views.made

    def noting(name: str, *of: object) -> bytes:
        found.append(name)
        return make(name, *of)  # type: ignore[arg-type]

    monkeypatch.setattr(views, "made", noting)
    return found


def while_it_is_made(monkeypatch: pytest.MonkeyPatch, happens: Callable[[], None]) -> None:
    make = views.made

    def slowly(name: str, *of: object) -> bytes:
        made = make(name, *of)  # type: ignore[arg-type]
        happens()
        return made

    monkeypatch.setattr(views, "made", slowly)


def kept(store: Store, photo: str, name: str) -> bytes | None:
    with store.reading() as connection:
        return photos.view(connection, photo, name)


def test_a_view_is_made_when_it_is_first_asked_for_and_then_kept(store, photo, makings):
    assert kept(store, photo, "grey") is None

    first, second = view_of(store, "quay", photo, "grey"), view_of(store, "quay", photo, "grey")

    assert first == second == kept(store, photo, "grey")
    assert makings == ["grey"]


def test_many_who_ask_at_once_wait_for_one_making(store, photo, makings):
    together = threading.Barrier(8)

    def ask(_: int) -> bytes:
        together.wait()
        return view_of(store, "quay", photo, "values-5")

    with ThreadPoolExecutor(8) as pool:
        answers = list(pool.map(ask, range(8)))

    assert len(set(answers)) == 1
    assert makings == ["values-5"]


def test_when_all_is_made_no_turn_is_left_behind(store, photo):
    view_of(store, "quay", photo, "grey")
    with pytest.raises(NotThere):
        view_of(store, "quay", photo, "eyes-9")

    assert made_once._turns._turns == {}


def test_colours_are_kept_as_views_are(store, photo):
    first = palettes_of(store, "quay", photo)

    assert kept(store, photo, "colours") is not None
    assert palettes_of(store, "quay", photo) == first


def test_a_photo_deleted_while_its_view_is_made_leaves_nothing(store, photo, monkeypatch):
    def deleted() -> None:
        with store.writing() as connection:
            photos.remove(connection, "quay", "T1", photo)

    while_it_is_made(monkeypatch, deleted)

    view_of(store, "quay", photo, "grey")

    assert kept(store, photo, "grey") is None
    with pytest.raises(NotThere, match="no such photo any more"):
        view_of(store, "quay", photo, "grey")


def test_marks_set_anew_while_eyes_are_made_are_those_that_count(store, photo, monkeypatch):
    def marked_anew() -> None:
        with store.writing() as connection:
            photos.mark_faces(connection, "quay", photo, "[[0,0,0.5,0.5]]")

    with monkeypatch.context() as patched:
        while_it_is_made(patched, marked_anew)
        by_old_marks = view_of(store, "quay", photo, "eyes-1")

    assert kept(store, photo, "eyes-1") is None
    assert view_of(store, "quay", photo, "eyes-1") != by_old_marks


def test_what_cannot_be_kept_is_shown_all_the_same(store, photo, monkeypatch):
    def full(*_: object) -> None:
        raise StoreError("The database does not answer as it should (disk full). Nothing was changed.")

    monkeypatch.setattr(photos, "keep_view", full)

    assert view_of(store, "quay", photo, "grey").startswith(b"\xff\xd8\xff")


def test_a_making_that_fails_frees_its_turn(store, photo, monkeypatch):
    def broken(*_: object) -> bytes:
        raise ValueError("cannot")

    with monkeypatch.context() as patched:
        patched.setattr(views, "made", broken)
        with pytest.raises(ValueError, match="cannot"):
            view_of(store, "quay", photo, "grey")

    assert view_of(store, "quay", photo, "grey")


def test_another_booth_is_told_that_there_is_no_such_photo(store, photo):
    with pytest.raises(NotThere, match="no such photo any more"):
        view_of(store, "pier", photo, "grey")

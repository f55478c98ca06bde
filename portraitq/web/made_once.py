"""Views of photos, each made once: when it is first asked for, then kept beside the photo.

Two tablets that ask at once wait for the same making. A photo that goes meanwhile takes its views with it, and marks
that are set anew meanwhile let nothing stay that was made by the old ones.

No thread makes views before they are asked for: the easel fetches those of the sketch in hand ahead, which brings them
over the network as well, and making one takes a tenth of a second.
"""

from __future__ import annotations

import logging
import os
import threading
from collections.abc import Iterator
from contextlib import contextmanager

from portraitq.photo import colours, views
from portraitq.photo.colours import Palette
from portraitq.photo.face import Face, read_faces
from portraitq.photo.views import NoSuchView
from portraitq.store import photos
from portraitq.store.store import Store, StoreError
from portraitq.web.problems import NotThere

log = logging.getLogger(__name__)

GONE = "There is no such photo any more: it was deleted, or its portrait was handed over."
COLOURS = "colours"  # under this name the palettes are kept beside the views
MOST_AT_ONCE = max(1, (os.cpu_count() or 2) // 2)  # a tap finds the other half free; each takes some 50 MB


class _Turns:
    """One at a time for each key, so that what somebody makes already is not made a second time."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._turns: dict[tuple[str, str], tuple[threading.Lock, int]] = {}

    @contextmanager
    def taking(self, key: tuple[str, str]) -> Iterator[None]:
        with self._lock:
            turn, waiting = self._turns.get(key, (threading.Lock(), 0))
            self._turns[key] = turn, waiting + 1
        try:
            with turn:
                yield
        finally:
            with self._lock:
                turn, waiting = self._turns[key]
                if waiting == 1:
                    del self._turns[key]
                else:
                    self._turns[key] = turn, waiting - 1


_turns = _Turns()
_room = threading.BoundedSemaphore(MOST_AT_ONCE)


def view_of(store: Store, booth: str, id: str, name: str) -> bytes:
    """The view of that name of a photo, made now if nobody made it before; NotThere when there is none (any more)."""
    if name == COLOURS:
        raise NotThere("The colours of a photo are no picture: they stand beside its views, not among them.")
    return _once(store, booth, id, name)


def palettes_of(store: Store, booth: str, id: str) -> tuple[Palette, ...]:
    """The main colours of each marked face of a photo, likewise."""
    return colours.read_palettes(_once(store, booth, id, COLOURS))


def _once(store: Store, booth: str, id: str, name: str) -> bytes:
    if (kept := _kept(store, booth, id, name)) is not None:
        return kept
    with _turns.taking((id, name)):
        if (kept := _kept(store, booth, id, name)) is not None:
            return kept
        return _made_and_kept(store, booth, id, name)


def _kept(store: Store, booth: str, id: str, name: str) -> bytes | None:
    """What was made before; NotThere when the photo is gone or has no such view."""
    with store.reading() as connection:
        ref = photos.ref(connection, booth, id)
        if ref is None:
            raise NotThere(GONE)
        _need(name, read_faces(ref.faces))
        return photos.view(connection, id, name)


def _made_and_kept(store: Store, booth: str, id: str, name: str) -> bytes:
    with store.reading() as connection:
        photo = photos.photo(connection, id)
    if photo is None or photo.booth != booth:
        raise NotThere(GONE)
    faces = read_faces(photo.faces)
    _need(name, faces)  # they may have been marked anew since
    with _room:
        made = _made(name, photo.jpeg, faces)
    try:
        with store.writing() as connection:
            photos.keep_view(connection, id, name, made, photo.faces)
    except StoreError:
        log.warning("a view of a photo was made but could not be kept", exc_info=True)
    return made


def _need(name: str, faces: tuple[Face, ...]) -> None:
    if name == COLOURS:
        return
    try:
        views.need(name, faces)
    except NoSuchView as no:
        raise NotThere(str(no)) from no


def _made(name: str, jpeg: bytes, faces: tuple[Face, ...]) -> bytes:
    if name == COLOURS:
        return colours.print_palettes(colours.palettes(jpeg, faces))
    return views.made(name, jpeg, faces)

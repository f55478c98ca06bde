"""A body that breaks off, or whose pieces are none, is its sender's fault: 400, nothing taken, nothing in the log.

gunicorn finds the latter out while the body is read, in the midst of our own work, and its complaints are errors like
any other: told as something wrong inside, with a traceback for each that a stranger sends. The former it does not tell
at all, so that a form cut short by a lost line was taken as if it were whole (RFC 9112 §8 calls it incomplete).
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from typing import Any

from gunicorn.http.errors import ParseException  # type: ignore[import-untyped]
from werkzeug.exceptions import BadRequest

Wsgi = Callable[[dict[str, Any], Callable[..., Any]], Iterable[bytes]]


def told_apart(wsgi: Wsgi) -> Wsgi:
    """`wsgi`, given bodies that raise BadRequest where they cannot be read on."""

    def outer(environ: dict[str, Any], start_response: Callable[..., Any]) -> Iterable[bytes]:
        environ["wsgi.input"] = _Body(environ["wsgi.input"], environ.get("CONTENT_LENGTH", ""))
        return wsgi(environ, start_response)

    return outer


class _Body:
    """What WSGI asks of a body (PEP 3333, "Input and Error Streams")."""

    def __init__(self, body: Any, length: str) -> None:
        self._body = body
        self._missing_bytes = int(length) if length.isdecimal() else 0  # of one in pieces gunicorn knows the end

    def read(self, size: int = -1) -> bytes:
        """So many bytes or fewer; all that there are where `size` is negative."""
        return self._checked(lambda: self._body.read(size), size)

    def readline(self, size: int = -1) -> bytes:
        """One line."""
        return self._checked(lambda: self._body.readline(size), 1)

    def readlines(self, hint: int = -1) -> list[bytes]:
        """All lines."""
        return list(self)

    def __iter__(self) -> Iterator[bytes]:
        while line := self.readline():
            yield line

    def _checked(self, read: Callable[[], bytes], size: int) -> bytes:
        try:
            found = read()
        except (ParseException, OSError) as wrong:
            raise BadRequest from wrong
        self._missing_bytes -= len(found)
        is_at_the_end = size < 0 or (size > 0 and not found)
        if is_at_the_end and self._missing_bytes > 0:
            raise BadRequest
        return found

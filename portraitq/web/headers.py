"""The headers that every answer has, whoever made it: a screen, the API, live push, or who turns somebody away at the
door. What a browser may do with an answer is said here once (OWASP ASVS 5.0, 3.4.3 to 3.4.6); a view may say more.

How long an answer may be kept, by whom, is said where it is made, and in `app.py` for the rest.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from typing import Any

from flask import Flask

SECURITY_HEADERS = {
    "Content-Security-Policy": (  # what is not named here is not loaded at all
        "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data: blob:; connect-src 'self'; "
        "base-uri 'none'; form-action 'self'; frame-ancestors 'none'"
    ),
    "Referrer-Policy": "no-referrer",
    "X-Content-Type-Options": "nosniff",
    "X-Frame-Options": "DENY",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Permissions-Policy": "camera=(self), microphone=(), geolocation=()",
}


def install(app: Flask) -> None:
    """Give them to every answer of `app`. To be installed last."""
    inside = app.wsgi_app

    def outside(environ: dict[str, Any], start_response: Callable[..., Any]) -> Iterable[bytes]:
        def started(status: str, headers: list[tuple[str, str]], *wrong: Any) -> Any:
            there = {name.lower() for name, _ in headers}
            more = [(name, value) for name, value in SECURITY_HEADERS.items() if name.lower() not in there]
            return start_response(status, [*headers, *more], *wrong)

        return inside(environ, started)

    app.wsgi_app = outside  # type: ignore[method-assign]

"""By which names a booth may be called: a page of a stranger's domain must not reach it by pointing that name here.

Whoever owns a domain can let it lead to an address of the booth's own network, and then a browser takes the booth for
a part of that domain (DNS rebinding). So only those names are answered to that no stranger can own: addresses by
number, names without a dot, names that exist in local networks alone, this machine's own, the one that `--address`
gives, and those that the certificate for https is for. Whatever a proxy says in headers of its own (`X-Forwarded-…`)
is dropped: it decides nothing here.
"""

from __future__ import annotations

import re
import socket
from collections.abc import Callable, Iterable
from ipaddress import ip_address
from typing import Any
from urllib.parse import parse_qs, urlsplit

from flask import Flask

from portraitq.web import problems
from portraitq.web.crowd import LIVE_PATH

# RFC 6762 (.local), RFC 6761 (.localhost), RFC 8375 (.home.arpa), ICANN's reservation of 2024 (.internal); the last
# three are no domains of the internet and are what routers and hotspots of small networks commonly call theirs.
LOCAL_ENDINGS = (".local", ".localhost", ".home.arpa", ".internal", ".lan", ".home", ".localdomain")
NAME = re.compile(r"(?:[a-z0-9_-]{1,63}\.)*[a-z0-9_-]{1,63}\.?", re.IGNORECASE)
WITH_PORT = re.compile(r"(?P<name>\[[0-9a-f:.]+\]|[^:\[\]]+)(?::[0-9]{0,5})?", re.IGNORECASE)
ABSOLUTE = re.compile(r"https?://(?:[^/?#@]*@)?(?P<host>[^/?#]*)", re.IGNORECASE)
LONGEST_NAME = 253  # RFC 1035 §2.3.4, as text
WSGI = Callable[[dict[str, Any], Callable[..., Any]], Iterable[bytes]]


def name_in(host: str) -> str | None:
    """The name or number in a Host header, lower case, without its port; None where it has not that header's form.

    >>> name_in("Booth.LOCAL:8750"), name_in("[fe80::1]:8750"), name_in("a:b@c"), name_in("")
    ('booth.local', 'fe80::1', None, None)
    """
    found = WITH_PORT.fullmatch(host)
    if found is None:
        return None
    name = found["name"].lower()
    if name.startswith("["):
        return name[1:-1] if _is_number(name[1:-1]) else None
    return name.removesuffix(".") if NAME.fullmatch(name) and len(name) <= LONGEST_NAME else None


def is_ours(name: str, own: frozenset[str]) -> bool:
    """Whether a booth answers to `name`, as `name_in` gives it; `own` are the machine's names and that of `--address`.

    >>> is_ours("192.168.4.1", frozenset()), is_ours("booth", frozenset()), is_ours("evil.example", frozenset())
    (True, True, False)
    """
    return _is_number(name) or "." not in name or name.endswith(LOCAL_ENDINGS) or name in own


def own_names(address: str) -> frozenset[str]:
    """What this machine calls itself, and the name in `address`, which phones call it by.

    Its full name is not asked for: where a network has no name server that answers, that takes many seconds.
    """
    said = urlsplit(address).hostname or ""
    return frozenset(name.lower().removesuffix(".") for name in (said, socket.gethostname()) if name)


def is_own_origin(origin: str | None, environ: dict[str, Any], address: str) -> bool:
    """Whether a page that opens a live connection is one of ours: of the very host it talks to, or of `address`.

    RFC 6454 §4, §6.2: scheme, host and port are the same; "null" is nobody's.
    """
    if not origin:
        return False
    parts = urlsplit(address)
    here = f"{environ.get('wsgi.url_scheme', 'http')}://{environ.get('HTTP_HOST', '')}"
    return origin.lower() in (here.lower(), f"{parts.scheme}://{parts.netloc}".lower())


def install(app: Flask) -> None:
    """Answer to our own names alone, on pages, API and live push alike. To be installed last, around all of it."""
    https, inner = app.config.get("PORTRAITQ_HTTPS"), app.wsgi_app
    own = own_names(app.config["PORTRAITQ_ADDRESS"]) | (https.signed.names if https else frozenset())

    def outer(environ: dict[str, Any], start_response: Callable[..., Any]) -> Iterable[bytes]:
        for said_by_proxies in [key for key in environ if key.startswith(("HTTP_X_FORWARDED", "HTTP_FORWARDED"))]:
            del environ[said_by_proxies]
        status, sentence = _judged(environ, own)
        if not status:
            return inner(environ, start_response)
        environ["HTTP_HOST"] = "localhost"  # what was sent must not get into anything that is made for the answer
        with app.request_context(environ):
            answer = app.process_response(problems.told(status, sentence))
            return answer(environ, start_response)

    app.wsgi_app = outer  # type: ignore[method-assign]


def _judged(environ: dict[str, Any], own: frozenset[str]) -> tuple[int, str]:
    """A status and why not, or 0: RFC 9112 §3.2 asks for 400 without a Host, RFC 9110 §15.5.20 for 421."""
    if _is_for_script_tags(environ):
        return 400, "Live push answers no script tag: what it says would be any page's to read."
    said = _asked_of(environ)
    if said is None:
        is_old = environ.get("SERVER_PROTOCOL") == "HTTP/1.0"  # which had no such header, as some watchdogs still
        return (0, "") if is_old else (400, "A request must say in its header Host which computer it is for.")
    name = name_in(said)
    if name is None:
        return 400, "The header Host of this request is no name and no address of a computer."
    if not is_ours(name, own):
        return 421, (
            f"This booth is not called {name[:60]!r}: open it by its address in numbers, or start portraitq "
            f"with --address {name[:60]} if that is how phones shall call it."
        )
    return 0, ""


def _is_for_script_tags(environ: dict[str, Any]) -> bool:
    """Whether Engine.IO's polling is asked to answer as a script (JSONP), which sends no Origin to be judged by.

    OWASP ASVS 5.0, 3.5.6: no JSONP anywhere.
    """
    is_live = str(environ.get("PATH_INFO", "")).startswith(LIVE_PATH)
    return is_live and "j" in parse_qs(environ.get("QUERY_STRING", ""), keep_blank_values=True)


def _asked_of(environ: dict[str, Any]) -> str | None:
    """Whom the request is for: the host in its target where one stands there (RFC 9112 §3.2.2), else its Host."""
    if whole := ABSOLUTE.match(str(environ.get("RAW_URI") or environ.get("REQUEST_URI") or "")):
        return whole["host"]
    found = environ.get("HTTP_HOST")
    return None if found is None else str(found)


def _is_number(name: str) -> bool:
    try:
        ip_address(name)
    except ValueError:
        return False
    return True

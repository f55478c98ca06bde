"""The session cookie: what it holds, how long it counts, and that it is written anew no more often than it must be.

Signed, HttpOnly, SameSite=Lax, for this site alone (OWASP ASVS 5.0, V3.3; RFC 6265). It may hold two things side by
side: a sign-in by the passphrase (`id`, `epoch`, `since_s`) and the key of a paired device (`key`). An owner who signs
in on a staff tablet for a moment leaves the tablet paired. `known` says that this browser once knew the passphrase.
"""

from __future__ import annotations

import time
from datetime import timedelta
from typing import TYPE_CHECKING, Any

from flask import request
from flask.sessions import SecureCookieSession, SecureCookieSessionInterface, SessionMixin
from itsdangerous import BadSignature

from portraitq.clock import WRITTEN_AT, ThisSystem

if TYPE_CHECKING:
    from flask import Flask, Request, Response

REST = timedelta(hours=12)  # a long fair day; nobody signs in again in the middle of it
DEVICE_REST = timedelta(days=30)  # a tablet is used at weekends, and a rainy one is left out
LONGEST = timedelta(days=30)  # a sign-in that is used every day (NIST SP 800-63B rev. 4, §2.1.3: once in 30 days)
LENT = timedelta(minutes=30)  # a sign-in on a paired device, which others go on using
WRITTEN_ANEW_S = 60.0
SIGN_IN = ("id", "epoch", "since_s")


class Cookie(SecureCookieSessionInterface):
    """Reads and writes the cookie. Its age is the time since it was written, which is since its last use.

    What was written in the future is as good as new: small boards start in 1970, and time that went back opens nothing
    that was not open.
    """

    def get_cookie_name(self, app: Flask) -> str:
        """By https a name of its own: cookies do not know ports, and the one of http is read by anybody on the way.

        Browsers take `__Host-` by https alone and never send it otherwise, so http can neither read nor replace it
        (RFC 6265bis, §4.1.3.2; OWASP ASVS 5.0, 3.3.1 and 3.3.3; numbers from memory).
        """
        name = super().get_cookie_name(app)
        return f"__Host-{name}" if request.is_secure else name

    def get_cookie_secure(self, app: Flask) -> bool:
        """Whether the cookie may go by https alone: where it came so, or where a proxy speaks https for us."""
        is_behind_a_proxy = app.config.get("PORTRAITQ_HTTPS") is None
        return request.is_secure or (is_behind_a_proxy and super().get_cookie_secure(app))

    def open_session(self, app: Flask, request: Request) -> SecureCookieSession | None:
        """The session of this request; empty when there is none, its signature is wrong, or it rested too long."""
        serializer = self.get_signing_serializer(app)
        came = request.cookies.get(self.get_cookie_name(app))
        if serializer is None or not came:
            return self.session_class()
        try:
            content, written_at = serializer.loads(came, return_timestamp=True)
        except BadSignature:
            return self.session_class()
        age_s = gone_s(written_at.timestamp())
        if age_s > DEVICE_REST.total_seconds() or not isinstance(content, dict):
            return self.session_class()
        session = self.session_class(content)
        if age_s > REST.total_seconds() or is_over(session):
            end_sign_in(session)
        session.modified = session.modified or age_s > WRITTEN_ANEW_S  # else an answer on its way might undo a change
        session.accessed = False
        return session

    def save_session(self, app: Flask, session: SessionMixin, response: Response) -> None:
        """Write the cookie when it changed or is a minute old.

        By Max-Age and not by Expires, which a browser would judge by a clock that may be another than the board's
        (RFC 6265, §5.3: Max-Age has precedence).
        """
        if not session or not session.modified:
            super().save_session(app, session, response)
            return
        serializer = self.get_signing_serializer(app)
        assert serializer is not None
        response.set_cookie(
            self.get_cookie_name(app),
            serializer.dumps(dict(session)),
            max_age=DEVICE_REST,
            httponly=self.get_cookie_httponly(app),
            path=self.get_cookie_path(app),
            secure=self.get_cookie_secure(app),
            samesite=self.get_cookie_samesite(app),
        )
        response.vary.add("Cookie")


_system = ThisSystem()
_began_s, _began_steady_s = _system.wall_s(), _system.steady_s()


def gone_s(written_s: float) -> float:
    """Seconds since the clock showed `written_s`, seconds since 1970.

    What a board wrote in 1970, in this run of the service and before it found the time, is no older than the run: or
    everybody would be signed out at that moment, in the middle of a day.
    """
    gone = time.time() - written_s
    if _began_s <= written_s < WRITTEN_AT.timestamp():
        return min(gone, _system.steady_s() - _began_steady_s)
    return gone


def over_at_s(session: Any) -> float:
    """When the sign-in of this session is over however much it is used, in seconds since 1970."""
    since_s = session.get("since_s")
    lasts = LENT if session.get("key") else LONGEST
    return time.time() - gone_s(since_s if isinstance(since_s, float) else 0.0) + lasts.total_seconds()


def is_over(session: Any) -> bool:
    """Whether this session has a sign-in that is over however much it is used."""
    return "id" in session and time.time() > over_at_s(session)


def end_sign_in(session: Any) -> None:
    """Take the sign-in out of the session; a paired device stays one."""
    for name in SIGN_IN:
        session.pop(name, None)

"""How a tablet comes to trust the booth's certificate: what to install, how to compare it, how to be rid of it again.

Open to all: whoever reads it has no tablet of the booth signed in yet, and a certificate is no secret.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, cast

from flask import Blueprint, Flask, Response, current_app, render_template, request
from markupsafe import Markup

from portraitq.ticket import qr
from portraitq.web.here import address
from portraitq.web.hosts import name_in
from portraitq.web.problems import NotThere

if TYPE_CHECKING:
    from portraitq.https import Https

# RFC 2585, 4.1 names application/pkix-cert; what iOS and Android take for something to install is this older name.
CERTIFICATE_TYPE = "application/x-x509-ca-cert"
NOT_SERVED = "This booth is not served by https: start it with `portraitq serve --https`."
NOTHING_TO_TRUST = "This booth shows a certificate that it was given, and browsers know who signed it."
blueprint = Blueprint("trust", __name__)


@dataclass(frozen=True)
class Trust:
    """What the page says: the address for tablets, with its QR; the fingerprint in lines; whether it came by https."""

    address: str
    qr: Markup
    fingerprint: list[str]
    for_phones: str
    is_trusted: bool


def install(app: Flask) -> None:
    """Let templates ask for the better address."""
    app.jinja_env.globals.update(secure_address=secure_address, has_own_certificate=has_own_certificate)


def has_own_certificate() -> bool:
    """Whether a device has to be told to trust the booth before it opens it by https."""
    https = _https()
    return https is not None and https.authority is not None


def secure_address() -> str:
    """The address of this page's host by https, for whoever reads it by http; empty when there is none."""
    https = _https()
    if https is None or request.is_secure:
        return ""
    return https.beside(name_in(request.host) or "")


def address_for_tablets() -> str:
    """What a tablet is told to open: by https when this page came so, for then the booth's tablets are to, too."""
    https = _https()
    return https.beside(name_in(request.host) or "") if https is not None and request.is_secure else address()


@blueprint.get("/trust")
def show() -> str:
    """The page in plain words."""
    https = _of_its_own()
    here = https.beside(name_in(request.host) or "")
    picture = Markup(qr.as_svg(qr.compact(f"{here}/"), title="QR to open the booth by https"))
    return render_template(
        "trust.html", view=Trust(f"{here}/", picture, https.fingerprint, f"{address()}/", request.is_secure)
    )


@blueprint.get("/trust/booth.crt")
def certificate() -> Response:
    """The authority's certificate, to be installed."""
    authority = _of_its_own().authority
    assert authority is not None
    answer = Response(authority.der, mimetype=CERTIFICATE_TYPE)
    answer.headers["Content-Disposition"] = 'attachment; filename="booth.crt"'
    return answer


def _https() -> Https | None:
    return cast("Https | None", current_app.config.get("PORTRAITQ_HTTPS"))


def _of_its_own() -> Https:
    https = _https()
    if https is None:
        raise NotThere(NOT_SERVED)
    if https.authority is None:
        raise NotThere(NOTHING_TO_TRUST)
    return https

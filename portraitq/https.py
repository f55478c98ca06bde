"""How a service is reached by https: with which certificate, under which names, renewed when the addresses change.

Beside http and not instead of it: customers' phones do not know the booth's certificate and would be shown a warning,
so their tickets stay on http. https is for the booth's own tablets.
"""

from __future__ import annotations

import logging
import socket
import ssl
import threading
import time
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path
from urllib.parse import urlsplit

from portraitq import certificate, locality
from portraitq.certificate import Authority, NoCertificate, Signed
from portraitq.secure_door import Door

FOLDER = "https"
LOOK_EVERY_S = 20.0
# TLS 1.3 has its own; of 1.2 only what RFC 9325, 4.2 recommends: forward secrecy and authenticated ciphers.
CIPHERS = "ECDHE+AESGCM:ECDHE+CHACHA20"
log = logging.getLogger(__name__)


@dataclass(frozen=True)
class HttpsWish:
    """What somebody asks for: https at `port`, with the booth's own certificate or with a given one and its key.

    folder   where the booth's own is kept
    """

    port: int
    folder: Path
    certificate: Path | None = None
    key: Path | None = None

    def at(self, host: str, said: str | None) -> Https:
        """That, listening at `host`; `said` is what phones are told to call the service. Raises NoCertificate."""
        if self.certificate is None and self.key is None:
            return Https.of_its_own(self.folder, host, self.port, said)
        if self.certificate is None or self.key is None:
            raise NoCertificate("A certificate and its key belong together: give both --certificate and --key.")
        return Https.with_given(self.certificate, self.key, host, self.port, said)


@dataclass
class Https:
    """What tablets find at `port`. Made by `of_its_own` or `with_given`; `signed` is replaced while it runs."""

    host: str
    port: int
    said: str | None
    signed: Signed
    folder: Path | None = None
    authority: Authority | None = None
    _seen: tuple[float, ...] = field(default=(), repr=False)

    @classmethod
    def of_its_own(cls, folder: Path, host: str, port: int, said: str | None) -> Https:
        """With a certificate that the booth signs itself, by the authority kept in `folder`.

        said   the address that phones are told, where somebody chose it; its host is signed for as well
        Raises NoCertificate when it may not be, or the folder is of no use
        """
        name = _host_of(said) or ("" if host in locality.ANYWHERE else host)
        if name and not certificate.may_sign_for(name):
            raise NoCertificate(
                f"The booth's own certificate is for addresses of local networks and names like booth.local, not for "
                f"{name}: give one for that name with --certificate and --key."
            )
        now = now_here()
        authority = certificate.authority_in(folder, now, this_computer())
        signed = certificate.signed_in(folder, authority, names_here(host, said), now)
        return cls(host, port, said, signed, folder, authority)

    @classmethod
    def with_given(cls, file: Path, key: Path, host: str, port: int, said: str | None) -> Https:
        """With a given certificate, such as one for a name of the booth's own; NoCertificate when it is of no use."""
        made = cls(host, port, said, certificate.given(file, key, now_here()))
        made._seen = made._changed_s()
        return made

    @property
    def address(self) -> str:
        """What the booth's tablets call it."""
        if self.said and self.said.startswith("https://"):
            return self.said.rstrip("/")
        here = locality.lan_address() if self.host in locality.ANYWHERE else self.host
        if here not in self.signed.names:
            here = f"{this_computer()}.local" if self.authority else min(self.signed.names)
        return f"https://[{here}]:{self.port}" if ":" in here else f"https://{here}:{self.port}"

    def beside(self, host: str) -> str:
        """The same for whoever reached the booth by `host`, a name or an address, where the certificate is for it."""
        is_for_all = host in self.signed.names and ":" not in host and host not in (locality.LOOPBACK, "localhost")
        return f"https://{host}:{self.port}" if is_for_all else self.address

    @property
    def fingerprint(self) -> list[str]:
        """That of the authority, in lines to be compared by eye; none for a given certificate."""
        return certificate.fingerprint(self.authority.certificate) if self.authority else []

    def context(self) -> ssl.SSLContext:
        """TLS 1.2 or 1.3 with the certificate of now."""
        made = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
        made.minimum_version = ssl.TLSVersion.TLSv1_2
        made.set_ciphers(CIPHERS)
        made.options |= ssl.OP_NO_RENEGOTIATION | ssl.OP_CIPHER_SERVER_PREFERENCE
        made.set_alpn_protocols(["http/1.1"])
        made.load_cert_chain(self.signed.certificate_file, self.signed.key_file)
        return made

    def listener(self) -> socket.socket:
        """The socket to listen on."""
        family = socket.AF_INET6 if ":" in self.host else socket.AF_INET
        return socket.create_server((self.host, self.port), family=family, backlog=128)

    def keep_fresh(self, door: Door, stopped: threading.Event) -> None:
        """Until `stopped`, give the door another certificate whenever one is due."""
        while not stopped.wait(LOOK_EVERY_S):
            try:
                if self.renewed():
                    door.context = self.context()
            except (NoCertificate, ssl.SSLError, OSError) as wrong:
                log.warning("https goes on with the certificate that it has: %s", wrong)

    def renewed(self) -> bool:
        """Sign, or read, another certificate if that is due; whether it was."""
        now = now_here()
        if self.authority is not None and self.folder is not None:
            if not self.signed.is_due(names_here(self.host, self.said), now):
                return False
            names = names_here(self.host, self.said)
            self.signed = certificate.signed_in(self.folder, self.authority, names, now)
            return True
        if self.signed.key_file is None or self._changed_s() == self._seen:
            return False
        self._seen = self._changed_s()
        self.signed = certificate.given(self.signed.certificate_file, self.signed.key_file, now)
        return True

    def _changed_s(self) -> tuple[float, ...]:
        files = (self.signed.certificate_file, self.signed.key_file)
        return tuple(file.stat().st_mtime for file in files if file is not None and file.exists())


def names_here(host: str, said: str | None) -> set[str]:
    """The addresses and names that the booth's certificate has to be for just now."""
    name = this_computer()
    found = {locality.LOOPBACK, "localhost", f"{name}.local", locality.lan_address(), *locality.own_addresses()}
    if host not in locality.ANYWHERE:
        found |= {host}
    if named := _host_of(said):
        found |= {named}
    return {name for name in found if certificate.may_sign_for(name)}


def this_computer() -> str:
    """The computer's own name as a word for addresses, `booth` where it has none that fits.

    >>> set(this_computer()) <= set("abcdefghijklmnopqrstuvwxyz0123456789-")
    True
    """
    first = socket.gethostname().partition(".")[0].lower()
    return first if first.isascii() and first.replace("-", "").isalnum() and len(first) < 64 else "booth"


def now_here() -> datetime:
    """The computer's clock: certificates are judged by it, whatever the demo's clock says."""
    return datetime.fromtimestamp(time.time(), UTC)


def _host_of(said: str | None) -> str:
    return (urlsplit(said if "://" in said else f"//{said}").hostname or "") if said else ""

"""Certificates for https at a booth: an authority of the booth's own, what it signs for today's addresses, given ones.

A booth has another address at every fair, and a tablet should be told only once to trust it. So the booth is a small
authority: its certificate goes onto the tablets and stays, and at each start it signs a short-lived one for the
addresses that the computer has then. The authority may sign for addresses of local networks and for names that mean
nothing on the internet, and for nothing else: whoever stole its key could not pass for a bank.

Follows RFC 5280 (profile), RFC 9525 (names stand in subjectAltName alone); 397 days and P-256 are what browsers take
(CA/Browser Forum baseline requirements). Files are read and written here, the clock is an argument.
"""

from __future__ import annotations

import contextlib
import os
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from ipaddress import IPv4Address, IPv6Address, ip_address, ip_network
from pathlib import Path

from cryptography import x509
from cryptography.exceptions import InvalidSignature
from cryptography.hazmat.primitives import hashes
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.hazmat.primitives.serialization import (
    Encoding,
    NoEncryption,
    PrivateFormat,
    PublicFormat,
    load_pem_private_key,
)
from cryptography.x509.oid import ExtendedKeyUsageOID, NameOID

LOCAL_NETWORKS = (
    *map(ip_network, ("10.0.0.0/8", "172.16.0.0/12", "192.168.0.0/16")),  # RFC 1918
    *map(ip_network, ("169.254.0.0/16", "127.0.0.0/8", "100.64.0.0/10")),  # RFC 3927, RFC 1122, RFC 6598
    *map(ip_network, ("192.0.2.0/24", "198.51.100.0/24", "203.0.113.0/24")),  # RFC 5737: nobody's on the internet
    *map(ip_network, ("fc00::/7", "fe80::/10", "::1/128")),  # RFC 4193, RFC 4291
)
# RFC 6762, RFC 6761, RFC 8375, and what ICANN keeps for private use. A computer's bare name is not among them: one that
# is called "studio" would let the authority sign for everything under .studio.
LOCAL_NAMES = ("local", "localhost", "home.arpa", "internal")
AUTHORITY_LASTS = timedelta(days=3653)
SERVER_LASTS = timedelta(days=397)
BEGINS_BEFORE = timedelta(days=2)  # a tablet's clock may be behind
BUILT_AT = datetime(2026, 11, 1, tzinfo=UTC)  # a computer that believes in an earlier day has lost its clock
RENEWED_BEFORE = timedelta(days=30)
KEY_FILE, CERTIFICATE_FILE, SERVER_FILE = "authority-key.pem", "booth.crt", "server.pem"
OWN_ONLY = 0o600
PAIRS_A_LINE = 8


class NoCertificate(Exception):
    """There is no certificate to serve with; one sentence says why and what to do."""


@dataclass(frozen=True)
class Authority:
    """What tablets are told to trust."""

    key: ec.EllipticCurvePrivateKey
    certificate: x509.Certificate

    @property
    def der(self) -> bytes:
        """The certificate as devices install it."""
        return self.certificate.public_bytes(Encoding.DER)


@dataclass(frozen=True)
class Signed:
    """A certificate to serve with: its file, with its key in it or beside it, for which names, until when."""

    certificate_file: Path
    key_file: Path | None
    names: frozenset[str]
    begins_at: datetime
    ends_at: datetime

    def is_due(self, names: Iterable[str], now: datetime) -> bool:
        """Whether another is needed: the computer has a further address, or the time is (nearly) over, or not yet."""
        return not set(names) <= self.names or now + RENEWED_BEFORE > self.ends_at or now < self.begins_at


# The booth's own


def authority_in(folder: Path, now: datetime, booth: str) -> Authority:
    """The authority kept in `folder`, made where there is none or its time is over; `booth` is a word it is known by.

    Raises NoCertificate when the folder cannot be used or what is in it does not belong together.
    """
    try:
        folder.mkdir(mode=0o700, parents=True, exist_ok=True)
        if (folder / KEY_FILE).exists():
            kept = _read_authority(folder)
            if kept.certificate.not_valid_after_utc > now + RENEWED_BEFORE:
                return kept
        made = new_authority(now, booth)
        _write_whole(folder / KEY_FILE, _pem_of(made.key))
        _write_whole(folder / CERTIFICATE_FILE, made.der)
    except OSError as wrong:
        raise NoCertificate(
            f"The booth's certificate cannot be kept in {folder}: {wrong.strerror or wrong}."
        ) from wrong
    return made


def _read_authority(folder: Path) -> Authority:
    damaged = NoCertificate(
        f"What is kept in {folder} is damaged: delete that folder, start again, and let the tablets trust the booth "
        "anew."
    )
    try:
        key = load_pem_private_key((folder / KEY_FILE).read_bytes(), None)
        certificate = x509.load_der_x509_certificate((folder / CERTIFICATE_FILE).read_bytes())
        certificate.verify_directly_issued_by(certificate)
    except (ValueError, TypeError, InvalidSignature, FileNotFoundError) as wrong:
        raise damaged from wrong
    if not isinstance(key, ec.EllipticCurvePrivateKey) or _public(key) != _public(certificate):
        raise damaged
    (folder / KEY_FILE).chmod(OWN_ONLY)
    return Authority(key, certificate)


def _not_kept(folder: Path, wrong: OSError) -> NoCertificate:
    return NoCertificate(f"The booth's certificate cannot be kept in {folder}: {wrong.strerror or wrong}.")


def new_authority(now: datetime, booth: str) -> Authority:
    """A new authority, good for ten years, for local networks only."""
    key = ec.generate_private_key(ec.SECP256R1())
    begins_at = max(now, BUILT_AT)
    name = x509.Name(
        [
            x509.NameAttribute(NameOID.ORGANIZATION_NAME, "portraitq"),
            x509.NameAttribute(NameOID.COMMON_NAME, f"portraitq booth on {booth}, {begins_at:%Y-%m-%d}"[:64]),
        ]
    )
    permitted = [x509.DNSName(name) for name in LOCAL_NAMES] + [x509.IPAddress(one) for one in LOCAL_NETWORKS]
    certificate = (
        _begun(name, name, key.public_key(), begins_at, begins_at + AUTHORITY_LASTS)
        .add_extension(x509.BasicConstraints(ca=True, path_length=0), critical=True)
        .add_extension(_usage(signs_certificates=True), critical=True)
        .add_extension(x509.NameConstraints(permitted_subtrees=permitted, excluded_subtrees=None), critical=True)
        .add_extension(x509.ExtendedKeyUsage([ExtendedKeyUsageOID.SERVER_AUTH]), critical=False)
        .sign(key, hashes.SHA256())
    )
    return Authority(key, certificate)


def sign_for(authority: Authority, names: Iterable[str], now: datetime, lasts: timedelta = SERVER_LASTS) -> bytes:
    """A new key and its certificate for `names`, signed by the authority, as one PEM.

    names   addresses and host names; ValueError when the authority may not sign for one of them, or there is none
    """
    names = sorted(names)
    if foreign := [name for name in names if not may_sign_for(name)] or ([] if names else ["nothing"]):
        raise ValueError(f"the booth's authority signs for local networks only, not for {', '.join(foreign)}")
    key = ec.generate_private_key(ec.SECP256R1())
    begins_at = max(now, BUILT_AT)
    ends_at = min(begins_at + lasts - BEGINS_BEFORE, authority.certificate.not_valid_after_utc)
    subject = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, "portraitq at this booth")])  # no host: RFC 9525, 2
    certificate = (
        _begun(subject, authority.certificate.subject, key.public_key(), begins_at, ends_at)
        .add_extension(x509.BasicConstraints(ca=False, path_length=None), critical=True)
        .add_extension(_usage(signs_certificates=False), critical=True)
        .add_extension(x509.ExtendedKeyUsage([ExtendedKeyUsageOID.SERVER_AUTH]), critical=False)
        .add_extension(x509.SubjectAlternativeName([_alternative(name) for name in names]), critical=False)
        .add_extension(
            x509.AuthorityKeyIdentifier.from_issuer_public_key(authority.key.public_key()),
            critical=False,
        )
        .sign(authority.key, hashes.SHA256())
    )
    return _pem_of(key) + certificate.public_bytes(Encoding.PEM)


def signed_in(folder: Path, authority: Authority, names: Iterable[str], now: datetime) -> Signed:
    """Sign for `names` and keep it in `folder`, for its owner's eyes only."""
    file = folder / SERVER_FILE
    try:
        _write_whole(file, sign_for(authority, names, now))
    except OSError as wrong:
        raise NoCertificate(
            f"The booth's certificate cannot be kept in {folder}: {wrong.strerror or wrong}."
        ) from wrong
    return _signed(x509.load_pem_x509_certificate(file.read_bytes()), file, None)


def may_sign_for(name: str) -> bool:
    """Whether the authority may sign for that address or host name.

    >>> may_sign_for("192.168.4.1"), may_sign_for("booth.local"), may_sign_for("example.com"), may_sign_for("8.8.8.8")
    (True, True, False, False)
    """
    if (address := _address(name)) is not None:
        return any(address in network for network in LOCAL_NETWORKS if network.version == address.version)
    return any(f".{name.lower()}".endswith(f".{local}") for local in LOCAL_NAMES)


def fingerprint(certificate: x509.Certificate) -> list[str]:
    """The SHA-256 of the whole certificate as devices show it, in lines of eight pairs, to be compared by eye."""
    pairs = [f"{byte:02X}" for byte in certificate.fingerprint(hashes.SHA256())]
    return [" ".join(pairs[first : first + PAIRS_A_LINE]) for first in range(0, len(pairs), PAIRS_A_LINE)]


# A given one


def given(certificate_file: Path, key_file: Path, now: datetime) -> Signed:
    """The certificate in a PEM file with its key in another; NoCertificate when they are of no use together."""
    raw, raw_key = _read_given("--certificate", certificate_file), _read_given("--key", key_file)
    try:
        certificate = x509.load_pem_x509_certificates(raw)[0]  # the server's own stands first, RFC 8446, 4.4.2
    except ValueError as wrong:
        raise NoCertificate(f"--certificate {certificate_file}: a certificate in PEM was expected.") from wrong
    try:
        key = load_pem_private_key(raw_key, None)
    except TypeError as wrong:
        raise NoCertificate(
            f"--key {key_file}: the key is locked by a password. Give one without: nobody could type it at a restart."
        ) from wrong
    except ValueError as wrong:
        raise NoCertificate(f"--key {key_file}: a private key in PEM was expected.") from wrong
    if _public(key) != _public(certificate):
        raise NoCertificate(
            f"--key {key_file} does not belong to --certificate {certificate_file}: give the key that it was made with."
        )
    signed = _signed(certificate, certificate_file, key_file)
    if not signed.begins_at <= now < signed.ends_at:
        was = "was good until" if now >= signed.ends_at else "is good only from"
        day = signed.ends_at if now >= signed.ends_at else signed.begins_at
        raise NoCertificate(
            f"--certificate {certificate_file} {was} {day:%Y-%m-%d}, and today is {now:%Y-%m-%d}: "
            "give another, or set this computer's clock."
        )
    if not signed.names:
        raise NoCertificate(
            f"--certificate {certificate_file} names no host in subjectAltName, so no browser takes it: "
            "have it made anew."
        )
    return signed


def _read_given(option: str, file: Path) -> bytes:
    try:
        return file.read_bytes()
    except OSError as wrong:
        raise NoCertificate(f"{option} {file}: {wrong.strerror or wrong}.") from wrong


def _signed(certificate: x509.Certificate, certificate_file: Path, key_file: Path | None) -> Signed:
    return Signed(
        certificate_file,
        key_file,
        names_of(certificate),
        certificate.not_valid_before_utc,
        certificate.not_valid_after_utc,
    )


def names_of(certificate: x509.Certificate) -> frozenset[str]:
    """The addresses and host names that a certificate is for."""
    with contextlib.suppress(x509.ExtensionNotFound):
        named = certificate.extensions.get_extension_for_class(x509.SubjectAlternativeName).value
        addresses = map(str, named.get_values_for_type(x509.IPAddress))
        return frozenset(named.get_values_for_type(x509.DNSName)) | frozenset(addresses)
    return frozenset()


# What they are made of


def _begun(
    subject: x509.Name,
    issuer: x509.Name,
    key: ec.EllipticCurvePublicKey,
    begins_at: datetime,
    ends_at: datetime,
) -> x509.CertificateBuilder:
    return (
        x509.CertificateBuilder()
        .subject_name(subject)
        .issuer_name(issuer)
        .public_key(key)
        .serial_number(x509.random_serial_number())  # RFC 5280, 4.1.2.2: positive, at most 20 octets
        .not_valid_before(begins_at - BEGINS_BEFORE)
        .not_valid_after(ends_at)
        .add_extension(x509.SubjectKeyIdentifier.from_public_key(key), critical=False)
    )


def _usage(*, signs_certificates: bool) -> x509.KeyUsage:
    return x509.KeyUsage(
        digital_signature=not signs_certificates,
        content_commitment=False,
        key_encipherment=False,
        data_encipherment=False,
        key_agreement=False,
        key_cert_sign=signs_certificates,
        crl_sign=signs_certificates,
        encipher_only=False,
        decipher_only=False,
    )


def _alternative(name: str) -> x509.GeneralName:
    address = _address(name)
    return x509.DNSName(name) if address is None else x509.IPAddress(address)


def _address(name: str) -> IPv4Address | IPv6Address | None:
    try:
        return ip_address(name)
    except ValueError:
        return None


def _public(of: object) -> bytes:
    public = of.public_key()  # type: ignore[attr-defined]
    return bytes(public.public_bytes(Encoding.DER, PublicFormat.SubjectPublicKeyInfo))


def _pem_of(key: ec.EllipticCurvePrivateKey) -> bytes:
    return key.private_bytes(Encoding.PEM, PrivateFormat.PKCS8, NoEncryption())


def _write_whole(file: Path, content: bytes) -> None:
    """Write a file that only its owner may read, all of it or nothing."""
    beside = file.with_suffix(".new")
    beside.unlink(missing_ok=True)
    with open(os.open(beside, os.O_WRONLY | os.O_CREAT | os.O_EXCL, OWN_ONLY), "wb") as out:
        out.write(content)
        out.flush()
        os.fsync(out.fileno())
    beside.replace(file)

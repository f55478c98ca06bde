"""What the booth says of its certificate, and what changes for a browser that came by https."""

from __future__ import annotations

import hashlib
import re
from collections.abc import Iterator

import pytest
from cryptography import x509

from portraitq.https import Https
from tests.web.conftest import PASSPHRASE, Web

BY_HTTPS = {"base_url": "https://192.168.4.1:8743"}
BY_HTTP = {"base_url": "http://192.168.4.1:8750"}


@pytest.fixture(scope="module")
def https(tmp_path_factory: pytest.TempPathFactory) -> Https:
    with pytest.MonkeyPatch.context() as patched:
        patched.setattr("portraitq.locality.own_addresses", lambda: ["192.168.4.1"])
        return Https.of_its_own(tmp_path_factory.mktemp("https"), "0.0.0.0", 8743, None)


@pytest.fixture
def web(booth_of_all: Web, https: Https) -> Iterator[Web]:
    """The booth by https too, opened by a browser that was never here."""
    before = dict(booth_of_all.app.config)
    booth_of_all.app.config.update(PORTRAITQ_HTTPS=https, PORTRAITQ_ADDRESS="http://192.168.4.1:8750")
    yield Web(booth_of_all.desks, booth_of_all.app)
    booth_of_all.app.config.update({"PORTRAITQ_HTTPS": None, **before})


def sign_in(web: Web, **how: str):
    return web.client.post("/sign-in", data={"passphrase": PASSPHRASE}, **how)


def test_the_page_shows_the_fingerprint_of_what_it_gives_and_the_address_to_open(web: Web):
    page = web.client.get("/trust", **BY_HTTP).text
    given = web.client.get("/trust/booth.crt", **BY_HTTP)

    shown = "".join(re.findall(r"(?:[0-9A-F]{2} ){7}[0-9A-F]{2}", page)).replace(" ", "")
    assert shown.lower() == hashlib.sha256(given.data).hexdigest()  # the file's own hash: no tool is needed to compare
    assert x509.load_der_x509_certificate(given.data).extensions.get_extension_for_class(x509.NameConstraints).critical
    assert given.mimetype == "application/x-x509-ca-cert"
    assert "https://192.168.4.1:8743/" in page


def test_the_key_is_given_to_nobody(web: Web):
    for path in ("/trust/authority-key.pem", "/trust/server.pem", "/trust/../https/authority-key.pem"):
        assert web.client.get(path, **BY_HTTP).status_code == 404


def test_a_host_that_the_certificate_is_not_for_is_not_repeated(web: Web):
    page = web.client.get("/trust", base_url="http://10.66.66.66:8750").text

    assert "10.66.66.66" not in page


def test_without_https_the_page_says_how_to_switch_it_on(web: Web):
    web.app.config["PORTRAITQ_HTTPS"] = None

    answer = web.client.get("/trust", **BY_HTTP)

    assert answer.status_code == 404
    assert "portraitq serve --https" in answer.text


def test_who_signs_in_by_http_is_offered_the_better_address(web: Web):
    by_http = web.client.get("/sign-in", **BY_HTTP).text
    by_https = web.client.get("/sign-in", **BY_HTTPS).text

    assert "https://192.168.4.1:8743/sign-in" in by_http
    assert "others in the network can read" not in by_https


# OWASP ASVS 5.0, 3.3.1 (Secure) and 3.3.3 (__Host-), numbers from memory; RFC 6265bis, 4.1.3.2
def test_the_cookie_of_https_has_a_name_that_http_can_neither_read_nor_replace(web: Web):
    answer = sign_in(web, **BY_HTTPS)

    cookie = next(one for one in answer.headers.getlist("Set-Cookie"))
    assert cookie.startswith("__Host-portraitq_")
    assert {"Secure", "HttpOnly", "Path=/", "SameSite=Lax"} <= set(cookie.split("; "))
    assert "Domain" not in cookie
    assert web.client.get("/", **BY_HTTPS).text.count("Sign out") == 1
    assert "Sign out" not in web.client.get("/", **BY_HTTP).text


def test_a_sign_in_by_http_still_works_beside_it_and_each_is_signed_out_alone(web: Web):
    sign_in(web, **BY_HTTP)
    sign_in(web, **BY_HTTPS)
    token = re.search(r'name="portraitq-token" content="([^"]+)"', web.client.get("/", **BY_HTTP).text)

    web.client.post("/sign-out", data={"token": token[1]}, **BY_HTTP)

    assert "Sign out" not in web.client.get("/", **BY_HTTP).text
    assert "Sign out" in web.client.get("/", **BY_HTTPS).text


def test_a_cookie_of_http_under_the_name_of_https_counts_for_nothing(web: Web):
    sign_in(web, **BY_HTTP)
    name = web.app.config["SESSION_COOKIE_NAME"]
    cookie = web.client.get_cookie(name, "192.168.4.1")

    stolen = web.app.test_client()
    stolen.set_cookie(name, cookie.value, domain="192.168.4.1")

    assert "Sign out" in stolen.get("/", **BY_HTTP).text
    assert "Sign out" not in stolen.get("/", **BY_HTTPS).text


@pytest.mark.parametrize(
    ("by", "address"), [(BY_HTTPS, "https://192.168.4.1:8743/pair"), (BY_HTTP, "http://192.168.4.1:8750/pair")]
)
def test_a_tablet_is_paired_the_way_that_its_owner_came(web: Web, by: dict[str, str], address: str):
    sign_in(web, **by)
    token = re.search(r'name="portraitq-token" content="([^"]+)"', web.client.get("/", **by).text)

    page = web.client.post("/devices/pair", data={"token": token[1], "name": "Easel", "role": "staff"}, **by).text

    assert address in page


def test_the_set_up_opened_by_https_shows_tablets_the_same_way_and_televisions_http(web: Web):
    sign_in(web, **BY_HTTPS)

    page = web.client.get("/quay/set-up", **BY_HTTPS).text

    assert "https://192.168.4.1:8743/quay/counter" in page
    assert "http://192.168.4.1:8750/quay/wall" in page


def test_a_booth_that_phones_know_by_https_still_lets_its_owner_in_by_http(web: Web):
    web.app.config.update(PORTRAITQ_ADDRESS="https://192.168.4.1:8743", SESSION_COOKIE_SECURE=True)

    answer = sign_in(web, **BY_HTTP)

    assert "Secure" not in answer.headers["Set-Cookie"]

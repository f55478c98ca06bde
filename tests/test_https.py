"""With which certificate a service is reached by https, under which names."""

from __future__ import annotations

import threading
from pathlib import Path

import pytest

from portraitq import https
from portraitq.certificate import NoCertificate
from portraitq.https import Https, HttpsWish, names_here
from tests.test_certificate import NOW, made_elsewhere


@pytest.fixture(autouse=True)
def _at_a_fair(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("portraitq.locality.lan_address", lambda: "192.168.4.1")
    monkeypatch.setattr("portraitq.locality.own_addresses", lambda: ["192.168.4.1", "10.0.0.9"])
    monkeypatch.setattr("socket.gethostname", lambda: "Easel.example.com")


def test_the_booths_own_is_for_all_its_addresses_and_its_local_name():
    expected = {"127.0.0.1", "localhost", "192.168.4.1", "10.0.0.9", "easel.local"}

    assert names_here("0.0.0.0", None) == expected
    assert names_here("0.0.0.0", "http://pier.local:8750") == expected | {"pier.local"}


def test_tablets_are_told_the_address_in_the_network_or_a_name_where_that_is_a_public_one(tmp_path, monkeypatch):
    made = Https.of_its_own(tmp_path, "0.0.0.0", 8743, None)
    told = made.address
    monkeypatch.setattr("portraitq.locality.lan_address", lambda: "8.8.8.8")

    assert told == "https://192.168.4.1:8743"
    assert made.address == "https://easel.local:8743"
    assert made.beside("10.0.0.9") == "https://10.0.0.9:8743"


@pytest.mark.parametrize(("host", "said"), [("0.0.0.0", "http://booth.example.com"), ("8.8.8.8", None)])
def test_a_name_that_is_not_the_booths_to_sign_for_is_refused_with_a_way_out(tmp_path: Path, host: str, said):
    with pytest.raises(NoCertificate, match="--certificate and --key"):
        Https.of_its_own(tmp_path, host, 8743, said)


def test_a_given_certificate_needs_nothing_to_be_trusted_and_says_its_own_name(tmp_path: Path):
    made = HttpsWish(8743, tmp_path, made_elsewhere(tmp_path), tmp_path / "given-key.pem").at("0.0.0.0", None)

    assert made.authority is None
    assert made.address == "https://booth.example:8743"


def test_half_a_wish_is_refused(tmp_path: Path):
    with pytest.raises(NoCertificate, match="give both"):
        HttpsWish(8743, tmp_path, key=tmp_path / "given-key.pem").at("0.0.0.0", None)


def test_a_given_certificate_that_was_renewed_is_taken_up_and_a_broken_one_is_not(tmp_path: Path, monkeypatch, caplog):
    made = Https.with_given(made_elsewhere(tmp_path), tmp_path / "given-key.pem", "0.0.0.0", 8743, None)
    assert not made.renewed()

    made_elsewhere(tmp_path, names=("pier.example",))
    assert made.renewed()
    assert made.signed.names == {"pier.example"}

    class Door:
        context = "as it was"

    stopped, looks = threading.Event(), iter([False, True])
    monkeypatch.setattr(stopped, "wait", lambda timeout: next(looks))
    (tmp_path / "given-key.pem").write_text("half written")
    made.keep_fresh(Door, stopped)  # type: ignore[arg-type]
    assert Door.context == "as it was"
    assert "https goes on with the certificate that it has" in caplog.text


def test_nobody_is_left_with_a_certificate_that_is_over(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    made = Https.of_its_own(tmp_path, "0.0.0.0", 8743, None)
    later = NOW.replace(year=NOW.year + 1, day=1)
    monkeypatch.setattr(https, "now_here", lambda: later)

    assert not made.signed.is_due((), NOW)
    assert made.signed.is_due((), later) is made.renewed()
    assert made.signed.ends_at > later

"""A booth served by https beside http: tablets that trust it get more, phones notice nothing."""

from __future__ import annotations

import base64
import hashlib
import json
import re
import ssl
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import pytest
import requests
import websocket
from click.testing import CliRunner
from cryptography import x509
from cryptography.hazmat.primitives.serialization import Encoding, PublicFormat
from playwright.sync_api import Browser, Page, expect

from portraitq import cli
from tests.chromium import launched
from tests.journeys.screens import PATIENCE_MS, Screen
from tests.journeys.served import Served, a_free_port
from tests.test_certificate import anothers_key, made_elsewhere

CAMERA = ("--use-fake-device-for-media-stream", "--use-fake-ui-for-media-stream")
SHUTTER_PX = 64
# Every stream that the page was given, so that a test sees whether its camera is off.
WATCHES_CAMERAS = """
window.streams = [];
const ask = navigator.mediaDevices.getUserMedia.bind(navigator.mediaDevices);
navigator.mediaDevices.getUserMedia = async (what) => {
  const got = await ask(what);
  window.streams.push(got);
  return got;
};
"""
REFUSES_CAMERAS = (
    "navigator.mediaDevices.getUserMedia = async () => { throw new DOMException('', 'NotAllowedError'); };"
)
IS_OFF = (
    "window.streams.length > 0 && window.streams.every((one) => one.getTracks().every((t) => t.readyState === 'ended'))"
)


@dataclass
class ServedByHttps(Served):
    """The same, by https too."""

    https_port: int = field(default_factory=a_free_port)

    @property
    def secure(self) -> str:
        return f"https://127.0.0.1:{self.https_port}"

    @property
    def authority(self) -> Path:
        """The booth's authority as a device knows it that installed what the page gives."""
        file = self.folder / "booth.pem"
        if not file.exists():
            given = requests.get(f"{self.address}/trust/booth.crt", timeout=60)
            file.write_text(ssl.DER_cert_to_PEM_cert(given.content))
        return file

    def _data(self) -> list[str]:
        return [*super()._data(), "--https", "--https-port", str(self.https_port)]


@pytest.fixture(scope="module")
def booth(tmp_path_factory: pytest.TempPathFactory) -> Iterator[ServedByHttps]:
    service = ServedByHttps(tmp_path_factory.mktemp("https"))
    service.start()
    yield service
    service.stop()


@pytest.fixture(scope="module")
def tablet(booth: ServedByHttps) -> Iterator[Browser]:
    """Chromium with a camera, which trusts the booth's certificate by its key."""
    pem = ssl.get_server_certificate(("127.0.0.1", booth.https_port))
    key = x509.load_pem_x509_certificate(pem.encode()).public_key()
    digest = hashlib.sha256(key.public_bytes(Encoding.DER, PublicFormat.SubjectPublicKeyInfo)).digest()
    trusts = f"--ignore-certificate-errors-spki-list={base64.b64encode(digest).decode()}"
    with launched(*CAMERA, trusts) as browser:
        yield browser


@pytest.fixture(scope="module")
def signed_in(booth: ServedByHttps) -> dict[str, str]:
    """The cookies of a sign-in by https."""
    with requests.Session() as asking:
        given = {"passphrase": booth.passphrase}
        answer = asking.post(f"{booth.secure}/sign-in", data=given, verify=str(booth.authority), allow_redirects=False)
        assert answer.status_code == 303
        return asking.cookies.get_dict()


@pytest.fixture
def page(tablet: Browser, booth: ServedByHttps, signed_in: dict[str, str]) -> Iterator[Page]:
    """A tablet signed in by https, which may stay awake; nothing may stand in its console."""
    context = tablet.new_context(viewport={"width": 820, "height": 1180}, has_touch=True)
    context.grant_permissions(["screen-wake-lock"])
    context.set_default_timeout(PATIENCE_MS)
    expect.set_options(timeout=PATIENCE_MS)
    complaints: list[str] = []
    page = context.new_page()
    page.on("console", lambda said: complaints.append(said.text) if said.type in ("error", "warning") else None)
    page.on("pageerror", lambda error: complaints.append(str(error)))
    context.add_cookies([{"name": name, "value": value, "url": booth.secure} for name, value in signed_in.items()])
    yield page
    context.close()
    assert complaints == []


def counter(page: Page, booth: ServedByHttps) -> None:
    page.goto(f"{booth.secure}/booth/counter")
    page.wait_for_selector("[data-view]")


def press_camera(page: Page) -> None:
    page.locator("#photos .photos__way").first.tap()


def test_phones_by_http_and_tablets_by_https_see_the_same_booth(booth: ServedByHttps) -> None:
    by_http = requests.get(f"{booth.address}/booth/wall?fragment=1", timeout=60)
    by_https = requests.get(f"{booth.secure}/booth/wall?fragment=1", verify=str(booth.authority), timeout=60)

    assert by_http.status_code == by_https.status_code == 200
    assert by_http.json()["seq"] == by_https.json()["seq"]
    assert "Strict-Transport-Security" not in by_https.headers  # it would take http away from phones: RFC 6797, 8.1


def test_who_does_not_trust_the_booth_is_not_let_believe(booth: ServedByHttps) -> None:
    with pytest.raises(requests.exceptions.SSLError, match="CERTIFICATE_VERIFY_FAILED"):
        requests.get(f"{booth.secure}/healthz", timeout=60)


def test_the_terminal_shows_the_fingerprint_of_what_the_page_gives(booth: ServedByHttps) -> None:
    told = (booth.folder / "said.txt").read_text()
    given = requests.get(f"{booth.address}/trust/booth.crt", timeout=60).content

    printed = "".join(re.findall(r"^ +((?:[0-9A-F]{2} ?){8})$", told, re.MULTILINE)).replace(" ", "")
    assert printed.lower() == hashlib.sha256(given).hexdigest()
    assert f"{booth.secure}/" in told


@pytest.mark.parametrize("scheme", ["ws", "wss"])
def test_a_live_line_stands_by_either_and_only_for_pages_of_its_own(booth: ServedByHttps, scheme: str) -> None:
    own = booth.secure if scheme == "wss" else booth.address
    address = own.replace("http", "ws", 1) + "/socket.io/?EIO=4&transport=websocket"
    how = {"sslopt": {"ca_certs": str(booth.authority)}, "timeout": 60}

    assert _first_view(address, {**how, "origin": own})["seq"] > 0
    with pytest.raises(websocket.WebSocketException):  # RFC 6455, 10.2: the server looks at Origin
        _first_view(address, {**how, "origin": "https://evil.example"})


def _first_view(address: str, how: dict[str, Any]) -> dict[str, Any]:
    line = websocket.create_connection(address, **how)
    try:
        assert line.recv().startswith("0{")
        line.send('40/live,{"view": "wall", "booth": "booth"}')
        while not (said := line.recv()).startswith("42/live,"):
            assert said
        return json.loads(said.removeprefix("42/live,"))[1]
    finally:
        line.close()


def test_a_key_that_does_not_belong_to_the_certificate_ends_the_start_with_one_sentence(tmp_path: Path) -> None:
    file, key = made_elsewhere(tmp_path), tmp_path / "given-key.pem"
    anothers_key(tmp_path)
    asked = ["serve", "--data", str(tmp_path / "data"), "--host", "127.0.0.1", "--port", "0"]

    no = CliRunner().invoke(cli.main, [*asked, "--https-port", "0", "--certificate", str(file), "--key", str(key)])

    assert no.exit_code == 1
    assert no.stderr == f"--key {key} does not belong to --certificate {file}: give the key that it was made with.\n"


def test_the_counter_shows_the_picture_before_the_press_and_sends_what_was_taken(
    page: Page, booth: ServedByHttps
) -> None:
    page.add_init_script(WATCHES_CAMERAS)
    counter(page, booth)
    press_camera(page)
    expect(page.locator(".camera__picture")).to_be_visible()
    shutter = page.get_by_role("button", name="Take the photo")
    expect(shutter).to_be_enabled()
    assert Screen("camera", page.context, page).grave_faults() == []
    size = shutter.bounding_box()
    assert size is not None
    assert min(size["width"], size["height"]) >= SHUTTER_PX
    shutter.tap()

    expect(page.locator("#photos .photo[data-photo]")).to_have_count(1)
    expect(page.locator("dialog.camera")).to_have_count(0)
    assert page.evaluate(IS_OFF)


def test_the_page_of_trust_fits_the_narrowest_phone_and_a_tablet(page: Page, booth: ServedByHttps) -> None:
    page.goto(f"{booth.secure}/trust")
    page.evaluate("for (const one of document.querySelectorAll('details')) one.open = true")
    screen = Screen("trust", page.context, page)

    for width_px in (360, 1280):
        page.set_viewport_size({"width": width_px, "height": 740})
        assert screen.sideways_px() <= 0
        assert screen.cut_off() == []
        assert screen.grave_faults() == []


def test_the_camera_goes_off_when_nobody_looks_through_it(page: Page, booth: ServedByHttps) -> None:
    page.add_init_script(WATCHES_CAMERAS)
    counter(page, booth)

    press_camera(page)
    expect(page.get_by_role("button", name="Take the photo")).to_be_enabled()
    page.evaluate("Object.defineProperty(document, 'hidden', {value: true, configurable: true})")
    page.evaluate("document.dispatchEvent(new Event('visibilitychange'))")

    expect(page.locator("dialog.camera")).to_have_count(0)
    assert page.evaluate(IS_OFF)


def test_a_refused_camera_leaves_the_devices_own_one_press_away(page: Page, booth: ServedByHttps) -> None:
    page.add_init_script(REFUSES_CAMERAS)
    counter(page, booth)

    press_camera(page)
    expect(page.locator(".camera__said")).to_contain_text("does not let the booth use the camera")
    with page.expect_file_chooser():
        page.get_by_role("button", name="Device’s own camera").tap()
    with page.expect_file_chooser():  # and from now on at once
        press_camera(page)


def test_a_tablet_stays_awake_while_the_day_is_open_also_after_it_was_out_of_sight(
    page: Page, booth: ServedByHttps
) -> None:
    page.goto(f"{booth.secure}/booth/wall")
    root = page.locator("html")
    expect(root).to_have_attribute("data-awake", "yes")

    other = page.context.new_page()
    other.goto(f"{booth.secure}/trust")
    other.close()
    page.bring_to_front()
    page.evaluate("document.dispatchEvent(new Event('visibilitychange'))")
    expect(root).to_have_attribute("data-awake", "yes")

    page.evaluate(
        """document.querySelector('[data-day]').dataset.day = 'closed';
           document.dispatchEvent(new CustomEvent('portraitq:swapped'))"""
    )
    expect(root).to_have_attribute("data-awake", "no")

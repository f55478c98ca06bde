import io

import pytest
import segno.helpers
import zxingcpp
from hypothesis import given
from hypothesis import strategies as st
from PIL import Image

from portraitq.core.errors import Malformed
from portraitq.ticket.qr import as_png
from portraitq.ticket.wifi import wifi_text


def test_a_plain_network_is_written_as_segno_writes_it():  # PyPI segno, helpers.make_wifi_data
    text = wifi_text("Quayside", "chalk and ink 26")

    assert text == segno.helpers.make_wifi_data("Quayside", "chalk and ink 26", "WPA")
    assert text == "WIFI:T:WPA;S:Quayside;P:chalk and ink 26;;"


def test_signs_with_a_meaning_are_escaped():  # ZXing wiki, "Barcode Contents"; segno leaves the comma bare
    assert wifi_text("Stall; 7", 'a:b,c"d\\e') == r"WIFI:T:WPA;S:Stall\; 7;P:a\:b\,c\"d\\e;;"


def test_an_open_network_has_no_password():
    assert wifi_text("Free") == "WIFI:T:nopass;S:Free;;"


def test_a_hidden_name_that_looks_like_hexadecimal_is_quoted():  # ZXing wiki, "Barcode Contents"
    assert wifi_text("ABCDEF12", "12345678", hidden=True) == 'WIFI:T:WPA;S:"ABCDEF12";P:12345678;H:true;;'


@pytest.mark.parametrize("ssid", ["", "é" * 17, "x" * 33, "quay\nside", "\ud800"])
def test_a_name_that_no_network_can_have_is_refused(ssid):  # IEEE 802.11: 1 to 32 octets
    with pytest.raises(Malformed, match="name") as refusal:
        wifi_text(ssid, "chalk and ink")

    assert refusal.value.field == "ssid"


@pytest.mark.parametrize("password", ["", "1234567", "x" * 64, "pässword1", "tab\there12"])
def test_a_password_that_no_network_can_have_is_refused(password):  # IEEE 802.11: 8 to 63 printable ASCII
    with pytest.raises(Malformed, match="password") as refusal:
        wifi_text("Quayside", password)

    assert refusal.value.field == "password"
    assert password not in str(refusal.value) or not password


@given(st.text(st.characters(min_codepoint=32, max_codepoint=126), min_size=8, max_size=63))
def test_any_password_comes_back_when_the_escapes_are_undone(password):
    text = wifi_text("Quayside", password)

    body = text.removeprefix("WIFI:T:WPA;S:Quayside;P:").removesuffix(";;")
    read, rest = "", iter(body)
    for char in rest:
        read += next(rest) if char == "\\" else char
    assert read == password


def test_a_camera_reads_the_whole_text():  # zxing-cpp
    text = wifi_text("Quayside", "chalk, ink; 26")

    found = zxingcpp.read_barcodes(Image.open(io.BytesIO(as_png(text))))

    assert [code.text for code in found] == [text]

"""The slip: what stands on it, and that an independent reader finds the way from the paper."""

from __future__ import annotations

import io
import re
from pathlib import Path

import pytest
import zxingcpp
from PIL import Image

from portraitq.paths import static
from portraitq.ticket import qr
from portraitq.ticket.slip import PAPERS, QR_SIDE_MM, Network, Slip, slip

CODE = "00000000000011"
DELETED = "Your photo is erased 3 hours after you collect."
ADDRESS = f"http://192.168.4.1:8750/t/{CODE}"


def a_slip(network: Network | None = None) -> Slip:
    return slip(
        booth="Quayside Portraits", number=7, day="Saturday 6 June 2026", promise="15:40", style="Ink head study",
        sitters="", money="€18.00 to pay", address=ADDRESS, code=CODE, deleted=DELETED,
        network=network,
    )  # fmt: skip


def test_what_is_typed_is_the_address_with_the_code_in_groups():
    shown = a_slip()

    assert shown.address + shown.code == "192.168.4.1:8750/t/00000-00000-0011"


def test_the_qr_on_paper_is_read_back_by_an_independent_reader():
    picture = Image.open(io.BytesIO(qr.as_png(qr.compact(ADDRESS), level=qr.SLIP)))

    found = zxingcpp.read_barcodes(picture)

    assert [one.text for one in found] == [ADDRESS.upper().replace("/T/", "/T/")]
    assert found[0].ec_level == "Q"


def test_a_network_to_join_has_a_qr_of_its_own_and_a_word_of_caution():
    without, joined = a_slip(), a_slip(Network("Quayside", "lantern-quay"))

    assert without.network_qr == ""
    assert joined.network_qr.startswith("<svg")
    assert len(joined.cautions) == len(without.cautions) + 1
    assert joined.cautions[-1] == without.cautions[-1] == DELETED


def sheet(paper: str) -> str:
    return Path(static(), "css", f"slip-{paper}.css").read_text(encoding="utf-8")


@pytest.mark.parametrize("paper", PAPERS)
def test_every_paper_has_a_sheet_that_says_its_size_and_keeps_number_and_qr_large(paper):
    css = sheet(paper)

    assert re.search(r"@page \{ size: [^;]+; margin: \d+(mm)?; \}", css)
    assert min(float(pt) for pt in re.findall(r"--slip-number: (\d+)pt", css)) >= 48
    sides = [float(mm) for mm in re.findall(r"-qr: (\d+)mm", css)]
    assert min(sides) >= QR_SIDE_MM


def test_nothing_on_the_slip_is_grey():
    css = "".join(sheet(paper) for paper in PAPERS) + Path(static(), "css", "slip.css").read_text(encoding="utf-8")

    screen_only = re.sub(r"@media screen \{[^\n]*\n", "", css)
    assert set(re.findall(r"#[0-9a-f]{3,6}\b", screen_only)) == {"#fff", "#000"}
    assert "var(--ink-quiet)" not in screen_only

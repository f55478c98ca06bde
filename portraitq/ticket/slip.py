"""The printed slip: the ticket for who has no phone at hand, and for when the booth's network is out of reach.

Pure: what stands on it, ready to print. Paper sizes are style sheets of their own (`static/css/slip-….css`), because
only a sheet can say how large the page is.
"""

from __future__ import annotations

from dataclasses import dataclass

from portraitq.ticket import codes, qr, wifi

QR_SIDE_MM = 25  # the least that phones read from paper that was folded; the sheets give more where there is room
PAPERS = {"58": "58 mm roll", "80": "80 mm roll", "a6": "A6", "a4": "A4"}
USUAL_PAPER = "80"


@dataclass(frozen=True)
class Network:
    """The booth's own Wi-Fi, when customers are to join it; `password` is None for an open one."""

    name: str
    password: str | None = None


@dataclass(frozen=True)
class Slip:
    """What stands on a slip.

    `address` and `code` together are what is typed where nothing can be scanned. `qr` and `network_qr` are `<svg>`
    elements, the latter empty without a network.
    """

    booth: str
    number: int
    day: str
    promise: str
    style: str
    sitters: str
    money: str
    address: str
    code: str
    qr: str
    network: Network | None
    network_qr: str
    cautions: tuple[str, ...]


def slip(
    *,
    booth: str,
    number: int,
    day: str,
    promise: str,
    style: str,
    sitters: str,
    money: str,
    address: str,
    code: str,
    deleted: str,
    network: Network | None = None,
) -> Slip:
    """The slip of one ticket; every text as it is printed, `address` that of the ticket page, `code` in stored form.

    `deleted` says when the photo is, as the booth's rule has it.
    """
    return Slip(
        booth=booth,
        number=number,
        day=day,
        promise=promise,
        style=style,
        sitters=sitters,
        money=money,
        address=f"{address.split('://', 1)[-1].rsplit('/', 1)[0]}/",
        code=codes.shown(code),
        qr=qr.as_svg(qr.compact(address), title=f"QR code of ticket {number}", level=qr.SLIP),
        network=network,
        network_qr=network_qr(network),
        cautions=cautions(deleted, has_network=network is not None),
    )


def network_qr(network: Network | None, level: qr.Level = qr.SLIP) -> str:
    """The `<svg>` of a QR by which phones join `network`; empty when there is none."""
    if network is None:
        return ""
    text = wifi.wifi_text(network.name, network.password)
    return qr.as_svg(text, title=f"QR code that joins the network {network.name}", level=level)


def cautions(deleted: str, *, has_network: bool) -> tuple[str, ...]:
    """What a customer should know, in few words."""
    said = ["Keep this slip: whoever shows it gets the portrait."]
    if has_network:
        said.append("The page opens only in our network, which has no internet.")
    return (*said, deleted)

"""Joining the booth's Wi-Fi by a QR: the text that a phone's camera understands, and which names cannot be joined.

The form is the one of ZXing's wiki, "Barcode Contents", which phones follow; WPA2 and WPA3 are both written WPA.
"""

from __future__ import annotations

import re

from portraitq.core.errors import Malformed

SSID_OCTETS = 32  # IEEE 802.11
PASSWORD_CHARS = range(8, 64)  # a WPA passphrase, IEEE 802.11


def wifi_text(ssid: str, password: str | None = None, *, hidden: bool = False) -> str:
    r"""What the QR says so that a phone joins network `ssid`; no password means an open network.

    Raises Malformed, field "ssid" or "password", when no phone could join by it.

    >>> print(wifi_text("Stall; 7", 'a:b,c"d\\e'))
    WIFI:T:WPA;S:Stall\; 7;P:a\:b\,c\"d\\e;;
    """
    octets = len(ssid.encode("utf-8", "surrogatepass"))
    if not 1 <= octets <= SSID_OCTETS or not ssid.isprintable():
        raise Malformed(
            f"A network's name of 1 to {SSID_OCTETS} bytes of printable characters was expected, not one of {octets}. "
            "Look it up in the hotspot's settings.",
            field="ssid",
        )
    if password is not None:
        _check_password(password)
    parts = ["T:WPA" if password is not None else "T:nopass", f"S:{_name(ssid)}"]
    if password is not None:
        parts.append(f"P:{_escaped(password)}")
    if hidden:
        parts.append("H:true")
    return "WIFI:" + ";".join(parts) + ";;"


def _check_password(password: str) -> None:
    if len(password) not in PASSWORD_CHARS:
        raise Malformed(
            f"A Wi-Fi password of {PASSWORD_CHARS[0]} to {PASSWORD_CHARS[-1]} characters was expected, not of "
            f"{len(password)}. For a network without one, leave it empty.",
            field="password",
        )
    if not (password.isascii() and password.isprintable()):
        raise Malformed(
            "A Wi-Fi password of plain letters, digits and signs was expected (ASCII): phones disagree on others. "
            "Change it in the hotspot's settings.",
            field="password",
        )


def _name(ssid: str) -> str:
    """A name that could be read as hexadecimal stands in quotes, as ZXing asks."""
    return f'"{ssid}"' if re.fullmatch(r"(?:[0-9A-Fa-f]{2})+", ssid) else _escaped(ssid)


def _escaped(text: str) -> str:
    return re.sub(r'([\\;,":])', r"\\\1", text)

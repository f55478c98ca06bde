"""Where this computer is, as far as it knows: its time zone, the money used there, its address for phones."""

from __future__ import annotations

import contextlib
import socket
import struct
import sys
from ipaddress import ip_address
from zoneinfo import ZoneInfo

from babel.core import get_global
from babel.localtime import get_localzone
from babel.numbers import get_territory_currencies

USUAL_ZONE, USUAL_CURRENCY = "UTC", "EUR"
LOOPBACK = "127.0.0.1"
MANY_BEHIND = (LOOPBACK, "::1", "::ffff:127.0.0.1")  # a proxy on this machine speaks for many
ANYWHERE = ("0.0.0.0", "::", "")  # what a program listens on to be reached by all ways
# Nothing is sent there: asking the way to them tells which of our own addresses would be used. The first is for
# documentation (RFC 5737), the others are where small networks without a way out usually are.
ASKED_WAYS = ("192.0.2.1", "192.168.4.2", "192.168.0.254", "192.168.1.254", "10.0.0.254", "172.16.0.254")
SIOCGIFADDR = 0x8915  # Linux, netdevice(7): the address of an interface


def zone_here() -> str:
    """The time zone that this computer is set to, by its IANA name; UTC when it does not say."""
    try:
        found = get_localzone()
        name = str(getattr(found, "key", found))
        ZoneInfo(name)
    except (LookupError, ValueError, OSError):
        return USUAL_ZONE
    return USUAL_ZONE if name in ("Etc/UTC", "Etc/UCT", "Universal", "Zulu", "local") else name


def currency_of(zone: str) -> str:
    """The money of the country that `zone` lies in, by its ISO 4217 code; EUR where that is not known.

    >>> currency_of("Europe/London"), currency_of("UTC")
    ('GBP', 'EUR')
    """
    territory = get_global("zone_territories").get(zone)
    if not territory or territory == "001":
        return USUAL_CURRENCY
    current = get_territory_currencies(territory)
    return str(current[0]) if current else USUAL_CURRENCY


def address_for_phones(host: str, port: int, said: str | None = None) -> str:
    """What phones call a program that listens at `host`; `said` is what somebody wants it to be called."""
    if said:
        address = said if "://" in said else f"http://{said}"
        return address.rstrip("/")
    name = lan_address() if host in ANYWHERE else host
    return f"http://[{name}]:{port}" if ":" in name else f"http://{name}:{port}"


def lan_address() -> str:
    """This computer's address in the network that phones are in, or 127.0.0.1 when it is in none."""
    for way in ASKED_WAYS:
        with contextlib.suppress(OSError), socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as asking:
            asking.connect((way, 9))
            if _is_of_use(found := asking.getsockname()[0]):
                return str(found)
    return next((found for found in own_addresses() if _is_of_use(found)), LOOPBACK)


def _is_of_use(address: str) -> bool:
    found = ip_address(address)
    return not (found.is_loopback or found.is_unspecified or found.is_link_local)


def own_addresses() -> list[str]:
    """The IPv4 addresses of this computer's networks, as far as the system tells them."""
    if sys.platform.startswith("linux"):
        return [found for _, name in socket.if_nameindex() if (found := _of_interface(name))]
    with contextlib.suppress(OSError):
        return socket.gethostbyname_ex(socket.gethostname())[2]
    return []


def _of_interface(name: str) -> str | None:
    import fcntl

    with contextlib.suppress(OSError), socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as asking:
        answer = fcntl.ioctl(asking.fileno(), SIOCGIFADDR, struct.pack("256s", name.encode()[:15]))
        return socket.inet_ntoa(answer[20:24])
    return None

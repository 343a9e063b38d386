"""Under which addresses this computer is reached on the networks it is in; asked of the system, nothing is sent."""

from __future__ import annotations

import ipaddress
import math
import socket
import struct
from collections.abc import Callable, Iterable
from contextlib import suppress
from typing import Final

#: One address in each private range, and one for documentation: a datagram socket "connected" there sends nothing,
#: but takes on the address that this computer would send from.
_FAR: Final = ("192.168.255.254", "10.255.255.254", "172.31.255.254", "192.0.2.1")
_PORT: Final = 9
#: Linux: ask for the address of an interface.
_SIOCGIFADDR: Final = 0x8915
_INTERFACE_BYTES: Final = 16
#: Addresses are asked for again after this.
_FRESH_S: Final = 3.0
#: Networks inside the computer, where no phone can be.
_INSIDE: Final = ("lo", "docker", "br-", "veth", "virbr", "vmnet", "vboxnet")


def crew_addresses() -> tuple[str, ...]:
    """Return the addresses of this computer on its networks, those of usual boat networks first.

    Examples
    --------
    >>> all(not address.startswith("127.") for address in crew_addresses())
    True
    """
    return sorted_addresses([*_by_route(), *_by_interface()])


def sorted_addresses(found: Iterable[str]) -> tuple[str, ...]:
    """Return addresses once each, private ones first; loopback and what the system made up itself are left out.

    Examples
    --------
    >>> sorted_addresses(["127.0.0.1", "169.254.3.4", "198.51.100.7", "10.0.0.7", "192.168.1.5", "10.0.0.7"])
    ('192.168.1.5', '10.0.0.7', '198.51.100.7')
    """
    usable = []
    for text in dict.fromkeys(found):
        address = ipaddress.IPv4Address(text)
        if not (address.is_loopback or address.is_link_local or address.is_unspecified or address.is_multicast):
            usable.append(text)
    return tuple(sorted(usable, key=_rank))


def fresh_addresses(
    seconds: Callable[[], float], addresses: Callable[[], tuple[str, ...]] = crew_addresses
) -> Callable[[], tuple[str, ...]]:
    """Return what tells the addresses as they are, asking the system again after a few seconds.

    A laptop may join the boat's network long after its pages were opened, and be given another address at any time.
    """
    known: tuple[float, tuple[str, ...]] = (-math.inf, ())

    def asked() -> tuple[str, ...]:
        nonlocal known
        if seconds() - known[0] >= _FRESH_S:
            known = (seconds(), addresses())
        return known[1]

    return asked


def _rank(address: str) -> int:
    beginnings = ("192.168.", "10.", "172.")
    return next((rank for rank, beginning in enumerate(beginnings) if address.startswith(beginning)), len(beginnings))


def _by_route() -> list[str]:
    found = []
    for far in _FAR:
        with suppress(OSError), socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as asking:
            asking.connect((far, _PORT))
            found.append(str(asking.getsockname()[0]))
    return found


def _by_interface() -> list[str]:
    try:
        import fcntl
    except ImportError:  # not on Windows, where the routes have to do
        return []
    found = []
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as asking:
        for _, name in socket.if_nameindex():
            if name.startswith(_INSIDE):
                continue
            request = struct.pack("256s", name.encode()[: _INTERFACE_BYTES - 1])
            with suppress(OSError):
                answer = fcntl.ioctl(asking.fileno(), _SIOCGIFADDR, request)
                found.append(socket.inet_ntoa(answer[20:24]))
    return found

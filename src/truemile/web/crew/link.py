"""What the laptop's own pages know of the crew link: that it is open, and where."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from truemile.web.crew.addresses import crew_addresses


@dataclass(frozen=True, slots=True)
class CrewLink:
    """The crew link of this laptop.

    Parameters
    ----------
    port
        On which it is served.
    addresses
        Tells the laptop's addresses on its networks, which may change while it is open.
    """

    port: int
    addresses: Callable[[], tuple[str, ...]] = crew_addresses

    def roots(self) -> tuple[str, ...]:
        """Return the addresses to type in on a phone, best first."""
        return tuple(f"http://{address}:{self.port}" for address in self.addresses())

"""Slows those who try too often; what it remembers is bounded, however many addresses try."""

from __future__ import annotations

import math
import threading
from collections import OrderedDict
from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

#: So many addresses are remembered; more push out the oldest.
ROOM: Final = 1000


@dataclass(slots=True)
class _Bucket:
    left: float
    seen_s: float


class Brake:
    """Lets each caller do a thing so often at once, and so often a second from then on.

    Parameters
    ----------
    burst
        How often at once.
    per_s
        How many more a second.
    clock
        Seconds that never go back.
    """

    def __init__(self, burst: float, per_s: float, clock: Callable[[], float]) -> None:
        self._burst, self._per_s, self._clock = burst, per_s, clock
        self._buckets: OrderedDict[str, _Bucket] = OrderedDict()
        self._lock = threading.Lock()

    def wait_s(self, caller: str) -> float:
        """Take one turn; return 0, or how long to wait, in which case none was taken."""
        with self._lock:
            now = self._clock()
            bucket = self._buckets.pop(caller, None) or _Bucket(self._burst, now)
            bucket.left = min(self._burst, bucket.left + (now - bucket.seen_s) * self._per_s)
            bucket.seen_s = now
            self._buckets[caller] = bucket
            while len(self._buckets) > ROOM:
                self._buckets.popitem(last=False)
            if bucket.left >= 1.0:
                bucket.left -= 1.0
                return 0.0
            return (1.0 - bucket.left) / self._per_s

    def give_back(self, caller: str) -> None:
        """Return a turn that need not count."""
        with self._lock:
            bucket = self._buckets.get(caller)
            if bucket is not None:
                bucket.left = min(self._burst, bucket.left + 1.0)


class WrongCodes:
    """Slows wrong codes: for each address twice as long each time, and for all addresses together.

    Notes
    -----
    A turn is taken before the code is looked at and given back if it was right, so that many tries at the same time
    are slowed too.
    """

    #: Wrong codes of one address that cost nothing: a slip of a cold finger.
    FREE: Final = 3
    LONGEST_S: Final = 600.0
    #: All addresses together: so many at once, then one in so many seconds.
    ALL_BURST: Final = 20
    ALL_EVERY_S: Final = 30.0

    def __init__(self, clock: Callable[[], float]) -> None:
        self._clock = clock
        self._all = Brake(self.ALL_BURST, 1.0 / self.ALL_EVERY_S, clock)
        self._wrong: OrderedDict[str, tuple[int, float]] = OrderedDict()
        self._lock = threading.Lock()

    def wait_s(self, address: str) -> int:
        """Begin a try; return 0, or how many whole seconds the address has to wait."""
        with self._lock:
            count, until = self._wrong.get(address, (0, -math.inf))
            now = self._clock()
            if now < until:
                return math.ceil(until - now)
            wait = self._all.wait_s("all")
            if wait:
                return math.ceil(wait)
            # Counted as wrong until it is known to be right.
            self._wrong[address] = (count + 1, now + self._pause_s(count + 1))
            self._wrong.move_to_end(address)
            while len(self._wrong) > ROOM:
                self._wrong.popitem(last=False)
            return 0

    def was_right(self, address: str) -> None:
        """Forget what an address did wrong."""
        self._all.give_back("all")
        with self._lock:
            self._wrong.pop(address, None)

    def _pause_s(self, count: int) -> float:
        return 0.0 if count <= self.FREE else min(self.LONGEST_S, 2.0 ** (count - self.FREE))

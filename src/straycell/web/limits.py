"""How much one client may ask for: a bucket of requests that refills, for each device or address."""

from collections.abc import Callable
from dataclasses import dataclass
from threading import Lock

# Common practice, no published source: a person's page asks for five files, a logger posts once a second.
PER_SECOND, BURST = 30.0, 120.0
PAIRING_PER_SECOND, PAIRING_BURST = 0.2, 5.0
MOST_CLIENTS = 2000


@dataclass(slots=True)
class _Bucket:
    left: float
    at: float


class Limiter:
    """Counts requests by client. `clock` gives seconds that only grow."""

    def __init__(self, per_second: float, burst: float, clock: Callable[[], float]) -> None:
        self._per_second, self._burst, self._clock = per_second, burst, clock
        self._buckets: dict[str, _Bucket] = {}
        self._lock = Lock()

    def allows(self, client: str) -> bool:
        """True when this client may ask once more now."""
        now = self._clock()
        with self._lock:
            # Addresses are free to whoever sends many: what is remembered of them is bounded.
            if len(self._buckets) >= MOST_CLIENTS and client not in self._buckets:
                # A bucket that was not used for longer than it takes to fill says nothing any more.
                full_s = self._burst / self._per_second
                self._buckets = {k: b for k, b in self._buckets.items() if now - b.at < full_s}
                if len(self._buckets) >= MOST_CLIENTS:
                    return False
            bucket = self._buckets.setdefault(client, _Bucket(self._burst, now))
            bucket.left = min(self._burst, bucket.left + (now - bucket.at) * self._per_second)
            bucket.at = now
            if bucket.left < 1.0:
                return False
            bucket.left -= 1.0
        return True

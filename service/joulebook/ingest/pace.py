"""How much may come in a second, and how much at once. No clock of its own."""

from collections.abc import Iterable
from ipaddress import IPv4Address, IPv6Address, IPv6Network, ip_address, ip_network

#: A bucket is kept for so many keys at most; the one that was longest not used goes first.
MOST_KEYS = 10_000


class Bucket:
    """Holds what may still come: it fills steadily, up to what may come at once.

    It may be overdrawn, for what has come has come; :meth:`wait_s` says for how long the sender
    has to be kept waiting then.

    Parameters
    ----------
    rate : float
        What comes back in a second.
    most : float
        What may come at once.
    now_s : float
        Seconds of any clock that never goes back; the same for every ``now_s`` here.
    """

    __slots__ = ("_at_s", "_left", "_most", "_rate")

    def __init__(self, rate: float, most: float, now_s: float) -> None:
        self._rate = rate
        self._most = most
        self._left = most
        self._at_s = now_s

    def take(self, amount: float, now_s: float) -> bool:
        """Take out what has come, and tell whether that was more than was left."""
        filled = self._left + max(0.0, now_s - self._at_s) * self._rate
        self._left = (filled if filled < self._most else self._most) - amount
        self._at_s = now_s
        return self._left < 0

    def wait_s(self, now_s: float) -> float:
        """Return how long it takes until the bucket is no longer overdrawn. [s]"""
        return max(0.0, -self._left / self._rate - (now_s - self._at_s))


class Buckets:
    """A bucket for each key: an address, or somebody's name."""

    def __init__(self, rate: float, most: float, *, keys: int = MOST_KEYS) -> None:
        self._rate = rate
        self._most = most
        self._keys = keys
        self._buckets: dict[str, Bucket] = {}

    def of(self, key: str, now_s: float) -> Bucket:
        """Return the bucket of a key, a full one where it has none yet."""
        bucket = self._buckets.pop(key, None)
        if bucket is None:
            bucket = Bucket(self._rate, self._most, now_s)
        self._buckets[key] = bucket  # at the end: the first one is the longest not used
        if len(self._buckets) > self._keys:
            del self._buckets[next(iter(self._buckets))]
        return bucket


def neighbourhood(address: str) -> str:
    """Return what shares a limit with an address: itself, or the /64 of an IPv6 one.

    Whoever has one IPv6 address has the 2**64 of its network too (RFC 4291 §2.5.1, RFC 6177).
    """
    found = _parsed(address)
    if isinstance(found, IPv6Address):
        return str(IPv6Network((int(found) >> 64 << 64, 64)))
    return address if found is None else str(found)


def is_this_machine(address: str) -> bool:
    """Tell whether an address is one of this machine's loopback."""
    found = _parsed(address)
    return found is not None and found.is_loopback


def is_within(address: str, networks: Iterable[str]) -> bool:
    """Tell whether an address is one of some addresses, or of some networks."""
    found = _parsed(address)
    return found is not None and any(found in ip_network(network) for network in networks)


def _parsed(address: str) -> IPv4Address | IPv6Address | None:
    try:
        found = ip_address(address.partition("%")[0])
    except ValueError:
        return None
    if isinstance(found, IPv6Address) and found.ipv4_mapped is not None:
        return found.ipv4_mapped
    return found

"""Growing delays for whoever guesses at a door; nobody is shut out for good."""

from collections import OrderedDict
from dataclasses import dataclass
from threading import Lock

from joulebook.ingest.pace import neighbourhood

#: So many failures in a row cost nothing: people mistype.
_FREE = 5
#: The longest delay by account and by address. [s]
_LONGEST_S = {"account": 60.0, "address": 300.0, "both": 10.0}
#: After so long without a failure, all is forgotten. [s]
_FORGOTTEN_S = 3600.0
#: More accounts and addresses than this are not remembered; the oldest go first.
_MOST = 10_000


@dataclass(slots=True)
class _Failures:
    count: int = 0
    last_s: float = 0.0

    def wait_s(self, longest_s: float, now_s: float) -> float:
        """Return how long to wait still: 1 s after the sixth failure, then twice as long each."""
        if self.count <= _FREE:
            return 0.0
        delay_s: float = min(longest_s, 2.0 ** min(self.count - _FREE - 1, 30))
        return max(0.0, self.last_s + delay_s - now_s)


class Throttle:
    """Who failed how often at a door, by account and by address.

    Whoever got in from an address before has a count of his own there. So a stranger who guesses
    at an account from elsewhere, or behind the same address at other accounts, delays himself
    and not the owner. Where an address is empty, nothing is known of it,
    and the account counts alone. Safe to use from several threads.
    """

    def __init__(self) -> None:
        self._failures: OrderedDict[tuple[str, str], _Failures] = OrderedDict()
        self._known: OrderedDict[tuple[str, str], None] = OrderedDict()
        self._lock = Lock()

    def attempt(self, account: str, address: str, *, now_s: float) -> float:
        """Begin an attempt: return 0 and count it as failed until it succeeds, or the wait [s]."""
        with self._lock:
            keys = self._keys(account, _place(address))
            wait_s = max(self._wait_s(key, now_s) for key in keys)
            if wait_s == 0:
                for key in keys:
                    self._count(key, now_s)
            return wait_s

    def succeeded(self, account: str, address: str) -> None:
        """Note that the attempt was no guess."""
        place = _place(address)
        with self._lock:
            for key in self._keys(account, place):
                self._forgive(key)
        self.know(account, address)

    def know(self, account: str, address: str) -> None:
        """Note that the account is used from there, so that others do not delay it."""
        with self._lock:
            pair = (account, _place(address))
            self._known[pair] = None
            self._known.move_to_end(pair)
            if len(self._known) > _MOST:
                self._known.popitem(last=False)

    def _keys(self, account: str, place: str) -> list[tuple[str, str]]:
        if (account, place) in self._known:
            return [("both", f"{account} {place}")]
        return [("account", account), ("address", place)][: 2 if place else 1]

    def _wait_s(self, key: tuple[str, str], now_s: float) -> float:
        found = self._failures.get(key)
        if found is None:
            return 0.0
        if now_s - found.last_s >= _FORGOTTEN_S:
            del self._failures[key]
            return 0.0
        return found.wait_s(_LONGEST_S[key[0]], now_s)

    def _count(self, key: tuple[str, str], now_s: float) -> None:
        found = self._failures.setdefault(key, _Failures())
        found.count += 1
        found.last_s = now_s
        self._failures.move_to_end(key)
        if len(self._failures) > _MOST:
            self._failures.popitem(last=False)

    def _forgive(self, key: tuple[str, str]) -> None:
        """Take the attempt back; of an address no more than it, or one account would clear it."""
        found = self._failures.get(key)
        if found is None:  # forgotten meanwhile, for there were too many
            return
        found.count = found.count - 1 if key[0] == "address" else 0
        if found.count == 0:
            del self._failures[key]


def _place(address: str) -> str:
    """Return what counts as one address; cut, for a proxy may pass anything on as one."""
    return neighbourhood(address)[:80]

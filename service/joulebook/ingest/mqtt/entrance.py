"""Who may have a connection: so many in all, of an address and of a token, and so many a second."""

from collections import Counter
from collections.abc import Hashable
from typing import Protocol, TypeVar

from joulebook.ingest.mqtt.limits import FAILED_LOGIN_COSTS, ListenerLimits
from joulebook.ingest.pace import Buckets, is_this_machine, is_within, neighbourhood

Key = TypeVar("Key", bound=Hashable)


class Guest(Protocol):
    """What the entrance asks of a connection."""

    address: str

    def make_way(self) -> None:
        """Close at once: somebody new needs the place."""


class Entrance:
    """Counts the connections of a listener by address and by token.

    Where every place is taken, the connection that has been open longest without logging in makes
    way for a new one: so nobody can keep bridges out by opening connections and saying nothing.
    """

    def __init__(self, limits: ListenerLimits) -> None:
        self._limits = limits
        self._inside: dict[Guest, int | None] = {}  # with the id of its token, once it has one
        self._strangers: dict[Guest, None] = {}  # in the order in which they came
        self._of_address: Counter[str] = Counter()
        self._of_token: Counter[int] = Counter()
        self._connects = Buckets(limits.address_connects_per_s, limits.address_connects_at_once)

    def __len__(self) -> int:
        return len(self._inside)

    def enter(self, guest: Guest, now_s: float) -> str:
        """Take a new connection in, or return why not."""
        key = neighbourhood(guest.address)
        if not self._is_many(guest.address):
            if self._of_address[key] >= self._limits.address_connections:
                return "too many connections of its address"
            if self._overdrawn(key, 1, now_s):
                return "too many new connections of its address"
        if len(self._inside) >= self._limits.connections:
            oldest = next(iter(self._strangers), None)
            if oldest is None:
                return "too many connections"
            self.leave(oldest)
            oldest.make_way()
        self._inside[guest] = None
        self._strangers[guest] = None
        self._of_address[key] += 1
        return ""

    def has_place_for(self, token_id: int) -> bool:
        """Tell whether a token may have one more connection."""
        return self._of_token[token_id] < self._limits.token_connections

    def admit(self, guest: Guest, token_id: int) -> None:
        """Note that a connection is a stranger's no more."""
        del self._strangers[guest]
        self._inside[guest] = token_id
        self._of_token[token_id] += 1

    def note_failure(self, guest: Guest, now_s: float) -> None:
        """Let a failed login cost its address some of the connections that it may make."""
        if not self._is_many(guest.address):
            self._overdrawn(neighbourhood(guest.address), FAILED_LOGIN_COSTS, now_s)

    def is_balancer(self, address: str) -> bool:
        """Tell whether an address says nothing of who comes from it."""
        return is_within(address, self._limits.balancers)

    def _is_many(self, address: str) -> bool:
        return is_this_machine(address) or self.is_balancer(address)

    def leave(self, guest: Guest) -> None:
        """Forget a connection; nothing happens where it is not inside any more."""
        if guest not in self._inside:
            return
        token_id = self._inside.pop(guest)
        self._strangers.pop(guest, None)
        _decrease(self._of_address, neighbourhood(guest.address))
        if token_id is not None:
            _decrease(self._of_token, token_id)

    def _overdrawn(self, key: str, cost: float, now_s: float) -> bool:
        # What is turned away costs nothing, or a client that tries again would never get in.
        bucket = self._connects.of(key, now_s)
        if bucket.wait_s(now_s) > 0:
            return True
        bucket.take(cost, now_s)
        return False


def _decrease(counter: Counter[Key], key: Key) -> None:
    counter[key] -= 1
    if not counter[key]:
        del counter[key]

"""How much of clients' messages is under way, and how fast they may go on."""

from typing import Generic, TypeVar

from joulebook.ingest.mqtt.limits import MESSAGE_BYTES, SET_ASIDE_COSTS, ListenerLimits
from joulebook.ingest.pace import Bucket

Whose = TypeVar("Whose")


class Share(Generic[Whose]):
    """What all connections have together: the rates, what waits, and packets not yet whole."""

    def __init__(self, limits: ListenerLimits) -> None:
        self._limits = limits
        self._unfinished: dict[Whose, int] = {}
        self._unfinished_bytes = 0
        self.message_rate = _bucket(limits.total_messages_per_s, limits)
        self.byte_rate = _bucket(limits.total_bytes_per_s, limits)
        self.waiting_bytes = 0

    def has_room(self) -> bool:
        """Tell whether more messages may wait for the inbox."""
        return self.waiting_bytes < self._limits.total_waiting_bytes

    def hold(self, whose: Whose, size: int) -> None:
        """Note how much a connection has sent of a packet whose end is not here yet. [byte]"""
        self._unfinished_bytes += size - self._unfinished.pop(whose, 0)
        if size:
            self._unfinished[whose] = size

    def too_much(self) -> Whose | None:
        """Return whose unfinished packet has to go, the largest; ``None`` while all have room.

        Not reading would not help: it is the missing rest that would free the memory.
        """
        if self._unfinished_bytes <= self._limits.total_unfinished_bytes:
            return None
        return max(self._unfinished, key=self._unfinished.__getitem__)


class Flow:
    """What comes from one connection, and what of it waits for the inbox."""

    def __init__(self, limits: ListenerLimits, share: Share[Whose]) -> None:
        self._limits = limits
        self._share = share
        self._message_rate = _bucket(limits.messages_per_s, limits)
        self._byte_rate = _bucket(limits.bytes_per_s, limits)
        self._waiting_messages = self._waiting_bytes = 0

    def arrive(self, size: int, now_s: float) -> None:
        """Note bytes that were read."""
        self._byte_rate.take(size, now_s)
        self._share.byte_rate.take(size, now_s)

    def hand_in(self, messages: int, size: int, now_s: float) -> None:
        """Note messages that go to the inbox."""
        self._message_rate.take(messages, now_s)
        self._share.message_rate.take(messages, now_s)
        self._waiting_messages += messages
        self._waiting_bytes += size
        self._share.waiting_bytes += size

    def settle(self, messages: int, size: int, set_aside: int, now_s: float) -> None:
        """Note messages that are back from the inbox, and how many of them were set aside."""
        self._message_rate.take(set_aside * (SET_ASIDE_COSTS - 1), now_s)
        self._waiting_messages -= messages
        self._waiting_bytes -= size
        self._share.waiting_bytes -= size

    def is_full(self) -> bool:
        """Tell whether as much of this connection's waits as may."""
        return (
            self._waiting_messages >= self._limits.waiting_messages
            or self._waiting_bytes >= self._limits.waiting_bytes
        )

    def is_settled(self) -> bool:
        """Tell whether nothing of it waits."""
        return self._waiting_messages == 0

    def wait_s(self, now_s: float) -> float:
        """Return how long nothing more may be read for the sake of the rates. [s]"""
        rates = self._message_rate, self._byte_rate, self._share.message_rate, self._share.byte_rate
        return max(rate.wait_s(now_s) for rate in rates)


def weight(payload_bytes: int, messages: int) -> int:
    """Return what messages take in memory while they wait. [byte]"""
    return payload_bytes + messages * MESSAGE_BYTES


def _bucket(per_s: float, limits: ListenerLimits) -> Bucket:
    return Bucket(per_s, per_s * limits.at_once_s, 0.0)

"""The open connections of a listener, and what they share."""

import asyncio
import logging
from collections import Counter
from collections.abc import Callable, Collection
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field
from typing import Protocol

from joulebook.errors import UnavailableError
from joulebook.ingest.mqtt.door import Inbox
from joulebook.ingest.mqtt.entrance import Entrance, Guest
from joulebook.ingest.mqtt.limits import ListenerLimits
from joulebook.ingest.mqtt.pacing import Share
from joulebook.ingest.throttle import Throttle
from joulebook.storage.records import Grant

log = logging.getLogger(__name__)

# How often connections that wait for room in the inbox look again. The inbox fills from other
# doors too, so there is no event of ours to wait for. [s]
_LOOK_AGAIN_S = 0.02

# How long a client may take to read our good-bye. [s]
_FAREWELL_S = 1.0

# The most that is read from one socket at once: of a client, of a stranger, and of either while
# there is no room. All are read into one buffer: what is read is taken out before the next. [byte]
_READ_BYTES, _STRANGERS_READ_BYTES, _LEAST_READ_BYTES = 128 * 1024, 4 * 1024, 1024


@dataclass(slots=True)
class ListenerCounts:
    """What a listener has seen since it started."""

    connections: int = 0  # open now
    connections_total: int = 0
    refused: int = 0  # connections: too many, or not let in
    messages: int = 0
    bytes: int = 0
    dropped: Counter[str] = field(default_factory=Counter)  # connections that we ended, by reason


class Member(Guest, Protocol):
    """What the roster asks of a connection."""

    def take_over(self) -> None:
        """Make way for a newer connection of the same client."""

    def expel(self) -> None:
        """Close, for the token lets nobody in any more."""

    def look_again(self) -> None:
        """Read on if the inbox has room by now."""

    def finish(self) -> None:
        """Read no more."""

    def is_settled(self) -> bool:
        """Tell whether none of its messages is with the inbox."""

    def farewell(self) -> None:
        """Say good-bye and close."""

    def drop(self, reason: str, what: str) -> None:
        """Close at once, and count and log why."""

    def cut(self) -> None:
        """Close at once."""


def none_revoked(_token_ids: Collection[int]) -> Collection[int]:
    """Know of no token that was revoked."""
    return ()


class Roster:
    """Open connections by client, and the inbox, clock, limits and counts that they share."""

    def __init__(
        self,
        inbox: Inbox,
        check_token: Callable[[str, str], Grant | None],
        *,
        clock_ms: Callable[[], int],
        limits: ListenerLimits,
        revoked: Callable[[Collection[int]], Collection[int]] = none_revoked,
        guesses: Throttle | None = None,
    ) -> None:
        self.inbox = inbox
        self.clock_ms = clock_ms
        self.limits = limits
        self.counts = ListenerCounts()
        self._check_token = check_token
        self._revoked = revoked
        self._guesses = guesses
        self._asks = False  # whose tokens were revoked, soon or just now
        # The check may read the disk, so it must not hold up the loop.
        self._checkers = ThreadPoolExecutor(max_workers=2, thread_name_prefix="mqtt-token")
        self._buffer = bytearray(_READ_BYTES)
        self._open: set[Member] = set()
        self.entrance = Entrance(limits)
        self.share: Share[Member] = Share(limits)
        self._by_client: dict[tuple[int, str], Member] = {}
        self._waiting: set[Member] = set()
        self._stopping = False
        self._changed = asyncio.Event()

    def enter(self, member: Member) -> str:
        """Take a new connection in, or return why not."""
        self.counts.connections_total += 1
        now_s = asyncio.get_running_loop().time()
        refusal = "we are closing" if self._stopping else self.entrance.enter(member, now_s)
        if refusal:
            self.counts.refused += 1
        else:
            self._open.add(member)
            self.counts.connections = len(self._open)
        return refusal

    def leave(self, member: Member) -> None:
        """Forget a connection that is closed."""
        self._open.discard(member)
        self._waiting.discard(member)
        self.entrance.leave(member)
        self.hold(member, 0)
        self._by_client = {key: one for key, one in self._by_client.items() if one is not member}
        self.counts.connections = len(self._open)
        self.note_change()

    def hold(self, member: Member, size: int) -> None:
        """Note how much a connection has sent of what is not whole yet; make room if need be."""
        self.share.hold(member, size)
        largest = self.share.too_much()
        if largest is not None:
            self.share.hold(largest, 0)
            largest.drop("memory", "holds the largest of too many unfinished packets")

    def has_room(self) -> bool:
        """Tell whether connections may be read at all."""
        return self.inbox.has_room() and self.share.has_room()

    def buffer(self, *, of_a_stranger: bool) -> memoryview:
        """Return where the next bytes of a connection go; they have to be taken out at once."""
        size = _STRANGERS_READ_BYTES if of_a_stranger else _READ_BYTES
        return memoryview(self._buffer)[: size if self.has_room() else _LEAST_READ_BYTES]

    def take(self, size: int) -> bytes:
        """Return what has been read into the buffer."""
        return bytes(memoryview(self._buffer)[:size])

    def turn_away(self, member: Member, *, bad: bool) -> None:
        """Count a client that is not let in, and hold bad credentials against its address."""
        self.counts.refused += 1
        if bad:
            self.entrance.note_failure(member, asyncio.get_running_loop().time())

    def check(self, name: str, secret: str, address: str) -> asyncio.Future[Grant | None]:
        """Start to check a token; the future is done in the loop."""
        loop = asyncio.get_running_loop()
        return loop.run_in_executor(self._checkers, self._checked, name, secret, address)

    def _checked(self, name: str, secret: str, address: str) -> Grant | None:
        """Check a token, unless too many were guessed at that name or from that address."""
        if self._guesses is None:
            return self._check_token(name, secret)
        if self.entrance.is_balancer(address):
            address = ""  # a stranger's guesses must not delay all who come that way
        if self._guesses.attempt(name, address, now_s=self.clock_ms() / 1000) > 0:
            return None
        grant = self._check_token(name, secret)
        if grant is not None:
            self._guesses.succeeded(name, address)
        return grant

    def admit(self, member: Member, grant: Grant, client_id: str) -> bool:
        """Let a connection stand for its client, unless its token has too many already.

        An older connection of the same client has to go.
        """
        key = (grant.token_id, client_id)
        older = self._by_client.get(key)
        if older is not None:
            self.entrance.leave(older)
            older.take_over()
        if not self.entrance.has_place_for(grant.token_id):
            return False
        self.entrance.admit(member, grant.token_id)
        self._by_client[key] = member
        self._ask_later()
        return True

    def _ask_later(self) -> None:
        if not self._asks:
            self._asks = True
            asyncio.get_running_loop().call_later(self.limits.revoked_s, self._ask)

    def _ask(self) -> None:
        """Ask whose tokens were revoked, as long as anybody is here."""
        self._asks = False
        token_ids = {token_id for token_id, _ in self._by_client}
        if token_ids and not self._stopping:
            self._asks = True
            loop = asyncio.get_running_loop()
            asked = loop.run_in_executor(self._checkers, self._revoked, token_ids)
            asked.add_done_callback(self._expel)

    def _expel(self, asked: asyncio.Future[Collection[int]]) -> None:
        self._asks = False
        error = asked.exception()
        if isinstance(error, UnavailableError):
            log.warning("whose tokens were revoked cannot be read now: %s", error.what)
        elif error is not None:
            log.error("whose tokens were revoked could not be read", exc_info=error)
        else:
            for (token_id, _), member in list(self._by_client.items()):
                if token_id in asked.result():
                    member.expel()
        self._ask_later()

    def wait_for_room(self, member: Member) -> None:
        """Let a connection look again soon whether the inbox has room."""
        if not self._waiting:
            asyncio.get_running_loop().call_later(_LOOK_AGAIN_S, self._look_again)
        self._waiting.add(member)

    def note_change(self) -> None:
        """Wake whoever waits in :meth:`stop`."""
        self._changed.set()

    async def stop(self) -> None:
        """Read no more, answer what is with the inbox, say good-bye; then close what is left."""
        self._stopping = True
        for member in self._open:
            member.finish()
        await self._until(lambda: all(one.is_settled() for one in self._open), self.limits.stop_s)
        for member in list(self._open):
            member.farewell()
        await self._until(lambda: not self._open, _FAREWELL_S)
        for member in list(self._open):
            member.cut()
        await self._until(lambda: not self._open, _FAREWELL_S)
        self._checkers.shutdown(wait=False)

    async def _until(self, condition: Callable[[], bool], timeout_s: float) -> None:
        late = asyncio.Event()

        def give_up() -> None:
            late.set()
            self.note_change()

        timer = asyncio.get_running_loop().call_later(timeout_s, give_up)
        while not condition() and not late.is_set():
            self._changed.clear()
            await self._changed.wait()
        timer.cancel()

    def _look_again(self) -> None:
        waiting, self._waiting = self._waiting, set()
        for member in waiting:
            member.look_again()

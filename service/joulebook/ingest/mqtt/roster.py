"""The open connections of a listener, and what they share."""

import asyncio
import logging
from collections.abc import Callable, Collection
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field
from typing import Protocol

from joulebook.ingest.mqtt.door import Inbox
from joulebook.ingest.mqtt.handshake import SessionLimits
from joulebook.storage.records import Grant

log = logging.getLogger(__name__)

# How often connections that wait for room in the inbox look again. The inbox fills from other
# doors too, so there is no event of ours to wait for. [s]
_LOOK_AGAIN_S = 0.02

# How long a client may take to read our good-bye. [s]
_FAREWELL_S = 1.0


@dataclass(frozen=True, slots=True, kw_only=True)
class ListenerLimits:
    """What one listener takes at most; the defaults suit one house up to a few hundred."""

    session: SessionLimits = field(default_factory=SessionLimits)
    connections: int = 1000
    login_s: float = 10.0  # from the connection to its CONNACK
    revoked_s: float = 2.0  # after which it is asked again whose tokens were revoked
    waiting_messages: int = 5000  # of one connection with the inbox, before it is not read
    waiting_bytes: int = 4 * 1024 * 1024
    unread_bytes: int = 256 * 1024  # of answers that a client does not read, before it is dropped
    stop_s: float = 10.0  # for messages that are with the inbox when the listener stops


@dataclass(slots=True)
class ListenerCounts:
    """What a listener has seen since it started."""

    connections: int = 0  # open now
    connections_total: int = 0
    refused: int = 0  # connections: too many, or not let in
    messages: int = 0
    bytes: int = 0


class Member(Protocol):
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
    ) -> None:
        self.inbox = inbox
        self.clock_ms = clock_ms
        self.limits = limits
        self.counts = ListenerCounts()
        self._check_token = check_token
        self._revoked = revoked
        self._asks = False  # whose tokens were revoked, soon or just now
        # The check may read the disk, so it must not hold up the loop.
        self._checkers = ThreadPoolExecutor(max_workers=2, thread_name_prefix="mqtt-token")
        self._open: set[Member] = set()
        self._by_client: dict[tuple[int, str], Member] = {}
        self._waiting: set[Member] = set()
        self._stopping = False
        self._changed = asyncio.Event()

    def enter(self, member: Member) -> bool:
        """Take a new connection in, unless there are too many, or it came as we closed."""
        self.counts.connections_total += 1
        if self._stopping or len(self._open) >= self.limits.connections:
            self.counts.refused += 1
            return False
        self._open.add(member)
        self.counts.connections = len(self._open)
        return True

    def leave(self, member: Member) -> None:
        """Forget a connection that is closed."""
        self._open.discard(member)
        self._waiting.discard(member)
        self._by_client = {key: one for key, one in self._by_client.items() if one is not member}
        self.counts.connections = len(self._open)
        self.note_change()

    def check(self, name: str, secret: str) -> asyncio.Future[Grant | None]:
        """Start to check a token; the future is done in the loop."""
        loop = asyncio.get_running_loop()
        return loop.run_in_executor(self._checkers, self._check_token, name, secret)

    def admit(self, member: Member, grant: Grant, client_id: str) -> None:
        """Let a connection stand for its client; an older one of the same client has to go."""
        key = (grant.token_id, client_id)
        older = self._by_client.get(key)
        self._by_client[key] = member
        if older is not None:
            older.take_over()
        self._ask_later()

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
        if error is not None:
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

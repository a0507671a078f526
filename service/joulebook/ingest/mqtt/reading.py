"""Whether a connection's socket is read: not while there is no room, nor when it is too fast."""

import asyncio

from joulebook.ingest.mqtt.pacing import Flow
from joulebook.ingest.mqtt.roster import Member, Roster


class Reading:
    """Reads a socket or not.

    Attributes
    ----------
    held : bool
        It is not read whatever there is room for: a login is going on, or the end.
    """

    def __init__(self, roster: Roster, member: Member, flow: Flow) -> None:
        self._roster = roster
        self._member = member
        self._flow = flow
        self._reads = True
        self._pause: asyncio.TimerHandle | None = None  # the end of one for the sake of the rates
        self.held = False

    def __bool__(self) -> bool:
        return self._reads

    def pace(self, transport: asyncio.Transport) -> bool:
        """Read the socket, or not; return whether it is read again after a while."""
        reads = self._may_read()
        if transport.is_closing() or reads == self._reads:
            return False
        self._reads = reads
        if reads:
            transport.resume_reading()
        else:
            transport.pause_reading()
        return reads

    def end(self) -> None:
        """Read no more."""
        self.held = True
        if self._pause is not None:
            self._pause.cancel()

    def _may_read(self) -> bool:
        if self.held or self._flow.is_full():
            return False
        if not self._roster.has_room():
            self._roster.wait_for_room(self._member)
            return False
        loop = asyncio.get_running_loop()
        wait_s = self._flow.wait_s(loop.time())
        if wait_s > 0 and self._pause is None:
            self._pause = loop.call_later(wait_s, self._pause_ends)
        return wait_s == 0

    def _pause_ends(self) -> None:
        self._pause = None
        self._member.look_again()

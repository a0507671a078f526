"""Connections of browsers and programs: only so many, and none that says or reads nothing."""

import asyncio
from typing import cast

from uvicorn.protocols.http.h11_impl import H11Protocol

from joulebook.ingest.pace import is_this_machine, neighbourhood

#: How many connections there may be in all, and of one address; a browser opens six.
MOST_CONNECTIONS, MOST_OF_AN_ADDRESS = 512, 64

#: A request line and its headers may be this long together. [byte]
MOST_OF_A_HEAD = 16 * 1024

#: How long a connection may send no whole request, or read nothing of its answer. [s]
PATIENCE_S = 30.0

_LOOK_S = 5.0


class WebConnection(H11Protocol):
    """A connection that is closed where nothing comes of it.

    The server itself waits for ever for the rest of a head, and for whoever does not read his
    answer; a few hundred of those would leave no room for anybody else.
    """

    patience_s = PATIENCE_S
    look_s = _LOOK_S
    _timer: asyncio.TimerHandle

    def connection_made(self, transport: asyncio.Transport) -> None:  # type: ignore[override]
        """Take the connection in, unless there are too many."""
        super().connection_made(transport)
        self._moved_s = self.loop.time()
        self._unread = 0
        self._timer = self.loop.call_later(self.look_s, self._look)
        everybody = [one for one in self.connections if isinstance(one, WebConnection)]
        if self._is_one_too_many(everybody):
            transport.abort()
        elif len(everybody) > MOST_CONNECTIONS:
            # Whoever has been waiting longest without a request makes way, or else the newcomer.
            idle = [one for one in everybody if not one._is_answering()]
            min(idle, key=WebConnection.moved_s).transport.abort()

    def connection_lost(self, exc: Exception | None) -> None:
        """Forget the connection."""
        self._timer.cancel()
        super().connection_lost(exc)

    def moved_s(self) -> float:
        """Return when it was last seen to be of use. [s]"""
        return self._moved_s

    def _is_one_too_many(self, everybody: list["WebConnection"]) -> bool:
        address = self._address()
        if not address or is_this_machine(address):
            return False
        key = neighbourhood(address)
        return sum(neighbourhood(one._address()) == key for one in everybody) > MOST_OF_AN_ADDRESS

    def _address(self) -> str:
        return "" if self.client is None else self.client[0]

    def _is_answering(self) -> bool:
        # There is none before the first request, whatever its type says.
        cycle = cast(object | None, self.cycle)
        return cycle is not None and not self.cycle.response_complete

    def _look(self) -> None:
        """Close the connection if it has not moved for long; look again in a while if not."""
        now_s = self.loop.time()
        unread = self.transport.get_write_buffer_size()
        # An answer that is written may still wait in the buffer for whoever reads it.
        if unread != self._unread or (unread == 0 and self._is_answering()):
            self._moved_s = now_s
        self._unread = unread
        if now_s - self._moved_s > self.patience_s:
            self.transport.abort()
        else:
            self._timer = self.loop.call_later(self.look_s, self._look)

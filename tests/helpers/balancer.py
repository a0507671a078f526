"""A TCP balancer: each connection goes to the next of several servers, as bytes come and go."""

import asyncio
import threading
from collections.abc import Coroutine
from contextlib import suppress
from typing import Any

from tests.helpers.mqtt_inbox import WAIT_S


class Balancer:
    """Listens on a port of this machine, in a thread of its own.

    A server that takes no connection is passed over, as a balancer does that looks whether its
    servers live.

    Attributes
    ----------
    port : int
        Where it listens.
    passed : dict of int to int
        How many connections each server's port was given.
    """

    def __init__(self, *ports: int) -> None:
        self._ports = list(ports)
        self.passed = dict.fromkeys(ports, 0)
        self._loop = asyncio.new_event_loop()
        self._thread = threading.Thread(target=self._loop.run_forever)
        self._thread.start()
        self._open: dict[asyncio.Task[None], asyncio.StreamWriter] = {}
        self._server: asyncio.Server = self._await(self._listen())
        self.port: int = self._server.sockets[0].getsockname()[1]

    def close(self) -> None:
        """Take nobody any more, and let go of everybody."""
        self._await(self._end())
        self._loop.call_soon_threadsafe(self._loop.stop)
        self._thread.join()
        self._loop.close()

    def _await(self, what: Coroutine[Any, Any, Any]) -> Any:
        return asyncio.run_coroutine_threadsafe(what, self._loop).result(WAIT_S)

    async def _listen(self) -> asyncio.Server:
        return await asyncio.start_server(self._take, "127.0.0.1", 0)

    async def _end(self) -> None:
        self._server.close()
        for writer in self._open.values():
            writer.transport.abort()
        await asyncio.gather(*self._open)

    async def _take(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        task = asyncio.current_task()
        assert task is not None
        self._open[task] = writer
        try:
            await self._pass_on(reader, writer)
        finally:
            del self._open[task]
            writer.close()

    async def _pass_on(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        for _ in self._ports:
            self._ports.append(port := self._ports.pop(0))
            with suppress(OSError):
                there, back = await asyncio.open_connection("127.0.0.1", port)
                break
        else:
            return  # nobody lives: the client comes again
        self.passed[port] += 1
        await asyncio.gather(_pipe(reader, back), _pipe(there, writer))


async def _pipe(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
    """Pass on what comes; where one side has ended, end the other."""
    with suppress(OSError):
        while data := await reader.read(65_536):
            writer.write(data)
            await writer.drain()
    writer.close()

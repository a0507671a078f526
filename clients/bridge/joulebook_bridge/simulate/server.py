"""Modbus over TCP for the simulated plant: it answers the two reading functions and no other."""

import asyncio
import struct
from collections.abc import Callable, Mapping

from joulebook_bridge.modbus.planning import MOST_REGISTERS

#: Messaging on TCP/IP V1.0b §3.1.3: transaction, protocol, length and unit.
_HEADER = struct.Struct(">HHHB")
_REQUEST = struct.Struct(">BHH")
_READING = (3, 4)
_ILLEGAL_FUNCTION, _ILLEGAL_ADDRESS, _ILLEGAL_VALUE = 1, 2, 3

RegistersOf = Callable[[int], Mapping[int, int] | None]


class PlantServer:
    """Serves registers until it is closed.

    Parameters
    ----------
    registers_of : callable
        The registers of a unit by address; ``None`` for a unit that is not there, which then stays
        silent.
    """

    def __init__(self, registers_of: RegistersOf) -> None:
        self._registers_of = registers_of
        self._server: asyncio.Server | None = None
        self._serving: set[asyncio.Task[None]] = set()

    async def start(self, host: str, port: int) -> int:
        """Open the door and return its port."""
        self._server = await asyncio.start_server(self._serve, host, port)
        return int(self._server.sockets[0].getsockname()[1])

    async def stop(self) -> None:
        """Close the door and every connection."""
        if self._server is not None:
            self._server.close()
        for task in self._serving:
            task.cancel()
        await asyncio.gather(*self._serving, return_exceptions=True)

    async def _serve(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        task = asyncio.current_task()
        assert task is not None
        self._serving.add(task)
        try:
            while True:
                head = await reader.readexactly(_HEADER.size)
                transaction, _, length, unit = _HEADER.unpack(head)
                request = await reader.readexactly(max(length - 1, 0))
                registers = self._registers_of(unit)
                if registers is not None:
                    body = answer(registers, request)
                    writer.write(_HEADER.pack(transaction, 0, len(body) + 1, unit) + body)
                    await writer.drain()
        except (asyncio.IncompleteReadError, ConnectionError):
            pass  # it hung up
        finally:
            self._serving.discard(task)
            writer.close()


def answer(registers: Mapping[int, int], request: bytes) -> bytes:
    """Return the answer to a request: registers, or an exception (V1.1b3 §6.3, §7)."""
    function = request[0] if request else 0
    if function not in _READING:
        return bytes([function | 0x80, _ILLEGAL_FUNCTION])
    if len(request) != _REQUEST.size:
        return bytes([function | 0x80, _ILLEGAL_VALUE])
    _, address, count = _REQUEST.unpack(request)
    if not 1 <= count <= MOST_REGISTERS:
        return bytes([function | 0x80, _ILLEGAL_VALUE])
    try:
        words = [registers[place] for place in range(address, address + count)]
    except KeyError:
        return bytes([function | 0x80, _ILLEGAL_ADDRESS])
    return struct.pack(f">BB{count}H", function, 2 * count, *words)

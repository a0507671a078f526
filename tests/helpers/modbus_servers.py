"""Real Modbus servers (pymodbus) over TCP and over a pair of pseudo-terminals.

Each remembers the functions that it was asked for, and ends its test badly if any of them writes.
"""

import asyncio
import os
import selectors
import threading
import tty
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from typing import Any

from pymodbus.constants import ExcCodes
from pymodbus.framer import FramerType
from pymodbus.pdu import ModbusPDU
from pymodbus.server import ModbusSerialServer, ModbusTcpServer
from pymodbus.simulator import DataType, SimData, SimDevice

#: Unit, then function (3 or 4), then address: the registers that are there.
Plant = Mapping[int, Mapping[int, Mapping[int, int]]]

READING = {3, 4}


class AskedFunctions:
    """What a server was asked for."""

    def __init__(self) -> None:
        self.functions: list[int] = []

    def trace(self, sending: bool, pdu: ModbusPDU) -> ModbusPDU:
        if not sending:
            self.functions.append(pdu.function_code)
        return pdu


def plant_of(registers: Mapping[int, Mapping[int, int]]) -> Plant:
    """Return a plant whose holding and input registers are the same."""
    return {unit: {3: words, 4: words} for unit, words in registers.items()}


def words_at(address: int, words: Sequence[int]) -> dict[int, int]:
    return {address + place: word for place, word in enumerate(words)}


def _runs(words: Mapping[int, int]) -> list[SimData]:
    """Return runs of registers that lie side by side."""
    runs: list[tuple[int, list[int]]] = []
    for address, word in sorted(words.items()):
        if runs and runs[-1][0] + len(runs[-1][1]) == address:
            runs[-1][1].append(word)
        else:
            runs.append((address, [word]))
    return [
        SimData(address, values=list(values), datatype=DataType.REGISTERS)
        for address, values in runs
    ]


def _device(unit: int, tables: Mapping[int, Mapping[int, int]]) -> SimDevice:
    none = [SimData(0, count=1, values=False, datatype=DataType.BITS)]

    async def answer(
        function: int,
        _start: int,
        address: int,
        count: int,
        current: list[int],
        _values: list[int] | list[bool] | None,
    ) -> ExcCodes | None:
        # Looked up anew for each request, so that a test may change what is in its plant.
        table = tables[function]
        for place in range(address, address + count):
            current[place - _start] = table[place]
        return None

    return SimDevice(unit, (none, none, _runs(tables[3]), _runs(tables[4])), action=answer)


@contextmanager
def tcp_server(plant: Plant, port: int = 0) -> Iterator[tuple[int, AskedFunctions]]:
    """Serve a plant over TCP until the block ends; gives the port and what was asked."""
    asked = AskedFunctions()

    async def start() -> ModbusTcpServer:
        server = ModbusTcpServer(
            [_device(unit, tables) for unit, tables in plant.items()],
            address=("127.0.0.1", port),
            trace_pdu=asked.trace,
        )
        await server.serve_forever(background=True)
        return server

    with _serving(start) as server:
        yield server.transport.sockets[0].getsockname()[1], asked
    assert set(asked.functions) <= READING, asked.functions


@contextmanager
def serial_server(plant: Plant) -> Iterator[tuple[str, AskedFunctions]]:
    """Serve a plant with RTU frames; gives the port of the other end and what was asked."""
    asked = AskedFunctions()
    with _crossed_terminals() as (near, far):

        async def start() -> ModbusSerialServer:
            server = ModbusSerialServer(
                [_device(unit, tables) for unit, tables in plant.items()],
                framer=FramerType.RTU,
                port=far,
                baudrate=115200,
                ignore_missing_devices=True,
                trace_pdu=asked.trace,
            )
            await server.serve_forever(background=True)
            return server

        with _serving(start):
            yield near, asked
    assert set(asked.functions) <= READING, asked.functions


@contextmanager
def _serving(start: Callable[[], Any]) -> Iterator[Any]:
    loop = asyncio.new_event_loop()
    thread = threading.Thread(target=loop.run_forever)
    thread.start()
    try:
        server = asyncio.run_coroutine_threadsafe(start(), loop).result(60)
        try:
            yield server
        finally:
            asyncio.run_coroutine_threadsafe(server.shutdown(), loop).result(60)
    finally:
        asyncio.run_coroutine_threadsafe(_let_go(), loop).result(60)
        loop.call_soon_threadsafe(loop.stop)
        thread.join()
        loop.close()


async def _let_go() -> None:
    """Let closed connections finish, so that none is left to the collector."""
    for _ in range(5):
        await asyncio.sleep(0.002)


@contextmanager
def _crossed_terminals() -> Iterator[tuple[str, str]]:
    """Two pseudo-terminals, each of which reads what is written to the other."""
    pairs = [os.openpty() for _ in range(2)]
    for pair in pairs:
        for end in pair:
            tty.setraw(end)
    stop_reading, stop_writing = os.pipe()

    def pump() -> None:
        other = {pairs[0][0]: pairs[1][0], pairs[1][0]: pairs[0][0]}
        with selectors.DefaultSelector() as selector:
            for end in (*other, stop_reading):
                selector.register(end, selectors.EVENT_READ)
            while True:
                ready = [key.fd for key, _ in selector.select()]
                if stop_reading in ready:
                    return
                for end in ready:
                    os.write(other[end], os.read(end, 4096))

    thread = threading.Thread(target=pump)
    thread.start()
    try:
        yield os.ttyname(pairs[0][1]), os.ttyname(pairs[1][1])
    finally:
        os.write(stop_writing, b"x")
        thread.join()
        for end in (*pairs[0], *pairs[1], stop_reading, stop_writing):
            os.close(end)

"""A line that can be read, and nothing else: functions 03 and 04 of Modbus.

The only module that talks to equipment. What pymodbus could do besides stays in here, behind a
guard that lets no other function out.
"""

import logging
import struct
import threading
from enum import IntEnum

from pymodbus.client import ModbusSerialClient, ModbusTcpClient
from pymodbus.exceptions import ConnectionException, ModbusException
from pymodbus.framer import FramerType
from pymodbus.pdu import ModbusPDU

from joulebook_bridge.modbus.addresses import LineAddress, SerialLine
from joulebook_bridge.modbus.faults import LineFault, RefusedFault, SilentFault, UnreachableFault

# It would report each silence of a unit as an error of its own; ours say it once, in words.
logging.getLogger("pymodbus.logging").setLevel(logging.CRITICAL + 1)


class Function(IntEnum):
    """The two functions that read registers, and the only ones that ever leave this machine."""

    HOLDING = 3
    INPUT = 4


class Line:
    """One serial bus or one network connection. For one thread at a time."""

    def __init__(self, address: LineAddress, *, timeout_s: float) -> None:
        self.address = address
        self._timeout_s = timeout_s
        self._client = _client(address, timeout_s)

    def read(self, unit: int, function: int, address: int, count: int) -> tuple[int, ...]:
        """Return registers of a unit.

        Raises
        ------
        LineFault
            As :mod:`joulebook_bridge.modbus.faults` tells apart.
        """
        asked = Function(function)
        if not self._client.connect():
            raise UnreachableFault(f"nothing answers at {self.address}")
        try:
            if asked is Function.HOLDING:
                answer = self._client.read_holding_registers(address, count=count, device_id=unit)
            else:
                answer = self._client.read_input_registers(address, count=count, device_id=unit)
        except (ConnectionException, ConnectionError) as fault:
            # Not the whole line's fault: some converters hang up when a unit does not answer.
            raise self._gave_up(SilentFault("the connection was closed")) from fault
        except (ModbusException, OSError, struct.error, IndexError, ValueError) as fault:
            # pymodbus lets some of these through when a frame is cut or garbled.
            raise self._gave_up(
                SilentFault(f"no usable answer within {self._timeout_s:g} s")
            ) from fault
        if answer.isError():
            raise RefusedFault(answer.exception_code)
        registers = tuple(answer.registers)
        if answer.function_code != function or len(registers) != count:
            raise self._gave_up(SilentFault("the answer was to something else"))
        return registers

    def close(self) -> None:
        """Let go of the port or connection; the next reading takes it again."""
        self._client.close()  # type: ignore[no-untyped-call]

    def _gave_up(self, fault: LineFault) -> LineFault:
        """Make sure that a late answer is never taken for that to the next question.

        On the network a new connection does it. A serial frame does not say which question it
        answers, so the bus is left alone once more for as long as an answer may take; what came
        meanwhile is thrown away before the next request.
        """
        if isinstance(self.address, SerialLine):
            threading.Event().wait(self._timeout_s)
        else:
            self._client.close()  # type: ignore[no-untyped-call]
        return fault


def _client(address: LineAddress, timeout_s: float) -> ModbusTcpClient | ModbusSerialClient:
    # A second try would double what a silent unit takes of the line; the next round is soon enough.
    if isinstance(address, SerialLine):
        return ModbusSerialClient(
            address.port,
            baudrate=address.baud,
            parity=address.parity,
            stopbits=address.stop,
            timeout=timeout_s,
            retries=0,
            trace_pdu=_only_reading,
        )
    return ModbusTcpClient(
        address.host,
        port=address.port,
        framer=FramerType.RTU if address.rtu else FramerType.SOCKET,
        timeout=timeout_s,
        retries=0,
        trace_pdu=_only_reading,
    )


def _only_reading(sending: bool, pdu: ModbusPDU) -> ModbusPDU:  # noqa: FBT001 - pymodbus calls it so
    """Stop anything that is not a reading function before it becomes a frame."""
    if sending and pdu.function_code not in (Function.HOLDING, Function.INPUT):
        raise AssertionError(f"function {pdu.function_code} would not only read")
    return pdu

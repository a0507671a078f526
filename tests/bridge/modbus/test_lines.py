"""Reading from real Modbus servers (pymodbus), whole and broken."""

import random
import socket
import threading
from collections.abc import Iterator

import pytest

from joulebook_bridge.modbus.faults import (
    EXCEPTIONS,
    LineFault,
    RefusedFault,
    SilentFault,
    UnreachableFault,
)
from joulebook_bridge.modbus.lines import Function, Line
from tests.bridge.modbus.real_lines import PLANT, VECTORS, line_to
from tests.helpers.fault_proxy import fault_proxy
from tests.helpers.modbus_servers import tcp_server
from tests.helpers.mqtt_inbox import wait_until


@pytest.fixture(scope="module")
def port() -> Iterator[int]:
    with tcp_server(PLANT) as (port, _):
        yield port


def test_holding_and_input_registers(line: Line) -> None:
    # CV-02, CV-03: Modbus Application Protocol V1.1b3, §6.3 and §6.4.
    assert line.read(1, Function.HOLDING, 107, 3) == (555, 0, 100)
    assert line.read(17, Function.INPUT, 8, 1) == (10,)


def test_the_last_registers_and_one_too_many(line: Line) -> None:
    # CV-06d: V1.1b3, §7: of 100 registers, 96 and four are there, five are not.
    assert line.read(1, 3, 96, 4) == (96, 97, 98, 99)
    with pytest.raises(RefusedFault, match="illegal data address") as refused:
        line.read(1, 3, 96, 5)
    assert refused.value.code == 2
    assert not refused.value.is_passing


def test_exceptions_have_their_names() -> None:
    # CV-05b: V1.1b3, §7.
    assert sorted(EXCEPTIONS) == [1, 2, 3, 4, 5, 6, 10, 11]
    assert "server device busy" in str(RefusedFault(6))
    assert RefusedFault(6).is_passing
    assert "unknown exception (9)" in str(RefusedFault(9))


def recorded(
    answer: bytes, timeout_s: float = 5.0
) -> tuple[bytes, Exception | None, tuple[int, ...]]:
    """Ask a bare socket for CV-02's registers; return what was asked and what came of it."""
    asked = bytearray()

    def serve() -> None:
        connection, _ = listener.accept()
        with connection:
            asked.extend(connection.recv(260))
            connection.sendall(answer)
            connection.recv(1)  # until the line lets go

    with socket.create_server(("127.0.0.1", 0)) as listener:
        thread = threading.Thread(target=serve)
        thread.start()
        line = line_to(listener.getsockname()[1], timeout_s=timeout_s)
        found: tuple[int, ...] = ()
        fault: Exception | None = None
        try:
            found = line.read(1, 3, 107, 3)
        except LineFault as raised:
            fault = raised
        line.close()
        thread.join()
    return bytes(asked), fault, found


def test_the_very_bytes_of_a_request_and_its_answer() -> None:
    # CV-06c: Messaging on TCP/IP V1.0b, §3.1.3: transaction, protocol, length, unit, then the PDU.
    pdu = VECTORS["modbus_pdu"][0]
    head = bytes.fromhex("0001 0000")
    answer = bytes.fromhex(pdu["response"])
    asked, fault, found = recorded(head + bytes([0, len(answer) + 1, 1]) + answer)
    assert asked == head + bytes.fromhex("0006 01" + pdu["request"])
    assert fault is None
    assert list(found) == pdu["registers"]


@pytest.mark.parametrize(
    "answer",
    [
        "0001 0000 0003 01 8302",  # CV-05: function + 80h, then the code
        "0001 0000 0003 01 830B",
    ],
)
def test_an_exceptions_very_bytes(answer: str) -> None:
    _, fault, _ = recorded(bytes.fromhex(answer))
    assert isinstance(fault, RefusedFault)
    assert fault.code == bytes.fromhex(answer)[-1]


@pytest.mark.parametrize(
    "answer",
    [
        "0001 0000 0009 01 03 06 022B 0000",  # cut short
        "0001 0000 0007 01 03 04 022B 0000",  # two registers instead of three
        "0001 0000 0009 01 04 06 022B 0000 0064",  # another function
        "0002 0000 0009 01 03 06 022B 0000 0064",  # another question
        "0001 0000 0009 02 03 06 022B 0000 0064",  # another unit
        "0001 0007 0009 01 03 06 022B 0000 0064",  # another protocol
        "0001 0000 0009 01 63 06 022B 0000 0064",  # a function that does not exist
        "0001 0000 0003 01 03 06",  # says more than it holds
    ],
)
def test_an_answer_that_does_not_fit_is_no_answer(answer: str) -> None:
    _, fault, found = recorded(bytes.fromhex(answer), timeout_s=0.1)
    assert isinstance(fault, SilentFault)
    assert found == ()


def test_a_server_that_hangs_up() -> None:
    with socket.create_server(("127.0.0.1", 0)) as listener:
        thread = threading.Thread(target=lambda: listener.accept()[0].close())
        thread.start()
        with pytest.raises(SilentFault, match="closed"):
            line_to(listener.getsockname()[1]).read(1, 3, 0, 1)
        thread.join()


def test_nobody_listens() -> None:
    with socket.socket() as bound:
        bound.bind(("127.0.0.1", 0))
        with pytest.raises(UnreachableFault, match="nothing answers at tcp://127"):
            line_to(bound.getsockname()[1]).read(1, 3, 0, 1)


def test_a_late_answer_is_never_taken_for_the_next_one(port: int) -> None:
    with fault_proxy(port) as proxy:
        line = line_to(proxy.port, timeout_s=0.3)
        proxy.delay_s = 0.5
        with pytest.raises(SilentFault, match=r"no usable answer within 0\.3 s"):
            line.read(1, 3, 10, 2)
        proxy.delay_s = 0
        assert line.read(1, 3, 20, 2) == (20, 21)
        assert proxy.connections == 2
        line.close()


def test_a_garbled_answer_over_the_network_is_no_answer_and_the_next_one_counts(port: int) -> None:
    with fault_proxy(port) as proxy:
        line = line_to(proxy.port, timeout_s=0.5)
        assert line.read(1, 3, 1, 1) == (1,)
        proxy.fault = lambda data: data[:7]
        with pytest.raises(SilentFault):
            line.read(1, 3, 2, 1)
        proxy.fault = lambda _data: None
        with pytest.raises(SilentFault, match="closed"):
            line.read(1, 3, 3, 1)
        proxy.fault = None
        assert line.read(1, 3, 4, 1) == (4,)
        line.close()


@pytest.mark.parametrize("seed", range(25))
def test_garbage_from_the_network_is_told_as_a_fault_of_the_line(port: int, seed: int) -> None:
    chance = random.Random(seed)

    def garbled(data: bytes) -> bytes:
        place = chance.randrange(len(data))
        return data[:place] + chance.randbytes(chance.randrange(1, 30)) + data[place + 1 :]

    with fault_proxy(port) as proxy:
        line = line_to(proxy.port, timeout_s=0.05)

        def answers() -> tuple[int, ...]:
            try:
                return line.read(1, 3, 1, 2)
            except LineFault:
                return ()

        proxy.fault = garbled
        # Without a checksum of its own, Modbus TCP may let a changed register through.
        assert len(answers()) in (0, 2)
        proxy.fault = None
        wait_until(lambda: answers() == (1, 2))
        line.close()

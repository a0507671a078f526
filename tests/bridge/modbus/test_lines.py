"""Reading from real Modbus servers (pymodbus), whole and broken."""

import json
import logging
import os
import re
import socket
import threading
import tty
from collections.abc import Iterator
from pathlib import Path

import pytest
from pymodbus.framer.rtu import FramerRTU
from pymodbus.pdu import ModbusPDU
from pymodbus.pdu.register_message import WriteSingleRegisterRequest

import joulebook_bridge
from joulebook_bridge.modbus import lines
from joulebook_bridge.modbus.addresses import NetworkLine, SerialLine
from joulebook_bridge.modbus.faults import (
    EXCEPTIONS,
    LineFault,
    RefusedFault,
    SilentFault,
    UnreachableFault,
)
from joulebook_bridge.modbus.lines import Function, Line
from tests.helpers.fault_proxy import fault_proxy
from tests.helpers.modbus_servers import plant_of, serial_server, tcp_server, words_at

VECTORS = json.loads(
    (Path(__file__).parents[2] / "data" / "wire_vectors.json").read_text(encoding="utf-8")
)
PLANT = plant_of({1: words_at(0, range(100)) | words_at(107, [555, 0, 100]), 17: words_at(8, [10])})


def line_to(port: int, *, timeout_s: float = 0.25) -> Line:
    return Line(NetworkLine("127.0.0.1", port), timeout_s=timeout_s)


@pytest.fixture(scope="module")
def port() -> Iterator[int]:
    with tcp_server(PLANT) as (port, _):
        yield port


@pytest.fixture
def line(port: int) -> Iterator[Line]:
    line = line_to(port)
    yield line
    line.close()


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


def recorded(answer: bytes) -> tuple[bytes, Exception | None, tuple[int, ...]]:
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
        line = line_to(listener.getsockname()[1], timeout_s=0.1)
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
    _, fault, found = recorded(bytes.fromhex(answer))
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
        line = line_to(proxy.port, timeout_s=0.05)
        proxy.delay_s = 0.15
        with pytest.raises(SilentFault, match=r"no usable answer within 0\.05 s"):
            line.read(1, 3, 10, 2)
        proxy.delay_s = 0
        assert line.read(1, 3, 20, 2) == (20, 21)
        assert proxy.connections == 2
        line.close()


def test_a_garbled_answer_over_the_network_is_no_answer_and_the_next_one_counts(port: int) -> None:
    with fault_proxy(port) as proxy:
        line = line_to(proxy.port, timeout_s=0.05)
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


def test_a_serial_line_with_several_units() -> None:
    with serial_server(PLANT) as (terminal, _):
        line = Line(SerialLine(terminal, 115200), timeout_s=0.25)
        assert line.read(1, 3, 107, 3) == (555, 0, 100)
        assert line.read(17, 4, 8, 1) == (10,)
        with pytest.raises(RefusedFault, match="illegal data address"):
            line.read(1, 3, 96, 5)
        line.close()


def test_a_late_answer_on_a_serial_line_is_thrown_away() -> None:
    # CV-01: frames with their checksums, byte for byte. An answer does not say to which question.
    question = bytes.fromhex("01039C400002EB8F")
    late, right = bytes.fromhex("01030453756E53 96F0"), bytes.fromhex("01030400010002 2A32")
    near, far = os.openpty()
    tty.setraw(near)
    tty.setraw(far)
    line = Line(SerialLine(os.ttyname(far), 115200), timeout_s=0.1)

    def answer() -> None:
        assert os.read(near, 64) == question
        threading.Event().wait(0.15)
        os.write(near, late)
        assert os.read(near, 64) == question
        os.write(near, right)

    thread = threading.Thread(target=answer)
    thread.start()
    with pytest.raises(SilentFault):
        line.read(1, 3, 40000, 2)
    assert line.read(1, 3, 40000, 2) == (1, 2)
    thread.join()
    line.close()
    os.close(near)
    os.close(far)


def test_a_serial_port_that_is_not_there() -> None:
    line = Line(SerialLine("/dev/no-such-port"), timeout_s=0.1)
    with pytest.raises(UnreachableFault, match=r"nothing answers at serial:///dev/no-such-port"):
        line.read(1, 3, 0, 1)


def test_checksums_of_serial_frames() -> None:
    # CV-01: Modbus over Serial Line V1.02, §6.2.2, and the check word of CRC-16/MODBUS. What we
    # lean on for frames is pymodbus; this holds it to the standard.
    for frame, appended in VECTORS["crc"]:
        crc = FramerRTU.compute_CRC(bytes.fromhex(frame))
        assert crc.to_bytes(2, "big").hex().upper() == appended


def test_any_flipped_bit_of_a_serial_frame_is_noticed() -> None:
    # CV-01, the negative case: a CRC of 16 bits finds every single flipped bit.
    frame = bytes.fromhex("110306022B00000064C8BA")
    for bit in range(8 * len(frame)):
        flipped = bytearray(frame)
        flipped[bit // 8] ^= 1 << bit % 8
        crc = int.from_bytes(flipped[-2:], "big")
        assert not FramerRTU.check_CRC(bytes(flipped[:-2]), crc)


def test_nothing_that_writes_ever_becomes_a_frame(port: int) -> None:
    # CV-04: V1.1b3, §6.5 and §6.6. The client inside is asked to write, past all that is ours.
    line = line_to(port)
    for function in (5, 6, 15, 16, 22, 23):
        pdu = ModbusPDU(dev_id=1)
        pdu.function_code = function
        with pytest.raises(AssertionError, match=f"function {function} would not only read"):
            line._client.execute(False, pdu)
    with pytest.raises(AssertionError, match="would not only read"):
        line._client.execute(False, WriteSingleRegisterRequest(address=1, registers=[3]))
    assert line.read(1, 3, 1, 1) == (1,)  # and it was not written
    line.close()


def test_a_line_cannot_be_asked_to_write(line: Line) -> None:
    assert {name for name in vars(Line) if not name.startswith("_")} == {"read", "close"}
    with pytest.raises(ValueError, match="6 is not a valid Function"):
        line.read(1, 6, 1, 3)


def test_one_module_alone_talks_to_equipment() -> None:
    package = Path(joulebook_bridge.__file__).parent
    users = {
        path.relative_to(package).as_posix()
        for path in package.rglob("*.py")
        if re.search(r"pymodbus|sunspec2\.(modbus|file|device)", path.read_text(encoding="utf-8"))
    }
    assert users == {"modbus/lines.py"}
    assert "write" not in {name for name in dir(lines) if "write" in name.lower()}


def test_pymodbus_keeps_its_complaints_to_itself() -> None:
    assert not logging.getLogger("pymodbus.logging").isEnabledFor(logging.CRITICAL)

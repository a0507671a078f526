"""Serial lines: RTU frames over pseudo-terminals, and their checksums."""

import os
import queue
import threading
import tty

import pytest
from pymodbus.framer.rtu import FramerRTU

from joulebook_bridge.modbus.addresses import SerialLine
from joulebook_bridge.modbus.faults import (
    RefusedFault,
    SilentFault,
    UnreachableFault,
)
from joulebook_bridge.modbus.lines import Line
from tests.bridge.modbus.real_lines import PLANT, VECTORS
from tests.helpers.modbus_servers import serial_server


def test_a_serial_line_with_several_units() -> None:
    with serial_server(PLANT) as (terminal, _):
        line = Line(SerialLine(terminal, 115200), timeout_s=5)
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
    line = Line(SerialLine(os.ttyname(far), 115200), timeout_s=0.4)

    def answer() -> None:
        assert os.read(near, 64) == question
        threading.Event().wait(0.6)
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


def test_a_flipped_bit_on_a_serial_line_is_no_answer() -> None:
    # CV-01, the negative case, through the line itself. The frame is the answer "SunS".
    frame = bytes.fromhex("01030453756E5396F0")
    near, far = os.openpty()
    tty.setraw(near)
    tty.setraw(far)
    hasty, patient = (
        Line(SerialLine(os.ttyname(far), 115200), timeout_s=timeout_s) for timeout_s in (0.02, 60)
    )
    bits = range(0, 8 * len(frame), 9)
    answered: queue.Queue[int] = queue.Queue()

    def answer() -> None:
        for bit in (*bits, None):
            os.read(near, 64)
            sent = bytearray(frame)
            if bit is not None:
                sent[bit // 8] ^= 1 << bit % 8
            answered.put(os.write(near, sent))

    thread = threading.Thread(target=answer)
    thread.start()
    for _ in bits:
        with pytest.raises(SilentFault):
            hasty.read(1, 3, 40000, 2)
        answered.get(timeout=60)  # on a busy machine later than the line waits for it
    hasty.close()
    assert patient.read(1, 3, 40000, 2) == (0x5375, 0x6E53)
    thread.join()
    patient.close()
    os.close(near)
    os.close(far)

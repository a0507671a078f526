"""The bridge reads, and cannot be brought to write."""

import logging
import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from pymodbus.pdu import ModbusPDU
from pymodbus.pdu.register_message import WriteSingleRegisterRequest

import joulebook_bridge
from joulebook_bridge.modbus import lines
from joulebook_bridge.modbus.lines import Line
from tests.bridge.modbus.real_lines import line_to
from tests.helpers.modbus_servers import plant_of, tcp_server, words_at

PLANT = plant_of({1: words_at(0, range(100))})


@pytest.fixture(scope="module")
def port() -> Iterator[int]:
    with tcp_server(PLANT) as (port, _):
        yield port


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

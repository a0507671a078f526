"""A line to the server that a file of tests has."""

from collections.abc import Iterator

import pytest

from joulebook_bridge.modbus.lines import Line
from tests.bridge.modbus.real_lines import line_to


@pytest.fixture
def line(port: int) -> Iterator[Line]:
    line = line_to(port)
    yield line
    line.close()

"""The studio's server, asked by pymodbus and byte by byte."""

import asyncio
import socket
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pymodbus.client import ModbusTcpClient

from joulebook_bridge.configuration import load_configuration
from joulebook_bridge.errors import AwayError
from joulebook_bridge.modbus.addresses import NetworkLine
from joulebook_bridge.modbus.faults import RefusedFault, SilentFault
from joulebook_bridge.simulate.layouts import registers_of
from joulebook_bridge.simulate.plant import Plant
from joulebook_bridge.simulate.server import PlantServer, answer
from joulebook_bridge.simulate.serving import (
    Studio,
    configuration_for,
    serve_in_background,
    write_configuration,
)
from tests.helpers.bridge_settings import bridge_environ

START_S = 1_780_056_000.0
REGISTERS = dict(enumerate(range(100))) | {107: 555, 108: 0, 109: 100}
ENVIRON = bridge_environ()


def studio() -> Studio:
    return Studio(1, 1.0, lambda: START_S)


def test_the_two_reading_functions() -> None:
    # CV-02: Modbus Application Protocol V1.1b3, §6.3, and §6.4 alike.
    asked = bytes.fromhex("03006B0003")
    assert answer(REGISTERS, asked).hex() == "0306022b00000064"
    assert answer(REGISTERS, b"\x04" + asked[1:]).hex() == "0406022b00000064"


@pytest.mark.parametrize(
    ("request_hex", "answer_hex"),
    [
        # CV-04, CV-05, CV-06, CV-06d: V1.1b3 §6.3, §6.5, §6.6, §7.
        ("0600010003", "8601"),
        ("0500acff00", "8501"),
        ("1000010001020003", "9001"),
        ("0300600005", "8302"),
        ("0300000000", "8303"),
        ("030000007e", "8303"),
        ("0300", "8303"),
        ("", "8001"),
    ],
)
def test_everything_else_is_an_exception(request_hex: str, answer_hex: str) -> None:
    assert answer(REGISTERS, bytes.fromhex(request_hex)).hex() == answer_hex


@given(st.binary(max_size=12))
@settings(derandomize=True, deadline=None)
def test_any_request_is_answered(request: bytes) -> None:
    assert len(answer(REGISTERS, request)) >= 2


def test_pymodbus_reads_the_studio_and_cannot_write_to_it() -> None:
    with serve_in_background(studio(), "127.0.0.1", 0) as address:
        client = ModbusTcpClient(address.host, port=address.port, timeout=10, retries=0)
        assert client.read_holding_registers(40000, count=2, device_id=1).registers == [
            21365,
            28243,
        ]
        assert client.write_register(40000, 7, device_id=1).exception_code == 1
        assert client.read_holding_registers(40000, count=1, device_id=2).registers == [21365]
        client.close()  # type: ignore[no-untyped-call]


def test_a_unit_that_is_not_there_stays_silent() -> None:
    with (
        serve_in_background(studio(), "127.0.0.1", 0) as address,
        socket.create_connection((address.host, address.port)) as client,
    ):
        client.sendall(bytes.fromhex("0001 0000 0006 09 03 0000 0001"))
        client.sendall(bytes.fromhex("0002 0000 0006 03 04 0000 0001"))
        # The answer to the second question is the first to come.
        assert client.recv(64).hex() == "000200000005" + "030402" + "5374"


def test_time_passes_at_its_speed() -> None:
    now_s = START_S
    fast = Studio(1, 60.0, lambda: now_s)
    now_s += 60
    fast.registers_of(1)
    slow = Plant(1, START_S)
    slow.advance(START_S + 3600)
    assert fast.plant.counted_wh == pytest.approx(slow.counted_wh)


def test_its_own_configuration_reads_all_of_it(tmp_path: Path) -> None:
    file = tmp_path / "plant.toml"
    write_configuration(studio(), NetworkLine("127.0.0.1", 5020), file)
    found = load_configuration(file, ENVIRON)
    devices = {
        entry.device for line in found.lines for unit in line.units for entry in unit.map.entries
    }
    assert devices == {"battery", "inverter", "pv", "grid", "load", "ambient"}
    # The meter's map is left as it is where somebody has changed it.
    (tmp_path / "studio-meter.toml").write_text("changed")
    write_configuration(studio(), NetworkLine("127.0.0.1", 5020), tmp_path / "again.toml")
    assert (tmp_path / "studio-meter.toml").read_text() == "changed"
    assert 'map = "studio-meter.toml"' in configuration_for(studio(), NetworkLine("h", 1))


def test_a_studio_is_read_as_a_line_would_be() -> None:
    assert list(studio().read(1, 3, 40000, 2)) == [21365, 28243]
    with pytest.raises(RefusedFault):
        studio().read(1, 3, 0, 1)
    with pytest.raises(SilentFault):
        studio().read(9, 3, 0, 1)


def test_a_battery_at_rest_says_that_it_holds() -> None:
    plant = Plant(1, START_S)
    plant.now.battery_a = 0.0
    words = registers_of(2, plant)
    assert words is not None
    assert words[40070 + 16] == 6  # ChaSt, CV-29b
    plant.now.pv_w = 0.0
    assert registers_of(1, plant) is not None


def test_a_port_that_is_taken_says_so() -> None:
    with (
        socket.create_server(("127.0.0.1", 0)) as taken,
        pytest.raises(AwayError, match="the port cannot be opened"),
        serve_in_background(studio(), "127.0.0.1", taken.getsockname()[1]),
    ):
        pass  # pragma: no cover - it does not get here


def test_a_server_that_never_began_can_be_stopped() -> None:
    asyncio.run(PlantServer(lambda _unit: None).stop())

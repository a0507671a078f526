import pytest

from joulebook_bridge.errors import WrongError
from joulebook_bridge.modbus.addresses import NetworkLine, SerialLine, parse_line


@pytest.mark.parametrize(
    ("url", "line", "shown"),
    [
        ("tcp://10.0.0.7:1502", NetworkLine("10.0.0.7", 1502), "tcp://10.0.0.7:1502"),
        # 502 is Modbus' registered port (IANA).
        ("tcp://inverter.local/", NetworkLine("inverter.local", 502), "tcp://inverter.local:502"),
        ("tcp://[fe80::1]:502", NetworkLine("fe80::1", 502), "tcp://[fe80::1]:502"),
        ("rtu+tcp://h:23", NetworkLine("h", 23, rtu=True), "rtu+tcp://h:23"),
        (
            "serial:///dev/ttyUSB0",
            SerialLine("/dev/ttyUSB0"),
            "serial:///dev/ttyUSB0?baud=9600&parity=N&stop=1",
        ),
        (
            "serial:///dev/ttyS1?baud=19200&parity=E&stop=2",
            SerialLine("/dev/ttyS1", 19200, "E", 2),
            "serial:///dev/ttyS1?baud=19200&parity=E&stop=2",
        ),
    ],
)
def test_a_line_is_named_by_its_address(
    url: str, line: NetworkLine | SerialLine, shown: str
) -> None:
    assert parse_line(url, where="here") == line
    assert str(line) == shown


@pytest.mark.parametrize(
    "url",
    [
        "10.0.0.7",
        "http://h",
        "tcp://",
        "tcp://h:70000",
        "tcp://h/path",
        "serial://",
        "serial:///dev/x?baud=fast",
        "serial:///dev/x?baud=0",
        "serial:///dev/x?parity=X",
        "serial:///dev/x?stop=3",
        "serial:///dev/x?speed=9600",
        "serial:///dev/x?baud",
    ],
)
def test_any_other_text_is_refused_with_the_forms(url: str) -> None:
    with pytest.raises(WrongError, match="is not the address of a line") as refused:
        parse_line(url, where="bridge.toml, line 3")
    assert refused.value.where == "bridge.toml, line 3"
    assert "tcp://HOST:PORT" in refused.value.expected

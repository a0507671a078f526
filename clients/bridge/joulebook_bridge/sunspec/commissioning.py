"""``scan``: a line looked at, printed, and written as a configuration."""

from collections.abc import Callable, Sequence
from pathlib import Path

from serial.tools.list_ports import comports

from joulebook_bridge.errors import AwayError, WrongError
from joulebook_bridge.modbus.addresses import LineAddress, SerialLine, parse_line
from joulebook_bridge.modbus.faults import UnreachableFault
from joulebook_bridge.modbus.lines import Line
from joulebook_bridge.sunspec.scan import Found, describe, scan
from joulebook_bridge.sunspec.written import configuration_of


def scan_line(
    url: str, units: Sequence[int], *, timeout_s: float, say: Callable[[str], None]
) -> tuple[LineAddress, list[Found]]:
    """Look at a line, say what is on it, and return that.

    Raises
    ------
    WrongError
        If the address names no line.
    AwayError
        If the line cannot be reached, or no unit answers.
    """
    address = parse_line(url, where="the LINE of 'scan'")
    line = Line(address, timeout_s=timeout_s)
    try:
        found = scan(line, units)
    except UnreachableFault as fault:
        raise AwayError(
            str(fault),
            where=str(address),
            expected="equipment, or a converter, that speaks Modbus",
            next_step=_advice(address),
        ) from fault
    finally:
        line.close()
    if not found:
        raise AwayError(
            "no unit answers",
            where=f"{address}, units {', '.join(map(str, units))}",
            expected="an answer to a reading request",
            next_step="check the unit's number in the equipment's menu and give it with --units; "
            "on a serial line check baud and parity as well",
        )
    for text in describe(found):
        say(text)
    return address, found


def write_found(address: LineAddress, found: Sequence[Found], path: Path) -> None:
    """Write a configuration; a file that is there already is left alone.

    Raises
    ------
    WrongError
        If it is there, or cannot be written.
    """
    write_new(path, configuration_of(address, found))


def write_new(path: Path, text: str) -> None:
    """Write a file that is not there yet."""
    try:
        with path.open("x", encoding="utf-8") as file:
            file.write(text)
    except OSError as error:
        raise WrongError(
            f"the file cannot be written: {error.strerror}",
            where=str(path),
            expected="a name that is not taken, in a folder that can be written to",
            next_step="give another name to --write",
        ) from error


def _advice(address: LineAddress) -> str:
    if isinstance(address, SerialLine):
        ports = ", ".join(port.device for port in comports()) or "none"
        return f"check the port's name and your rights; this machine has: {ports}"
    return "check host and port, and that Modbus is switched on in the equipment"

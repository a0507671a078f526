"""Where a line is: ``tcp://HOST:PORT``, ``rtu+tcp://HOST:PORT`` or ``serial:///dev/ttyUSB0?baud=9600``."""

from dataclasses import dataclass
from urllib.parse import parse_qsl, urlsplit

from joulebook_bridge.errors import WrongError

_FORMS = "tcp://HOST:PORT, rtu+tcp://HOST:PORT, or serial:///dev/ttyUSB0?baud=9600&parity=N&stop=1"
_PORT = 502  # the one registered for Modbus
_PARITIES = ("N", "E", "O")


@dataclass(frozen=True, slots=True)
class NetworkLine:
    """Modbus over the network; ``rtu`` where a plain converter carries serial frames."""

    host: str
    port: int
    rtu: bool = False

    def __str__(self) -> str:
        host = f"[{self.host}]" if ":" in self.host else self.host
        return f"{'rtu+' if self.rtu else ''}tcp://{host}:{self.port}"


@dataclass(frozen=True, slots=True)
class SerialLine:
    """A serial port of this machine, with RTU frames of 8 data bits."""

    port: str
    baud: int = 9600
    parity: str = "N"
    stop: int = 1

    def __str__(self) -> str:
        return f"serial://{self.port}?baud={self.baud}&parity={self.parity}&stop={self.stop}"


LineAddress = NetworkLine | SerialLine


def parse_line(url: str, *, where: str) -> LineAddress:
    """Return the line that an address names.

    Raises
    ------
    WrongError
        If it names none; ``where`` says where it was written.
    """
    try:
        parts = urlsplit(url)
        if parts.scheme in ("tcp", "rtu+tcp") and parts.hostname and not parts.path.strip("/"):
            return NetworkLine(parts.hostname, parts.port or _PORT, parts.scheme == "rtu+tcp")
        if parts.scheme == "serial" and not parts.netloc and parts.path not in ("", "/"):
            said = parse_qsl(parts.query, strict_parsing=bool(parts.query))
            return _serial(parts.path, dict(said))
    except ValueError:
        pass
    raise WrongError(
        f"{url!r} is not the address of a line",
        where=where,
        expected=_FORMS,
        next_step="write it so",
    )


def _serial(port: str, said: dict[str, str]) -> SerialLine:
    line = SerialLine(
        port, int(said.pop("baud", 9600)), said.pop("parity", "N"), int(said.pop("stop", 1))
    )
    if said or line.baud <= 0 or line.parity not in _PARITIES or line.stop not in (1, 2):
        raise ValueError(said)
    return line

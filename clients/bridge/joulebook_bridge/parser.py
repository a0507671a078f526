"""The words of the ``joulebook-bridge`` command."""

import argparse

from joulebook_bridge.settings import PREFIX, SETTINGS

_MOST_UNIT = 247


def make_parser() -> argparse.ArgumentParser:
    """Return the parser; ``command`` is the word that was given."""
    parser = argparse.ArgumentParser(
        prog="joulebook-bridge",
        description="Read a home battery and inverter, keep every reading on disk, and deliver it "
        "to joulebook. It only reports: it never writes to equipment.",
    )
    commands = parser.add_subparsers(required=True, metavar="COMMAND", dest="command")
    _add_scan(commands)
    for word, meaning in (
        ("check", "look at every link, from the equipment to the service, and say what is missing"),
        ("run", "read and deliver until stopped"),
    ):
        added = commands.add_parser(word, help=meaning, description=meaning.capitalize() + ".")
        added.add_argument("file", metavar="FILE", help="the configuration, as bridge.toml")
    _add_simulate(commands)
    _add_send(commands)
    return parser


def _add_scan(commands: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    scan = commands.add_parser(
        "scan",
        help="find out what is on a line, and write a configuration for it",
        description="Ask the units of a line what they are (SunSpec), and print it. Only reads.",
        epilog="example: joulebook-bridge scan tcp://192.168.1.20:502 --write bridge.toml",
    )
    scan.add_argument("line", metavar="LINE", help="as tcp://HOST:PORT or serial:///dev/ttyUSB0")
    scan.add_argument(
        "--units",
        type=units,
        default=units("1-5,126"),
        metavar="NUMBERS",
        help="which units to ask, as 1-5,126 [1-5,126]",
    )
    scan.add_argument(
        "--write", metavar="FILE", help="write a commented configuration; never over another file"
    )
    _add_timeout(scan, 1.0, "a unit")


def _add_simulate(commands: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    simulate = commands.add_parser(
        "simulate",
        help="serve an invented plant over Modbus TCP",
        description="Serve an invented inverter, battery and meter over Modbus TCP.",
    )
    simulate.add_argument("--host", default="127.0.0.1", help="where to listen [127.0.0.1]")
    simulate.add_argument(
        "--port", type=int, default=5020, metavar="N", help="0 takes a free one [5020]"
    )
    simulate.add_argument(
        "--seed", type=int, default=1, metavar="N", help="another seed, other clouds [1]"
    )
    simulate.add_argument(
        "--speed", type=float, default=1.0, metavar="X", help="seconds of the plant in one of ours"
    )
    simulate.add_argument(
        "--write", metavar="FILE", help="write a configuration that reads all of the plant"
    )


def _add_send(commands: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    send = commands.add_parser(
        "send",
        help="send readings given by hand",
        description="Send readings of one device, taken now, and wait until the service has them.",
        epilog="example: joulebook-bridge send battery voltage=53.1V current=-12.4A soc=61%%",
    )
    send.add_argument("device", metavar="DEVICE", help="the device they are of, as battery")
    send.add_argument(
        "readings",
        metavar="QUANTITY=VALUE",
        nargs="+",
        help="value with its unit, as current=-12.4A",
    )
    for setting, meaning in SETTINGS.items():
        send.add_argument(
            f"--{setting}",
            metavar=setting.upper(),
            help=f"{meaning} [environment: {PREFIX}{setting.upper()}]",
        )
    _add_timeout(send, 10.0, "the service")


def _add_timeout(command: argparse.ArgumentParser, default: float, whom: str) -> None:
    command.add_argument(
        "--timeout",
        type=seconds,
        default=default,
        metavar="SECONDS",
        help=f"how long to wait for {whom} [{default:g}]",
    )


def seconds(text: str) -> float:
    """Return the length of time that a text means. [s]"""
    length_s = float(text)
    if not 0 < length_s <= 3600:
        raise argparse.ArgumentTypeError("expected more than 0 and at most 3600 seconds")
    return length_s


def units(text: str) -> tuple[int, ...]:
    """Return the units that a text such as ``1-5,126`` means."""
    found: list[int] = []
    for part in text.split(","):
        first, _, last = part.partition("-")
        try:
            low, high = int(first), int(last or first)
        except ValueError:
            low, high = 0, -1
        if not 0 <= low <= high <= _MOST_UNIT:
            raise argparse.ArgumentTypeError(f"expected units from 0 to {_MOST_UNIT}, as 1-5,126")
        found += range(low, high + 1)
    return tuple(dict.fromkeys(found))

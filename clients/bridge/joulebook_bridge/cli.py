"""The ``joulebook-bridge`` command."""

import argparse
import os
import sys
import time
from collections.abc import Callable, Mapping, Sequence

from joulebook_bridge.deliver import Credentials, deliver, parse_server
from joulebook_bridge.errors import BridgeError, WrongError
from joulebook_bridge.pack import make_pack, parse_reading

_PREFIX = "JOULEBOOK_BRIDGE_"
_SETTINGS = {
    "server": "where the service takes readings, as mqtt://127.0.0.1:1883",
    "site": "the site that the readings belong to, as studio",
    "name": "the name that the token was made for, as shed",
    "token": "the token; rather in the environment, where the list of processes does not show it",
}


def run() -> None:
    """Run the command with this process's arguments, environment and clock."""
    sys.exit(main(sys.argv[1:], os.environ, clock_ms=lambda: time.time_ns() // 1_000_000))


def main(
    arguments: Sequence[str], environ: Mapping[str, str], *, clock_ms: Callable[[], int]
) -> int:
    """Run the command and return its exit status: 0 done, 2 wrong, 3 the service is away."""
    options = _parser().parse_args(arguments)
    try:
        print(_send(options, environ, clock_ms))
    except BridgeError as error:
        print(f"joulebook-bridge: {error}", file=sys.stderr)
        return error.exit_status
    return 0


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="joulebook-bridge",
        description="Send readings of a home battery and inverter to joulebook. "
        "It only reports: it never writes to equipment.",
    )
    commands = parser.add_subparsers(required=True, metavar="COMMAND")
    send = commands.add_parser(
        "send",
        help="send readings given by hand",
        description="Send readings of one device, taken now, and wait until the service has them.",
        epilog="example: joulebook-bridge send battery voltage=53.1V current=-12.4A soc=61%",
    )
    send.add_argument("device", metavar="DEVICE", help="the device they are of, as battery")
    send.add_argument(
        "readings",
        metavar="QUANTITY=VALUE",
        nargs="+",
        help="value with its unit, as current=-12.4A",
    )
    for setting, meaning in _SETTINGS.items():
        send.add_argument(
            f"--{setting}",
            metavar=setting.upper(),
            help=f"{meaning} [environment: {_PREFIX}{setting.upper()}]",
        )
    send.add_argument(
        "--timeout",
        type=seconds,
        default=10.0,
        metavar="SECONDS",
        help="how long to wait for the service [10]",
    )
    return parser


def seconds(text: str) -> float:
    """Return the length of time that a text means. [s]"""
    length_s = float(text)
    if not 0 < length_s <= 3600:
        raise argparse.ArgumentTypeError("expected more than 0 and at most 3600 seconds")
    return length_s


def _send(
    options: argparse.Namespace, environ: Mapping[str, str], clock_ms: Callable[[], int]
) -> str:
    readings = [parse_reading(text) for text in options.readings]
    server = parse_server(_setting(options, environ, "server"))
    site = _setting(options, environ, "site")
    credentials = Credentials(
        _setting(options, environ, "name"), _setting(options, environ, "token")
    )
    took_s = deliver(
        server,
        credentials,
        _topic(site, options.device),
        make_pack(readings, clock_ms()),
        timeout_s=options.timeout,
    )
    count = f"{len(readings)} reading{'s' if len(readings) > 1 else ''}"
    return f"delivered {count} to {site}/{options.device} in {took_s * 1000:.0f} ms"


def _setting(options: argparse.Namespace, environ: Mapping[str, str], name: str) -> str:
    value: str = getattr(options, name) or environ.get(_PREFIX + name.upper(), "")
    if not value:
        raise WrongError(
            f"there is no {name}",
            where=f"--{name}, or {_PREFIX}{name.upper()}",
            expected=_SETTINGS[name].partition(";")[0],
            next_step="give it there",
        )
    return value


def _topic(site: str, device: str) -> str:
    for word, name in (("site", site), ("device", device)):
        # What would change the topic's shape never leaves; the service judges the rest.
        if not name or set(name) & set("/+#\0"):
            raise WrongError(
                f"{name!r} cannot name a {word}",
                where="the topic of the message",
                expected="lower-case letters, digits and '-', as battery-2",
                next_step=f"check the {word}",
            )
    return f"joulebook/v1/{site}/{device}"

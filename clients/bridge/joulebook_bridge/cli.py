"""The ``joulebook-bridge`` command."""

import argparse
import logging
import os
import signal
import sys
import threading
import time
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path

from joulebook_bridge.clock import Clock, system_clock
from joulebook_bridge.deliver import deliver, topic_of
from joulebook_bridge.errors import BridgeError
from joulebook_bridge.pack import make_pack, parse_reading
from joulebook_bridge.parser import make_parser
from joulebook_bridge.session import Credentials, parse_server
from joulebook_bridge.settings import own_certificate, setting


def run() -> None:
    """Run the command with this process's arguments, environment and clock."""
    stop = threading.Event()
    for number in (signal.SIGTERM, signal.SIGINT):
        signal.signal(number, lambda *_: stop.set())
    sys.exit(main(sys.argv[1:], os.environ, system_clock(), stop))


def main(
    arguments: Sequence[str], environ: Mapping[str, str], clock: Clock, stop: threading.Event
) -> int:
    """Run the command and return its exit status: 0 done, 2 wrong, 3 something is away.

    Parameters
    ----------
    stop : threading.Event
        Ends the commands that run until they are stopped.
    """
    options = make_parser().parse_args(arguments)
    commands: dict[str, Callable[[], int]] = {
        "send": lambda: _send(options, environ, clock),
        "simulate": lambda: _simulate(options, stop),
        "scan": lambda: _scan(options),
        "run": lambda: _run(options, environ, clock, stop),
        "check": lambda: _check(options, environ, clock),
    }
    try:
        return commands[options.command]()
    except BridgeError as error:
        print(f"joulebook-bridge: {error}", file=sys.stderr)
        return error.exit_status


def _send(options: argparse.Namespace, environ: Mapping[str, str], clock: Clock) -> int:
    readings = [parse_reading(text) for text in options.readings]
    said = {
        name: setting(name, getattr(options, name) or "", environ)
        for name in ("server", "site", "name", "token")
    }
    took_s = deliver(
        parse_server(said["server"]),
        Credentials(said["name"], said["token"], *own_certificate(environ)),
        topic_of(said["site"], options.device),
        make_pack(readings, clock.wall_ms()),
        timeout_s=options.timeout,
    )
    count = f"{len(readings)} reading{'s' if len(readings) > 1 else ''}"
    print(f"delivered {count} to {said['site']}/{options.device} in {took_s * 1000:.0f} ms")
    return 0


# Each command brings in what it needs by itself: what runs for years on a small box should not
# carry the studio and SunSpec's definitions along.


def _simulate(options: argparse.Namespace, stop: threading.Event) -> int:
    from joulebook_bridge.simulate.serving import Studio, serve_in_background, write_configuration

    studio = Studio(options.seed, options.speed, time.time)
    with serve_in_background(studio, options.host, options.port) as address:
        print(f"an invented inverter, battery and meter: {address}", flush=True)
        if options.write:
            write_configuration(studio, address, Path(options.write))
            print(f"wrote {options.write}", flush=True)
        stop.wait()
    return 0


def _scan(options: argparse.Namespace) -> int:
    from joulebook_bridge.sunspec.commissioning import scan_line, write_found

    address, found = scan_line(options.line, options.units, timeout_s=options.timeout, say=print)
    if options.write:
        write_found(address, found, Path(options.write))
        print(f"wrote {options.write}. Next: joulebook-bridge check {options.write}")
    return 0


def _run(
    options: argparse.Namespace, environ: Mapping[str, str], clock: Clock, stop: threading.Event
) -> int:
    from joulebook_bridge.configuration import load_configuration
    from joulebook_bridge.running import Bridge

    logging.basicConfig(
        level=logging.INFO, format="%(asctime)s %(levelname)s %(message)s", stream=sys.stderr
    )
    Bridge(load_configuration(Path(options.file), environ), clock).run(stop)
    return 0


def _check(options: argparse.Namespace, environ: Mapping[str, str], clock: Clock) -> int:
    from joulebook_bridge.checking import report
    from joulebook_bridge.configuration import load_configuration

    return report(load_configuration(Path(options.file), environ), clock, print)

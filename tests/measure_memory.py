"""Memory over a great many messages: ``python -m tests.measure_memory [--messages 1000000]``.

A bridge sends messages of 20 readings with QoS 1 to a service started as a person would, as fast
as they are acknowledged and no more than so many ahead. The instants go through one day again
and again with other values, so that rows are written over and the file does not grow for ever.
Printed: the service's memory after each tenth, and the slope over all but the first tenth, with
a 90 % interval.
"""

import argparse
import json
import socket
import sys
import tempfile
import time
from dataclasses import dataclass
from pathlib import Path

from joulebook.storage.catalogue import add_site
from joulebook.storage.database import Database
from joulebook.storage.tokens import add_token
from tests.helpers.mqtt_packets import connect, publish
from tests.helpers.seen_processes import SeenProcess, seen
from tests.helpers.service import RunningService, running_service
from tests.helpers.slopes import Slope, slope

READINGS = 20
AHEAD = 200  # messages without an acknowledgement
START_S = 1_780_000_000
DAY_S = 86_400
NAMES = [f"q{place}" for place in range(READINGS)]


@dataclass(frozen=True, slots=True)
class Measured:
    """What a run saw: memory after so many messages, and how long they took."""

    messages: list[int]
    looks: list[SeenProcess]
    took_s: float

    def per_million(self) -> Slope:
        """Return how the memory grows with each million messages. [MB]

        The first look is left out: caches fill, and the first day's rows are made.
        """
        # A slope per hour of as many seconds as messages, in thousandths.
        at = [count * 3600 / 1_000_000 for count in self.messages[1:]]
        return slope(at, [look.resident_mb for look in self.looks[1:]])


def message(number: int) -> bytes:
    """Return one of the packets: each is of another instant of a day, and values go on changing."""
    at_s = START_S + number * 10 % DAY_S
    records = [{"n": name, "u": "W", "v": number % 9973 / 8} for name in NAMES]
    pack = json.dumps([{"bt": at_s, **records[0]}, *records[1:]]).encode()
    return publish("joulebook/v1/studio/meter", pack, packet_id=number % 65_535 + 1)


def send(service: RunningService, secret: str, count: int, looks: int) -> Measured:
    """Send so many messages, and look at the service so often on the way."""
    began_s = time.monotonic()
    seen_at: list[int] = []
    memory: list[SeenProcess] = []
    acknowledged = sent = 0
    with socket.create_connection(("127.0.0.1", service.mqtt_port), 60.0) as client:
        client.sendall(connect(client_id="measure", name="measure", secret=secret))
        assert client.recv(4).hex() == "20020000"
        odd = 0  # bytes of an acknowledgement whose rest is not here yet
        while acknowledged < count:
            more = min(AHEAD - (sent - acknowledged), count - sent)
            client.sendall(b"".join(message(number) for number in range(sent, sent + more)))
            sent += more
            whole, odd = divmod(odd + len(client.recv(65536)), 4)
            acknowledged += whole
            if acknowledged >= count * (len(seen_at) + 1) // looks:
                seen_at.append(acknowledged)
                memory.append(seen(service.process.pid))
                say(f"{acknowledged:>10} messages {memory[-1].resident_mb:8.1f} MB")
    return Measured(seen_at, memory, time.monotonic() - began_s)


def measure(count: int, looks: int, folder: Path) -> Measured:
    """Send so many messages to a service of its own."""
    database = Database.open(folder)
    secret = add_token(database, add_site(database, "studio", "America/Chicago"), "measure")
    database.close()
    with running_service(folder) as service:
        return send(service, secret, count, looks)


def say(line: str) -> None:
    print(line, flush=True)  # noqa: T201


def main(arguments: list[str]) -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--messages", type=int, default=1_000_000)
    given = parser.parse_args(arguments)
    with tempfile.TemporaryDirectory() as folder:
        measured = measure(given.messages, 10, Path(folder))
    rate = given.messages / measured.took_s
    say(
        f"{given.messages} messages of {READINGS} readings in {measured.took_s:.0f} s: {rate:.0f}/s"
    )
    found = measured.per_million()
    say(
        f"memory: {found.per_hour:+.2f} MB per million messages "
        f"({found.low:+.2f} to {found.high:+.2f}); descriptors "
        f"{measured.looks[0].open_files} -> {measured.looks[-1].open_files}"
    )
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))

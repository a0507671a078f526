"""Copies of ``joulebook ingest`` on one PostgreSQL database, each a process of its own."""

import re
import urllib.request
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path

from joulebook.core.spans import Span
from joulebook.storage.catalogue import add_site
from joulebook.storage.database import Database
from joulebook.storage.reading import read_device
from joulebook.storage.tokens import add_token
from tests.helpers.balancer import Balancer
from tests.helpers.mqtt_broker import Mosquitto, running_mosquitto
from tests.helpers.mqtt_inbox import wait_until
from tests.helpers.postgres import PostgresServer
from tests.helpers.service import unused_port
from tests.helpers.told_processes import ToldProcess

ALWAYS = Span(0, 1 << 50)
#: What a broker that has copies behind it is told; see docs/operating/copies.md.
BROKER = "allow_anonymous true\nmax_queued_messages 0"
#: And one that writes down what it has now and then, as mosquitto does by itself.
FAST_BROKER = f"{BROKER}\nautosave_on_changes false\nautosave_interval 60"


class Copies:
    """A database with the site `studio` on a server, and copies that take readings in.

    Each reads its share of what the broker has, and listens behind the balancer.

    Attributes
    ----------
    running : list of ToldProcess
        A process for each copy; the one that runs, or ran last.
    doors : dict of str to int
        The ports that bridges may publish to: of the ``broker`` and of the ``balancer``.
    """

    def __init__(
        self, folder: Path, server: PostgresServer, count: int, broker: Mosquitto, part: str
    ) -> None:
        self.server = server
        self.broker = broker
        self._folder = folder
        place = server.place()
        self.database = Database.open(folder / "data", place)
        self.site = add_site(self.database, "studio", "Europe/Lisbon")
        self.secret = add_token(self.database, self.site, "shed")
        self._ports = [unused_port() for _ in range(count)]
        self._balancer = Balancer(*self._ports)
        self.doors = {"broker": broker.port, "balancer": self._balancer.port}
        self._settings = {
            "JOULEBOOK_DATABASE": place.url,
            "JOULEBOOK_BROKER": f"mqtt://127.0.0.1:{broker.port}",
            "JOULEBOOK_BROKER_SHARE": "joulebook",
        }
        self.running = [self._started(number, part) for number in range(count)]
        for number in range(count):
            self._wait_until_ready(number)

    def start(self, number: int, part: str) -> None:
        """Start a copy that has ended, telling of a part, and wait until it takes readings in."""
        self.running[number] = self._started(number, part)
        self._wait_until_ready(number)

    def _started(self, number: int, part: str) -> ToldProcess:
        doors = ("--port=0", f"--mqtt-port={self._ports[number]}")
        arguments = ("ingest", f"--data={self._folder}/copy-{number}", *doors)
        return ToldProcess(part, *arguments, environment=self._settings)

    def _wait_until_ready(self, number: int) -> None:
        self.running[number].wait_until_open()
        wait_until(lambda: self.number_of(number, "joulebook_broker_connected") == 1, 60)

    def number_of(self, copy: int, name: str) -> float:
        """Return a number of a copy's metrics."""
        address = f"http://127.0.0.1:{self.running[copy].ports['watch']}/metrics"
        with urllib.request.urlopen(address, timeout=30) as answer:
            text = answer.read().decode()
        found = re.search(rf"^{name} (\S+)$", text, re.MULTILINE)
        assert found is not None, name
        return float(found[1])

    def numbers(self, device: str) -> list[int]:
        """Return the numbers that are stored of a device's power, in the order of time."""
        with closing(self.database.connect()) as connection:
            stored = read_device(connection, self.site.id, device, ALWAYS)
        return [int(number) for number in stored.values.get("power", [])]

    def close(self) -> None:
        """Let nothing run on."""
        for process in self.running:
            process.kill()
        self._balancer.close()
        self.database.close()


@contextmanager
def fsyncing_server() -> Iterator[PostgresServer]:
    """Run a server whose commits wait for the disk, until the block ends."""
    server = PostgresServer(fsync=True)
    server.start()
    try:
        yield server
    finally:
        server.remove()


@contextmanager
def running_copies(
    folder: Path,
    server: PostgresServer,
    *,
    count: int = 2,
    told: str = BROKER,
    part: str = "none",
) -> Iterator[Copies]:
    """Run a broker and copies until the block ends.

    ``told`` are the broker's settings; each copy tells of a part of it.
    """
    (folder / "broker").mkdir(parents=True)
    with running_mosquitto(folder / "broker", extra=told) as broker:
        copies = Copies(folder, server, count, broker, part)
        try:
            yield copies
        finally:
            copies.close()

"""A house with a service and bridges that publish numbers: what most faults are done to."""

import json
import time
import urllib.request
from collections.abc import Iterator, Mapping
from contextlib import closing, contextmanager
from pathlib import Path
from urllib.error import HTTPError

from joulebook.core.spans import Span
from joulebook.storage.catalogue import add_site
from joulebook.storage.database import Database
from joulebook.storage.reading import read_device
from joulebook.storage.tokens import add_token
from tests.faults.computed import results, run
from tests.helpers.numbered_publisher import START_MS, NumberedPublisher
from tests.helpers.service import unused_port
from tests.helpers.told_processes import ToldProcess

ALWAYS = Span(0, 1 << 50)


class House:
    """A data directory with the site `studio`, and its service as a process of its own.

    Attributes
    ----------
    data : Path
        The data directory.
    service : ToldProcess
        The one that runs, or ran last.
    """

    def __init__(
        self,
        data: Path,
        *,
        environment: Mapping[str, str] | None = None,
        settings: str = "",
        timezone: str = "Europe/Lisbon",
    ) -> None:
        self.data = data
        self.database = Database.open(data)
        self.site = add_site(self.database, "studio", timezone)
        self.secret = add_token(self.database, self.site, "shed")
        self.mqtt_port = unused_port()
        self._environment = environment
        self._publishers: list[NumberedPublisher] = []
        (data / "joulebook.toml").write_text(settings)
        self.start()

    def start(self, part: str = "none") -> float:
        """Start the service and return how long it took until its doors were open. [s]"""
        door = f"--mqtt-port={self.mqtt_port}"
        arguments = ("serve", f"--data={self.data}", "--port=0", door)
        self.service = ToldProcess(part, *arguments, environment=self._environment)
        return self.service.wait_until_open()

    def publisher(
        self, *, port: int | None = None, device: str = "battery", start_ms: int = START_MS
    ) -> NumberedPublisher:
        """Return a bridge that publishes numbers; it stops with the house."""
        publisher = NumberedPublisher(
            port or self.mqtt_port, self.secret, device=device, start_ms=start_ms
        )
        self._publishers.append(publisher)
        return publisher

    def numbers(self, device: str = "battery", quantity: str = "power") -> list[int]:
        """Return the numbers that are stored of a series, in the order of time."""
        with closing(self.database.connect()) as connection:
            stored = read_device(connection, self.site.id, device, ALWAYS)
        return [int(number) for number in stored.values.get(quantity, [])]

    def set_aside(self) -> list[bytes]:
        """Return what was set aside, as it came."""
        with closing(self.database.connect()) as connection:
            rows = connection.execute("SELECT payload FROM quarantine ORDER BY id").fetchall()
        return [bytes(payload) for (payload,) in rows]

    def ready(self) -> tuple[int, str]:
        """Return the status of /readyz, and what it says is wrong."""
        address = f"http://127.0.0.1:{self.service.ports['pages']}/readyz"
        try:
            with urllib.request.urlopen(address, timeout=30) as answer:
                return answer.status, ""
        except HTTPError as error:
            with error:
                told = json.load(error)
            # Where the database cannot be read, nobody is known, and nobody told more than that.
            return error.code, "; ".join(told.get("problems", [])) or "not ready"

    def end(self) -> int:
        """End the service in good order, and return its exit status."""
        return self.service.end()

    def close(self) -> None:
        """Let nothing run on."""
        for publisher in self._publishers:
            publisher.stop()
        self.service.kill()
        self.database.close()


@contextmanager
def house_in(
    data: Path,
    *,
    environment: Mapping[str, str] | None = None,
    settings: str = "",
    timezone: str = "Europe/Lisbon",
) -> Iterator[House]:
    """Run a house until the block ends."""
    house = House(data, environment=environment, settings=settings, timezone=timezone)
    try:
        yield house
    finally:
        house.close()


def not_whole(house: House) -> str:
    """Return what differs from a clean computation and what is damaged; empty where nothing is."""
    before = results(house.database)
    assert run("recompute", "--site=studio", f"--data={house.data}") == 0
    after = results(house.database)
    unlike = sorted(str(key) for key in before if before[key] != after.get(key))
    damaged = run("verify", f"--data={house.data}")
    return (f"unlike: {unlike}; " if unlike else "") + (f"damaged: {damaged}" if damaged else "")


def now_ms() -> int:
    """Return the true time. [ms, UTC epoch]"""
    return time.time_ns() // 1_000_000

"""A service that is told to stop while bridges publish: what it acknowledged is what it stored.

A lock that somebody else holds on the database stands for a slow disk: the writer waits just so.
"""

import signal
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import httpx2
import pytest

from joulebook.core.spans import Span
from joulebook.storage.catalogue import add_site
from joulebook.storage.database import Database, transaction
from joulebook.storage.reading import read_device
from joulebook.storage.records import Site
from joulebook.storage.tokens import add_token
from tests.helpers.mqtt_inbox import WAIT_S, wait_until
from tests.helpers.numbered_publisher import START_MS, NumberedPublisher
from tests.helpers.service import RunningService, serve, unused_port

#: How many messages the load keeps open.
MOST_AHEAD = 1000


class House:
    """A data directory, a bridge that publishes into it, and what the service logged."""

    def __init__(self, folder: Path) -> None:
        self.data_dir = folder / "data"
        self.log = folder / "log"
        self.database = Database.open(self.data_dir)
        self.site: Site = add_site(self.database, "studio", "Europe/Lisbon")
        self.port = unused_port()
        secret = add_token(self.database, self.site, "shed")
        self.publisher = NumberedPublisher(self.port, secret)

    def serve(self) -> RunningService:
        return serve(self.data_dir, mqtt_port=self.port, log=self.log)

    def stored(self) -> list[float]:
        connection = self.database.connect()
        span = Span(START_MS, START_MS + self.publisher.published * 1000)
        readings = read_device(connection, self.site.id, "battery", span)
        connection.close()
        return [float(power) for power in readings.values["power"]] if readings.values else []

    @contextmanager
    def load(self) -> Iterator[None]:
        """Publish until the block ends, never a thousand ahead of what was acknowledged.

        Packet identifiers repeat after 65,535: one that is still open must not be given again.
        """
        enough = threading.Event()

        def publish() -> None:
            while not enough.is_set():
                if self.publisher.published - self.publisher.acknowledged < MOST_AHEAD:
                    self.publisher.publish(50)
                else:
                    enough.wait(0.001)

        thread = threading.Thread(target=publish)
        thread.start()
        yield
        enough.set()
        thread.join()

    @contextmanager
    def slow_disk(self) -> Iterator[None]:
        """Let no commit through until the block ends."""
        connection = self.database.connect()
        with transaction(connection):
            yield
        connection.close()


@pytest.fixture
def house(tmp_path: Path) -> Iterator[House]:
    house = House(tmp_path)
    yield house
    house.publisher.stop()
    house.database.close()


def ended(service: RunningService) -> int:
    # Not until its output ends: a process of its own that analyses a record may outlive it.
    status = service.process.wait(120)
    assert service.process.stdout is not None
    service.process.stdout.close()
    return status


def queued(service: RunningService) -> bool:
    metrics = httpx2.get(f"{service.pages}/metrics", timeout=WAIT_S).text
    return "joulebook_queued_messages 0\n" not in metrics


def test_under_load_what_it_acknowledged_is_what_it_stored(house: House) -> None:
    service = house.serve()
    with house.load():
        house.publisher.wait_for_more(500)
        service.process.send_signal(signal.SIGTERM)
        assert ended(service) == 0
    stored = house.stored()
    assert 500 <= len(stored) < house.publisher.published
    wait_until(lambda: house.publisher.acknowledged == len(stored))
    assert {float(number) for number in house.publisher.acknowledged_numbers()} == set(stored)
    said = house.log.read_text(encoding="utf-8")
    assert "stopped: every message that came in is stored and acknowledged" in said


def test_a_slow_disk_is_waited_for(house: House) -> None:
    service = house.serve()
    house.publisher.publish(100)
    house.publisher.wait_for_all()
    with house.slow_disk():
        house.publisher.publish(150)
        wait_until(lambda: queued(service))
        service.process.send_signal(signal.SIGTERM)
        wait_until(lambda: "stopping" in house.log.read_text(encoding="utf-8"))
        assert service.process.poll() is None
    assert ended(service) == 0
    stored = house.stored()
    assert len(stored) > 100
    wait_until(lambda: house.publisher.acknowledged == len(stored))


def test_a_second_signal_ends_it_at_once_and_what_it_left_comes_again(house: House) -> None:
    service = house.serve()
    with house.slow_disk():
        house.publisher.publish(150)
        wait_until(lambda: queued(service))
        service.process.send_signal(signal.SIGTERM)
        wait_until(lambda: "stopping" in house.log.read_text(encoding="utf-8"))
        service.process.send_signal(signal.SIGTERM)
        assert ended(service) == 3
    said = house.log.read_text(encoding="utf-8")
    assert "told to stop a second time, leaving at once: " in said
    assert "not stored and not acknowledged: bridges and brokers keep such messages" in said
    assert (house.stored(), house.publisher.acknowledged) == ([], 0)
    service = house.serve()
    house.publisher.wait_for_all()
    assert service.end() == 0
    assert house.stored() == [float(number) for number in range(150)]

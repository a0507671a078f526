"""Each reading is stored once, whatever breaks: a real broker, the real inbox, a database."""

import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from joulebook.ingest.inbox import Inbox
from joulebook.storage.catalogue import add_site
from joulebook.storage.database import Database
from tests.helpers.mqtt_broker import Mosquitto, connected
from tests.helpers.mqtt_inbox import wait_until
from tests.helpers.mqtt_server import NOW_MS

TOPIC = "joulebook/v1/home/battery"


def pack(n: int) -> bytes:
    return b'[{"n":"voltage","u":"V","v":%d,"t":%d}]' % (n, NOW_MS // 1000 + n - 1000)


class Store:
    """A database with the real inbox before it."""

    def __init__(self, folder: Path) -> None:
        self.database = Database.open(folder)
        add_site(self.database, "home", "Europe/Vienna")
        self.inbox = Inbox(self.database, clock_ms=lambda: NOW_MS)
        self.inbox.start()

    def values(self) -> list[float]:
        connection = self.database.connect()
        rows = connection.execute("SELECT v0 FROM readings ORDER BY at_ms").fetchall()
        connection.close()
        return [row[0] for row in rows]

    def close(self) -> None:
        self.inbox.stop()
        self.database.close()


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    store = Store(tmp_path / "store")
    yield store
    store.close()


@pytest.mark.outside
@pytest.mark.parametrize("end", [Mosquitto.stop, Mosquitto.kill])
def test_each_reading_once_although_the_broker_ends(
    broker: Mosquitto, store: Store, end: object
) -> None:
    with connected(store.inbox, broker) as client:
        for round_ in range(3):
            broker.publish(TOPIC, [pack(round_ * 100 + n) for n in range(100)])
            wait_until(lambda: len(store.values()) >= 100)
            end(broker)  # type: ignore[operator]
            wait_until(lambda: not client.connected)
            broker.start()
            wait_until(lambda: client.connected)
        wait_until(lambda: len(store.values()) == 300)
    assert store.values() == [float(n) for n in range(300)]


KILLED = """
import sys, time
from joulebook.ingest.mqtt.broker import BrokerClient

class Held:
    taken = 0
    def has_room(self): return True
    def put(self, messages, settled):
        self.taken += len(messages)
        print(self.taken, flush=True)

client = BrokerClient(Held(), url=sys.argv[1], client_id="joulebook", clock_ms=lambda: 0)
client.start()
time.sleep(60)
"""


@pytest.mark.outside
def test_each_reading_once_although_we_are_killed(broker: Mosquitto, store: Store) -> None:
    with connected(store.inbox, broker):
        pass  # the session exists
    broker.publish(TOPIC, [pack(n) for n in range(50)])
    url = f"mqtt://127.0.0.1:{broker.port}"
    with subprocess.Popen([sys.executable, "-c", KILLED, url], stdout=subprocess.PIPE) as killed:
        assert killed.stdout is not None
        while killed.stdout.readline().strip() != b"20":  # as many as mosquitto sends unanswered
            assert killed.poll() is None
        killed.kill()
    assert store.values() == []
    with connected(store.inbox, broker):
        wait_until(lambda: len(store.values()) == 50)
    assert store.values() == [float(n) for n in range(50)]
    assert store.inbox.counts().new == 50

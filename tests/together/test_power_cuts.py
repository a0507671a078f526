"""``kill -9`` of the service while a bridge publishes: nothing lost, nothing doubled.

The promise is the project's own ("acknowledged means on disk", docs/wire-format.md); the witness is
paho-mqtt, which sends again what was not acknowledged, as MQTT 3.1.1 §4.4 asks of a client.
"""

import random
import threading
from pathlib import Path

import paho.mqtt.client as mqtt
from paho.mqtt.enums import CallbackAPIVersion

from joulebook.core.spans import Span
from joulebook.storage.catalogue import add_site
from joulebook.storage.database import Database
from joulebook.storage.reading import read_device
from joulebook.storage.tokens import add_token
from tests.helpers.service import serve, unused_port

ROUNDS = 20
START_MS = 1_780_000_000_000  # 2026-05-28T20:26:40Z


class NumberedPublisher:
    """Publishes reading after reading, a second apart, with its number as the value."""

    def __init__(self, port: int, secret: str) -> None:
        self.published = 0
        self._acknowledged = 0
        self._changed = threading.Condition()
        self._client = mqtt.Client(
            CallbackAPIVersion.VERSION2, client_id="shed", clean_session=False
        )
        self._client.username_pw_set("shed", secret)
        self._client.max_inflight_messages_set(200)
        self._client.reconnect_delay_set(min_delay=1, max_delay=1)
        self._client.on_publish = self._on_publish
        self._client.connect_async("127.0.0.1", port)
        self._client.loop_start()

    def _on_publish(self, *_: object) -> None:
        with self._changed:
            self._acknowledged += 1
            self._changed.notify_all()

    def publish(self, count: int) -> None:
        for _ in range(count):
            at_s = START_MS // 1000 + self.published
            pack = f'[{{"n":"power","u":"W","v":{self.published},"t":{at_s}}}]'
            self._client.publish("joulebook/v1/studio/battery", pack, qos=1)
            self.published += 1

    def wait_for_more(self, count: int) -> None:
        with self._changed:
            goal = self._acknowledged + count
            assert self._changed.wait_for(lambda: self._acknowledged >= goal, timeout=60)

    def wait_for_all(self) -> None:
        with self._changed:
            assert self._changed.wait_for(lambda: self._acknowledged == self.published, timeout=60)

    def stop(self) -> None:
        self._client.disconnect()
        self._client.loop_stop()


def test_twenty_power_cuts_lose_and_double_nothing(tmp_path: Path) -> None:
    database = Database.open(tmp_path)
    site = add_site(database, "studio", "Europe/Lisbon")
    secret = add_token(database, site, "shed")
    port = unused_port()
    publisher = NumberedPublisher(port, secret)
    chance = random.Random(20)
    try:
        for _ in range(ROUNDS):
            service = serve(tmp_path, mqtt_port=port)
            publisher.publish(500)
            # The cut comes somewhere among the acknowledgements of this round.
            publisher.wait_for_more(chance.randrange(1, 450))
            service.kill()
        service = serve(tmp_path, mqtt_port=port)
        publisher.wait_for_all()
        assert service.end() == 0
    finally:
        publisher.stop()
    connection = database.connect()
    span = Span(START_MS, START_MS + publisher.published * 1000)
    stored = read_device(connection, site.id, "battery", span)
    connection.close()
    database.close()
    assert publisher.published == ROUNDS * 500
    assert stored.values["power"].tolist() == [float(n) for n in range(publisher.published)]

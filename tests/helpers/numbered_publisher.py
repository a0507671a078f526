"""A bridge that publishes numbers, and knows which of them were acknowledged.

The witness is paho-mqtt, which sends again what was not acknowledged, as MQTT 3.1.1 §4.4 asks of a
client.
"""

import threading

import paho.mqtt.client as mqtt
from paho.mqtt.enums import CallbackAPIVersion

START_MS = 1_780_000_000_000  # 2026-05-28T20:26:40Z


class NumberedPublisher:
    """Publishes reading after reading, some seconds apart, with its number as the value.

    Attributes
    ----------
    published : int
        Messages so far; the next one has this number.
    """

    def __init__(
        self,
        port: int,
        secret: str,
        *,
        client_id: str = "shed",
        device: str = "battery",
        step_s: int = 1,
        start_ms: int = START_MS,
    ) -> None:
        self.published = 0
        self._device = device
        self._start_s = start_ms // 1000
        self._step_s = step_s
        self._acknowledged: list[int] = []  # packet identifiers, and numbers further down
        self._number_of: dict[int, int] = {}
        self._changed = threading.Condition()
        self._client = mqtt.Client(
            CallbackAPIVersion.VERSION2, client_id=client_id, clean_session=False
        )
        self._client.username_pw_set("shed", secret)
        self._client.max_inflight_messages_set(200)
        self._client.reconnect_delay_set(min_delay=1, max_delay=1)
        self._client.on_publish = self._on_publish
        self._client.connect_async("127.0.0.1", port)
        self._client.loop_start()

    def _on_publish(self, _client: object, _data: object, packet: int, *_: object) -> None:
        with self._changed:
            self._acknowledged.append(packet)
            self._changed.notify_all()

    def publish(self, count: int) -> None:
        for _ in range(count):
            at_s = self._start_s + self.published * self._step_s
            pack = f'[{{"n":"power","u":"W","v":{self.published},"t":{at_s}}}]'
            topic = f"joulebook/v1/studio/{self._device}"
            self._number_of[self._client.publish(topic, pack, qos=1).mid] = self.published
            self.published += 1

    @property
    def acknowledged(self) -> int:
        """How many messages were acknowledged."""
        return len(self._acknowledged)

    def acknowledged_numbers(self) -> set[int]:
        """Return which numbers were acknowledged; packet identifiers repeat after 65,535."""
        return {self._number_of[packet] for packet in list(self._acknowledged)}

    def wait_for_more(self, count: int) -> None:
        with self._changed:
            goal = self.acknowledged + count
            assert self._changed.wait_for(lambda: self.acknowledged >= goal, timeout=120)

    def wait_for_all(self) -> None:
        with self._changed:
            assert self._changed.wait_for(lambda: self.acknowledged == self.published, timeout=120)

    def stop(self) -> None:
        self._client.disconnect()
        self._client.loop_stop()

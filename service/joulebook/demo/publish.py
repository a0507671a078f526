"""The studio's present: its devices' readings, published over real MQTT every few seconds."""

import json
import logging
import threading
from collections.abc import Callable
from typing import Any

from paho.mqtt.client import Client
from paho.mqtt.enums import CallbackAPIVersion, MQTTErrorCode, MQTTProtocolVersion

from joulebook.core.quantities import QUANTITIES
from joulebook.demo.history import History
from joulebook.demo.studio import SITE

_log = logging.getLogger(__name__)

#: RFC 9100: version 10 with secondary units (RFC 8798), for the counters' watt-hours.
_SENML_VERSION = 26
_MOST_WAITING = 5000  # about an hour of messages while the service is away
_LONGEST_PAUSE_S = 30


class LivePublisher:
    """Publishes the studio's readings of this moment until it is stopped.

    Uses quality of service 1: what the service has not acknowledged is sent again after a break.

    Parameters
    ----------
    token_name, secret : str
        A bridge's name and the token that lets it write to the studio.
    history : History
        Told up to about now; the publisher goes on with it in its own thread.
    clock_ms : callable
        Now. [ms, UTC epoch]
    every_s : float
        From one round of all devices to the next.
    """

    def __init__(
        self,
        host: str,
        port: int,
        token_name: str,
        secret: str,
        *,
        history: History,
        clock_ms: Callable[[], int],
        every_s: float = 5.0,
    ) -> None:
        self._history = history
        self._clock_ms = clock_ms
        self._every_s = every_s
        self._stopping = threading.Event()
        self._thread = threading.Thread(target=self._run, name="studio", daemon=True)
        self._delivered = threading.Condition()
        self._sent = 0
        self._arrived = 0
        self._client = Client(
            CallbackAPIVersion.VERSION2,
            client_id=f"{SITE}-demo",
            protocol=MQTTProtocolVersion.MQTTv5,
        )
        self._client.username_pw_set(token_name, secret)
        self._client.reconnect_delay_set(max_delay=_LONGEST_PAUSE_S)
        self._client.max_queued_messages_set(_MOST_WAITING)
        self._client.on_connect = _tell_refusal
        self._client.on_publish = self._on_publish
        self._client.connect_async(host, port)

    def start(self) -> None:
        """Begin, whether or not the service is there yet."""
        self._client.loop_start()
        self._thread.start()

    def stop(self, timeout_s: float = 5.0) -> None:
        """End once what was sent is acknowledged, or in time; at once where no service is."""
        self._stopping.set()
        self._thread.join()
        if self._client.is_connected():
            with self._delivered:
                self._delivered.wait_for(lambda: self._arrived >= self._sent, timeout_s)
        self._client.disconnect()
        self._client.loop_stop()

    def _run(self) -> None:
        while True:
            self._publish_round(self._clock_ms())
            if self._stopping.wait(self._every_s):
                return

    def _publish_round(self, at_ms: int) -> None:
        shown = self._history.at(at_ms)
        if shown is None:
            _log.warning("the clock went back; the studio waits until it has caught up")
            return
        for device, values in shown.items():
            topic = f"joulebook/v1/{SITE}/{device}"
            info = self._client.publish(topic, senml(device, values, at_ms), qos=1)
            if info.rc == MQTTErrorCode.MQTT_ERR_QUEUE_SIZE:
                _log.warning("the service is away for too long; readings of %s are lost", device)
                continue
            with self._delivered:
                self._sent += 1

    def _on_publish(self, *arguments: Any) -> None:
        _tell_refusal(*arguments)
        with self._delivered:
            self._arrived += 1
            self._delivered.notify_all()


def senml(device: str, values: dict[str, float], at_ms: int) -> bytes:
    """Return the SenML JSON pack (RFC 8428) of what a device shows at an instant."""
    known = QUANTITIES[device]
    records: list[dict[str, object]] = [
        {"n": quantity, "u": known[quantity].unit, "v": value} for quantity, value in values.items()
    ]
    records[0] = {"bver": _SENML_VERSION, "bt": at_ms / 1000, **records[0]}
    return json.dumps(records, separators=(",", ":")).encode()


def _tell_refusal(*arguments: Any) -> None:
    reason = arguments[3]  # paho hands it to both callbacks in this place
    if reason.is_failure:
        _log.warning("the service refuses the demonstration's bridge: %s", reason)

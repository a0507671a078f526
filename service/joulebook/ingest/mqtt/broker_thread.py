"""paho's client, with a thread of whose end one can know."""

import logging
import threading
from typing import Any

from paho.mqtt.client import Client
from paho.mqtt.enums import MQTTErrorCode

log = logging.getLogger(__name__)


class ThreadedClient(Client):
    """paho's client; it tells when the thread that it was given is at its end."""

    def __init__(self, *arguments: Any, **named: Any) -> None:
        super().__init__(*arguments, **named)
        self.ended = threading.Event()

    def loop_forever(
        self,
        timeout: float = 1.0,
        retry_first_connection: bool = False,  # noqa: FBT001, FBT002 -- as paho has it
    ) -> MQTTErrorCode:
        """Do what paho does, and outlive no exception in silence."""
        try:
            return super().loop_forever(timeout, retry_first_connection)
        except Exception:
            log.exception("the thread that reads the broker has died")
            return MQTTErrorCode.MQTT_ERR_UNKNOWN
        finally:
            self.ended.set()

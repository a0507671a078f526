"""A real mosquitto, with its sessions on disk, that can be stopped, killed and started again."""

import socket
import subprocess
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

from paho.mqtt.client import Client
from paho.mqtt.enums import CallbackAPIVersion

from joulebook.ingest.mqtt.broker import BrokerClient
from joulebook.ingest.mqtt.door import Inbox
from tests.helpers.mqtt_inbox import WAIT_S, wait_until
from tests.helpers.mqtt_server import NOW_MS
from tests.helpers.outside import needs_program


class Mosquitto:
    """A broker on a port of its own; ``folder`` holds its configuration and its sessions."""

    def __init__(self, folder: Path, *, extra: str = "") -> None:
        self._program = needs_program("mosquitto")
        with socket.socket() as probe:
            probe.bind(("127.0.0.1", 0))
            self.port = int(probe.getsockname()[1])
        self._configuration = folder / "mosquitto.conf"
        # Sessions are saved after every change: a killed broker then knows what it acknowledged.
        self._configuration.write_text(
            f"listener {self.port} 127.0.0.1\n"
            f"persistence true\npersistence_location {folder}/\n"
            "autosave_on_changes true\nautosave_interval 1\n"
            "user root\nlog_type none\n"
            f"{extra or 'allow_anonymous true'}\n"
        )

    def start(self) -> None:
        self._process = subprocess.Popen(
            [self._program, "-c", str(self._configuration)], stderr=subprocess.DEVNULL
        )
        wait_until(self._answers)

    @property
    def pid(self) -> int:
        """The process that it is."""
        return self._process.pid

    def stop(self) -> None:
        """End it as a shutdown does."""
        self._end(subprocess.Popen.terminate)

    def kill(self) -> None:
        """End it as a power cut does."""
        self._end(subprocess.Popen.kill)

    def publish(self, topic: str, payloads: list[bytes], *, qos: int = 1) -> None:
        """Publish and wait until the broker has all."""
        client = Client(CallbackAPIVersion.VERSION2, client_id="publisher")
        client.connect("127.0.0.1", self.port)
        client.loop_start()
        for sent in [client.publish(topic, payload, qos=qos) for payload in payloads]:
            sent.wait_for_publish(WAIT_S)
        client.disconnect()
        client.loop_stop()

    def catch_up(self) -> None:
        """Return when the broker has read what closed connections had sent.

        It reads one packet of each connection a round, and each answer here takes a round.
        """
        client = Client(CallbackAPIVersion.VERSION2, client_id="patience")
        client.connect("127.0.0.1", self.port)
        client.loop_start()
        for _ in range(20):
            client.publish("patience", b"", qos=1).wait_for_publish(WAIT_S)
        client.disconnect()
        client.loop_stop()

    def _end(self, how: Callable[["subprocess.Popen[bytes]"], None]) -> None:
        how(self._process)
        self._process.wait(WAIT_S)

    def _answers(self) -> bool:
        with socket.socket() as probe:
            return probe.connect_ex(("127.0.0.1", self.port)) == 0


@contextmanager
def running_mosquitto(folder: Path, *, extra: str = "") -> Iterator[Mosquitto]:
    """Run a broker until the block ends."""
    broker = Mosquitto(folder, extra=extra)
    broker.start()
    try:
        yield broker
    finally:
        broker.stop()


@contextmanager
def connected(inbox: Inbox, broker: Mosquitto, *, settle_s: float = 10.0) -> Iterator[BrokerClient]:
    """Read a broker until the block ends."""
    client = BrokerClient(
        inbox,
        url=f"mqtt://127.0.0.1:{broker.port}",
        client_id="joulebook",
        clock_ms=lambda: NOW_MS,
        settle_s=settle_s,
    )
    client.start()
    try:
        wait_until(lambda: client.connected)
        yield client
    finally:
        client.stop()
        broker.catch_up()

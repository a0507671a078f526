"""``kill -9`` of bridge, broker and service in turn, while an inverter is read: counts are equal.

The promise is the project's own: what was read is stored once. The witness is the plant, which
gives another number each time it is asked.
"""

import random
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest

from joulebook.core.spans import Span
from joulebook.storage.catalogue import add_site
from joulebook.storage.database import Database
from joulebook.storage.reading import read_device
from joulebook.storage.tokens import add_token
from tests.helpers.mqtt_broker import Mosquitto, running_mosquitto
from tests.helpers.mqtt_inbox import wait_until
from tests.helpers.numbered_plants import BridgeProcess, NumberedPlant, numbered_plant
from tests.helpers.service import clean_environment, unused_port

ROUNDS = 30
ALWAYS = Span(0, 1 << 50)


class Chain:
    """Everything from the plant to the database, each part in a process of its own.

    Attributes
    ----------
    in_the_air : set of int
        The numbers that the plant gave when its bridge was killed: these may be nowhere.
    """

    def __init__(self, folder: Path, plant: NumberedPlant, broker: Mosquitto | None) -> None:
        self._data = folder / "data"
        self._data.mkdir()
        self._database = Database.open(self._data)
        self._site = add_site(self._database, "studio", "Europe/Lisbon")
        secret = add_token(self._database, self._site, "shed")
        self._plant = plant
        self._broker = broker
        self._mqtt_port = unused_port()
        if broker is not None:
            url = f"mqtt://127.0.0.1:{broker.port}"
            (self._data / "joulebook.toml").write_text(f'broker = "{url}"\n')
        self._service = self._serve()
        if broker is not None:
            # A broker keeps messages for those who have subscribed once, and for nobody else.
            wait_until(lambda: self._is_read_from(broker))
        self.bridge = BridgeProcess(folder, broker.port if broker else self._mqtt_port, secret)
        self.bridge.start()
        self.in_the_air: set[int] = set()
        self.bridge_kills = 0

    def kill_bridge(self) -> None:
        before = self._plant.served
        self.bridge.kill()
        # The answer that was on its way, and the one to a question that was asked already.
        self.in_the_air |= {before, before + 1}
        self.bridge_kills += 1
        self.bridge.start()

    def kill_service(self) -> None:
        self._service.kill()
        self._service.wait(30)
        self._service = self._serve()

    def kill_broker(self) -> None:
        assert self._broker is not None
        self._broker.kill()
        self._broker.start()

    def end(self) -> list[int]:
        """End everything in good order and return the numbers that are stored."""
        assert self.bridge.end() == 0
        while self.bridge.waiting():  # it ended before the service was back
            self.bridge.start()
            self._plant.wait_for_more(10)
            assert self.bridge.end() == 0
        expected = set(range(1, self._plant.served + 1)) - self.in_the_air
        wait_until(lambda: expected <= set(self._numbers()))
        self._service.terminate()
        assert self._service.wait(30) == 0
        return self._numbers()

    def close(self) -> None:
        """Let nothing run on when a test fails."""
        self.bridge.kill()
        self._service.kill()
        self._service.wait(30)
        self._database.close()

    def _is_read_from(self, broker: Mosquitto) -> bool:
        broker.publish("joulebook/v1/studio/load", [b'[{"n":"power","u":"W","v":1}]'])
        return bool(self._stored("load", "power"))

    def _numbers(self) -> list[int]:
        return self._stored("battery", "number")

    def _stored(self, device: str, quantity: str) -> list[int]:
        connection = self._database.connect()
        stored = read_device(connection, self._site.id, device, ALWAYS)
        connection.close()
        return [int(number) for number in stored.values.get(quantity, [])]

    def _serve(self) -> "subprocess.Popen[bytes]":
        # Nobody waits until its doors are open: the next kill may come before.
        door = f"--mqtt-port={self._mqtt_port}"
        return subprocess.Popen(
            [sys.executable, "-m", "joulebook", "serve", f"--data={self._data}", "--port=0", door],
            env=clean_environment(),
            stdout=subprocess.DEVNULL,
        )


def run(folder: Path, rounds: int, broker: Mosquitto | None) -> None:
    chance = random.Random(30)
    with numbered_plant(folder) as plant:
        chain = Chain(folder, plant, broker)
        try:
            kills: list[Callable[[], None]] = [chain.kill_bridge, chain.kill_service]
            if broker is not None:
                kills.insert(1, chain.kill_broker)
            for round_ in range(rounds):
                plant.wait_for_more(chance.randrange(2, 7))
                kills[round_ % len(kills)]()
            plant.wait_for_more(3)
            stored = chain.end()
        finally:
            chain.close()
        assert len(set(stored)) == len(stored)
        missing = set(range(1, plant.served + 1)) - set(stored)
        assert missing <= chain.in_the_air
        # Of one answer on its way at each kill, and of no other.
        assert len(missing) <= chain.bridge_kills
        assert set(stored) <= set(range(1, plant.served + 1))


@pytest.mark.outside
def test_thirty_kills_of_bridge_broker_and_service_in_turn(tmp_path: Path) -> None:
    (tmp_path / "broker").mkdir()
    with running_mosquitto(tmp_path / "broker") as broker:
        run(tmp_path, ROUNDS, broker)


def test_kills_of_bridge_and_service_without_a_broker(tmp_path: Path) -> None:
    run(tmp_path, 6, None)

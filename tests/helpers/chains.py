"""Everything from the plant to the database, each part a process that can be killed."""

from pathlib import Path

from joulebook.core.spans import Span
from joulebook.storage.catalogue import add_site
from joulebook.storage.database import Database
from joulebook.storage.reading import read_device
from joulebook.storage.tokens import add_token
from tests.helpers.mqtt_broker import Mosquitto
from tests.helpers.mqtt_inbox import wait_until
from tests.helpers.numbered_plants import BridgeProcess, NumberedPlant
from tests.helpers.service import unused_port
from tests.helpers.told_processes import ToldProcess

ALWAYS = Span(0, 1 << 50)


class Chain:
    """A numbered plant, its bridge, a broker where there is one, and the service.

    Attributes
    ----------
    data, database, site, secret, mqtt_port
        Of the service.
    service : ToldProcess
        The one that runs, or ran last.
    in_the_air : set of int
        The numbers that the plant gave when its bridge was killed: these may be nowhere.
    bridge_kills : int
        How often it was.
    """

    def __init__(self, folder: Path, plant: NumberedPlant, broker: Mosquitto | None) -> None:
        self.data = folder / "data"
        self.data.mkdir()
        self.database = Database.open(self.data)
        self.site = add_site(self.database, "studio", "Europe/Lisbon")
        self.secret = add_token(self.database, self.site, "shed")
        self._plant = plant
        self._broker = broker
        self.mqtt_port = unused_port()
        if broker is not None:
            url = f"mqtt://127.0.0.1:{broker.port}"
            (self.data / "joulebook.toml").write_text(f'broker = "{url}"\n')
        self.start_service()
        if broker is not None:
            # A broker keeps messages for those who have subscribed once, and for nobody else.
            wait_until(lambda: self._is_read_from(broker), 60)
        port = broker.port if broker else self.mqtt_port
        self.bridge = BridgeProcess(folder, port, self.secret)
        self.bridge.start()
        self.in_the_air: set[int] = set()
        self.bridge_kills = 0

    def start_service(self, part: str = "none") -> None:
        """Start it, telling of a part. Nobody waits until its doors are open."""
        door = f"--mqtt-port={self.mqtt_port}"
        self.service = ToldProcess(part, "serve", f"--data={self.data}", "--port=0", door)

    def kill_bridge(self) -> None:
        before = self._plant.served
        self.bridge.kill()
        # The answer that was on its way, and the one to a question that was asked already.
        self.in_the_air |= {before, before + 1}
        self.bridge_kills += 1
        self.bridge.start()

    def kill_service(self) -> None:
        self.service.kill()
        self.start_service()

    def kill_broker(self) -> None:
        assert self._broker is not None
        self._broker.kill()
        self._broker.start()

    def end(self) -> list[int]:
        """End everything in good order and return the numbers that are stored."""
        assert self.bridge.end() == 0
        for _ in range(10):
            if not self.bridge.waiting():
                break
            self.bridge.start()  # it ended before the service was back
            self._plant.wait_for_more(10)
            assert self.bridge.end() == 0
        expected = set(range(1, self._plant.served + 1)) - self.in_the_air
        wait_until(lambda: expected <= set(self.numbers("battery", "number")), 60)
        assert self.service.end() == 0
        return self.numbers("battery", "number")

    def close(self) -> None:
        """Let nothing run on when a test fails."""
        self.bridge.kill()
        self.service.kill()
        self.database.close()

    def numbers(self, device: str, quantity: str, database: Database | None = None) -> list[int]:
        """Return what is stored of a series, in the order of time."""
        connection = (database or self.database).connect()
        stored = read_device(connection, self.site.id, device, ALWAYS)
        connection.close()
        return [int(number) for number in stored.values.get(quantity, [])]

    def _is_read_from(self, broker: Mosquitto) -> bool:
        broker.publish("joulebook/v1/studio/load", [b'[{"n":"power","u":"W","v":1}]'])
        return bool(self.numbers("load", "power"))

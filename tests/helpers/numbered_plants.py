"""A plant that gives another number each time it is asked, and a bridge process that reads it."""

import asyncio
import subprocess
import sys
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from joulebook_bridge.simulate.server import PlantServer
from tests.helpers.bridge_settings import bridge_environ
from tests.helpers.mqtt_inbox import wait_until
from tests.helpers.service import clean_environment

CONFIGURATION = """
heartbeat_s = 1
[spool]
clock_wait_s = 0
keep_free_mb = 0
[[line]]
url = "tcp://127.0.0.1:{port}"
  [[line.unit]]
  number = 1
  map = "numbers"
[map.numbers]
format = 1
name = "numbers"
[map.numbers.groups]
quick.every_s = 0.1
[[map.numbers.reading]]
device = "battery"
quantity = "number"
unit = "count"
address = 0
type = "u32"
group = "quick"
"""


class NumberedPlant:
    """Counts how often it is asked, and answers with that number."""

    def __init__(self) -> None:
        self.served = 0
        self._server = PlantServer(self._registers_of)

    def _registers_of(self, unit: int) -> dict[int, int]:
        assert unit == 1
        self.served += 1
        return {0: self.served >> 16, 1: self.served & 0xFFFF}

    def wait_for_more(self, count: int) -> None:
        """Wait until it has been asked so many times more."""
        goal = self.served + count
        wait_until(lambda: self.served >= goal)


@contextmanager
def numbered_plant(folder: Path) -> Iterator[NumberedPlant]:
    """Serve such a plant until the block ends, and write the configuration that reads it."""
    plant = NumberedPlant()
    loop = asyncio.new_event_loop()
    port = loop.run_until_complete(plant._server.start("127.0.0.1", 0))
    (folder / "bridge.toml").write_text(CONFIGURATION.format(port=port))
    thread = threading.Thread(target=loop.run_forever)
    thread.start()
    try:
        yield plant
    finally:
        asyncio.run_coroutine_threadsafe(plant._server.stop(), loop).result(60)
        loop.call_soon_threadsafe(loop.stop)
        thread.join()
        loop.close()


class BridgeProcess:
    """``joulebook-bridge run`` as a person would start it."""

    def __init__(self, folder: Path, mqtt_port: int, secret: str) -> None:
        self._folder = folder
        self._environment = {
            **clean_environment(measured=False),
            **bridge_environ(mqtt_port, secret),
        }

    def start(self) -> None:
        self.process = subprocess.Popen(
            [sys.executable, "-m", "joulebook_bridge", "run", str(self._folder / "bridge.toml")],
            env=self._environment,
            stderr=subprocess.DEVNULL,
        )

    def kill(self) -> None:
        """End it as a power cut would."""
        self.process.kill()
        self.process.wait(60)

    def end(self) -> int:
        """End it as a shutdown does, and return its exit status."""
        self.process.terminate()
        return self.process.wait(60)

    def waiting(self) -> list[str]:
        """Return the names of the files that are still to be delivered."""
        return [path.name for path in (self._folder / "spool").iterdir() if path.name[0].isdigit()]

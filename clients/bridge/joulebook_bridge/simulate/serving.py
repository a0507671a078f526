"""The studio in this process, and the configuration that reads it."""

import asyncio
import threading
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from importlib.resources import files
from pathlib import Path

from joulebook_bridge.errors import AwayError
from joulebook_bridge.modbus.addresses import NetworkLine
from joulebook_bridge.modbus.faults import RefusedFault, SilentFault
from joulebook_bridge.simulate.layouts import BATTERY, INVERTER, METER, registers_of
from joulebook_bridge.simulate.plant import Plant
from joulebook_bridge.simulate.server import PlantServer
from joulebook_bridge.sunspec.commissioning import write_new
from joulebook_bridge.sunspec.scan import scan
from joulebook_bridge.sunspec.written import configuration_of

#: The example of docs/register-maps.md, carried along so that the studio's meter can be read.
METER_MAP = files("joulebook_bridge.simulate") / "studio-meter.toml"
_METER_UNIT = f"""
  [[line.unit]]
  number = {METER}
  map = "studio-meter.toml"
"""


class Studio:
    """The plant, its clock and its registers.

    Parameters
    ----------
    seed : int
        The same seed gives the same studio.
    speed : float
        How many of its seconds pass in one of ours.
    clock_s : callable
        Unix time. [s]
    """

    def __init__(self, seed: int, speed: float, clock_s: Callable[[], float]) -> None:
        self._clock_s = clock_s
        self._began_s = clock_s()
        self._speed = speed
        self.plant = Plant(seed, self._began_s)

    def registers_of(self, unit: int) -> dict[int, int] | None:
        """Return what a unit's registers hold now."""
        self.plant.advance(self._began_s + (self._clock_s() - self._began_s) * self._speed)
        return registers_of(unit, self.plant)

    def read(self, unit: int, function: int, address: int, count: int) -> Sequence[int]:
        """Return registers as a line would."""
        del function  # holding and input registers are the same here
        registers = self.registers_of(unit)
        if registers is None:
            raise SilentFault(f"there is no unit {unit}")
        try:
            return [registers[place] for place in range(address, address + count)]
        except KeyError as fault:
            raise RefusedFault(2) from fault


def configuration_for(studio: Studio, address: NetworkLine) -> str:
    """Return a configuration that reads the whole studio, the meter's map beside it."""
    text = configuration_of(address, scan(studio, (INVERTER, BATTERY)))
    head, mark, maps = text.partition("\n# ---- unit")
    return head.rstrip("\n") + "\n" + _METER_UNIT + mark + maps


def write_configuration(studio: Studio, address: NetworkLine, path: Path) -> None:
    """Write that configuration, and the meter's map beside it where there is none."""
    write_new(path, configuration_for(studio, address))
    meter = path.with_name(METER_MAP.name)
    if not meter.exists():
        write_new(meter, METER_MAP.read_text(encoding="utf-8"))


@contextmanager
def serve_in_background(studio: Studio, host: str, port: int) -> Iterator[NetworkLine]:
    """Serve the studio from a thread of its own until the block ends; gives where."""
    loop = asyncio.new_event_loop()
    server = PlantServer(studio.registers_of)
    try:
        listening = loop.run_until_complete(server.start(host, port))
    except OSError as error:
        loop.close()
        raise AwayError(
            f"the port cannot be opened: {error.strerror}",
            where=f"{host}:{port}",
            expected="a free port of this machine",
            next_step="give another --port, or 0 for any",
        ) from error
    thread = threading.Thread(target=loop.run_forever, name="plant", daemon=True)
    thread.start()
    try:
        yield NetworkLine(host, listening)
    finally:
        asyncio.run_coroutine_threadsafe(server.stop(), loop).result()
        loop.call_soon_threadsafe(loop.stop)
        thread.join()
        loop.close()

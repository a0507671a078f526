"""Small register maps and configurations for tests of the bridge."""

from collections.abc import Callable, Mapping, Sequence

from joulebook_bridge.configuration import LinePlan, Unit
from joulebook_bridge.modbus.addresses import NetworkLine
from joulebook_bridge.modbus.faults import LineFault, RefusedFault
from joulebook_bridge.register_map import RegisterMap, parse_map
from joulebook_bridge.toml_tables import parse_toml

VOLTAGE = """
[[reading]]
device = "battery"
quantity = "voltage"
address = 10
type = "u16"
divide_by = 10
"""
CURRENT = """
[[reading]]
device = "battery"
quantity = "current"
address = 11
type = "s16"
divide_by = 10
positive_means = "discharging"
"""
PANELS = """
[[reading]]
device = "pv"
quantity = "power"
address = 20
type = "u16"
group = "slow"
"""
HEAD = 'format = 1\nname = "a battery"\n'
SLOW = "[groups]\nslow.every_s = 10\n"


def map_of(*parts: str, head: str = HEAD) -> RegisterMap:
    """Return the map that a text means."""
    return parse_map(parse_toml(head + "".join(parts), "map.toml"))


def line_plan(maps: Mapping[int, RegisterMap], *, timeout_s: float = 0.5) -> LinePlan:
    units = tuple(Unit(number, map) for number, map in maps.items())
    return LinePlan(NetworkLine("127.0.0.1", 502), timeout_s, units)


class ScriptedLine:
    """A line whose registers are a table, and whose faults are told beforehand.

    Attributes
    ----------
    faults : dict
        For a unit the fault that it answers with.
    takes_ms : dict
        For a unit how long it takes; ``wait`` is told each time.
    asked : list
        Every request: unit, function, address, count.
    """

    def __init__(
        self,
        registers: Mapping[int, Mapping[int, int]],
        wait: Callable[[int], object] = lambda _time_ms: None,
    ) -> None:
        self.registers = {unit: dict(words) for unit, words in registers.items()}
        self.faults: dict[int, LineFault] = {}
        self.takes_ms: dict[int, int] = {}
        self.asked: list[tuple[int, int, int, int]] = []
        self._wait = wait
        self.is_closed = False

    def read(self, unit: int, function: int, address: int, count: int) -> Sequence[int]:
        self.asked.append((unit, function, address, count))
        self._wait(self.takes_ms.get(unit, 0))
        if unit in self.faults:
            raise self.faults[unit]
        words = self.registers[unit]
        if any(place not in words for place in range(address, address + count)):
            raise RefusedFault(2)
        return [words[place] for place in range(address, address + count)]

    def close(self) -> None:
        self.is_closed = True

"""The studio's physics, as simple as they may be for its numbers to hold together.

Everything here is invented: a battery of 16 cells, an inverter, panels on the roof, and a kiln
that is fired twice a week. Energy is conserved, the battery's voltage follows its charge and its
current, and the same seed gives the same day again.
"""

import math
from dataclasses import dataclass
from itertools import pairwise

CELLS = 16
CAPACITY_AH = 314.0
RATED_WH = 16_080.0
_RESISTANCE_OHM = 0.009
_CHARGE_LIMIT_W = 5_000.0
_DISCHARGE_LIMIT_W = 6_000.0
_FULL, _FLOOR = 0.995, 0.12
_CONVERSION = 0.955  # from direct to alternating current and back
_IDLE_W = 38.0  # what the inverter takes for itself
_PEAK_W = 4_200.0
_LONGEST_STEP_S = 10.0
_DAY_S = 86_400
#: Open-circuit voltage of a cell by its charge: round numbers of our own, flat in the middle.
_REST_V = ((0.0, 2.90), (0.1, 3.20), (0.3, 3.29), (0.6, 3.31), (0.9, 3.34), (1.0, 3.43))


@dataclass(slots=True)
class Flows:
    """What runs at one moment. Signs are the vocabulary's: in, and from outside, is positive."""

    pv_w: float = 0.0
    load_w: float = 0.0
    load_l1_w: float = 0.0
    grid_w: float = 0.0
    battery_w: float = 0.0
    battery_a: float = 0.0
    battery_v: float = 0.0
    inverter_w: float = 0.0  # alternating, positive towards the house


class Plant:
    """The studio from one moment to the next.

    Parameters
    ----------
    seed : int
        Clouds, and how the load flickers.
    start_s : float
        Unix time at which it begins, with its battery at 61 %.
    """

    def __init__(self, seed: int, start_s: float) -> None:
        self._seed = seed
        self._now_s = start_s
        self.soc = 0.61
        self.throughput_ah = 0.0
        self.battery_c = 21.0
        self.now = Flows()
        self.counted_wh = dict.fromkeys(
            ("charge", "discharge", "pv", "load", "import", "export", "out", "in"), 0.0
        )
        self._settle(start_s)

    def advance(self, to_s: float) -> None:
        """Let time pass until a moment; nothing happens where it has passed already."""
        while self._now_s < to_s:
            step_s = min(_LONGEST_STEP_S, to_s - self._now_s)
            self._count(step_s)
            self._now_s += step_s
            self._settle(self._now_s)

    def _count(self, step_s: float) -> None:
        flows, hours = self.now, step_s / 3600
        for name, power_w in (
            ("charge", flows.battery_w),
            ("discharge", -flows.battery_w),
            ("pv", flows.pv_w),
            ("load", flows.load_w),
            ("import", flows.grid_w),
            ("export", -flows.grid_w),
            ("out", flows.inverter_w),
            ("in", -flows.inverter_w),
        ):
            self.counted_wh[name] += max(power_w, 0.0) * hours
        self.soc = min(1.0, max(0.0, self.soc + flows.battery_a * hours / CAPACITY_AH))
        self.throughput_ah += abs(flows.battery_a) * hours / 2
        heat_w = flows.battery_a**2 * _RESISTANCE_OHM
        ambient_c = 20.0 + 4.0 * math.sin(2 * math.pi * (self._now_s % _DAY_S / _DAY_S - 0.4))
        self.battery_c += (heat_w / 40.0 - (self.battery_c - ambient_c) / 3.0) * hours

    def _settle(self, at_s: float) -> None:
        """Find the flows of a moment: the battery covers what it can, the grid the rest."""
        pv_w = self._panels_w(at_s)
        load_w, load_l1_w = self._load_w(at_s)
        # What the panels give on the direct side beyond what the house asks of the inverter.
        surplus_w = pv_w - load_w / _CONVERSION - _IDLE_W
        battery_w = max(-_DISCHARGE_LIMIT_W, min(_CHARGE_LIMIT_W, surplus_w))
        if self.soc >= _FULL:
            battery_w = min(battery_w, 0.0)
        if self.soc <= _FLOOR:
            battery_w = max(battery_w, 0.0)
        direct_w = pv_w - battery_w - _IDLE_W
        inverter_w = direct_w * _CONVERSION if direct_w >= 0 else direct_w / _CONVERSION
        rest_v = CELLS * _between(_REST_V, self.soc)
        battery_a = _current(rest_v, battery_w)
        self.now = Flows(
            pv_w=pv_w,
            load_w=load_w,
            load_l1_w=load_l1_w,
            grid_w=load_w - inverter_w,
            battery_w=battery_w,
            battery_a=battery_a,
            battery_v=rest_v + battery_a * _RESISTANCE_OHM,
            inverter_w=inverter_w,
        )

    def _panels_w(self, at_s: float) -> float:
        hour = at_s % _DAY_S / 3600
        height = math.sin(math.pi * (hour - 6) / 14) if 6 < hour < 20 else 0.0
        return _PEAK_W * math.pow(height, 1.3) * (1 - 0.7 * self._noise(at_s, 900, 1) ** 3)

    def _load_w(self, at_s: float) -> tuple[float, float]:
        day, hour = int(at_s // _DAY_S), at_s % _DAY_S / 3600
        base_w = 140 + 80 * self._noise(at_s, 600, 2)
        wheel_w = 350 * self._noise(at_s, 120, 3) if 9 <= hour < 12 or 14 <= hour < 17 else 0.0
        # The kiln heats both legs evenly, on and off as its controller sees fit.
        fired = day % 7 in (1, 4) and 17 <= hour < 22
        kiln_w = 4_800.0 if fired and self._noise(at_s, 60, 4) < 0.75 else 0.0
        return base_w + wheel_w + kiln_w, 0.6 * base_w + wheel_w + kiln_w / 2

    def _noise(self, at_s: float, over_s: float, kind: int) -> float:
        """Return a number from 0 to 1 that changes smoothly, and is the same each time."""
        place, part = divmod(at_s / over_s, 1)
        before, after = self._dice(int(place), kind), self._dice(int(place) + 1, kind)
        smooth: float = part * part * (3 - 2 * part)
        return before + (after - before) * smooth

    def _dice(self, place: int, kind: int) -> float:
        # A small integer hash (our own constants, odd and large), for it needs no state.
        mixed = (place * 0x9E3779B1 + kind * 0x85EBCA77 + self._seed * 0xC2B2AE3D) & 0xFFFFFFFF
        for shift in (15, 13, 16):
            mixed = ((mixed ^ (mixed >> shift)) * 0x2C1B3C6D) & 0xFFFFFFFF
        return mixed / 0xFFFFFFFF


def _between(table: tuple[tuple[float, float], ...], place: float) -> float:
    """Return the value at a place by straight lines between those of a table."""
    (left, low), (right, high) = next(pair for pair in pairwise(table) if place <= pair[1][0])
    return low + (high - low) * (place - left) / (right - left)


def _current(rest_v: float, power_w: float) -> float:
    """Return the current at which a source with a resistance takes a power. [A]

    From P = I (U + I R), the solution with the smaller current.
    """
    root = rest_v**2 + 4 * _RESISTANCE_OHM * power_w
    return (math.sqrt(max(root, 0.0)) - rest_v) / (2 * _RESISTANCE_OHM)

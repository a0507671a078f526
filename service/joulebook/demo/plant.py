"""The studio's plant: panels, hybrid inverter, battery and shed, step by step.

Each step holds its powers for :data:`STEP_S`. The books of power balance in every one:
``pv + grid = load + battery + loss``, the loss being summed from its own parts.
"""

from array import array
from dataclasses import dataclass
from math import sqrt

import numpy as np
from numpy.typing import NDArray

from joulebook.demo.battery import Battery
from joulebook.demo.loads import load_legs_w
from joulebook.demo.studio import BATTERY_CELLS, PANELS_W, STEP_S, STEPS_A_DAY
from joulebook.demo.sun import Floats
from joulebook.demo.weather import Weather

# Common practice, no source: a hybrid inverter of 5 kW loses 7 to 10 % on a house's usual load.
IDLE_W = 48.0
_TRACKER_KEEPS = 0.977
_LOSS_PER_W = 0.018
_LOSS_PER_W2 = 6e-6

# Below the first claimed state of charge the load moves to the grid, above the second one back.
RESERVE_RATIO = 0.12
_BACK_RATIO = 0.20
#: So it does when the battery's own count is wrong and its voltage says empty: 3.05 V a cell.
_EMPTY_V = 3.05 * BATTERY_CELLS

_PANEL_PER_DEGREE = -0.0035
_PANEL_WARMS_C = 25 / 800  # per W/m²: 45 °C at 800 W/m² in air of 20 °C
_PANEL_CLEAN_RATIO = 0.95
_WAKES_W = 15.0  # below it the tracker does not start
_SHED_H = 4.0
_SHED_SUN_C = 5.0  # at 1000 W/m²
_SHED_LOSS_C_PER_W = 0.02
_STEP_H = STEP_S / 3600


@dataclass(frozen=True, slots=True, kw_only=True)
class Truth:
    """What really was at each step, shape (n,): the one thing that no instrument shows."""

    at_ms: NDArray[np.int64]
    pv_w: Floats
    load_l1_w: Floats
    load_l2_w: Floats
    grid_w: Floats
    battery_w: Floats
    loss_w: Floats
    voltage_v: Floats
    current_a: Floats
    charge_ratio: Floats
    claimed_ratio: Floats
    claimed_ah: Floats
    capacity_ah: Floats
    battery_c: Floats
    shed_c: Floats
    ambient_c: Floats

    @property
    def load_w(self) -> Floats:
        """Both legs together. [W]"""
        return self.load_l1_w + self.load_l2_w


# The columns of the plant's table, in the order in which each step writes them.
_STEPPED = (
    *("grid_w", "battery_w", "loss_w", "voltage_v", "current_a", "charge_ratio"),
    *("claimed_ratio", "claimed_ah", "capacity_ah", "battery_c", "shed_c"),
)


class Plant:
    """Runs whole days, each from where the last one ended."""

    def __init__(self, ambient_c: float) -> None:
        self._battery = Battery(ambient_c)
        self._shed_c = ambient_c
        self._loss_w = IDLE_W
        self._on_grid = False

    def days(self, at_ms: NDArray[np.int64], weather: Weather) -> Truth:
        """Run the plant through the weather of whole days."""
        pv_w = panels_w(weather)
        l1_w, l2_w = load_legs_w(at_ms)
        table = array("d")
        for first in range(0, len(at_ms), STEPS_A_DAY):
            day = slice(first, first + STEPS_A_DAY)
            self._one_day(
                pv_w[day].tolist(),
                (l1_w + l2_w)[day].tolist(),
                (weather.ambient_c + _SHED_SUN_C / 1000 * weather.panel_w_m2)[day].tolist(),
                table,
            )
        stepped = np.frombuffer(table).reshape(len(at_ms), len(_STEPPED)).T
        return Truth(
            at_ms=at_ms,
            pv_w=pv_w,
            load_l1_w=l1_w,
            load_l2_w=l2_w,
            ambient_c=weather.ambient_c,
            **dict(zip(_STEPPED, np.ascontiguousarray(stepped), strict=True)),
        )

    def _one_day(
        self, pv_w: list[float], load_w: list[float], outside_c: list[float], table: "array[float]"
    ) -> None:
        battery = self._battery
        moved_ah = sum_c = sum_ratio = 0.0
        for pv, load, outside in zip(pv_w, load_w, outside_c, strict=True):
            warmed_c = outside + _SHED_LOSS_C_PER_W * self._loss_w
            self._shed_c += (warmed_c - self._shed_c) * (_STEP_H / _SHED_H)
            grid, taken, loss = self._step(pv, load)
            self._loss_w = loss
            ratio = battery.charge_ah / battery.capacity_ah
            moved_ah += abs(battery.current_a)
            sum_c += battery.temperature_c
            sum_ratio += ratio
            table.extend(
                (
                    *(grid, taken, loss, battery.voltage_v, battery.current_a, ratio),
                    *(battery.claimed_ratio, battery.claimed_ah, battery.capacity_ah),
                    *(battery.temperature_c, self._shed_c),
                )
            )
        battery.end_day(
            mean_c=sum_c / STEPS_A_DAY,
            mean_ratio=sum_ratio / STEPS_A_DAY,
            moved_ah=moved_ah * _STEP_H,
        )

    def _step(self, pv_w: float, load_w: float) -> tuple[float, float, float]:
        """Share out one step's power; return grid, battery and loss. [W]"""
        battery = self._battery
        claimed = battery.claimed_ratio
        spent = claimed <= RESERVE_RATIO or battery.voltage_v <= _EMPTY_V
        self._on_grid = spent or (self._on_grid and claimed < _BACK_RATIO)
        tracked_w = pv_w * _TRACKER_KEEPS
        spare_w = tracked_w - IDLE_W
        if not self._on_grid:
            spare_w -= load_w * (1 + _LOSS_PER_W + _LOSS_PER_W2 * load_w)
            if spare_w < 0:
                taken_w = battery.push(spare_w, self._shed_c)
                turned_w = tracked_w - IDLE_W - taken_w - load_w
                return 0.0, taken_w, pv_w - tracked_w + IDLE_W + turned_w
        taken_w = battery.push(max(spare_w, 0.0), self._shed_c)
        direct_w = tracked_w - IDLE_W - taken_w
        out_w = _turned_out_w(direct_w)
        loss_w = pv_w - tracked_w + IDLE_W + direct_w - out_w
        return load_w - out_w, taken_w, loss_w


def panels_w(weather: Weather) -> Floats:
    """Return what the panels give at their terminals. [W]

    Power falls with the temperature of the cells, which the light warms (the usual straight
    lines; slopes are common practice, no source).
    """
    cell_c = weather.ambient_c + _PANEL_WARMS_C * weather.panel_w_m2
    sunny_w = PANELS_W * _PANEL_CLEAN_RATIO * weather.panel_w_m2 / 1000
    given_w = sunny_w * (1 + _PANEL_PER_DEGREE * (cell_c - 25))
    return np.where(given_w >= _WAKES_W, given_w, 0.0)


def _turned_out_w(direct_w: float) -> float:
    """Return the AC power that DC power gives; what the DC side lacks, the grid gives it. [W]"""
    if direct_w <= 0:
        return direct_w
    slope = 1 + _LOSS_PER_W
    return (sqrt(slope * slope + 4 * _LOSS_PER_W2 * direct_w) - slope) / (2 * _LOSS_PER_W2)

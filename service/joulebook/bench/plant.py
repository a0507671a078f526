"""The invented site that is measured: what really happens there, a day at a time.

Made up, not recorded: panels of 5 kW under moving clouds, appliances, and a battery of 14 kWh
that takes the surplus and covers the load. Noise decides how many bytes a reading takes, so
``docs/benchmark.md`` names every deviation.
"""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

STEP_MS = 10_000
DAY_MS = 86_400_000
STEPS_A_DAY = DAY_MS // STEP_MS

_MINUTE = 6  # steps
_MINUTES_A_DAY = STEPS_A_DAY // _MINUTE
_PEAK_W = 5000.0
_BATTERY_WH = 14_000.0
_BATTERY_W = 4000.0  # most, either way
_IDLE_W = 35.0  # the inverter's own
_EMPTY_RATIO = 0.1
_APPLIANCES_W = (60.0, 150.0, 900.0, 1500.0, 2200.0)


@dataclass(frozen=True, slots=True)
class Day:
    """A day of the site as it is, before any instrument: power [W], charge [ratio], air [°C]."""

    pv_w: Floats
    load_l1_w: Floats
    load_l2_w: Floats
    battery_w: Floats
    charge_ratio: Floats
    ambient_c: Floats


class Plant:
    """Lives through one day after another; the same seed gives the same life."""

    def __init__(self) -> None:
        self._charge_ratio = 0.5

    def day(self, number: int, random: np.random.Generator) -> Day:
        """Return the next day; ``number`` counts from the year's first."""
        hour = np.linspace(0, 24, STEPS_A_DAY, endpoint=False)
        season = math.cos((number - 172) * (2 * math.pi / 365))  # 1 at midsummer, -1 at midwinter
        pv_w = _sun(hour, season, random)
        load_l1_w = 130 + _appliances(random) + wander(random, STEPS_A_DAY, 4.0, 30)
        load_l2_w = 110 + _appliances(random) + wander(random, STEPS_A_DAY, 4.0, 30)
        battery_w, charge_ratio = self._store(pv_w - load_l1_w - load_l2_w - _IDLE_W)
        ambient_c = 12 + 9 * season + 5 * np.cos((hour - 15) * (np.pi / 12))
        return Day(pv_w, load_l1_w, load_l2_w, battery_w, charge_ratio, ambient_c)

    def _store(self, surplus_w: Floats) -> tuple[Floats, Floats]:
        """Return what the battery takes (positive) or gives, and its charge at each step."""
        wish_w = np.clip(surplus_w, -_BATTERY_W, _BATTERY_W)
        share = np.empty(_MINUTES_A_DAY)
        level = np.empty(_MINUTES_A_DAY)
        ratio = self._charge_ratio
        for minute, mean_w in enumerate(wish_w.reshape(-1, _MINUTE).mean(axis=1).tolist()):
            level[minute] = ratio
            wanted = mean_w / 60 / _BATTERY_WH
            taken = min(max(wanted, _EMPTY_RATIO - ratio), 1.0 - ratio)
            share[minute] = taken / wanted if wanted else 0.0
            ratio += taken
        self._charge_ratio = ratio
        at = np.arange(STEPS_A_DAY) / _MINUTE
        return wish_w * np.repeat(share, _MINUTE), np.interp(at, np.arange(_MINUTES_A_DAY), level)


def wander(random: np.random.Generator, size: int, deviation: float, hold: int) -> Floats:
    """Return a random walk between levels that are drawn every ``hold`` steps."""
    levels = random.normal(0, deviation, size // hold + 2)
    return np.interp(np.arange(size) / hold, np.arange(levels.size), levels)


def _sun(hour: Floats, season: float, random: np.random.Generator) -> Floats:
    half_day = 6 + 2.5 * season  # sunrise to noon. [h]
    height = np.maximum(np.cos((hour - 12) * (np.pi / 2 / half_day)), 0)
    height[np.abs(hour - 12) >= half_day] = 0
    dull = random.uniform(0.0, 0.7)
    clouds = 1 - dull * np.clip(0.5 + wander(random, hour.size, 0.5, 12), 0, 1)
    return _PEAK_W * (0.7 + 0.3 * season) * height**1.2 * clouds


def _appliances(random: np.random.Generator) -> Floats:
    load_w = np.where(np.arange(STEPS_A_DAY) // 120 % 3 == 0, 90.0, 0.0)  # a fridge
    for start in random.integers(0, STEPS_A_DAY, 12).tolist():
        load_w[start : start + int(random.integers(6, 400))] += random.choice(_APPLIANCES_W)
    return load_w

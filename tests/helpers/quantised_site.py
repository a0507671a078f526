"""A site as its devices report it: 20 series in steps of a decimal, for measuring how it packs.

Made up, not recorded. Noise decides how many bytes a reading takes, so it is a parameter and
belongs beside every figure: at ``noise=1`` the standard deviations are 3 W on battery and grid,
2 W on each phase of the load, 0.3 % of the panels' power, 0.04 V on the battery, 0.15 V on the
grid and 0.4 V on the panels. Panels are dark from 18 to 6 h, and a battery that is full or empty
rests at exactly 0 W; clouds, appliances and the grid's voltage wander all day.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
DAY_MS, STEP_MS = 86_400_000, 10_000
START_MS = 20_276 * DAY_MS  # 2025-07-07, a Monday
_PER_DAY = DAY_MS // STEP_MS


@dataclass(frozen=True, slots=True)
class ReportedDevice:
    """The readings of a device: instants int64 (n,), and float64 (n,) by quantity."""

    at_ms: NDArray[np.int64]
    values: dict[str, Floats]

    def between(self, start_ms: int, end_ms: int) -> "ReportedDevice":
        """Return the rows from an instant up to another."""
        first, last = np.searchsorted(self.at_ms, (start_ms, end_ms))
        return ReportedDevice(
            self.at_ms[first:last],
            {name: values[first:last] for name, values in self.values.items()},
        )


def quantised_site(
    days: int, *, noise: float = 1.0, jitter_ms: int = 0, gaps_ratio: float = 0.01, seed: int = 1
) -> dict[str, ReportedDevice]:
    """Return five devices' readings every 10 s, each missing some rows at random.

    ``jitter_ms`` moves each instant by up to so much either way, evenly distributed.
    """
    random = np.random.default_rng(seed)
    devices = {}
    for name, (steps, values) in _reported(days, noise, random).items():
        at_ms = START_MS + np.arange(days * _PER_DAY, dtype=np.int64) * STEP_MS
        at_ms += random.integers(-jitter_ms, jitter_ms + 1, len(at_ms))
        kept = random.random(len(at_ms)) >= gaps_ratio
        devices[name] = ReportedDevice(
            at_ms[kept],
            {
                quantity: in_steps(array[kept], *steps[quantity])
                for quantity, array in values.items()
            },
        )
    return devices


def in_steps(values: Floats, step: int, places: int) -> Floats:
    """Return what a register in steps of ``step / 10**places`` says; 0, and never -0.0."""
    steps: Floats = np.rint(values * 10**places / step)
    reported: Floats = steps * step / 10**places + 0.0
    return reported


def _wander(random: np.random.Generator, rows: int, deviation: float, hold: int) -> Floats:
    """Return noise that is alike over about ``hold`` rows."""
    kernel: Floats = np.exp(-np.arange(6 * hold) / hold)
    kernel *= deviation / float(np.sqrt((kernel**2).sum()))
    noise = random.normal(0, 1, rows + len(kernel) - 1)
    wandering: Floats = np.convolve(noise, kernel, "valid")
    return wandering


def _load(random: np.random.Generator, days: int, hour: Floats) -> Floats:
    load: Floats = 180 + 40 * np.sin(hour / 24 * 2 * np.pi) + 60 * (hour * 6 % 4 < 1)
    for start in random.integers(0, len(hour), 10 * days):
        used = int(random.integers(10, 400))
        load[start : start + used] += random.choice([60, 120, 800, 1500, 2000])
    return load


def _battery(surplus: Floats) -> tuple[Floats, Floats]:
    """Return power [W] and state of charge [ratio] of a battery of 12 kWh and 3 kW."""
    power, charged = np.empty(len(surplus)), np.empty(len(surplus))
    ratio = 0.5
    for row, wish in enumerate(surplus.tolist()):
        flow = min(max(wish, -3000.0), 3000.0)
        if (ratio >= 1 and flow > 0) or (ratio <= 0.1 and flow < 0):
            flow = 0.0
        ratio += flow * STEP_MS / 3.6e6 / 12_000
        power[row], charged[row] = flow, ratio
    return power, charged


def _counter(start_wh: float, power_w: Floats) -> Floats:
    return start_wh + np.cumsum(np.maximum(power_w, 0)) * STEP_MS / 3.6e6


_Steps = dict[str, tuple[int, int]]
_VOLT, _AMP, _WATT, _CELSIUS = (1, 1), (1, 1), (1, 0), (1, 1)
_TEN_WH, _HUNDRED_WH = (10, 0), (100, 0)


def _reported(
    days: int, noise: float, random: np.random.Generator
) -> dict[str, tuple[_Steps, dict[str, Floats]]]:
    rows = days * _PER_DAY

    def white(deviation: float) -> Floats:
        return random.normal(0, deviation * noise, rows)

    hour = np.arange(rows) * STEP_MS / 3.6e6 % 24
    sky = np.clip(0.75 + _wander(random, rows, 0.25, 60), 0.1, 1)
    pv = 5000 * np.maximum(np.sin(np.pi * (hour - 6) / 12), 0) ** 1.2 * sky
    pv = np.maximum(pv * (1 + white(0.003)), 0)
    load = _load(random, days, hour)
    phase_1, phase_2 = load * 0.6 + white(2), load * 0.4 + white(2)
    load = phase_1 + phase_2
    battery, charged = _battery(pv - load - 30)
    battery = battery + np.where(battery != 0, white(3), 0)
    grid = load + battery - pv + 30 + white(3)
    volts = 51 + 2.5 * (charged - 0.5) + battery / 3750 + white(0.04)
    return {
        "battery": (
            {
                "voltage": _VOLT,
                "current": _AMP,
                "power": _WATT,
                "soc": (1, 2),
                "temperature": _CELSIUS,
                "charge_energy": _TEN_WH,
                "discharge_energy": _TEN_WH,
            },
            {
                "voltage": volts,
                "current": battery / volts,
                "power": battery,
                "soc": charged,
                "temperature": 22 - 3 * np.cos(hour / 24 * 2 * np.pi) + np.abs(battery) / 3000,
                "charge_energy": _counter(1_000_000, battery),
                "discharge_energy": _counter(900_000, -battery),
            },
        ),
        "pv": (
            {"power": _WATT, "voltage": _VOLT, "current": _AMP, "energy": _HUNDRED_WH},
            {
                "power": pv,
                "voltage": np.where(pv > 0, 380 - pv / 250 + white(0.4), 0),
                "current": pv / 360,
                "energy": _counter(20_000_000, pv),
            },
        ),
        "grid": (
            {
                "power": _WATT,
                "voltage_l1": _VOLT,
                "import_energy": _TEN_WH,
                "export_energy": _TEN_WH,
            },
            {
                "power": grid,
                "voltage_l1": 231 + _wander(random, rows, 1.5, 60) + white(0.15),
                "import_energy": _counter(3_000_000, grid),
                "export_energy": _counter(2_000_000, -grid),
            },
        ),
        "load": (
            {"power": _WATT, "power_l1": _WATT, "energy": _HUNDRED_WH},
            {"power": load, "power_l1": phase_1, "energy": _counter(5_000_000, load)},
        ),
        "inverter": (
            {"temperature": _CELSIUS, "dc_voltage": _VOLT},
            {
                "temperature": 30 + np.abs(battery) / 150 + _wander(random, rows, 1, 360),
                "dc_voltage": volts - 0.05 + white(0.04),
            },
        ),
    }

"""The readings of the measured site: 20 series of four devices, every 10 s, one row in 100 lost."""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from joulebook.bench.plant import DAY_MS, STEP_MS, STEPS_A_DAY, Day, Floats, Plant, wander
from joulebook.core.spans import Span
from joulebook.ingest.bulk import DeviceColumns

SITE = "bench"
TIMEZONE = "UTC"
#: 2025-04-14, a Monday: ISO weeks begin with it, and a month of it is neither dull nor bright.
#: [ms, UTC epoch]
START_MS = 1_744_588_800_000
_DAYS_INTO_THE_YEAR = 103
LOST_RATIO = 0.01
#: What is read at once, and what is handed over at once. [days]
PIECE_DAYS = 7

#: Decimal places by device and quantity; -1 is steps of ten.
PLACES: dict[str, dict[str, int]] = {
    "battery": {
        "voltage": 1,
        "current": 1,
        "power": 0,
        "soc": 2,
        "temperature": 1,
        "cell_voltage_min": 3,
        "cell_voltage_max": 3,
        "charge_energy": -1,
        "discharge_energy": -1,
    },
    "grid": {
        "power": 0,
        "import_energy": -1,
        "export_energy": -1,
        "voltage_l1": 1,
        "voltage_l2": 1,
    },
    "load": {"power": 0, "power_l1": 0, "power_l2": 0, "energy": -1},
    "pv": {"power": 0, "energy": -1},
}
SERIES = sum(map(len, PLACES.values()))

#: When in each ten seconds a device is asked: a bridge asks one after the other. [ms]
_PHASE_MS = {"battery": 0, "grid": 240, "load": 480, "pv": 720}
_WH_A_STEP = STEP_MS / 3_600_000

#: The readings of some days: device by device.
Piece = list[DeviceColumns]


@dataclass(frozen=True, slots=True, kw_only=True)
class Plan:
    """What to generate.

    Attributes
    ----------
    days : int
        From :data:`START_MS` on.
    jitter_ms : float
        Standard deviation of each instant about its place; 0 is a regular clock.
    seed : int
        The same seed gives the same readings.
    """

    days: int
    jitter_ms: float = 0.0
    seed: int = 1

    @property
    def span(self) -> Span:
        """From the first day's beginning to the last one's end."""
        return Span(START_MS, START_MS + self.days * DAY_MS)


def day_span(number: int) -> Span:
    """Return the span of a day, counted from 0."""
    return Span(START_MS + number * DAY_MS, START_MS + (number + 1) * DAY_MS)


def readings_in(piece: Piece) -> int:
    """Return how many readings a piece holds."""
    return sum(columns.at_ms.size * len(columns.values) for columns in piece)


def first_rows(columns: DeviceColumns, count: int) -> DeviceColumns:
    """Return the first rows of a device."""
    values = {name: array[:count] for name, array in columns.values.items()}
    return DeviceColumns(columns.device, columns.at_ms[:count], values)


def pieces(plan: Plan) -> Iterator[Piece]:
    """Yield the site's readings in order, a week at a time."""
    plant = Plant()
    counters: dict[str, float] = {}
    days: list[Piece] = []
    for number in range(plan.days):
        random = np.random.default_rng((plan.seed, number))
        seen = _sense(plant.day(_DAYS_INTO_THE_YEAR + number, random), random, counters)
        days.append(_report(seen, day_span(number).start_ms, plan.jitter_ms, random))
        if len(days) == PIECE_DAYS or number == plan.days - 1:
            yield [_joined(parts) for parts in zip(*days, strict=True)]
            days = []


def _sense(
    day: Day, random: np.random.Generator, counters: dict[str, float]
) -> dict[str, dict[str, Floats]]:
    """Return what the instruments measure, before they round. Counters go on from day to day."""

    def white(deviation: float) -> Floats:
        return random.normal(0, deviation, STEPS_A_DAY)

    def counted(name: str, power_w: Floats) -> Floats:
        running = counters.get(name, 1_000.0) + np.cumsum(np.maximum(power_w, 0)) * _WH_A_STEP
        counters[name] = float(running[-1])
        return running

    pv_w = np.where(day.pv_w > 3, np.maximum(day.pv_w + white(3), 0), 0)
    l1_w, l2_w = day.load_l1_w + white(1.5), day.load_l2_w + white(1.5)
    grid_w = day.load_l1_w + day.load_l2_w + day.battery_w + 35 - day.pv_w + white(2.5)
    true_v = 51.2 + 2.2 * (day.charge_ratio - 0.5) + day.battery_w / 4000
    moving = day.battery_w != 0
    amps = day.battery_w / true_v + np.where(moving, white(0.05), 0)
    volts = true_v + white(0.015)
    battery_w = volts * amps
    mains_v = 120.4 - 0.0005 * grid_w + wander(random, STEPS_A_DAY, 0.6, 18)
    return {
        "battery": {
            "voltage": volts,
            "current": amps,
            "power": battery_w,
            "soc": day.charge_ratio,
            "temperature": day.ambient_c + 4 + np.abs(day.battery_w) / 800 + white(0.03),
            "cell_voltage_min": true_v / 16 - 0.003 + white(0.0008),
            "cell_voltage_max": true_v / 16 + 0.002 + white(0.0008),
            "charge_energy": counted("charge", battery_w),
            "discharge_energy": counted("discharge", -battery_w),
        },
        "grid": {
            "power": grid_w,
            "import_energy": counted("import", grid_w),
            "export_energy": counted("export", -grid_w),
            "voltage_l1": mains_v + white(0.15),
            "voltage_l2": mains_v - 0.3 + white(0.15),
        },
        "load": {
            "power": l1_w + l2_w,
            "power_l1": l1_w,
            "power_l2": l2_w,
            "energy": counted("load", l1_w + l2_w),
        },
        "pv": {"power": pv_w, "energy": counted("pv", pv_w)},
    }


def _report(
    seen: dict[str, dict[str, Floats]],
    start_ms: int,
    jitter_ms: float,
    random: np.random.Generator,
) -> Piece:
    """Return the rows that arrive, as the instruments round them."""
    piece = []
    for device, values in seen.items():
        kept = random.random(STEPS_A_DAY) >= LOST_RATIO
        at_ms = start_ms + _PHASE_MS[device] + np.arange(STEPS_A_DAY, dtype=np.int64) * STEP_MS
        # The first row of a day never falls before it, however the clock shakes.
        late_ms = np.rint(random.normal(0, jitter_ms, STEPS_A_DAY)).astype(np.int64)
        at_ms = np.maximum(at_ms + late_ms, start_ms)
        piece.append(DeviceColumns(device, at_ms[kept], _shown(device, values, kept)))
    return piece


def _shown(device: str, values: dict[str, Floats], kept: NDArray[np.bool_]) -> dict[str, Floats]:
    # Adding 0.0 makes a zero of what rounds to -0.0, as a register does.
    return {
        quantity: np.round(values[quantity][kept], places) + 0.0
        for quantity, places in PLACES[device].items()
    }


def _joined(parts: tuple[DeviceColumns, ...]) -> DeviceColumns:
    first = parts[0]
    return DeviceColumns(
        first.device,
        np.concatenate([part.at_ms for part in parts]),
        {name: np.concatenate([part.values[name] for part in parts]) for name in first.values},
    )

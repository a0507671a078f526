"""From what is true to what is read: gain, offset, drift, noise, quantisation, silence."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from joulebook.core.history import Floats
from tests.helpers.homes.spec import HomeSpec, SensorSpec

DAYS_PER_YEAR = 365.25
#: How a reading is: there, its whole row missing, or without voltage and current.
THERE, ROW_MISSING, VALUES_MISSING = 0, 1, 2


def daily_offset_a(spec: HomeSpec, days: int) -> Floats:
    """Return the current sensor's offset at 25 °C for each day of the record, drifting. [A]"""
    rng = np.random.default_rng((spec.seed, 2))
    walk = np.cumsum(rng.standard_normal(days)) * spec.sensor.drift_a / np.sqrt(DAYS_PER_YEAR)
    offset: Floats = spec.sensor.offset_a + walk
    return offset


def silence(spec: HomeSpec, days: int, per_day: int) -> NDArray[np.uint8]:
    """Return how each reading of the record is, shape (days * per_day,)."""
    rng = np.random.default_rng((spec.seed, 3))
    sensor, count = spec.sensor, days * per_day
    state = np.zeros(count, dtype=np.uint8)
    state[rng.random(count) < sensor.missing_ratio] = ROW_MISSING
    state[rng.random(count) < sensor.missing_ratio * 0.3] = VALUES_MISSING
    for start in rng.integers(0, count, rng.poisson(sensor.gaps_per_year * days / DAYS_PER_YEAR)):
        state[start : start + int(rng.exponential(sensor.gap_days) * per_day) + 1] = ROW_MISSING
    if sensor.long_gap_days:
        length = int(sensor.long_gap_days * per_day)
        start = int(rng.uniform(0.2, 0.7) * max(count - length, 0))
        state[start : start + length] = ROW_MISSING
    return state


def quantised(values: Floats, quantum: float) -> Floats:
    """Return values as an instrument with this step shows them."""
    shown: Floats = np.round(values / quantum) * quantum
    return shown


@dataclass(frozen=True, slots=True)
class Truths:
    """What one home's battery truly did at each step, each of shape (n,)."""

    voltage_v: Floats
    current_a: Floats
    temperature_c: Floats
    ohm: Floats


def read_battery(
    rng: np.random.Generator, sensor: SensorSpec, truths: Truths, offset_a: Floats
) -> tuple[Floats, Floats, Floats]:
    """Return voltage, current and temperature as they are read. [V], [A], [°C]"""
    count = truths.current_a.size
    ripple = rng.laplace(0, 1, count) * sensor.ripple_ratio * np.abs(truths.current_a)
    offset = offset_a + sensor.offset_per_c * (truths.temperature_c - 25)
    current = sensor.gain * (truths.current_a + ripple) + offset
    current += rng.normal(0, sensor.noise_a, count)
    voltage = (truths.voltage_v + ripple * truths.ohm) * sensor.voltage_gain
    voltage += sensor.voltage_offset_v + rng.normal(0, sensor.voltage_noise_v, count)
    temperature = truths.temperature_c + sensor.temperature_offset_c
    return (
        quantised(voltage, sensor.voltage_quantum_v),
        quantised(current, sensor.quantum_a),
        quantised(temperature, sensor.temperature_quantum_c),
    )


def counted(power_w: Floats, step_s: float, quantum_wh: float) -> Floats:
    """Return an energy counter fed by a power: what its device adds up, gaps of the log or not."""
    total: Floats = np.cumsum(np.maximum(power_w, 0.0)) * (step_s / 3600)
    return quantised(total - quantum_wh / 2, quantum_wh).clip(0)

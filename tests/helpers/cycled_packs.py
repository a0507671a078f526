"""A battery that is drawn down each night and filled each day, on a fixed timetable.

No randomness but the noise that is asked for, so that a test can say what must come out. The
cells follow the generic curve; what differs from it is told by the arguments.
"""

import numpy as np
from numpy.typing import NDArray

from joulebook.core.battery.rest_voltage import HALF_HYSTERESIS_V, rest_voltage
from joulebook.core.history import Floats, PackHistory

#: Midnight, 2026-01-05, UTC.
START_MS = 1_767_571_200_000
CAPACITY_AH = 200.0
RESISTANCE_OHM = 0.014
#: A night's load, hour by hour from 16:00 on, as shares of what is drawn in all; the last hour of
#: each night is quiet.
_FULL_UNTIL_H = 16
#: How fast the current dies away at the charge voltage. [h]
_TAIL_H = 0.05
_NIGHT = np.array([0.6, 1.0, 1.6, 1.4, 1.5, 1.2, 0.7, 0.6, 0.5, 0.5, 0.5, 0.5, 0.5, 0.5, 0.4])


def cycled_pack(
    days: int = 30,
    *,
    step_s: int = 60,
    lowest: float = 0.10,
    capacity_ah: float = CAPACITY_AH,
    cells: int = 16,
    charge_v: float = 3.50,
    resistance_ohm: float = RESISTANCE_OHM,
    offset_a: float = 0.0,
    zero_v: float = 0.0,
    noise_v: float = 0.0,
    temperature_c: float = 25.0,
) -> PackHistory:
    """Return the record of such a pack, from a midnight on, one day after another.

    Full until 16:00, drawn until 07:00 down to ``lowest``, charged from 08:00, and held at
    ``charge_v`` a cell from the time the current dies away.

    Parameters
    ----------
    lowest, capacity_ah, cells, charge_v, resistance_ohm
        True state of charge in the morning, true capacity [Ah], cells in series, charge voltage
        [V a cell], resistance of the pack [Ω].
    offset_a, zero_v, noise_v
        What the sensor reads too much [A], and the voltmeter [V a cell]; its noise. [V]
    """
    second = np.arange(0.0, 86_400.0, step_s)
    one_day = _current(second, (1 - lowest) * capacity_ah, step_s)
    current, held = np.tile(one_day, days), np.tile(_held(second), days)
    at_s = np.arange(current.size) * step_s
    charge_ah = np.concatenate([[0.0], np.cumsum(current[:-1])]) * step_s / 3600
    state = 1.0 + (charge_ah - charge_ah[_FULL_UNTIL_H * 3600 // step_s]) / capacity_ah
    branch = np.where(current > 0, HALF_HYSTERESIS_V, -HALF_HYSTERESIS_V)
    cell_v = rest_voltage(state) + branch
    volts = cells * cell_v + resistance_ohm * current
    # The charger holds its voltage once the pack has come up to it.
    volts = np.where(held, charge_v * cells, np.minimum(volts, charge_v * cells))
    random = np.random.default_rng(5)
    return PackHistory(
        at_ms=START_MS + at_s * 1000,
        voltage_v=volts + zero_v * cells + random.normal(0, 1, at_s.size) * noise_v,
        current_a=current + offset_a,
        temperature_c=np.full(at_s.size, temperature_c),
        step_s=float(step_s),
        rated_ah=capacity_ah,
        cells=cells,
    )


def _current(second: Floats, drawn_ah: float, step_s: int) -> Floats:
    """Return the current at each second of one day: as much in as out. [A]"""
    hour = second / 3600
    since = (hour - _FULL_UNTIL_H) % 24
    # The loads of a house step up and down: three minutes in every ten are heavier.
    beat = np.where(second % 600 < 180, 2.0, 0.6)
    night = np.where(since < _NIGHT.size, _NIGHT[np.minimum(since.astype(int), 14)] * beat, 0.0)
    bulk = ((hour >= 8) & (hour < 12)).astype(float)
    tail = np.where(_held(second), np.exp(-np.maximum(hour - 12, 0) / _TAIL_H), 0.0)
    parts = [(night, -1.0), (bulk, 0.99), (tail, 0.01)]
    current = np.zeros(hour.size)
    for part, share in parts:
        current += share * drawn_ah * part / (part.sum() * step_s / 3600)
    return current


def _held(second: Floats) -> NDArray[np.bool_]:
    return (second >= 12 * 3600) & (second < _FULL_UNTIL_H * 3600)

"""What the flat part of the curve tells of the voltmeter and of slow polarisation.

Where the voltage hardly depends on the charge, it depends on the load of the last minutes and
hours, and on what the voltmeter reads too much. Both are read there and then used at low states
of charge, where the voltage is to tell the charge and nothing else.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from joulebook.core.battery.charge_counter import ChargeCounter
from joulebook.core.battery.full_anchors import FullCharges
from joulebook.core.battery.low_anchors import CellVoltmeter, LowSearch, per_row
from joulebook.core.battery.rest_voltage import rest_voltage
from joulebook.core.history import Floats

#: How much of the charge is out, from one bin to the next; around 65 % full is a step in the
#: curve whose place differs from pack to pack, and so the bin there is left out.
_OUT = np.array([0.08, 0.16, 0.22, 0.28, 0.44, 0.50, 0.56, 0.62, 0.68])
_STEP_BIN = 3
#: Discharging gently: at rates between these.
_GENTLE_RATES = (0.005, 0.2)
#: So many readings are looked at, and a bin with fewer than these tells nothing.
_MOST, _LEAST_IN_BIN = 20_000, 50
_ROUNDS = 4
#: Standard deviations of what is common to the whole curve (the voltmeter, hysteresis), of a
#: pack's own curve against the generic one, how far along the charge the latter reaches, and of
#: one bin. [V a cell, ratio, V a cell]
_COMMON_V, _CURVE_V, _REACH, _BIN_V = 0.005, 0.006, 0.10, 0.0015
#: The state of charge at which the voltage is to be corrected.
_WANTED_STATE = 0.12
#: No zero is believed beyond this. [V a cell]
LARGEST_ZERO_V = 0.015


@dataclass(frozen=True, slots=True, kw_only=True)
class Plateau:
    """What is to be taken off before the voltage tells a low state of charge.

    Attributes
    ----------
    zero_v : float or None
        By how much the voltage of a cell is likely to be too high at a low state of charge;
        ``None`` where too little was read. [V]
    now_share, slow_share : float
        Of the pack's resistance: what shows with the present current beyond it, and what
        follows the current's slow mean.
    """

    zero_v: float | None
    now_share: float
    slow_share: float


def read_plateau(
    meter: CellVoltmeter,
    counter: ChargeCounter,
    full: FullCharges,
    search: LowSearch,
    capacity_ah: float,
) -> Plateau:
    """Return what the flat part of the curve tells.

    Parameters
    ----------
    meter : CellVoltmeter
        With the shares that are expected.
    search : LowSearch
        The way down from each full charge.
    capacity_ah : float
        A rough one is good enough: it only says where on the flat part a reading is. [Ah]

    Notes
    -----
    Robust least squares of what a cell rests at, less the generic curve, on one constant a bin
    and the two shares. The zero at a low state of charge is then the best linear estimate from
    the bins' constants (kriging): what they have in common counts in full, what a pack's own
    curve does counts the less the farther away it is.
    """
    rows, out = _gentle_rows(meter, counter, full, search, capacity_ah)
    place = np.digitize(out, _OUT) - 1
    counts = np.bincount(place, minlength=_OUT.size - 1)
    known = np.flatnonzero(counts >= _LEAST_IN_BIN)
    known = known[known != _STEP_BIN]
    kept = np.isin(place, known)
    if not known.size:
        return Plateau(zero_v=None, now_share=meter.now_share, slow_share=meter.slow_share)
    rows, out, place = rows[kept], out[kept], np.searchsorted(known, place[kept])
    ohm_a = np.column_stack([meter.current_a[rows], meter.slow_a[rows]])
    ohm_a *= (meter.ohm(rows) / meter.history.cells)[:, None]
    above = meter.rested_v(rows) - rest_voltage(1 - out)
    design = np.column_stack([place[:, None] == np.arange(known.size), ohm_a])
    bins = known.size
    value = _robust(design, above, np.append(np.zeros(bins), _share_weights(meter)))
    states = 1 - (_OUT[known] + _OUT[known + 1]) / 2
    return Plateau(
        zero_v=float(np.clip(_zero(states, value[:bins]), -LARGEST_ZERO_V, LARGEST_ZERO_V)),
        now_share=meter.now_share + float(value[bins]),
        slow_share=meter.slow_share + float(value[bins + 1]),
    )


def _gentle_rows(
    meter: CellVoltmeter,
    counter: ChargeCounter,
    full: FullCharges,
    search: LowSearch,
    capacity_ah: float,
) -> tuple[NDArray[np.int64], Floats]:
    """Return rows on the way down that are on the flat part, and how much is out there."""
    size, rated_ah = meter.history.at_ms.size, meter.history.rated_ah
    begin = full.last + 1
    end = np.maximum(search.low_row, begin)
    charge = counter.without_offset_ah(full.offset_a)
    out = (per_row(charge[full.last], begin, end, size) - charge) / capacity_ah
    least, most = (rate * rated_ah for rate in _GENTLE_RATES)
    there = (out >= _OUT[0]) & (out < _OUT[-1])
    there &= (meter.current_a <= -least) & (meter.current_a >= -most)
    rows = np.flatnonzero(there & ~np.isnan(meter.history.voltage_v))
    rows = rows[:: max(rows.size // _MOST, 1)]
    return rows, out[rows]


def _share_weights(meter: CellVoltmeter) -> Floats:
    """Return how surely the shares are expected, as inverse variances."""
    spread = np.array([0.1 if meter.resistance.steps else 0.5, 0.3])
    weights: Floats = spread**-2.0
    return weights


def _robust(design: Floats, above: Floats, prior: Floats) -> Floats:
    """Return the constants of the bins and the shares; a prior of nothing with these weights."""
    value: Floats = np.zeros(design.shape[1])
    for _ in range(_ROUNDS):
        left = above - design @ value
        spread = max(1.4826 * float(np.median(np.abs(left - np.median(left)))), 1e-4)
        weight = np.minimum(1.0, 1.5 * spread / np.maximum(np.abs(left), 1e-9))
        weighted = design.T * (weight / spread**2)
        inverse = np.linalg.inv(weighted @ design + np.diag(prior))
        value = inverse @ (weighted @ above)
    return value


def _zero(states: Floats, above: Floats) -> float:
    """Return what the bins' constants say of the voltage at a low state of charge. [V]"""
    apart = np.abs(states[:, None] - np.append(states, _WANTED_STATE)[None, :])
    shared = _COMMON_V**2 + _CURVE_V**2 * np.exp(-apart / _REACH)
    own = shared[:, :-1] + np.diag(np.full(states.size, _BIN_V**2))
    return float(shared[:, -1] @ np.linalg.solve(own, above))

"""Known states of charge along a whole record, and the charge counted between them.

Everything that capacity, fade and efficiency are computed from: when the battery was full, when
it was low enough for its voltage to tell, and what went in and out from one to the next. See
``docs/methods/anchors.md``.
"""

from dataclasses import dataclass, replace

import numpy as np

from joulebook.core.battery.balances import Balances, FullToLow
from joulebook.core.battery.charge_counter import count_charge
from joulebook.core.battery.full_anchors import (
    ChargeVoltage,
    FullCharges,
    charge_voltage,
    full_charges,
    full_to_full,
    no_full_charges,
)
from joulebook.core.battery.low_anchors import (
    LowPoints,
    cell_voltmeter,
    low_points,
    search_lows,
    states_of,
)
from joulebook.core.battery.low_balances import full_to_low, low_to_full
from joulebook.core.battery.low_reasons import LEAST_DRAWN_SHARE, reasons
from joulebook.core.battery.plateau import LARGEST_ZERO_V, read_plateau
from joulebook.core.battery.resistance import PackResistance, assumed_resistance, pack_resistance
from joulebook.core.battery.rest_voltage import FULL_STATE
from joulebook.core.estimate import Estimate
from joulebook.core.history import MS_PER_DAY, Floats, Instants, PackHistory

METHOD = "anchors-1"

#: Where no temperature was read at all. [°C]
ASSUMED_C = 25.0
#: A charge voltage that moved by more than this changes what full means. [V a cell]
LARGEST_SHIFT_V = 0.020
#: Below this state of charge an anchor counts as deep.
DEEP_STATE = 0.08
#: Below this state of charge even an unread zero leaves the voltage clear.
_CLEAR_STATE = 0.25
_DAYS_PER_MONTH = 365.25 / 12


@dataclass(frozen=True, slots=True, kw_only=True)
class Evidence:
    """How much a record tells: what decides whether a capacity is stated.

    Attributes
    ----------
    lows, deep_lows : int
        Low anchors, and those of them below `DEEP_STATE`.
    lows_in_6_months, lows_in_15_months : int
        Low anchors in the first 6 and 15 months of the record.
    median_x_low : float or None
        Of the low anchors' states of charge.
    closings : int
        Balances from one full charge to the next.
    shift_v : float or None
        By how much the charge voltage was moved between the record's halves. [V a cell]
    """

    lows: int
    deep_lows: int
    lows_in_6_months: int
    lows_in_15_months: int
    median_x_low: float | None
    closings: int
    shift_v: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Measured:
    """What a record tells of its battery.

    Attributes
    ----------
    balances : Balances
        The equations of capacity.
    resistance : PackResistance or Estimate
        Of the pack, or the refusal.
    held : ChargeVoltage or None
        What the charger holds; ``None`` where the battery was hardly ever full.
    full : FullCharges
    full_ms, low_ms : int64 (m,)
        When each full charge ended, and when the battery was lowest and quiet after it; the
        latter is the former where no reading was quiet. [ms, UTC epoch]
    low : LowPoints
        One row for each full charge.
    x_low : float64 (m,)
        The generic curve's state of charge at each low point; NaN where there is none.
    reasons : tuple of str
        Why each low point is no anchor; empty where it is one.
    zero_v : float or None
        What the voltmeter, or this pack against the generic curve, reads too much at a low state
        of charge, and what was taken off. [V a cell]
    offset_a : float
        First guess of what the current sensor reads too much. [A]
    evidence : Evidence
    flags : tuple of str
        Sentences for a person: what was assumed, and what to be careful with.
    """

    balances: Balances
    resistance: PackResistance | Estimate
    held: ChargeVoltage | None
    full: FullCharges
    full_ms: Instants
    low_ms: Instants
    low: LowPoints
    x_low: Floats
    reasons: tuple[str, ...]
    zero_v: float | None
    offset_a: float
    evidence: Evidence
    flags: tuple[str, ...]


def measure(history: PackHistory) -> Measured:
    """Find every full charge and every low anchor of a record, and the charge between them.

    Never fails for lack of readings: what cannot be told is missing, and a flag or a reason
    says why.
    """
    counter = count_charge(history)
    temperature_c = _filled_temperature(history)
    measured_ohm = pack_resistance(history, temperature_c, counter.current_a)
    held = charge_voltage(history)
    full = full_charges(history, counter, held) if held else no_full_charges()
    known_ohm = isinstance(measured_ohm, PackResistance)
    meter = cell_voltmeter(
        history,
        counter,
        temperature_c,
        measured_ohm
        if isinstance(measured_ohm, PackResistance)
        else assumed_resistance(history.rated_ah, history.cells),
        full.offset_a,
    )
    search = search_lows(meter, counter, full)
    rough_ah = _rough_capacity(low_points(meter, counter, search), history.rated_ah)
    plateau = read_plateau(meter, counter, full, search, rough_ah)
    meter = replace(
        meter,
        now_share=plateau.now_share,
        slow_share=plateau.slow_share,
        zero_v=plateau.zero_v or 0.0,
    )
    low = low_points(meter, counter, search)
    states = states_of(low.cell_v)
    why = reasons(history, low, *states, known_ohm=known_ohm)
    night = np.flatnonzero([not each for each in why])
    closings = full_to_full(history, counter, full, temperature_c)
    down = full_to_low(history, counter, full, low, temperature_c, states, night)
    up = low_to_full(history, counter, full, low, temperature_c, night)
    ends = history.at_ms[[0, -1]] if history.at_ms.size else np.zeros(2, dtype=np.int64)
    return Measured(
        balances=Balances(
            start_ms=int(ends[0]),
            end_ms=int(ends[1]),
            rated_ah=history.rated_ah,
            cells=history.cells,
            full_to_full=closings,
            full_to_low=down,
            low_to_full=up,
        ),
        resistance=measured_ohm,
        held=held,
        full=full,
        full_ms=history.at_ms[full.last],
        low_ms=history.at_ms[np.where(low.low_row < 0, full.last, low.low_row)],
        low=low,
        x_low=states[0],
        reasons=why,
        zero_v=plateau.zero_v,
        offset_a=full.offset_a,
        evidence=_evidence(int(ends[0]), down, closings.hours.size, held),
        flags=_flags(history, measured_ohm, held, full, plateau.zero_v),
    )


def _rough_capacity(low: LowPoints, rated_ah: float) -> float:
    """Return a capacity that is good enough to say where on the curve a reading is. [Ah]"""
    states, _ = states_of(low.cell_v)
    clear = (states < _CLEAR_STATE) & (low.drawn_ah >= LEAST_DRAWN_SHARE * rated_ah)
    if not clear.any():
        return rated_ah
    implied = low.drawn_ah[clear] / (FULL_STATE - states[clear])
    return float(np.clip(np.median(implied), 0.5 * rated_ah, 1.2 * rated_ah))


def _filled_temperature(history: PackHistory) -> Floats:
    """Return the temperature without holes: on a line between neighbours, or assumed."""
    known = np.flatnonzero(~np.isnan(history.temperature_c))
    if known.size == history.at_ms.size:
        return history.temperature_c
    if not known.size:
        return np.full(history.at_ms.size, ASSUMED_C)
    return np.interp(history.at_ms, history.at_ms[known], history.temperature_c[known])


def _evidence(start_ms: int, low: FullToLow, closings: int, held: ChargeVoltage | None) -> Evidence:
    months = (low.low_ms - start_ms) / (MS_PER_DAY * _DAYS_PER_MONTH)
    return Evidence(
        lows=low.low_ms.size,
        deep_lows=int(np.count_nonzero(low.x_low < DEEP_STATE)),
        lows_in_6_months=int(np.count_nonzero(months <= 6)),
        lows_in_15_months=int(np.count_nonzero(months <= 15)),
        median_x_low=float(np.median(low.x_low)) if low.x_low.size else None,
        closings=closings,
        shift_v=held.shift_v if held else None,
    )


def _flags(
    history: PackHistory,
    resistance: PackResistance | Estimate,
    held: ChargeVoltage | None,
    full: FullCharges,
    zero_v: float | None,
) -> tuple[str, ...]:
    """Return what a person should know of a record, in sentences."""
    flags = []
    if history.at_ms.size and np.isnan(history.temperature_c).all():
        flags.append(f"no temperature was read; {ASSUMED_C:.0f} °C is assumed throughout")
    if isinstance(resistance, Estimate):
        flags.append(
            f"the pack's resistance is not known ({resistance.reason}); "
            "only nights with hardly any load count"
        )
    if held is None:
        flags.append("the battery was never seen being held full on five days or more")
    elif abs(held.shift_v) > LARGEST_SHIFT_V:
        flags.append(
            f"the charge voltage was moved by {held.shift_v * 1000:+.0f} mV a cell, which changes "
            "what full means"
        )
    if full.first.size and zero_v is None:
        flags.append("the voltmeter's zero could not be read on the upper plateau")
    elif zero_v is not None and abs(zero_v) >= LARGEST_ZERO_V:
        flags.append(
            f"the voltmeter is off by {LARGEST_ZERO_V * 1000:.0f} mV a cell or more: check it"
        )
    return tuple(flags)

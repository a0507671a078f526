"""What the battery holds in watt-hours, by a printed definition and in two ways that must agree.

Method `pack-energy-1`, see ``docs/methods/pack-energy.md``.
"""

import math
from dataclasses import dataclass

import numpy as np

from joulebook.core.battery.balances import Balances
from joulebook.core.battery.capacity import CapacityPoint
from joulebook.core.battery.capacity_fit import CapacityFit
from joulebook.core.battery.rest_voltage import FULL_STATE, HALF_HYSTERESIS_V, rest_voltage
from joulebook.core.daily.energy import K90
from joulebook.core.estimate import Estimate, refused
from joulebook.core.history import MS_PER_DAY, Floats

PACK_ENERGY_METHOD = "pack-energy-1"

#: To be printed with the number.
PACK_ENERGY_DEFINITION = (
    "DC energy from full to 2.90 V a cell at a fifth of the rated charge, 25 °C"
)
CUT_OFF_CELL_V = 2.90
RATE_PER_H = 0.2
#: Resistance after minutes under load, over that of the first seconds (our choice: 1.2 to 1.5).
SLOW_RATIO = 1.35
#: Voltage lost a degree below warm, as a share of the energy (our choice).
_COLD_PER_C = 0.0002
_WARM_C = 25.0
#: Uncertainty of curve, resistance and voltmeter together, as a share.
VOLTAGE_U_RATIO = 0.005
LARGEST_DIFFERENCE_RATIO = 0.02
RECENT_DAYS = 183.0
_STEPS = 2000


@dataclass(frozen=True, slots=True, kw_only=True)
class PackEnergy:
    """Usable energy, and the two numbers that it rests on.

    Attributes
    ----------
    wh : Estimate
        By `PACK_ENERGY_DEFINITION`. [Wh]
    by_curve_wh, by_meter_wh : float or None
        From the capacity and the curve of voltage; and from what was measured on the way down,
        completed by the curve's share below. ``None`` where it could not be had. [Wh]
    """

    wh: Estimate
    by_curve_wh: float | None
    by_meter_wh: float | None


def pack_energy(
    fit: CapacityFit,
    latest: CapacityPoint,
    balances: Balances,
    *,
    resistance_ohm: float | None,
    why_not: str | None = None,
) -> PackEnergy:
    """State what the battery holds now, in watt-hours.

    Parameters
    ----------
    fit : CapacityFit
        Of the record.
    latest : CapacityPoint
        Of the same: what the battery holds now, in ampere-hours.
    balances : Balances
        That the fit was made from.
    resistance_ohm : float or None
        Of the pack at 25 °C, over seconds; ``None`` where it is not known. [Ω]
    why_not : str, optional
        What else speaks against it.
    """
    held = latest.ah
    if why_not is not None:
        return _refused(why_not, fit_coverage=held.coverage_ratio)
    if held.value is None or held.low is None:
        return _refused(held.reason or "", fit_coverage=held.coverage_ratio)
    if resistance_ohm is None:
        return _refused(
            "the battery's resistance is not known, which decides the voltage under load",
            fit_coverage=held.coverage_ratio,
        )
    curve = _Curve(balances.rated_ah, balances.cells, resistance_ohm)
    by_curve = held.value * curve.v_above(np.array([curve.lowest]))[0]
    by_meter = _by_meter(fit, balances, curve, latest.at_ms)
    off = by_meter / by_curve - 1
    if abs(off) > LARGEST_DIFFERENCE_RATIO:
        return _refused(
            f"measured on the way down it is {off:+.1%} against capacity times voltage; more than "
            f"{LARGEST_DIFFERENCE_RATIO:.0%} means that one of the sensors is wrong",
            fit_coverage=held.coverage_ratio,
            by_curve_wh=by_curve,
            by_meter_wh=by_meter,
        )
    half = by_curve * math.hypot(1 - held.low / held.value, K90 * VOLTAGE_U_RATIO)
    return PackEnergy(
        wh=Estimate(
            value=by_curve,
            low=by_curve - half,
            high=by_curve + half,
            coverage_ratio=held.coverage_ratio,
            method=PACK_ENERGY_METHOD,
        ),
        by_curve_wh=by_curve,
        by_meter_wh=by_meter,
    )


class _Curve:
    """Voltage of the pack at the definition's rate, over the state of charge.

    Attributes
    ----------
    lowest : float
        Where it meets the cut-off. [ratio]
    """

    def __init__(self, rated_ah: float, cells: int, resistance_ohm: float) -> None:
        self._state = np.linspace(0, FULL_STATE, _STEPS + 1)
        self.drop_v_per_a = resistance_ohm * SLOW_RATIO
        self.current_a = RATE_PER_H * rated_ah
        rested = cells * (rest_voltage(self._state) - HALF_HYSTERESIS_V)
        volts = rested - self.current_a * self.drop_v_per_a
        steps = np.diff(self._state) * (volts[1:] + volts[:-1]) / 2
        self._below = np.concatenate([[0.0], np.cumsum(steps)])
        self.lowest = float(np.interp(cells * CUT_OFF_CELL_V, volts, self._state))

    def v_above(self, state: Floats) -> Floats:
        """Return the integral of the voltage from states of charge up to full. [V]"""
        above: Floats = self._below[-1] - np.interp(state, self._state, self._below)
        return above


def _by_meter(fit: CapacityFit, balances: Balances, curve: _Curve, until_ms: int) -> float:
    """Return the median of what the ways down of the last half year say. [Wh]"""
    row = np.flatnonzero((fit.rows.anchor >= 0) & (fit.weight > 0))
    low = balances.full_to_low
    recent = low.low_ms[fit.rows.anchor[row]] >= until_ms - RECENT_DAYS * MS_PER_DAY
    row = row[recent]
    anchor = fit.rows.anchor[row]
    hours, counted_ah = low.hours[anchor], low.drawn_ah[anchor]
    drawn_ah = counted_ah + fit.offset_at(low.low_ms[anchor]) * hours
    drawn_wh = low.drawn_wh[anchor] * drawn_ah / counted_ah
    # They went down more slowly than the definition does, and so at a higher voltage.
    usual_a = np.maximum(-low.slow_a[anchor], drawn_ah / hours)
    drawn_wh -= (curve.current_a - usual_a) * curve.drop_v_per_a * drawn_ah
    state, _ = fit.rows.states(fit.unknowns, fit.value)
    share = curve.v_above(state[row]) / curve.v_above(np.array([curve.lowest]))
    cold = np.maximum(_WARM_C - np.nan_to_num(low.low_c[anchor], nan=_WARM_C), 0.0)
    per_c = fit.value[fit.unknowns.full_cold] + fit.value[fit.unknowns.low_cold] + _COLD_PER_C
    return float(np.median(drawn_wh / share / (1 - per_c * cold)))


def _refused(
    reason: str,
    *,
    fit_coverage: float,
    by_curve_wh: float | None = None,
    by_meter_wh: float | None = None,
) -> PackEnergy:
    return PackEnergy(
        wh=refused(reason, method=PACK_ENERGY_METHOD, coverage_ratio=fit_coverage),
        by_curve_wh=by_curve_wh,
        by_meter_wh=by_meter_wh,
    )

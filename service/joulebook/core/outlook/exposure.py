"""What a battery was exposed to: heat, charging in the cold, time spent full.

Method `exposure-1`, see ``docs/methods/exposure.md``.
"""

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from joulebook.core.estimate import Estimate, refused
from joulebook.core.held import amounts, held
from joulebook.core.history import DAYS_PER_YEAR, MS_PER_HOUR, Floats, Instants, PackHistory
from joulebook.core.outlook.rest_current import REST_A
from joulebook.core.outlook.throughput import OffsetAt
from joulebook.core.spans import Span

METHOD = "exposure-1"

#: How much faster a cell ages for each degree: 1.73 times as fast 10 °C warmer. [1/°C] (our
#: choice, tried on simulated homes; published models of such cells give 1.57 to 1.8)
AGEING_PER_C = 0.055
REFERENCE_C = 25.0
#: A temperature sensor's assumed limit, uniform, and what 90 % of it are. [°C]
SENSOR_LIMIT_C = 1.0
_SENSOR_90_C = 0.9 * SENSOR_LIMIT_C

HOT_C, VERY_HOT_C = 35.0, 45.0
COLD_C, FREEZING_C = 5.0, 0.0
#: A cell at this voltage is at the end of its charge (common practice, no source). [V]
HIGH_CELL_V = 3.40
#: Nearly full: less than this has left since the end of a charge. [of the rated charge]
NEARLY_FULL_RATIO = 0.10
#: After as long as this the counted charge says no more where the battery stands (our choice).
_FULL_KNOWN_MS = 4 * 86_400_000

_HOURS_PER_YEAR = 24 * DAYS_PER_YEAR

Flags = NDArray[np.bool_]


@dataclass(frozen=True, slots=True, kw_only=True)
class Exposure:
    """What a battery was exposed to in a span.

    Attributes
    ----------
    span : Span
        Of what.
    thermal_years : Estimate
        How long it would have taken to age as much at 25 °C, of the measured time only. [years]
    mean_c : Estimate
        Mean temperature. [°C]
    hot_h, very_hot_h : Estimate
        Above 35 °C and above 45 °C. [h]
    cold_charging_h, freezing_charging_h : Estimate
        Charging below 5 °C and below 0 °C. [h]
    high_voltage_h : Estimate
        At 3.40 V a cell or above. [h]
    nearly_full_h : Estimate
        From the end of a charge until a tenth of the rated charge has left. [h]
    """

    span: Span
    thermal_years: Estimate
    mean_c: Estimate
    hot_h: Estimate
    very_hot_h: Estimate
    cold_charging_h: Estimate
    freezing_charging_h: Estimate
    high_voltage_h: Estimate
    nearly_full_h: Estimate


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ThermalCurve:
    """Thermal age by every instant of a record, since its first; gaps age as the rest did.

    Attributes
    ----------
    at_ms : int64 (n,)
        Instants with a temperature. [ms, UTC epoch]
    years : float64 (n,)
        Years at 25 °C that would have aged the battery as much.
    coverage_ratio : float
        Measured share of the record.
    """

    at_ms: Instants
    years: Floats
    coverage_ratio: float

    def years_at(self, instants: Instants) -> Floats:
        """Return the thermal age by given instants, straight lines between readings."""
        if not self.at_ms.size:
            return np.zeros(instants.shape)
        age: Floats = np.interp(instants, self.at_ms, self.years)
        return age


def ageing_speed(temperature_c: Floats) -> Floats:
    """Return how many times as fast a battery ages as at 25 °C.

    Notes
    -----
    ``exp(0.055 · (T - 25))``: 35 °C is 1.733, 15 °C is 0.577.
    """
    speed: Floats = np.exp(AGEING_PER_C * (temperature_c - REFERENCE_C))
    return speed


def thermal_curve(history: PackHistory) -> ThermalCurve:
    """Return the thermal age over a record.

    A break ages at the mean speed of the measured time: for a forecast that is nearer to the
    truth than to count it as nothing.
    """
    there = ~np.isnan(history.temperature_c)
    at_ms, speed = history.at_ms[there], ageing_speed(history.temperature_c[there])
    stands = held(at_ms, step_s=history.step_s)
    after = amounts(speed, stands)
    measured_h, lost_h = float(np.sum(stands.hours)), float(np.sum(stands.lost_h))
    if not measured_h:
        return ThermalCurve(at_ms=at_ms, years=after, coverage_ratio=0.0)
    after += stands.lost_h * (float(np.sum(after)) / measured_h)
    years = np.concatenate([[0.0], np.cumsum(after[:-1])]) / _HOURS_PER_YEAR
    return ThermalCurve(at_ms=at_ms, years=years, coverage_ratio=measured_h / (measured_h + lost_h))


def exposure(history: PackHistory, span: Span, *, offset_at: OffsetAt | None = None) -> Exposure:
    """Return what the battery was exposed to in a span, of the measured time only.

    Parameters
    ----------
    history : PackHistory
        Of the whole record: what was charged before the span tells how full the battery is.
    span : Span
        A year, say, or the whole record.
    offset_at : callable, optional
        What the current sensor shows at no current. [A]
    """
    near = _between(history, span.start_ms - _FULL_KNOWN_MS, span.end_ms)
    amps = near.current_a if offset_at is None else near.current_a - offset_at(near.at_ms)
    first = int(np.searchsorted(near.at_ms, span.start_ms))
    warmth, cell_v = near.temperature_c[first:], near.voltage_v[first:] / near.cells
    warm_known, current_known = ~np.isnan(warmth), ~np.isnan(amps[first:])
    both_known = warm_known & current_known
    charging = amps[first:] > REST_A
    full, full_known = _nearly_full(near, amps)
    part = _Part(_hours_inside(near.at_ms[first:], span, near.step_s), span)
    return Exposure(
        span=span,
        thermal_years=part.thermal_years(warmth, known=warm_known),
        mean_c=part.mean_c(warmth, known=warm_known),
        hot_h=part.beyond(warmth - HOT_C, known=warm_known),
        very_hot_h=part.beyond(warmth - VERY_HOT_C, known=warm_known),
        cold_charging_h=part.beyond(COLD_C - warmth, known=both_known, where=charging),
        freezing_charging_h=part.beyond(FREEZING_C - warmth, known=both_known, where=charging),
        high_voltage_h=part.so(cell_v >= HIGH_CELL_V, known=~np.isnan(cell_v)),
        nearly_full_h=part.so(full[first:], known=full_known[first:]),
    )


def _between(history: PackHistory, start_ms: int, end_ms: int) -> PackHistory:
    part = slice(*np.searchsorted(history.at_ms, [start_ms, end_ms]))
    return replace(
        history,
        at_ms=history.at_ms[part],
        voltage_v=history.voltage_v[part],
        current_a=history.current_a[part],
        temperature_c=history.temperature_c[part],
    )


def _hours_inside(at_ms: Instants, span: Span, step_s: float) -> Floats:
    """Return how long each reading stands, no longer than the span. [h]"""
    hours = held(at_ms, step_s=step_s).hours
    hours[-1:] = np.minimum(hours[-1:], (span.end_ms - at_ms[-1:]) / MS_PER_HOUR)
    return hours


def _nearly_full(history: PackHistory, amps: Floats) -> tuple[Flags, Flags]:
    """Tell where little has left since the end of a charge, and where anything tells.

    The current is counted from there for four days, and never across a break.
    """
    known = ~(np.isnan(amps) | np.isnan(history.voltage_v))
    full, told = np.zeros(amps.size, np.bool_), np.zeros(amps.size, np.bool_)
    at_ms, amps, volts = history.at_ms[known], amps[known], history.voltage_v[known]
    if not at_ms.size:
        return full, told
    stands = held(at_ms, step_s=history.step_s)
    counted = np.concatenate([[0.0], np.cumsum(amounts(amps, stands)[:-1])])
    run = np.concatenate([[0], np.cumsum(stands.broken[:-1])])
    charged = (volts >= HIGH_CELL_V * history.cells) & (amps > -REST_A)
    last = np.maximum.accumulate(np.where(charged, np.arange(at_ms.size), 0))
    # Before the first end of a charge the first reading stands in: it is no such end itself.
    told[known] = charged[last] & (run[last] == run) & (at_ms - at_ms[last] <= _FULL_KNOWN_MS)
    full[known] = counted[last] - counted <= NEARLY_FULL_RATIO * history.rated_ah
    return full & told, told


@dataclass(frozen=True, slots=True)
class _Part:
    """Adds up over the time that readings of a span stand for. [h]"""

    hours: Floats
    span: Span

    def thermal_years(self, warmth: Floats, *, known: Flags) -> Estimate:
        """Return the thermal age; a sensor off by its limit makes all of it longer or shorter."""
        age = float(np.sum(ageing_speed(warmth[known]) * self.hours[known])) / _HOURS_PER_YEAR
        factor = math.exp(AGEING_PER_C * _SENSOR_90_C)
        return self._given(age, age / factor, age * factor, known)

    def mean_c(self, warmth: Floats, *, known: Flags) -> Estimate:
        """Return the mean of a temperature over time. [°C]"""
        seen_h = self._sum(known)
        mean = float(np.sum(warmth[known] * self.hours[known])) / seen_h if seen_h else 0.0
        return self._given(mean, mean - _SENSOR_90_C, mean + _SENSOR_90_C, known)

    def beyond(self, margin_c: Floats, *, known: Flags, where: Flags | None = None) -> Estimate:
        """Return how long a temperature was beyond a limit, by how much it was so. [h]"""
        near = margin_c > -_SENSOR_90_C  # and never where it is NaN
        if where is not None:
            near &= where
        margin, hours = margin_c[near], self.hours[near]
        value, low = (float(np.sum(hours[margin > by])) for by in (0.0, _SENSOR_90_C))
        return self._given(value, low, float(np.sum(hours)), known)

    def so(self, is_so: Flags, *, known: Flags) -> Estimate:
        """Return how long something was so. [h]"""
        value = self._sum(is_so)
        return self._given(value, value, value, known)

    def _sum(self, flags: Flags) -> float:
        return float(np.sum(self.hours[flags]))

    def _given(self, value: float, low: float, high: float, known: Flags) -> Estimate:
        seen_h = self._sum(known)
        if not seen_h:
            return refused("nothing that tells it was measured in this time", method=METHOD)
        return Estimate(
            value=value,
            low=low,
            high=high,
            coverage_ratio=min(seen_h * 3600 / self.span.length_s, 1.0),
            method=METHOD,
        )

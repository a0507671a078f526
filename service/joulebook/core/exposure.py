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
from joulebook.core.spans import Span
from joulebook.core.throughput import REST_A, OffsetAt

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
    inside = near.at_ms >= span.start_ms
    warmth = near.temperature_c[inside]
    cell_v = near.voltage_v[inside] / near.cells
    part = _Part(_hours_inside(near.at_ms[inside], span, near.step_s), span)
    charging = _flag(amps[inside], amps[inside] > REST_A)
    warmer = math.exp(AGEING_PER_C * _SENSOR_90_C)
    return Exposure(
        span=span,
        thermal_years=part.total(ageing_speed(warmth) / _HOURS_PER_YEAR, factor=warmer),
        mean_c=part.mean_c(warmth),
        hot_h=part.beyond(warmth - HOT_C),
        very_hot_h=part.beyond(warmth - VERY_HOT_C),
        cold_charging_h=part.beyond(COLD_C - warmth, where=charging),
        freezing_charging_h=part.beyond(FREEZING_C - warmth, where=charging),
        high_voltage_h=part.total(_flag(cell_v, cell_v >= HIGH_CELL_V)),
        nearly_full_h=part.total(_nearly_full(near, amps)[inside]),
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


def _flag(known: Floats, is_so: NDArray[np.bool_]) -> Floats:
    """Return 1 where it is so, 0 where not, NaN where it is not known."""
    return np.where(np.isnan(known), np.nan, is_so.astype(np.float64))


def _nearly_full(history: PackHistory, amps: Floats) -> Floats:
    """Tell where little has left since the end of a charge; NaN where nothing tells. [0 or 1]

    The current is counted from there for four days, and never across a break.
    """
    known = ~(np.isnan(amps) | np.isnan(history.voltage_v))
    flag = np.full(amps.size, np.nan)
    at_ms, amps, volts = history.at_ms[known], amps[known], history.voltage_v[known]
    if not at_ms.size:
        return flag
    stands = held(at_ms, step_s=history.step_s)
    counted = np.concatenate([[0.0], np.cumsum(amounts(amps, stands)[:-1])])
    run = np.concatenate([[0], np.cumsum(stands.broken[:-1])])
    full = (volts >= HIGH_CELL_V * history.cells) & (amps > -REST_A)
    last = np.maximum.accumulate(np.where(full, np.arange(at_ms.size), -1))
    told = (last >= 0) & (run[last] == run) & (at_ms - at_ms[last] <= _FULL_KNOWN_MS)
    near = counted[last] - counted <= NEARLY_FULL_RATIO * history.rated_ah
    flag[known] = np.where(told, near.astype(np.float64), np.nan)
    return flag


@dataclass(frozen=True, slots=True)
class _Part:
    """Adds up over the time that readings stand for; NaN is time that was not measured."""

    hours: Floats
    span: Span

    def total(self, value: Floats, *, factor: float = 1.0) -> Estimate:
        """Return the sum of a value over time, its interval from a factor of either side."""
        return self._given(
            self._sum(value), self._sum(value) / factor, self._sum(value) * factor, value
        )

    def mean_c(self, warmth: Floats) -> Estimate:
        """Return the mean of a temperature over time. [°C]"""
        hours = self._sum(np.where(np.isnan(warmth), np.nan, 1.0))
        mean = self._sum(warmth) / hours if hours else 0.0
        return self._given(mean, mean - _SENSOR_90_C, mean + _SENSOR_90_C, warmth)

    def beyond(self, margin_c: Floats, *, where: Floats | None = None) -> Estimate:
        """Return how long a temperature was beyond a limit, by how much it was so. [h]"""
        also = np.ones(margin_c.size) if where is None else where
        value, low, high = (
            self._sum(_flag(margin_c, margin_c > by) * also)
            for by in (0.0, _SENSOR_90_C, -_SENSOR_90_C)
        )
        return self._given(value, low, high, margin_c + also)

    def _sum(self, value: Floats) -> float:
        return float(np.nansum(value * self.hours))

    def _given(self, value: float, low: float, high: float, known: Floats) -> Estimate:
        seen_h = float(np.sum(self.hours[~np.isnan(known)]))
        if not seen_h:
            return refused("nothing that tells it was measured in this time", method=METHOD)
        return Estimate(
            value=value,
            low=low,
            high=high,
            coverage_ratio=min(seen_h * 3600 / self.span.length_s, 1.0),
            method=METHOD,
        )

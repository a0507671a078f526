"""How a battery was used so far, and how it will be.

Part of method `forecast-1`, see ``docs/methods/forecast.md``.
"""

import math
from dataclasses import dataclass, replace

import numpy as np

from joulebook.core.history import DAYS_PER_YEAR, MS_PER_DAY, Floats, Instants
from joulebook.core.outlook.exposure import AGEING_PER_C, ThermalCurve
from joulebook.core.outlook.throughput import ThroughputCurve

_MS_PER_YEAR = MS_PER_DAY * DAYS_PER_YEAR
_STEP_YEARS = 1 / 24


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class UsageHistory:
    """Ages by time, and how fast they go on.

    Attributes
    ----------
    start_ms : int
        First reading of the record; times count from here. [ms, UTC epoch]
    years : float64 (m,)
        Increasing from 0 to the record's end.
    thermal_years, efc : float64 (m,)
        Years at 25 °C that age as much, and equivalent full cycles, since the record's start.
    discharge_wh : float
        Energy given out since the record's start. [Wh]
    thermal_rate, efc_rate, discharge_rate_wh : float
        Of each in a year: the last one, or all there is. [1/year, 1/year, Wh/year]
    before_years, before_thermal_years, before_efc, before_wh : float
        How long the battery was in use before the record, and what is taken to have been then:
        as much a year as in it.
    coverage_ratio : float
        Share of the record with both temperature and current.
    """

    start_ms: int
    years: Floats
    thermal_years: Floats
    efc: Floats
    discharge_wh: float
    thermal_rate: float
    efc_rate: float
    discharge_rate_wh: float
    before_years: float
    before_thermal_years: float
    before_efc: float
    before_wh: float
    coverage_ratio: float

    @property
    def record_years(self) -> float:
        """How long the record is. [years]"""
        return float(self.years[-1])

    def ages_at(self, years: Floats) -> tuple[Floats, Floats]:
        """Return thermal age and cycles since new at times inside the record."""
        thermal = np.interp(years, self.years, self.thermal_years)
        efc = np.interp(years, self.years, self.efc)
        return self.before_thermal_years + thermal, self.before_efc + efc

    def at_ms(self, years: float) -> int:
        """Return the instant that lies so many years after the record's start."""
        return self.start_ms + round(years * _MS_PER_YEAR)

    def years_at(self, at_ms: int) -> float:
        """Return how many years an instant lies after the record's start."""
        return (at_ms - self.start_ms) / _MS_PER_YEAR


def usage_history(
    thermal: ThermalCurve,
    through: ThroughputCurve,
    *,
    start_ms: int,
    end_ms: int,
    installed_ms: int | None = None,
) -> UsageHistory:
    """Return how a battery was used over a record.

    Parameters
    ----------
    thermal, through : ThermalCurve, ThroughputCurve
        Of the record. Time that nothing measured is taken to have been like the rest.
    start_ms, end_ms : int
        The record. [ms, UTC epoch]
    installed_ms : int, optional
        When the battery was put to use; the record's start where nobody says, or later.

    Raises
    ------
    ValueError
        If the record does not end after it starts.
    """
    if not end_ms > start_ms:
        raise ValueError("a record must end after it starts")
    whole = (end_ms - start_ms) / _MS_PER_YEAR
    years = np.linspace(0, whole, max(math.ceil(whole / _STEP_YEARS), 1) + 1)
    instants: Instants = start_ms + np.round(years * _MS_PER_YEAR).astype(np.int64)
    seen_h = through.in_h + through.out_h + through.rest_h + through.filled_h
    grown = 1 + through.lost_h / seen_h if seen_h else 1.0
    age, efc = thermal.years_at(instants), grown * through.efc_at(instants)
    energy_wh = grown * through.discharge_wh_at(instants)
    last = max(whole - 1, 0.0)
    rates = [
        float(total[-1] - np.interp(last, years, total)) / (whole - last)
        for total in (age, efc, energy_wh)
    ]
    before_ms = 0 if installed_ms is None else max(start_ms - installed_ms, 0)
    before = before_ms / _MS_PER_YEAR
    return UsageHistory(
        start_ms=start_ms,
        years=years,
        thermal_years=age,
        efc=efc,
        discharge_wh=float(energy_wh[-1]),
        thermal_rate=rates[0],
        efc_rate=rates[1],
        discharge_rate_wh=rates[2],
        before_years=before,
        before_thermal_years=before * rates[0],
        before_efc=before * rates[1],
        before_wh=before * rates[2],
        coverage_ratio=min(thermal.coverage_ratio, 1 / grown if seen_h else 0.0),
    )


def changed(usage: UsageHistory, *, cooler_c: float = 0.0, use_ratio: float = 1.0) -> UsageHistory:
    """Return the same past with another future.

    Parameters
    ----------
    cooler_c : float
        How much cooler the battery is from now on. [°C]
    use_ratio : float
        How much of today's throughput goes on.

    Raises
    ------
    ValueError
        If the share of use is below zero.

    Notes
    -----
    5 °C cooler ages exp(-0.055 · 5) = 0.760 times as fast.
    """
    if not use_ratio >= 0:
        raise ValueError(f"the share of use must not be below zero, as {use_ratio} is")
    return replace(
        usage,
        thermal_rate=usage.thermal_rate * math.exp(-AGEING_PER_C * cooler_c),
        efc_rate=usage.efc_rate * use_ratio,
        discharge_rate_wh=usage.discharge_rate_wh * use_ratio,
    )

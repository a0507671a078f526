"""What is true of a home: known here, and nowhere in its readings."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from joulebook.core.history import DAYS_PER_YEAR, MS_PER_DAY, Floats, Instants
from tests.helpers.homes.ageing import Ageing
from tests.helpers.homes.spec import HomeSpec
from tests.helpers.homes.weather import season, spells

#: Years from the start of which the capacity is told.
YEARS_TOLD = 15
_STRIDE_DAYS = 3


@dataclass(frozen=True, kw_only=True)
class DailyTruth:
    """One row a day, over the record; each of shape (days,)."""

    capacity_ah: Floats
    efc: Floats
    temperature_c: Floats
    x: Floats
    lowest_x: Floats
    highest_x: Floats
    cycles: Floats
    depth: Floats
    offset_a: Floats


@dataclass(frozen=True, kw_only=True)
class Truth:
    """What is true of one home.

    Attributes
    ----------
    start_ms : int
        First instant. [ms, UTC epoch]
    daily : DailyTruth
        Over the record.
    yearly_ah : float64 (16,)
        Capacity at 0, 1, … 15 years from the start, the future by the home's own ageing.
    full_ms : int64 (fulls,)
        When the pack became full. [ms, UTC epoch]
    full_charge_wh, full_discharge_wh : float64 (fulls,)
        Energy at the terminals taken in and given by then.
    resistance_new_ohm, resistance_per_c, resistance_per_loss : float
        Ohmic, new and at 25 °C; exponent for each degree colder; growth for each unit lost.
    """

    spec: HomeSpec
    start_ms: int
    daily: DailyTruth
    yearly_ah: Floats
    full_ms: Instants
    full_charge_wh: Floats
    full_discharge_wh: Floats

    def _on_day(self, at_first: float, values: Floats, at_ms: float) -> float:
        """Return a value between the ends of days, which the rows hold."""
        days = (at_ms - self.start_ms) / MS_PER_DAY
        return float(np.interp(days, np.arange(values.size + 1), np.append(at_first, values)))

    def capacity_ah(self, at_ms: float) -> float:
        """Return the charge from full, taper done, to empty, slowly and at 25 °C."""
        pack = self.spec.pack
        return self._on_day(pack.rated_ah * pack.start_ratio, self.daily.capacity_ah, at_ms)

    def soh(self, at_ms: float) -> float:
        """Return the capacity as a ratio of the rated one."""
        return self.capacity_ah(at_ms) / self.spec.pack.rated_ah

    def fade_per_year(self, from_ms: float, to_ms: float) -> float:
        """Return the mean loss a year between two instants, of the capacity at the first."""
        first, last = self.capacity_ah(from_ms), self.capacity_ah(to_ms)
        years = (to_ms - from_ms) / (MS_PER_DAY * DAYS_PER_YEAR)
        return (1 - last / first) / years

    def fade_line(self, from_ms: float, to_ms: float) -> float:
        """Return the slope of the best straight line through the capacity, a year, loss positive.

        Of the capacity at the first instant; days weigh alike.
        """
        first, last = ((ms - self.start_ms) / MS_PER_DAY for ms in (from_ms, to_ms))
        ah = self.daily.capacity_ah[int(first) : max(int(last), int(first) + 2)]
        slope = np.polyfit(np.arange(ah.size) / DAYS_PER_YEAR, ah, 1)[0]
        return -float(slope) / self.capacity_ah(from_ms)

    @property
    def ten_year_of_rated(self) -> float:
        """Capacity ten years from the start, as a ratio of the rated one."""
        return float(self.yearly_ah[10]) / self.spec.pack.rated_ah

    @property
    def ten_year_of_start(self) -> float:
        """Capacity ten years from the start, as a ratio of that at the start."""
        return float(self.yearly_ah[10] / self.yearly_ah[0])

    def efc(self, at_ms: float) -> float:
        """Return the true charge moved by then over twice the rated one."""
        return self._on_day(0.0, self.daily.efc, at_ms)

    def offset_a(self, at_ms: float) -> float:
        """Return the current sensor's offset then, at 25 °C."""
        return self._on_day(self.spec.sensor.offset_a, self.daily.offset_a, at_ms)

    def round_trip_ratio(self, from_ms: float, to_ms: float) -> float | None:
        """Return energy out over energy in from the first to the last full charge of a window.

        ``None`` with fewer than three full charges in it.
        """
        inside = np.flatnonzero((self.full_ms >= from_ms) & (self.full_ms < to_ms))
        if inside.size < 3:
            return None
        first, last = inside[0], inside[-1]
        out = self.full_discharge_wh[last] - self.full_discharge_wh[first]
        return float(out / (self.full_charge_wh[last] - self.full_charge_wh[first]))

    def resistance_ohm(self, temperature_c: float, years: float) -> float:
        """Return the ohmic resistance in the middle of the charge, ``years`` from the start."""
        pack = self.spec.pack
        at_ms = self.start_ms + years * DAYS_PER_YEAR * MS_PER_DAY
        loss = 1 - self.capacity_ah(at_ms) / (pack.rated_ah * pack.start_ratio)
        cold = max(25 - temperature_c, 0.0)
        grown = 1 + pack.resistance_per_loss * loss
        return float(pack.resistance_ohm * grown * np.exp(pack.resistance_per_c * cold))


def project(
    specs: Sequence[HomeSpec], ageing: Ageing, daily: Sequence[DailyTruth]
) -> NDArray[np.float64]:
    """Return capacities at each whole year from the start, shape (homes, YEARS_TOLD + 1).

    The past is the record's; then each day is one of the same season in the record, with the
    weather and the use of its own year.
    """
    days = len(daily[0].x)
    seeds = [np.random.default_rng((spec.seed, 4)) for spec in specs]
    end = int(YEARS_TOLD * DAYS_PER_YEAR) + 2
    warm = np.array([spells(rng, end // 365 + 2, 0.0, 0.3) * 0.5 for rng in seeds])
    busy = np.array([np.exp(spells(rng, end // 365 + 2, 0.0, 0.5) * 0.05) for rng in seeds])
    table = {
        name: np.array([getattr(truth, name) for truth in daily])
        for name in ("temperature_c", "x", "cycles", "depth")
    }
    whole_years = int(days / DAYS_PER_YEAR)
    left = np.empty((len(specs), end + 1))
    new_ah = np.array([spec.pack.rated_ah * spec.pack.start_ratio for spec in specs])
    left[:, 0] = new_ah
    left[:, 1 : days + 1] = np.array([truth.capacity_ah for truth in daily])
    going_on = ageing.copy()
    for day in range(days, end, _STRIDE_DAYS):
        year = day // 365
        rows = {name: _of_season(values, day, whole_years) for name, values in table.items()}
        temperature_c = rows["temperature_c"] + warm[:, year]
        if not whole_years:
            temperature_c += _season_shift(specs, day, days)
        going_on.advance(
            years=_STRIDE_DAYS / DAYS_PER_YEAR, temperature_c=temperature_c, x=rows["x"],
            cycles=rows["cycles"] * busy[:, year] * _STRIDE_DAYS, depth=rows["depth"],
        )  # fmt: skip
        left[:, day + 1 : day + 1 + _STRIDE_DAYS] = (new_ah * (1 - going_on.loss))[:, None]
    at = np.round(np.arange(YEARS_TOLD + 1) * DAYS_PER_YEAR).astype(int)
    return left[:, at]


def _of_season(values: Floats, day: int, whole_years: int) -> Floats:
    """Return the mean of the same days of the record's years; of all of it if under one year."""
    if not whole_years:
        mean: Floats = values.mean(axis=1)
        return mean
    past = [int(day % DAYS_PER_YEAR + year * DAYS_PER_YEAR) for year in range(whole_years)]
    same: Floats = values[:, [min(p, values.shape[1] - 1) for p in past]].mean(axis=1)
    return same


def _season_shift(specs: Sequence[HomeSpec], day: int, days: int) -> Floats:
    """Return how much warmer a day's season is than the mean of a short record's. [°C]"""
    swing = np.array([(1 - s.place.room_ratio) * s.place.season_c for s in specs])
    south = np.array([np.sign(s.place.latitude_deg) for s in specs])
    mean = season(np.arange(days, dtype=float), 1.0).mean()
    shift: Floats = swing * south * (season(np.array([float(day)]), 1.0)[0] - mean)
    return shift

"""Charge balances of packs whose truth is stated, built forward from the cell and not from the fit.

A low anchor is a true state on the home's own curve; what the service would read of it comes from
that curve, its own noise, and the generic curve read backwards.
"""

from dataclasses import dataclass, fields, replace
from typing import Any

import numpy as np

from joulebook.core.battery.balances import Balances, FullToFull, FullToLow, LowToFull
from joulebook.core.history import DAYS_PER_YEAR, MS_PER_DAY, Floats, Instants
from tests.helpers.homes.cell import smooth_through

START_MS = 1_700_000_000_000
FULL = 0.998
# Common practice of the trade, no source: volts of a resting cell by its state of charge.
_POINTS_X = (0, 0.02, 0.05, 0.10, 0.15, 0.20, 0.25, 0.30, 0.40, 0.50)
_POINTS_V = (2.72, 2.96, 3.11, 3.20, 3.227, 3.252, 3.270, 3.284, 3.294, 3.299)
_STATES = np.linspace(0, 0.4, 801)
_VOLTS = smooth_through(_POINTS_X, _POINTS_V, _STATES)


def years(at_ms: Instants) -> Floats:
    """Return how long after the start of the records instants are. [years]"""
    since: Floats = (at_ms - START_MS) / (MS_PER_DAY * DAYS_PER_YEAR)
    return since


@dataclass(frozen=True, kw_only=True)
class Truth:
    """One pack, its sensor and its use.

    Attributes
    ----------
    loss_a, loss_power : float
        Lost after ``y`` years: ``loss_a · y**loss_power`` of the first capacity.
    lithium : float
        1 where what is left below an anchor is a fixed charge, 0 where it is a fixed share.
    reserve, reserve_spread : float
        Where discharge ends, true state of charge.
    low_ratio, full_ratio : float
        Share of days that go down to it; share of the full charges that are seen.
    offset_a, offset_season_a, gain : float
        Of the current sensor.
    curve_v, anchor_v, slow : float
        Error of the generic curve (one standard deviation), noise of an anchor's cell voltage, and
        slow polarisation left in it, in resistances.
    """

    years: float = 3.0
    rated_ah: float = 200.0
    cells: int = 16
    start_ratio: float = 1.02
    loss_a: float = 0.025
    loss_power: float = 0.7
    lithium: float = 0.4
    reserve: float = 0.10
    reserve_spread: float = 0.02
    low_ratio: float = 0.5
    full_ratio: float = 1.0
    offset_a: float = 0.1
    offset_season_a: float = 0.02
    gain: float = 1.0
    charge_loss: float = 0.003
    full_cold: float = 0.001
    low_cold: float = 0.0015
    mean_c: float = 15.0
    season_c: float = 10.0
    curve_v: float = 0.006
    anchor_v: float = 0.0015
    slow: float = 0.0
    count_ah: float = 0.25
    seed: int = 1

    def capacity_ah(self, years: Floats) -> Floats:
        """Return what the pack truly holds at 25 °C. [Ah]"""
        left = 1 - self.loss_a * np.asarray(years) ** self.loss_power
        held: Floats = self.rated_ah * self.start_ratio * left
        return held

    def offset_at(self, years: Floats) -> Floats:
        """Return what the sensor reads when nothing flows. [A]"""
        offset: Floats = self.offset_a + self.offset_season_a * np.sin(2 * np.pi * years)
        return offset

    def temperature_c(self, years: Floats) -> Floats:
        """Return how warm the pack is. [°C]"""
        warm: Floats = self.mean_c - self.season_c * np.cos(2 * np.pi * years)
        return warm


def _cold(temperature_c: Floats) -> Floats:
    cold: Floats = np.maximum(25 - temperature_c, 0)
    return cold


def _ms(days: Floats) -> Instants:
    return START_MS + np.round(days * MS_PER_DAY).astype(np.int64)


def balances(truth: Truth) -> Balances:
    """Return what the service would know: a full charge each evening, a low on some mornings."""
    rng = np.random.default_rng(truth.seed)
    count = round(truth.years * DAYS_PER_YEAR)
    day = np.arange(count, dtype=np.float64)
    full_d, low_d, next_d = day, day + 0.55, day + 0.95
    seen = rng.random(count) < truth.full_ratio
    goes_low = rng.random(count) < truth.low_ratio
    years = low_d / DAYS_PER_YEAR
    capacity, offset = truth.capacity_ah(years), truth.offset_at(years)
    full_c, low_c = (truth.temperature_c(at / DAYS_PER_YEAR) for at in (full_d, low_d))
    next_c = truth.temperature_c(next_d / DAYS_PER_YEAR)
    down_h, up_h = (low_d - full_d) * 24, (next_d - low_d) * 24

    # The state on the home's own curve: of the first capacity where lithium is lost.
    state = np.clip(truth.reserve + truth.reserve_spread * rng.standard_normal(count), 0.01, 0.35)
    first = truth.capacity_ah(np.zeros(1))[0]
    left_ah = state * (truth.lithium * first + (1 - truth.lithium) * capacity)
    out_ah = (
        capacity * (FULL - truth.full_cold * _cold(full_c) - truth.low_cold * _cold(low_c))
        - left_ah
    )
    back_ah = out_ah - capacity * truth.full_cold * (_cold(next_c) - _cold(full_c))
    put_in_ah = back_ah / (1 - truth.charge_loss)

    current = -rng.uniform(0.02, 0.08, count) * truth.rated_ah
    resistance = np.full(count, 0.014) * np.exp(0.012 * _cold(low_c))
    states = np.linspace(0, 0.4, 9)  # knots of this home's own error
    alike = np.exp(-(((states[:, None] - states[None, :]) / 0.1) ** 2) / 2) + 1e-6 * np.eye(9)
    error = truth.curve_v * np.linalg.cholesky(alike) @ rng.standard_normal(9)
    cell_v = (
        np.interp(state, _STATES, _VOLTS)
        + np.interp(state, states, error)
        + truth.slow * resistance * current / truth.cells
        + truth.anchor_v * rng.standard_normal(count)
    )
    x_low = np.interp(cell_v, _VOLTS, _STATES)
    slope = _slope(x_low)
    noise = truth.count_ah * rng.standard_normal((2, count))
    drawn = truth.gain * out_ah - offset * down_h + noise[0]
    returned = truth.gain * put_in_ah + offset * up_h + noise[1]
    charged = truth.gain * put_in_ah

    # An anchor counts where the full charge before it was seen, and the curve is steep there.
    shown = np.flatnonzero(goes_low & seen & (x_low <= 0.18) & (slope >= 0.3))
    after = np.concatenate([seen[1:], [False]])
    returns = np.flatnonzero(after[shown])
    whole = np.flatnonzero(seen & after)
    gone = np.where(goes_low, 1.0, 0.5)  # other days go down half as far
    return Balances(
        start_ms=START_MS,
        end_ms=int(_ms(np.array([float(count)]))[0]),
        rated_ah=truth.rated_ah,
        cells=truth.cells,
        full_to_full=FullToFull(
            from_ms=_ms(full_d[whole]),
            to_ms=_ms(next_d[whole]),
            hours=(down_h + up_h)[whole],
            change_ah=(
                gone * (truth.gain * (put_in_ah - out_ah))
                + offset * (down_h + up_h)
                + noise[0]
                + noise[1]
            )[whole],
            charged_ah=(gone * charged)[whole],
            from_c=full_c[whole],
            to_c=next_c[whole],
        ),
        full_to_low=FullToLow(
            full_ms=_ms(full_d[shown]),
            low_ms=_ms(low_d[shown]),
            hours=down_h[shown],
            drawn_ah=drawn[shown],
            charged_ah=np.zeros(shown.size),
            drawn_wh=drawn[shown] * truth.cells * 3.25,
            cell_v=cell_v[shown],
            x_low=x_low[shown],
            slope_v=slope[shown],
            current_a=current[shown],
            slow_a=current[shown],
            resistance_ohm=resistance[shown],
            full_c=full_c[shown],
            low_c=low_c[shown],
        ),
        low_to_full=LowToFull(
            low=returns,
            full_ms=_ms(next_d[shown][returns]),
            hours=up_h[shown][returns],
            returned_ah=returned[shown][returns],
            charged_ah=charged[shown][returns],
            full_c=next_c[shown][returns],
        ),
    )


def _slope(x: Floats) -> Floats:
    low, high = np.clip(x - 0.01, 0, 0.38), np.clip(x + 0.01, 0.02, 0.4)
    rise: Floats = (np.interp(high, _STATES, _VOLTS) - np.interp(low, _STATES, _VOLTS)) / (
        high - low
    )
    return rise


def first_days(whole: Balances, days: float) -> Balances:
    """Return what was known after so many days."""
    end_ms = START_MS + round(days * MS_PER_DAY)
    low = np.flatnonzero(whole.full_to_low.low_ms < end_ms)
    back = np.flatnonzero(whole.low_to_full.full_ms < end_ms)
    full = np.flatnonzero(whole.full_to_full.to_ms < end_ms)
    return replace(
        whole,
        end_ms=end_ms,
        full_to_full=FullToFull(**_rows(whole.full_to_full, full)),
        full_to_low=FullToLow(**_rows(whole.full_to_low, low)),
        low_to_full=LowToFull(**_rows(whole.low_to_full, back)),
    )


def _rows(columns: FullToFull | FullToLow | LowToFull, rows: Instants) -> dict[str, Any]:
    return {each.name: getattr(columns, each.name)[rows] for each in fields(columns)}

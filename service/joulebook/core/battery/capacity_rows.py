"""The charge balances of a record as equations of the capacity, with their uncertainty.

A balance from full to low and the one from that low to the next full share the error of the low
anchor, and their difference is free of it. So they enter as their mean, which tells the capacity
and hardly the offset, and as their difference, which tells the offset and hardly the capacity.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from joulebook.core.battery.balances import Balances, FullToLow
from joulebook.core.battery.capacity_knots import (
    CURVE_AT,
    Unknowns,
    between_knots,
    capacity_shares,
    offset_shares,
)
from joulebook.core.battery.rest_voltage import FULL_STATE, slope_at, state_at
from joulebook.core.history import Floats, Instants

#: Below this the voltage tells less charge from a full pack, per °C. [°C]
WARM_C = 25.0

#: Of a closing, and of one way; of the rated charge. Their scale is found from the rows.
_CLOSING_U, _COUNT_U = 0.00175, 0.0015
_ANCHOR_U_V = 0.0015  # of a cell: its rest voltage at an anchor
_SLOW_U, _OHMIC_U = 0.3, 0.04  # in resistances times the slow and the present current
#: Where no temperature was read: what is taken for it, and how wrong that may be. [°C]
_UNREAD_C, _UNREAD_U_C = 15.0, 8.0
_COLD_PER_C = 0.0015  # of the capacity, for the uncertainty of an unread temperature alone

#: Numbers of the two groups of rows, each with its own scale.
CLOSINGS, ANCHORS = 0, 1


@dataclass(frozen=True, slots=True, kw_only=True)
class ChargeRows:
    """Equations in Ah; one row for each closing and each low anchor.

    A row says ``change = capacity · span - kept · below · fallen + loss · charged + offset ·
    hours``. The span is from the low state to full at an anchor, and at a closing zero but for
    the temperature; ``fallen`` is by how much the capacity is below its first.

    Attributes
    ----------
    anchor : int64 (m,)
        Which row of the full-to-low balances it belongs to; -1 for a closing.
    change_ah, sigma_ah : float64 (m,)
        What was counted, and its standard deviation. [Ah]
    capacity, offset : float64 (m, k), (m, b)
        Shares of the knots.
    hours, charged_ah : float64 (m,)
        What the offset and the loss are multiplied with. [h], [Ah]
    cell_v : float64 (m,)
        Rest voltage of a cell at the anchor; infinite for a closing, from full to full. [V]
    curve : float64 (m, c)
        Shares of the curve's errors in it.
    slow_v, full_cold, low_cold : float64 (m,)
        What these unknowns are multiplied with, in the voltage and in the span. [V], [°C], [°C]
    """

    anchor: Instants
    change_ah: Floats
    sigma_ah: Floats
    capacity: Floats
    offset: Floats
    hours: Floats
    charged_ah: Floats
    cell_v: Floats
    curve: Floats
    slow_v: Floats
    full_cold: Floats
    low_cold: Floats

    @property
    def group(self) -> Instants:
        """`CLOSINGS` or `ANCHORS`, shape (m,)."""
        return np.where(self.anchor < 0, CLOSINGS, ANCHORS)

    def states(self, unknowns: Unknowns, value: Floats) -> tuple[Floats, Floats]:
        """Return the state of charge at each anchor, all errors taken off, and the slope. [V]

        At a closing it is full, and the slope is infinite: no voltage moves it.
        """
        low = self.anchor >= 0
        error_v = (
            self.curve @ value[unknowns.curve]
            + self.capacity @ value[unknowns.shared]
            + self.slow_v * value[unknowns.slow]
        )
        state, slope = np.full(low.size, FULL_STATE), np.full(low.size, np.inf)
        state[low] = state_at((self.cell_v - error_v)[low])
        slope[low] = slope_at(state[low])
        return state, slope

    def equations(self, unknowns: Unknowns, value: Floats) -> tuple[Floats, Floats]:
        """Return what is left of the rows at some unknowns (m,), and their derivatives (m, n).

        With a fixed charge below the anchor (``kept_below`` 1) a fade of the pack is seen in
        full above it; with a fixed share (0) only in proportion.
        """
        knots = value[unknowns.capacity]
        capacity_ah = self.capacity @ knots
        kept = float(value[unknowns.kept_below])
        state, slope = self.states(unknowns, value)
        below = np.where(self.anchor < 0, 0.0, state)
        span = (
            FULL_STATE
            - state
            + self.full_cold * value[unknowns.full_cold]
            + self.low_cold * value[unknowns.low_cold]
        )
        fallen_ah = knots[0] - capacity_ah
        expected = (
            capacity_ah * span
            - kept * below * fallen_ah
            + self.hours * (self.offset @ value[unknowns.offset])
            + self.charged_ah * value[unknowns.loss]
        )
        per_v = (capacity_ah + kept * fallen_ah) / slope
        slopes = np.zeros((self.change_ah.size, value.size))
        slopes[:, unknowns.capacity] = (span + kept * below)[:, None] * self.capacity
        slopes[:, 0] -= kept * below
        slopes[:, unknowns.offset] = self.hours[:, None] * self.offset
        slopes[:, unknowns.curve] = per_v[:, None] * self.curve
        slopes[:, unknowns.shared] = per_v[:, None] * self.capacity
        slopes[:, unknowns.slow] = per_v * self.slow_v
        slopes[:, unknowns.loss] = self.charged_ah
        slopes[:, unknowns.full_cold] = capacity_ah * self.full_cold
        slopes[:, unknowns.low_cold] = capacity_ah * self.low_cold
        slopes[:, unknowns.kept_below] = -below * fallen_ah
        return self.change_ah - expected, slopes


def charge_rows(balances: Balances, unknowns: Unknowns) -> ChargeRows:
    """Return all equations that the unknowns are fitted to.

    Left out are balances across a free step of the offset, and low anchors from before the
    capacity's first knot.
    """
    parts = [_closings(balances, unknowns), _anchors(balances, unknowns)]
    return ChargeRows(
        **{
            name: np.concatenate([getattr(part, name) for part in parts])
            for name in ChargeRows.__dataclass_fields__
        }
    )


def _closings(balances: Balances, unknowns: Unknowns) -> ChargeRows:
    """From full to full directly, and through a low anchor where that is not there."""
    direct, low, back = balances.full_to_full, balances.full_to_low, balances.low_to_full
    extra = ~np.isin(low.full_ms[back.low], direct.from_ms)
    out, back_at = back.low[extra], np.flatnonzero(extra)
    from_ms = np.concatenate([direct.from_ms, low.full_ms[out]])
    to_ms = np.concatenate([direct.to_ms, back.full_ms[back_at]])
    hours = np.concatenate([direct.hours, low.hours[out] + back.hours[back_at]])
    change = np.concatenate([direct.change_ah, back.returned_ah[back_at] - low.drawn_ah[out]])
    charged = np.concatenate([direct.charged_ah, low.charged_ah[out] + back.charged_ah[back_at]])
    from_cold, from_u = _cold(np.concatenate([direct.from_c, low.full_c[out]]))
    to_cold, to_u = _cold(np.concatenate([direct.to_c, back.full_c[back_at]]))
    sigma = np.hypot(
        _CLOSING_U * unknowns.rated_ah * np.sqrt(1 + hours / 24),
        unknowns.rated_ah * _COLD_PER_C * np.hypot(from_u, to_u),
    )
    kept = ~_across(unknowns.steps_ms, from_ms, to_ms)
    none = np.zeros(int(np.count_nonzero(kept)))
    middle_ms = from_ms + (to_ms - from_ms) // 2
    return ChargeRows(
        anchor=np.full(none.size, -1),
        change_ah=change[kept],
        sigma_ah=sigma[kept],
        capacity=capacity_shares(unknowns, middle_ms[kept]),
        offset=offset_shares(unknowns, middle_ms[kept]),
        hours=hours[kept],
        charged_ah=charged[kept],
        cell_v=np.full(none.size, np.inf),
        curve=np.zeros((none.size, CURVE_AT.size)),
        slow_v=none,
        full_cold=(from_cold - to_cold)[kept],
        low_cold=none,
    )


def _anchors(balances: Balances, unknowns: Unknowns) -> ChargeRows:
    """One row for each low anchor: the mean of the ways down and up, or the way down alone."""
    low = balances.full_to_low
    row = np.flatnonzero(
        (low.full_ms >= unknowns.capacity_ms[0])
        & ~_across(unknowns.steps_ms, low.full_ms, low.low_ms)
    )
    full_cold, full_u = _cold(low.full_c)
    low_cold, low_u = _cold(low.low_c)
    down = np.stack([low.drawn_ah, -low.hours, -low.charged_ah, -full_cold], axis=1)
    ways, share = _both_ways(down, balances, unknowns)
    anchor_u = unknowns.rated_ah * _anchor_u_v(low, balances.cells) / low.slope_v
    unread_u = unknowns.rated_ah * _COLD_PER_C * np.hypot(full_u, low_u)
    sigma = np.sqrt(anchor_u**2 + unread_u**2 + (_COUNT_U * unknowns.rated_ah) ** 2 * share)
    return ChargeRows(
        anchor=row,
        change_ah=ways[row, 0],
        sigma_ah=sigma[row],
        capacity=capacity_shares(unknowns, low.low_ms[row]),
        offset=offset_shares(unknowns, low.low_ms[row]),
        hours=ways[row, 1],
        charged_ah=ways[row, 2],
        cell_v=low.cell_v[row],
        curve=between_knots(CURVE_AT, low.x_low[row]),
        slow_v=(low.resistance_ohm * low.slow_a)[row] / balances.cells,
        full_cold=ways[row, 3],
        low_cold=-low_cold[row],
    )


def _both_ways(down: Floats, balances: Balances, unknowns: Unknowns) -> tuple[Floats, Floats]:
    """Return the mean (n, 4) of the ways down and up, and the share (n,) of the way down in it."""
    low, back = balances.full_to_low, balances.low_to_full
    used = ~_across(unknowns.steps_ms, low.low_ms[back.low], back.full_ms)
    cold, _ = _cold(back.full_c)
    up = np.stack([back.returned_ah, back.hours, back.charged_ah, -cold], axis=1)[used]
    mean, share = down.copy(), np.ones(low.low_ms.size)
    mean[back.low[used]] = (down[back.low[used]] + up) / 2
    share[back.low[used]] = 0.5
    return mean, share


def _anchor_u_v(low: FullToLow, cells: int) -> Floats:
    """Return the standard deviation of a cell's rest voltage at the anchors. [V]"""
    drop = low.resistance_ohm / cells
    variance: Floats = (
        _ANCHOR_U_V**2 + (_SLOW_U * drop * low.slow_a) ** 2 + (_OHMIC_U * drop * low.current_a) ** 2
    )
    return np.sqrt(variance)


def _cold(temperature_c: Floats) -> tuple[Floats, Floats]:
    """Return how far below warm it was, and the uncertainty of that. [°C]"""
    unread = np.isnan(temperature_c)
    known = np.where(unread, _UNREAD_C, temperature_c)
    return np.maximum(WARM_C - known, 0.0), np.where(unread, _UNREAD_U_C, 0.0)


def _across(steps_ms: Instants, from_ms: Instants, to_ms: Instants) -> NDArray[np.bool_]:
    before, after = (np.searchsorted(steps_ms, each, side="right") for each in (from_ms, to_ms))
    across: NDArray[np.bool_] = before != after
    return across

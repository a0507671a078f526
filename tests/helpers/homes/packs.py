"""Many packs at once, one step after another: charge, voltage, polarisation, heat.

Everything is an array over homes, and results go into rows handed in: the loop over time is
Python's, so that each step must be a few dozen numpy calls and no more.
"""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from joulebook.core.history import Floats
from tests.helpers.homes.ageing import Ageing
from tests.helpers.homes.cell import GRID, GRID_X, LOWEST_X, PER_X, Curves
from tests.helpers.homes.spec import HomeSpec

# At the terminals; its own computer lets a pack no lower.
_LOWEST_CELL_V = 2.55


class Packs:
    """The true state of each home's battery.

    Attributes
    ----------
    charge_ah, capacity_ah, temperature_c : float64 (homes,)
        What is in, what fits in, inside the cells.
    voltage_v, current_a : float64 (homes,)
        At the terminals during the last step.
    """

    def __init__(self, specs: Sequence[HomeSpec], *, step_s: int, temperature_c: Floats) -> None:
        packs = [spec.pack for spec in specs]
        self.specs = specs
        self.curves, self.ageing = Curves(specs), Ageing(specs)
        self.cells = np.array([float(pack.cells) for pack in packs])
        self.new_ah = np.array([pack.rated_ah * pack.start_ratio for pack in packs])
        self.capacity_ah = self.new_ah.copy()
        self.charge_ah = 0.6 * self.new_ah
        self.temperature_c = temperature_c.copy()
        self.step_h = step_s / 3600
        self.full_v = self.cells * np.array([spec.control.full_cell_v for spec in specs])
        self._lost_h = np.array([pack.coulombic_ratio for pack in packs]) * self.step_h
        self._hidden_ah = np.array([pack.hidden_a for pack in packs]) * self.step_h
        self._ohm_new = np.array([pack.resistance_ohm for pack in packs])
        self._ohm_per_c = np.array([pack.resistance_per_c for pack in packs])
        self._ohm_per_loss = np.array([pack.resistance_per_loss for pack in packs])
        low = np.array([pack.resistance_low for pack in packs])
        self._low_factor = (1 + low[:, None] * np.exp(-14 * np.minimum(GRID_X, 0.5))).ravel()
        slow = np.array([pack.slow for pack in packs])
        self._slow_share = slow[:, :, 0].T.copy()
        self._slow_pace = 1 - np.exp(-step_s / slow[:, :, 1].T)
        self._slow_v = np.zeros((2, len(packs)))
        self._hysteresis_v = np.array([pack.hysteresis_v for pack in packs]) * self.cells
        self._branch_v = np.zeros(len(packs))
        self._full_per_c = np.array([pack.full_per_c for pack in packs])
        self._low_per_c = np.array([pack.low_per_c for pack in packs])
        body_h = np.array([spec.place.body_h for spec in specs])
        self._body_pace = 1 - np.exp(-10 * self.step_h / body_h)
        self._heat = np.array([spec.place.heat_c_per_w for spec in specs])
        self._most_in = np.array([s.control.charge_ratio * s.pack.rated_ah for s in specs])
        self._most_out_a = -np.array([s.control.discharge_ratio * s.pack.rated_ah for s in specs])
        self._lowest_v = _LOWEST_CELL_V * self.cells
        self._zero, self._one = np.zeros(len(packs)), np.ones(len(packs))
        self._hours, self._last = self._one * self.step_h, self._one * (GRID - 1e-9)
        self.current_a = np.zeros(len(packs))
        self.size_a = np.zeros(len(packs))
        self.voltage_v = self.full_v.copy()
        self.now_ohm = self._ohm_new.copy()
        self.follow_temperature(temperature_c)

    def resistance_ohm(self, temperature_c: Floats) -> Floats:
        """Return the ohmic resistance in the middle of the charge as it is now."""
        cold = np.maximum(25 - temperature_c, 0)
        grown = 1 + self._ohm_per_loss * self.ageing.loss
        ohm: Floats = self._ohm_new * grown * np.exp(self._ohm_per_c * cold)
        return ohm

    def follow_temperature(self, around_c: Floats) -> None:
        """Go on by ten steps towards the air around; set what depends on temperature."""
        heat_c = self._heat * self.current_a**2 * self.now_ohm
        self.temperature_c += (around_c + heat_c - self.temperature_c) * self._body_pace
        cold = np.maximum(25 - self.temperature_c, 0)
        self._ohm = self.resistance_ohm(self.temperature_c)
        x_scale = (1 + cold * (self._full_per_c + self._low_per_c)) / self.capacity_ah
        self._place_scale = x_scale * PER_X
        self._place_shift = -(cold * self._low_per_c + LOWEST_X) * PER_X
        self._rise_a = self._place_scale * self.step_h
        self._turn = x_scale * (25 * self.step_h)
        # Iron phosphate must not be charged below freezing, and slowly below five degrees.
        self._charge_a = self._most_in * np.clip(0.04 + self.temperature_c / 6, 0, 1)
        self._charge_a[self.temperature_c < 0] = 0.0

    def end_day(self, *, mean_c: Floats, mean_x: Floats, cycles: Floats, depth: Floats) -> None:
        """Age by a day. What no longer fits was lost from the charge inside, in proportion."""
        self.ageing.advance(
            years=1 / 365.25, temperature_c=mean_c, x=mean_x, cycles=cycles, depth=depth
        )
        left = self.new_ah * (1 - self.ageing.loss)
        self.charge_ah *= left / self.capacity_ah
        self.capacity_ah = left

    def step(self, wanted_w: Floats, closed: NDArray[np.bool_]) -> None:
        """Take or give this power for a step, as far as the pack lets; charging is positive.

        Parameters
        ----------
        wanted_w : float64 (homes,)
            Power at the terminals.
        closed : bool (homes,)
            Where charging is not allowed.
        """
        # Numbers are arrays here, and masks are copied by: both are twice as fast as the plain way.
        curves, zero = self.curves, self._zero
        place = np.minimum(
            np.maximum(self.charge_ah * self._place_scale + self._place_shift, zero), self._last
        )
        whole = place.astype(np.intp)
        index = whole + curves.offset
        rise = curves.rise.take(index)
        rest_v = curves.voltage.take(index) + rise * (place - whole)
        rest_v += self._slow_v[0]
        rest_v += self._slow_v[1]
        rest_v += self._branch_v
        ohm = self._ohm * self._low_factor.take(index)
        twice = ohm + ohm
        root = np.sqrt(np.maximum(rest_v * rest_v + (twice + twice) * wanted_w, zero))
        # Held voltage: what the charge of this very step adds to the rest voltage counts already.
        most = (self.full_v - rest_v) / (ohm + rise * self._rise_a)
        most = np.maximum(np.minimum(most, self._charge_a), zero)
        np.copyto(most, zero, where=closed)
        least = np.minimum(np.maximum((self._lowest_v - rest_v) / ohm, self._most_out_a), zero)
        current = np.maximum(np.minimum((root - rest_v) / twice, most), least)
        drop_v = current * ohm
        self.voltage_v = rest_v + drop_v
        self.charge_ah += current * self._hours
        self.charge_ah -= np.maximum(current, zero) * self._lost_h + self._hidden_ah
        self._slow_v += (drop_v * self._slow_share - self._slow_v) * self._slow_pace
        self.size_a = np.abs(current)
        turned = np.minimum(self.size_a * self._turn, self._one)
        self._branch_v += (np.copysign(self._hysteresis_v, current) - self._branch_v) * turned
        self.current_a, self.now_ohm = current, ohm

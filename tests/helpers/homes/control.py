"""What the owner's equipment does: it knows the battery's own idea of its charge, not the truth."""

from collections.abc import Sequence

import numpy as np

from joulebook.core.history import Floats
from tests.helpers.homes.packs import Packs
from tests.helpers.homes.spec import HomeSpec
from tests.helpers.homes.weather import season

# Per day: how fast the battery's idea of its own capacity follows the truth.
_LEARNING = {"never": 0.0, "late": 1 / 400, "well": 1 / 15}
# Its own computer counts better than what it tells: it finds its zero at rest.
_OWN_OFFSET = 0.25
_TEST_NIGHTS = 3
_TEST_CELL_V = 3.03


class Schedule:
    """What is decided by the clock, for all homes and the steps of one chunk.

    Attributes
    ----------
    surplus_w, reserve_ratio, grid_w, forced_w, low_v : float64 (steps, homes)
        Panels less what the load takes at the battery's side; where discharge ends; charging from
        the grid; discharge forced by a deep test, below zero; where the battery is cut off.
    """

    def __init__(self, specs: Sequence[HomeSpec], days: Floats) -> None:
        shape = (len(days), len(specs))
        self.surplus_w, self.reserve_ratio, self.low_v = (np.empty(shape) for _ in range(3))
        self.grid_w, self.forced_w = np.zeros(shape), np.zeros(shape)
        self.island = np.zeros(shape, dtype=bool)
        for home, spec in enumerate(specs):
            self._set_home(home, spec, days)

    def _set_home(self, home: int, spec: HomeSpec, days: Floats) -> None:
        control, pack = spec.control, spec.pack
        hour, nominal_w = days % 1 * 24, 3.3 * pack.cells * pack.rated_ah
        cold = season(days, spec.place.latitude_deg) < -0.2
        reserve = np.where(cold, control.winter_reserve_ratio, control.reserve_ratio)
        low_v = np.full(len(days), control.low_cell_v * pack.cells)
        if control.grid_hours is not None:
            start, end = control.grid_hours
            self.grid_w[:, home] = 0.22 * nominal_w * ((hour >= start) & (hour < end))
        if control.test_every_days:
            # From noon to noon, so that one night is not cut in two.
            night = np.floor(days - 0.5) % control.test_every_days
            testing = (night >= 20) & (night < 20 + _TEST_NIGHTS)
            evening = testing & ((hour >= 18) | (hour < 6))
            reserve = np.where(testing, 0.0, reserve)
            low_v = np.where(testing, _TEST_CELL_V * pack.cells, low_v)
            self.forced_w[:, home] = np.where(evening, -0.09 * nominal_w, 0.0)
            self.grid_w[testing, home] = 0.0
        self.reserve_ratio[:, home] = reserve
        self.low_v[:, home] = low_v

    def feed(self, home: int, spec: HomeSpec, pv_w: Floats, load_w: Floats, away: Floats) -> None:
        """Set what panels could give, the load takes, and where the grid is away (1 or 0)."""
        island = away > 0
        self.island[:, home] = island
        self.surplus_w[:, home] = pv_w * spec.control.panel_ratio - at_battery_w(spec, load_w)
        self.reserve_ratio[island, home] = -1.0
        self.grid_w[island, home] = 0.0


def at_battery_w(spec: HomeSpec, load_w: Floats) -> Floats:
    """Return what must reach the inverter to feed a load, its own draw included. [W]"""
    control = spec.control
    need: Floats = (
        control.idle_w
        + load_w * (1 + control.per_load_ratio)
        + control.per_load_squared * load_w**2
    )
    return need


class Controls:
    """Each home's equipment with its latches, and the battery's claims."""

    def __init__(self, packs: Packs) -> None:
        specs = packs.specs
        controls = [spec.control for spec in specs]
        self._packs = packs
        self._back = np.array([control.reserve_back_ratio for control in controls])
        targets = np.array([control.target_ratio for control in controls])
        self._target = np.where(targets < 1, targets, np.inf)
        self._stops = np.array([control.stops_at_tail for control in controls])
        rated = np.array([spec.pack.rated_ah for spec in specs])
        self._tail_a = np.array([c.tail_ratio for c in controls]) * rated
        self._minus_idle_w = -np.array([c.idle_w * c.idle_from_battery for c in controls])
        self._learning = np.array([_LEARNING[control.learns] for control in controls])
        self._full_v = packs.full_v - 0.02 * packs.cells / 16
        self._empty_v = 2.93 * packs.cells
        self._rescue_w = 0.03 * 3.3 * packs.cells * rated
        self.claimed_ah = rated.copy()
        self.claimed_ratio = packs.charge_ah / rated
        self._zero, self._one = np.zeros(len(specs)), np.ones(len(specs))
        self._again = 0.96 * self._one
        self._raised, self._rescue = np.zeros(len(specs)), np.zeros(len(specs))
        self._cut = np.zeros(len(specs), dtype=bool)
        self._done = np.zeros(len(specs), dtype=bool)
        self.full = np.zeros(len(specs), dtype=bool)

    def step(self, schedule: Schedule, row: int) -> None:
        """Decide on one step, let the pack do it, and count as the battery's computer does."""
        packs, claimed, zero = self._packs, self.claimed_ratio, self._zero
        surplus = schedule.surplus_w[row]
        blocked = claimed <= schedule.reserve_ratio[row] + self._raised
        self._raised = self._back * blocked
        self._cut = (self._cut | (packs.voltage_v < schedule.low_v[row])) & (surplus <= zero)
        wanted = np.minimum(surplus, zero)
        np.copyto(wanted, self._minus_idle_w, where=blocked)
        wanted = np.minimum(wanted, schedule.forced_w[row])
        np.copyto(wanted, zero, where=self._cut)
        grid_w = schedule.grid_w[row]
        if row % 10 == 0:
            weak = self._cut & (packs.voltage_v < self._empty_v) & ~schedule.island[row]
            self._rescue = self._rescue_w * weak
        grid_w = grid_w + self._rescue
        np.copyto(wanted, grid_w, where=grid_w > zero)
        np.copyto(wanted, surplus, where=surplus > grid_w)
        packs.step(wanted, self._done | (claimed >= self._target))
        claimed = claimed + packs.current_a * self._gain + self._drift
        self.full = (packs.voltage_v >= self._full_v) & (packs.size_a < self._tail_a)
        np.copyto(claimed, self._one, where=self.full)
        if row % 10 == 0:
            empty = (packs.voltage_v < self._empty_v) & (packs.size_a < 10 * self._tail_a)
            claimed[empty] = np.minimum(claimed[empty], 0.03)
        self.claimed_ratio = np.minimum(np.maximum(claimed, zero), self._one)
        self._done = (self._done | (self.full & self._stops)) & (self.claimed_ratio > self._again)

    def begin_day(self, gain: Floats, offset_a: Floats) -> None:
        """Take over what the current sensor is like today, each of shape (homes,)."""
        self._gain = gain * self._packs.step_h / self.claimed_ah
        self._drift = _OWN_OFFSET * offset_a * self._packs.step_h / self.claimed_ah

    def end_day(self) -> None:
        """Learn, as far as this battery does."""
        self.claimed_ah += (self._packs.capacity_ah - self.claimed_ah) * self._learning

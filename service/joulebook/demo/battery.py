"""The studio's battery as it is, and as it believes itself to be.

The rest voltage between 20 and 90 % is that of a published LFP cell (M. Naumann et al., J. Energy
Storage 17 (2018) 153, read off at nine points and rounded); so are the two laws of ageing (the
same, and J. Power Sources 451 (2020) 227666), slowed to a large cell's pace by a factor of our
own. Resistance, hysteresis, heat and both ends of the curve are common practice, no source.
"""

from math import exp, sqrt

import numpy as np

from joulebook.demo.studio import BATTERY_AH, BATTERY_CELLS, STEP_S

FULL_V = 3.45 * BATTERY_CELLS
_STEP_H = STEP_S / 3600

_AT_RATIO = (0, 0.02, 0.05, 0.1, 0.15, 0.2, 0.3, 0.4, 0.5, 0.55, 0.6, 0.7, 0.8, 0.9, 0.95, 0.98, 1)
_REST_V = (
    *(2.70, 2.93, 3.06, 3.165, 3.205),  # common practice, no source
    *(3.2306, 3.2675, 3.2894, 3.2994, 3.3013, 3.3031, 3.3088, 3.325, 3.3419),
    *(3.35, 3.378, 3.45),  # common practice, no source
)
_GRID = 1000
_PACK_REST_V: list[float] = (
    np.interp(np.arange(_GRID + 2) / _GRID, _AT_RATIO, _REST_V) * BATTERY_CELLS
).tolist()

_OHM = 0.014
_OHM_PER_COLD_DEGREE = 0.02  # share of the above for each degree below 25 °C
_SLOW_OHM = 0.006
_SLOW_S = 1200.0
_HYSTERESIS_V = 0.006 * BATTERY_CELLS
_CHARGE_STAYS = 0.997
_MOST_CHARGE_A = 100.0
_COLD_CHARGE_A = 20.0  # below 5 °C; none at all below freezing
_BODY_H = 14.0
_DEGREES_PER_W = 0.05
_LARGE_CELL = 0.7  # of the published small cell's loss; our choice

_CLAIM_ERROR_A = 0.03
_CLAIM_LEARNS = 0.04
_CLAIM_MODESTY = 0.985


class Battery:
    """Sixteen cells and their own little computer. Charging is positive.

    Attributes
    ----------
    capacity_ah, charge_ah : float
        What fits in, and what is in. [Ah]
    voltage_v, current_a, temperature_c : float
        At the terminals during the last step; inside.
    claimed_ratio, claimed_ah : float
        State of charge and capacity as the battery's own computer has them; never the truth.
    """

    def __init__(self, temperature_c: float) -> None:
        self._new_ah = BATTERY_AH * 1.02  # cells leave the works a little better than their label
        self.capacity_ah = self._new_ah
        self.charge_ah = 0.5 * self.capacity_ah
        self.voltage_v = _PACK_REST_V[_GRID // 2]
        self.current_a = 0.0
        self.temperature_c = temperature_c
        self.claimed_ah = BATTERY_AH
        self.claimed_ratio = 0.5
        self._lowest_claim = 0.5
        self._slow_v = 0.0
        self._hysteresis_v = 0.0
        self._growth = 1.0  # of the resistance
        self._calendar_squared = 0.0
        self._cycles = 0.0

    def push(self, wanted_w: float, shed_c: float) -> float:
        """Charge or discharge for a step as far as the battery lets; return what it took. [W]"""
        place = self.charge_ah / self.capacity_ah * _GRID
        below = int(place)
        rest_v = _PACK_REST_V[below]
        rest_v += (_PACK_REST_V[below + 1] - rest_v) * (place - below)
        rest_v += self._slow_v + self._hysteresis_v
        cold = 25.0 - self.temperature_c
        ohm = _OHM * self._growth * (1 + _OHM_PER_COLD_DEGREE * cold if cold > 0 else 1.0)
        current_a = (sqrt(rest_v * rest_v + 4 * ohm * wanted_w) - rest_v) / (2 * ohm)
        if current_a > 0:
            current_a = max(min(current_a, (FULL_V - rest_v) / ohm, self._most_charge_a()), 0.0)
        self.current_a = current_a
        self.voltage_v = rest_v + current_a * ohm
        taken_ah = current_a * _STEP_H
        self.charge_ah += taken_ah * _CHARGE_STAYS if taken_ah > 0 else taken_ah
        self._slow_v += (current_a * _SLOW_OHM - self._slow_v) * (STEP_S / _SLOW_S)
        if current_a:
            towards = _HYSTERESIS_V if current_a > 0 else -_HYSTERESIS_V
            turned = min(abs(taken_ah) / (0.05 * self.capacity_ah), 1.0)
            self._hysteresis_v += (towards - self._hysteresis_v) * turned
        heat_c = shed_c + _DEGREES_PER_W * current_a * current_a * ohm
        self.temperature_c += (heat_c - self.temperature_c) * (_STEP_H / _BODY_H)
        self._claim(taken_ah)
        return self.voltage_v * current_a

    def end_day(self, *, mean_c: float, mean_ratio: float, moved_ah: float) -> None:
        """Age by one day at its mean temperature and charge, with what went in and out. [Ah]"""
        kelvin = mean_c + 273.15
        speed = 1.2571e-5 * exp(-17126 / 8.3144598 * (1 / kelvin - 1 / 298.15))
        self._calendar_squared += (
            speed * (2.8575 * (mean_ratio - 0.5) ** 3 + 0.60225)
        ) ** 2 * 86_400
        self._cycles += moved_ah / (2 * BATTERY_AH)
        # At a third of the rated current and four fifths of the depth.
        per_root = (0.063 * 0.33 + 0.0971) * (4.0253 * (0.8 - 0.6) ** 3 + 1.0923) / 100
        lost = _LARGE_CELL * (sqrt(self._calendar_squared) + per_root * sqrt(self._cycles))
        # What no longer fits was never charged: the battery stays as full as it was.
        self.charge_ah *= self._new_ah * (1 - lost) / self.capacity_ah
        self.capacity_ah = self._new_ah * (1 - lost)
        self._growth = 1 + 1.5 * lost

    def _most_charge_a(self) -> float:
        if self.temperature_c >= 5:
            return _MOST_CHARGE_A
        return _COLD_CHARGE_A if self.temperature_c >= 0 else 0.0

    def _claim(self, taken_ah: float) -> None:
        """Count as the battery's computer does: a little wrong, put right whenever it is full."""
        claimed = self.claimed_ratio + (taken_ah + _CLAIM_ERROR_A * _STEP_H) / self.claimed_ah
        if self.voltage_v > FULL_V - 0.1 and 0 < self.current_a < 0.02 * BATTERY_AH:
            if self._lowest_claim < 0.3:
                idea_ah = _CLAIM_MODESTY * self.capacity_ah
                self.claimed_ah += _CLAIM_LEARNS * (idea_ah - self.claimed_ah)
            claimed = self._lowest_claim = self.claimed_ratio = 1.0
        # Only the voltage may say "full"; counting alone ends one percent below.
        self.claimed_ratio = max(min(claimed, max(self.claimed_ratio, 0.99)), 0.0)
        self._lowest_claim = min(self._lowest_claim, self.claimed_ratio)

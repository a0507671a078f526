"""Loss of capacity by several laws, for many homes at once, day by day.

The published one: M. Naumann et al., J. Energy Storage 17 (2018) 153 (calendar) and J. Power
Sources 451 (2020) 227666 (cycling). The others are powers of time and of cycles, our choice. A
loss under changing conditions is (∫ rate^(1/p) dt)^p, which for the square root adds as squares.
"""

from collections.abc import Sequence

import numpy as np

from joulebook.core.history import Floats
from tests.helpers.homes.spec import HomeSpec

GAS_J = 8.3144598
NAUMANN_J = 17126.0
SECONDS_PER_YEAR = 31_557_600.0


def arrhenius(temperature_c: Floats, activation_j: Floats | float) -> Floats:
    """Return how much faster than at 25 °C."""
    factor: Floats = np.exp(
        -activation_j / GAS_J * (1 / (np.asarray(temperature_c) + 273.15) - 1 / 298.15)
    )
    return factor


def naumann_calendar_rate(temperature_c: Floats, x: Floats) -> Floats:
    """Return the share lost after one year at this temperature and state of charge."""
    rate: Floats = (
        1.2571e-5
        * arrhenius(temperature_c, NAUMANN_J)
        * (2.8575 * (np.asarray(x) - 0.5) ** 3 + 0.60225)
        * np.sqrt(SECONDS_PER_YEAR)
    )
    return rate


def naumann_cycle_rate(c_rate: Floats, depth: Floats) -> Floats:
    """Return the share lost after one full cycle at this current and depth."""
    rate: Floats = (
        (0.063 * np.asarray(c_rate) + 0.0971)
        * (4.0253 * (np.asarray(depth) - 0.6) ** 3 + 1.0923)
        / 100
    )
    return rate


class Ageing:
    """What each of many packs has lost.

    Attributes
    ----------
    loss : float64 (homes,)
        Share of the first capacity.
    """

    def __init__(self, specs: Sequence[HomeSpec]) -> None:
        laws = [spec.ageing for spec in specs]
        self._published = np.array([law.law == "naumann" for law in laws])
        self._calendar = np.array([law.calendar_ratio for law in laws])
        self._calendar_power = np.array([law.calendar_power for law in laws])
        self._cycle = np.array([law.cycle_ratio for law in laws])
        self._cycle_power = np.array([law.cycle_power for law in laws])
        self._activation_j = np.array([law.activation_j for law in laws])
        self._slope = np.array([law.charge_slope for law in laws])
        self._knee_loss = np.array([law.knee_loss for law in laws])
        self._knee_gain = np.array([law.knee_gain for law in laws])
        self._time = np.zeros(len(specs))
        self._cycles = np.zeros(len(specs))
        self._smooth = np.zeros(len(specs))
        self.loss = np.zeros(len(specs))

    def copy(self) -> "Ageing":
        """Return another that goes on from the same state."""
        other = object.__new__(Ageing)
        other.__dict__.update(self.__dict__)
        return other

    def advance(
        self, *, years: float, temperature_c: Floats, x: Floats, cycles: Floats, depth: Floats
    ) -> None:
        """Go on by some time under steady conditions, each of shape (homes,).

        Parameters
        ----------
        cycles, depth : float64 (homes,)
            Full cycles in that time; depth of a cycle from 0 to 1.
        """
        c_rate = np.minimum(cycles / np.maximum(years * 365.25 * 8, 1e-9), 1.0)
        calendar = np.where(
            self._published,
            naumann_calendar_rate(temperature_c, x),
            2
            / 4**self._calendar_power
            * arrhenius(temperature_c, self._activation_j)
            * np.maximum(1 + self._slope * (x - 0.5), 0.1),
        )
        cycling = np.where(
            self._published,
            naumann_cycle_rate(c_rate, depth),
            (1 + 0.5 * (depth - 0.6)) / 1000**self._cycle_power,
        )
        # The arrays are replaced, not changed, so that a copy stays what it was.
        self._time = self._time + (self._calendar * calendar) ** (1 / self._calendar_power) * years
        self._cycles = self._cycles + (self._cycle * cycling) ** (1 / self._cycle_power) * cycles
        smooth = self._time**self._calendar_power + self._cycles**self._cycle_power
        beyond = np.maximum(self.loss - self._knee_loss, 0.0)
        self.loss = np.minimum(
            self.loss + (smooth - self._smooth) * (1 + self._knee_gain * beyond), 0.7
        )
        self._smooth = smooth

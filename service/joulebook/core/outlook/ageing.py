"""How cells of this kind lose capacity: a mixture of laws, with what is published about each.

Part of method `forecast-1`, see ``docs/methods/forecast.md``.
"""

from dataclasses import dataclass
from functools import cache

import numpy as np

from joulebook.core.history import Floats

#: Powers of the thermal age, and how likely each is before anything was measured. A film that
#: slows its own growth gives the square root; not all losses slow down (weights: our choice).
CALENDAR_POWERS = (0.5, 0.75, 1.0)
CALENDAR_WEIGHTS = (0.55, 0.25, 0.2)
#: Powers of the cycles: as many again wear as much again, or less (weights: our choice).
CYCLE_POWERS = (1.0, 0.7, 0.5)
CYCLE_WEIGHTS = (0.35, 0.3, 0.35)
#: The calendar laws agree at this thermal age. [years at 25 °C]
PIVOT_YEARS = 4.0
#: The cycle laws agree at this many.
PIVOT_CYCLES = 1000.0
#: Lost in the first year at 25 °C under the square root, and by 1000 full cycles: medians and
#: standard deviations of the logarithm (our choice, tried on simulated homes).
CALENDAR_MEDIAN_RATIO, CALENDAR_LOG_SD = 0.025, 0.5
CYCLE_MEDIAN_RATIO, CYCLE_LOG_SD = 0.033, 0.6

_STEPS = 36
_WIDEST_SD = 2.8


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Laws:
    """Laws of ageing, one entry each; all arrays have shape (laws,).

    Attributes
    ----------
    calendar, cycles : float array
        Lost in the first year at 25 °C under the square root, and by 1000 full cycles. [ratio]
    calendar_power, cycle_power : float array
        How the loss grows with thermal age and with cycles.
    """

    calendar: Floats
    cycles: Floats
    calendar_power: Floats
    cycle_power: Floats

    def losses(self, thermal_years: Floats, efc: Floats) -> Floats:
        """Return the loss of each law at given ages. [ratio]

        Parameters
        ----------
        thermal_years, efc : float64 (times,), or (laws, times)
            Years at 25 °C that age as much, and equivalent full cycles; from 0.

        Returns
        -------
        float64 (laws, times)

        Notes
        -----
        ``a · 2 · (A / 4)^p + c · (E / 1000)^q``. With a = 2.5 %, p = 0.5, c = 4 %, q = 1: after 4
        years at 25 °C and 500 cycles 5 % and 2 %.
        """
        calendar = (
            2
            * self.calendar[:, None]
            * _power(thermal_years / PIVOT_YEARS, self.calendar_power[:, None])
        )
        cycles = self.cycles[:, None] * _power(efc / PIVOT_CYCLES, self.cycle_power[:, None])
        both: Floats = calendar + cycles
        return both

    def at(self, places: np.ndarray[tuple[int, ...], np.dtype[np.int64]]) -> "Laws":
        """Return some of them, by place."""
        return Laws(
            calendar=self.calendar[places],
            cycles=self.cycles[places],
            calendar_power=self.calendar_power[places],
            cycle_power=self.cycle_power[places],
        )


@dataclass(frozen=True, slots=True, eq=False)
class Mixture:
    """Laws, and the logarithm of how likely each is before anything was measured; shape (laws,)."""

    laws: Laws
    log_prior: Floats


@cache
def published_mixture() -> Mixture:
    """Return the laws that are tried, close enough together to stand for all between them."""
    z = np.linspace(-_WIDEST_SD, _WIDEST_SD, _STEPS)
    a, c, p, q = (
        place.ravel()
        for place in np.meshgrid(
            np.arange(_STEPS),
            np.arange(_STEPS),
            np.arange(len(CALENDAR_POWERS)),
            np.arange(len(CYCLE_POWERS)),
            indexing="ij",
        )
    )
    log_prior = -(z[a] ** 2 + z[c] ** 2) / 2
    log_prior += np.log(np.array(CALENDAR_WEIGHTS)[p]) + np.log(np.array(CYCLE_WEIGHTS)[q])
    laws = Laws(
        calendar=CALENDAR_MEDIAN_RATIO * np.exp(CALENDAR_LOG_SD * z[a]),
        cycles=CYCLE_MEDIAN_RATIO * np.exp(CYCLE_LOG_SD * z[c]),
        calendar_power=np.array(CALENDAR_POWERS)[p],
        cycle_power=np.array(CYCLE_POWERS)[q],
    )
    return Mixture(laws, log_prior - np.log(np.sum(np.exp(log_prior))))


def _power(base: Floats, exponent: Floats) -> Floats:
    """Return a power of numbers from 0; a logarithm each and one exponential is quicker."""
    with np.errstate(divide="ignore"):  # 0 becomes minus infinity, and 0 again
        powers: Floats = np.exp(exponent * np.log(base))
    return powers

"""The whole record of one battery on one time axis: what wear and efficiency are measured on."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Instants = NDArray[np.int64]

MS_PER_HOUR = 3_600_000.0
MS_PER_DAY = 86_400_000.0
DAYS_PER_YEAR = 365.25


@dataclass(frozen=True, slots=True, kw_only=True)
class PackHistory:
    """What was read at the battery's terminals, corrections applied.

    A reading stands for the time from its instant to the next. Faster logging is averaged to
    minutes before it comes here; slower logging comes as it was read.

    Attributes
    ----------
    at_ms : int64 (n,)
        Strictly increasing. [ms, UTC epoch]
    voltage_v, current_a : float64 (n,)
        Of the pack; current is positive while charging. NaN where missing.
    temperature_c : float64 (n,)
        Of the battery, or of the air around it; NaN where missing.
    step_s : float
        The usual spacing. [s]
    rated_ah : float
        What the maker rates. [Ah]
    cells : int
        In series.
    """

    at_ms: Instants
    voltage_v: Floats
    current_a: Floats
    temperature_c: Floats
    step_s: float
    rated_ah: float
    cells: int

    @property
    def years(self) -> Floats:
        """Time since the first reading, shape (n,). [years of 365.25 days]"""
        since: Floats = (self.at_ms - self.at_ms[:1]) / (MS_PER_DAY * DAYS_PER_YEAR)
        return since


@dataclass(frozen=True, slots=True, kw_only=True)
class PowerHistory:
    """Powers around the battery, on the time axis of its :class:`PackHistory`.

    Attributes
    ----------
    pv_w, grid_w, load_w : float64 (n,)
        Panels, grid (positive while importing), load. NaN where missing; a device that the site
        never had is all zero. [W]
    has_load : bool
        Whether the site meters its load at all.
    """

    pv_w: Floats
    grid_w: Floats
    load_w: Floats
    has_load: bool

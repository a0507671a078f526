"""How long each reading of a pack stands, and where the record breaks."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from joulebook.core.history import MS_PER_HOUR, Floats, Instants

#: A step up to this many usual ones is held as it was read; a longer one is a straight line.
HELD_STEPS = 1.01
#: A longer step than both of these is a break, and nothing is guessed for it (our choice).
BREAK_STEPS = 2.5
BREAK_S = 600.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Held:
    """What lies between one reading and the next; all arrays have shape (n,), n readings.

    Attributes
    ----------
    hours : float array
        How long a reading stands: to the next one; one usual step before a break, and for the
        last. [h]
    sloped : bool array
        Whether some readings are lost after it, so that a line to the next one is closer.
    broken : bool array
        Whether a break follows it.
    lost_h : float array
        How long that break is, less what the reading stands for. [h]
    step_h : float
        The usual step. [h]
    """

    hours: Floats
    sloped: NDArray[np.bool_]
    broken: NDArray[np.bool_]
    lost_h: Floats
    step_h: float


def held(at_ms: Instants, *, step_s: float) -> Held:
    """Return how long each reading stands.

    Parameters
    ----------
    at_ms : int64 (n,)
        Strictly increasing. [ms, UTC epoch]
    step_s : float
        The usual spacing. [s]

    Raises
    ------
    ValueError
        If the usual spacing is not above zero.
    """
    if not step_s > 0:
        raise ValueError(f"the usual spacing must be above zero, not {step_s} s")
    # The last reading stands for one step, as before a break of no length.
    step_h = step_s / 3600
    step = np.append(np.diff(at_ms) / MS_PER_HOUR, step_h)[: at_ms.size]
    broken = step > max(BREAK_S, BREAK_STEPS * step_s) / 3600
    hours = np.where(broken, step_h, step)
    return Held(
        hours=hours,
        sloped=(step > HELD_STEPS * step_h) & ~broken,
        broken=broken,
        lost_h=step - hours,
        step_h=step_h,
    )


def amounts(value: Floats, stands: Held) -> Floats:
    """Return what a quantity comes to between each reading and the next, nothing in breaks.

    A reading holds for one usual step; where some are lost, the rest lies between it and the
    next one, and takes the mean of both.

    Parameters
    ----------
    value : float64 (n,)
        Amperes, say; never NaN.

    Returns
    -------
    float64 (n,)
        Ampere-hours, then.
    """
    amount = value * stands.hours
    sloped = np.flatnonzero(stands.sloped)
    rest_h = stands.hours[sloped] - stands.step_h
    amount[sloped] += (value[sloped + 1] - value[sloped]) / 2 * rest_h
    return amount

"""The current sensor's offset as the fit of capacity found it."""

import math

import numpy as np

from joulebook.core.battery.capacity_fit import CapacityFit
from joulebook.core.daily.efficiency import OFFSET_LIMIT_A
from joulebook.core.losses.full_segments import SensorOffset

#: Where no two full charges tell it: uniform within the limit assumed elsewhere. [A]
UNKNOWN_U_A = OFFSET_LIMIT_A / math.sqrt(3)


def sensor_offset(fit: CapacityFit) -> SensorOffset:
    """Return the offset as a line through the knots of a fit, and through where it may step."""
    steps = fit.unknowns.steps_ms
    at_ms = np.unique(np.concatenate([fit.unknowns.offset_ms, steps - 1, steps]))
    if not fit.closings > 0:
        return SensorOffset(
            at_ms=at_ms, offset_a=np.zeros(at_ms.size), u_a=np.full(at_ms.size, UNKNOWN_U_A)
        )
    told = [fit.mean_offset(at_ms[place : place + 1], np.ones(1)) for place in range(at_ms.size)]
    return SensorOffset(
        at_ms=at_ms,
        offset_a=np.array([value for value, _ in told]),
        u_a=np.array([u for _, u in told]),
    )

"""Numbers that are read off a meter, with the interval that its assumed limit gives.

Method `loads-1`, see ``docs/methods/loads.md``.
"""

import math

from joulebook.core.daily.energy import K90, METER_LIMIT_RATIO
from joulebook.core.estimate import Estimate, refused

LOADS_METHOD = "loads-1"

#: A voltmeter's assumed limit, of its reading; uniform within (our choice).
VOLTMETER_LIMIT_RATIO = 0.005


def ends(number: Estimate) -> tuple[float, float, float] | None:
    """Return a number with its ends, ``None`` where it is refused; an open end is the number."""
    value = number.value
    if value is None:
        return None
    return (
        value,
        value if number.low is None else number.low,
        value if number.high is None else number.high,
    )


def refused_as(number: Estimate) -> Estimate:
    """Return the refusal of a number that rests on a refused one."""
    return refused(number.reason or "", method=LOADS_METHOD, coverage_ratio=number.coverage_ratio)


def read_off(
    value: float,
    *,
    coverage_ratio: float = 1.0,
    limit_ratio: float = METER_LIMIT_RATIO,
    own_u: float = 0.0,
) -> Estimate:
    """Return a reading with its 90 % interval.

    Parameters
    ----------
    limit_ratio : float
        The meter's assumed limit, uniform within.
    own_u : float
        Standard uncertainty beside that, in the reading's unit.

    Notes
    -----
    1000 W by a meter of ±1 %: 1.6449 times 10/√3 W are 9.5 W on either side.
    """
    half = K90 * math.hypot(abs(value) * limit_ratio / math.sqrt(3), own_u)
    return Estimate(
        value=value,
        low=value - half,
        high=value + half,
        coverage_ratio=coverage_ratio,
        method=LOADS_METHOD,
    )

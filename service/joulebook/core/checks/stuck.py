"""Whether values still move: a gateway that lost its device goes on sending the last ones."""

import numpy as np

from joulebook.core.checks.finding import BATTERY_CAUTION, Finding, unclear
from joulebook.core.checks.inputs import CheckInputs, spoken
from joulebook.core.curves import usual_max_gap_s
from joulebook.core.history import MS_PER_HOUR, Floats, Instants

#: How long a value may stay the same to its last digit, while readings arrive (our choice). What
#: is not here may stay for ever: a full battery is full, a counter rests at night. [h]
LONGEST_H = {
    "voltage": 24.0,
    "dc_voltage": 24.0,
    "voltage_l1": 3.0,
    "voltage_l2": 3.0,
    "frequency": 8.0,
    "current": 4.0,
    "power": 4.0,
    "power_l1": 4.0,
    "power_l2": 4.0,
    "cell_voltage_min": 24.0,
    "cell_voltage_max": 24.0,
    "temperature": 96.0,
}
#: A flow of less than this share of its largest rests, and may do so for ever.
_RESTING_RATIO = 0.05
_FLOWS = frozenset({"current", "power", "power_l1", "power_l2"})
_FEWEST_READINGS = 10


def stuck(inputs: CheckInputs, device: str) -> Finding:
    """Return whether any value of a device stayed the same for longer than it can."""
    held: dict[str, float] = {}
    for quantity in sorted(inputs.site_series[device].intersection(LONGEST_H)):
        at_ms, value = inputs.readings(device, quantity)
        if at_ms.size >= _FEWEST_READINGS:
            largest = float(np.abs(value).max()) if quantity in _FLOWS else 0.0
            held[quantity] = _longest_h(at_ms, value, resting=_RESTING_RATIO * largest)
    if not held:
        return unclear("stuck", f"{device} sent too little to tell", device=device)
    evidence = {f"{quantity}_same_h": hours for quantity, hours in held.items()}
    worst = max(held, key=lambda quantity: held[quantity] / LONGEST_H[quantity])
    longest = spoken(held[worst] * 3600)
    if held[worst] <= LONGEST_H[worst]:
        return Finding(
            name="stuck",
            device=device,
            verdict="good",
            sentence=f"values of {device} move; {worst} stayed the same for {longest} at most",
            evidence=evidence,
            coverage_ratio=1.0,
        )
    return Finding(
        name="stuck",
        device=device,
        verdict="trouble",
        sentence=f"{worst} of {device} stayed the same to its last digit for {longest}",
        evidence=evidence,
        look_at="whether the device still answers the bridge, or something in between repeats "
        "its last answer; then the sensor's plug",
        caution=BATTERY_CAUTION,
        coverage_ratio=1.0,
    )


def _longest_h(at_ms: Instants, value: Floats, *, resting: float) -> float:
    """Return the longest time that a value above ``resting`` stayed, no gap in between. [h]"""
    limit_ms = usual_max_gap_s(at_ms) * 1000
    moves = (np.diff(value) != 0) | (np.diff(at_ms) > limit_ms)
    starts = np.flatnonzero(np.append(True, moves))
    ends = np.append(starts[1:] - 1, at_ms.size - 1)
    lasted = np.where(np.abs(value[starts]) > resting, at_ms[ends] - at_ms[starts], 0)
    return float(lasted.max()) / MS_PER_HOUR

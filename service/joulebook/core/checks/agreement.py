"""Whether devices' own energy counters agree with what their powers come to."""

from dataclasses import dataclass

import numpy as np

from joulebook.core.checks.finding import Finding, unclear
from joulebook.core.checks.inputs import CheckInputs
from joulebook.core.counters import counter_rise
from joulebook.core.curves import curve
from joulebook.core.energy import integrate_curve
from joulebook.core.spans import Span

#: Counter and integral may differ by so much, and by so many of the counter's steps (our choice).
LARGEST_DIFFERENCE_RATIO = 0.05
_STEPS = 2.0
#: Nothing is told by less than this. [Wh]
_LEAST_WH = 200.0
_LEAST_COVERAGE_RATIO = 0.9

#: Counter, and whether it counts what is above zero or what is below, of the power's two sides.
COUNTERS: dict[str, tuple[tuple[str, bool], ...]] = {
    "battery": (("charge_energy", True), ("discharge_energy", False)),
    "pv": (("energy", True),),
    "load": (("energy", True),),
    "grid": (("import_energy", True), ("export_energy", False)),
}


@dataclass(frozen=True, slots=True)
class _Pair:
    """What a counter rose by and what its power came to, both ways, over the same time. [Wh]"""

    counted: float
    same_way: float
    other_way: float
    step: float
    coverage_ratio: float

    def agrees(self, measured: float) -> bool:
        return abs(self.counted - measured) <= max(
            LARGEST_DIFFERENCE_RATIO * max(measured, self.counted), _STEPS * self.step
        )


def agreement(inputs: CheckInputs, device: str, kind: str) -> list[Finding]:
    """Return how each counter of a device compares with the integral of its power."""
    found = []
    for quantity, upwards in COUNTERS[kind]:
        if quantity in inputs.site_series[device] and "power" in inputs.site_series[device]:
            pair = _pair(inputs, device, quantity, upwards=upwards)
            found.append(_finding(device, quantity, pair))
    return found


def _pair(inputs: CheckInputs, device: str, quantity: str, *, upwards: bool) -> _Pair | str:
    at_ms, raw = inputs.readings(device, quantity)
    if at_ms.size < 2:
        return f"{quantity} of {device} was not read often enough to compare"
    steps = np.diff(raw)
    step = float(np.min(steps[steps > 0])) if np.any(steps > 0) else 0.0
    rise = counter_rise(at_ms, raw)
    if rise.lower_bound:
        return f"{quantity} of {device} began anew, so that it cannot be compared"
    power = integrate_curve(
        curve(*inputs.readings(device, "power")), Span(int(at_ms[0]), int(at_ms[-1]))
    )
    if power.coverage_ratio < _LEAST_COVERAGE_RATIO:
        return f"power of {device} has too many gaps to compare with {quantity}"
    sides = (power.positive or 0.0, power.negative or 0.0)
    same, other = sides if upwards else sides[::-1]
    if max(rise.energy_wh, same) < _LEAST_WH:
        return f"too little went through {device} to compare {quantity} with its power"
    return _Pair(rise.energy_wh, same, other, step, power.coverage_ratio)


def _finding(device: str, quantity: str, pair: _Pair | str) -> Finding:
    if isinstance(pair, str):
        return unclear("counter", pair, device=device)
    evidence = {
        "counted_wh": pair.counted,
        "measured_wh": pair.same_way,
        "measured_other_way_wh": pair.other_way,
    }
    if pair.agrees(pair.same_way):
        return Finding(
            name="counter",
            device=device,
            verdict="good",
            sentence=f"{quantity} of {device} rose by {pair.counted / 1000:.2f} kWh, and its power "
            f"came to {pair.same_way / 1000:.2f} kWh",
            evidence=evidence,
            coverage_ratio=pair.coverage_ratio,
        )
    turned = pair.agrees(pair.other_way)
    return Finding(
        name="counter",
        device=device,
        verdict="trouble",
        sentence=(
            f"{quantity} of {device} rose by {pair.counted / 1000:.2f} kWh, while its power came "
            f"to {pair.same_way / 1000:.2f} kWh"
            + (", and to as much the other way: power or counters are turned around" * turned)
        ),
        evidence=evidence,
        look_at=f"sign and scale of power and {quantity} of {device} in the bridge, and what each "
        "of them is said to count in the device's manual",
        coverage_ratio=pair.coverage_ratio,
    )

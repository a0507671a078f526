"""Whether devices' own energy counters agree with what their powers come to."""

import math
from dataclasses import dataclass

import numpy as np

from joulebook.core.checks.finding import Finding, unclear
from joulebook.core.checks.inputs import CheckInputs
from joulebook.core.counters import counter_rise
from joulebook.core.curves import Curve, curve
from joulebook.core.daily.energy import integrate_curve
from joulebook.core.history import Floats, Instants
from joulebook.core.spans import Span

#: Counter and integral may differ by so much, or by so many watt-hours, and by a step of the
#: counter at either end of each stretch without a gap (our choice).
LARGEST_DIFFERENCE_RATIO, LARGEST_DIFFERENCE_WH = 0.05, 50.0
#: Below it a meter need not count: 0.4 % of a basic current of 10 A at 240 V (starting current of
#: class 1 in IEC 62053-21, from memory). [W]
STARTS_AT_W = 10.0
#: The two sides of a power must differ by so much before they can be taken for each other.
_SIDES_APART_RATIO = 0.2
#: Nothing is told by less than this. [Wh]
_LEAST_WH = 500.0

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
    allowed: float
    creeping: float
    coverage_ratio: float

    def agrees(self, measured: float) -> bool:
        share = LARGEST_DIFFERENCE_RATIO * max(measured, self.counted)
        return abs(self.counted - measured) <= max(share, self.allowed) + self.creeping

    @property
    def turned(self) -> bool:
        """Whether the counter fits the other side of its power, and only that."""
        largest = max(self.same_way, self.other_way)
        apart = abs(self.same_way - self.other_way) > _SIDES_APART_RATIO * largest
        return apart and self.agrees(self.other_way)


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
        return f"the counter {quantity} of {device} was not read often enough to compare"
    if counter_rise(at_ms, raw).lower_bound:
        return f"the counter {quantity} of {device} began anew, so that it cannot be compared"
    line = curve(*inputs.readings(device, "power"))
    power = integrate_curve(line, Span(int(at_ms[0]), int(at_ms[-1])))
    counted, allowed = _counted_beside(line, at_ms, raw)
    sides = (power.positive or 0.0, power.negative or 0.0)
    same, other = sides if upwards else sides[::-1]
    creeping = _creeping(line, upwards=upwards)
    if max(counted, same - creeping) < _LEAST_WH:
        return f"too little went through {device} to compare {quantity} with its power"
    covered_ratio = power.covered_s / inputs.span.length_s
    return _Pair(counted, same, other, allowed, creeping, covered_ratio)


def _creeping(line: Curve, *, upwards: bool) -> float:
    """Return what went one way by so little that a counter may have stood still. [Wh]"""
    near = np.abs(line.value) < STARTS_AT_W
    little = Curve(line.at_ms, line.value, line.joined & near[:-1] & near[1:])
    if not np.any(little.joined):
        return 0.0
    power = integrate_curve(little, Span(int(line.at_ms[0]), int(line.at_ms[-1])))
    return (power.positive if upwards else power.negative) or 0.0


def _counted_beside(line: Curve, at_ms: Instants, raw: Floats) -> tuple[float, float]:
    """Return what a counter rose by while its power was known, and how exact that can be. [Wh]"""
    edges = np.diff(np.concatenate([[False], line.joined, [False]]).astype(np.int8))
    starts, ends = line.at_ms[edges > 0], line.at_ms[edges < 0]
    shown = [
        raw[np.clip(np.searchsorted(at_ms, instants, side="right") - 1, 0, raw.size - 1)]
        for instants in (starts, ends)
    ]
    steps = np.diff(raw)
    step = float(np.min(steps[steps > 0])) if np.any(steps > 0) else 0.0
    allowed = max(LARGEST_DIFFERENCE_WH, 2 * step * math.sqrt(starts.size))
    return float(np.sum(shown[1] - shown[0])), allowed


def _finding(device: str, quantity: str, pair: _Pair | str) -> Finding:
    if isinstance(pair, str):
        return unclear("counter", pair, device=device)
    evidence = {
        "counted_wh": pair.counted,
        "measured_wh": pair.same_way,
        "measured_other_way_wh": pair.other_way,
    }
    rose = f"the counter {quantity} of {device} rose by {pair.counted / 1000:.2f} kWh"
    measured = f"{pair.same_way / 1000:.2f} kWh"
    if pair.agrees(pair.same_way):
        return Finding(
            name="counter",
            device=device,
            verdict="good",
            sentence=f"{rose}, and its power came to {measured}",
            evidence=evidence,
            coverage_ratio=pair.coverage_ratio,
        )
    turned = ", and to as much the other way: power or counters are turned around" * pair.turned
    return Finding(
        name="counter",
        device=device,
        verdict="trouble",
        sentence=f"{rose}, while its power came to {measured}{turned}",
        evidence=evidence,
        look_at=f"sign and scale of power and {quantity} of {device} in the bridge, and what each "
        "of them is said to count in the device's manual",
        coverage_ratio=pair.coverage_ratio,
    )

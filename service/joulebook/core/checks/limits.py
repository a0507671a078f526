"""Readings that cannot be: beyond what the hardware is rated for, or what any is."""

from dataclasses import dataclass

import numpy as np

from joulebook.core.checks.finding import Finding, unclear
from joulebook.core.checks.inputs import CheckInputs
from joulebook.core.daily.efficiency import NOMINAL_CELL_V
from joulebook.core.history import Floats
from joulebook.core.quantities import kind_of

#: More than this share of the rated charge in an hour no house battery takes or gives. [1/h]
LARGEST_C_RATE = 2.0
#: Cells outside of this are not such cells any more, or not read right (common practice). [V]
CELL_V = (2.0, 3.8)
#: A meter that should not go below zero may by this: its noise around nothing. [W]
NOISE_W = 20.0
#: A few readings beyond are a disturbance on the wire, this share of them is not (our choice).
LARGEST_SHARE_RATIO = 0.001
#: Short surges against what the inverter gives for long (common practice, no source).
SURGE_RATIO = 2.0
#: No house of this class draws, feeds or makes more. [W] (our choice)
HOUSE_W = 50_000.0


@dataclass(frozen=True, slots=True)
class _Limit:
    low: float
    high: float
    words: str


def limits(inputs: CheckInputs, device: str) -> Finding:
    """Return whether a device's readings lie within what can be."""
    evidence: dict[str, float] = {}
    rows, worst_share, sentence = 0, LARGEST_SHARE_RATIO, None
    for quantity, limit in _limits(inputs, kind_of(device)).items():
        _, value = inputs.readings(device, quantity)
        if not value.size:
            continue
        rows = max(rows, value.size)
        share = float(np.mean((value < limit.low) | (value > limit.high)))
        evidence[f"{quantity}_beyond_ratio"] = share
        if share > worst_share:
            worst_share = share
            sentence = (
                f"{quantity} of {device} reads {_worst(value, limit):.6g}, {limit.words}; so do "
                f"{share:.1%} of its readings"
            )
    if not rows:
        return unclear("limits", f"{device} sent nothing that has limits", device=device)
    return Finding(
        name="limits",
        device=device,
        verdict="trouble" if sentence else "good",
        sentence=sentence or f"all readings of {device} are within what can be",
        evidence=evidence,
        look_at=(
            f"scale, sign and register of that quantity of {device} in the bridge, and the ratings "
            "that were entered for the site"
            if sentence
            else None
        ),
        coverage_ratio=inputs.share_of(device, rows),
    )


def _limits(inputs: CheckInputs, kind: str) -> dict[str, _Limit]:
    """Return the limits of the quantities of a kind of device."""
    found = dict(_EVERYWHERE.get(kind, {}))
    cells, rated_ah = inputs.battery_cells, inputs.battery_ah
    if kind == "battery" and rated_ah is not None:
        most_a = LARGEST_C_RATE * rated_ah
        words = f"more than {LARGEST_C_RATE:g} times the rated charge in an hour"
        found["current"] = _Limit(-most_a, most_a, words)
        if cells is not None:
            most_w = most_a * cells * NOMINAL_CELL_V
            found["power"] = _Limit(-most_w, most_w, words)
    if kind == "battery" and inputs.inverter_w is not None:
        most_w = SURGE_RATIO * inputs.inverter_w
        words = f"more than {SURGE_RATIO:g} times what the inverter is rated for"
        found["power"] = _Limit(-most_w, most_w, words)
    name = {"battery": "voltage", "inverter": "dc_voltage"}.get(kind)
    if name is not None and cells is not None:
        words = f"out of the range of {cells} cells in series"
        found[name] = _Limit(CELL_V[0] * cells, CELL_V[1] * cells, words)
    return found


def _worst(value: Floats, limit: _Limit) -> float:
    """Return the reading furthest beyond."""
    return float(value[np.argmax(np.maximum(limit.low - value, value - limit.high))])


_WARMTH = _Limit(-40.0, 110.0, "which is no temperature of a house")
_SHARE = _Limit(0.0, 1.0, "which is no share of a whole")
_POWER = _Limit(-NOISE_W, HOUSE_W, "which this power cannot be")
_LEG_V = _Limit(0.0, 300.0, "which is no voltage of a house")
_CELL = _Limit(CELL_V[0], CELL_V[1], "out of the range of such a cell")
_EVERYWHERE = {
    "battery": {
        "soc": _SHARE,
        "temperature": _WARMTH,
        "cell_voltage_min": _CELL,
        "cell_voltage_max": _CELL,
    },
    "inverter": {"temperature": _WARMTH},
    "pv": {"power": _POWER},
    "load": {"power": _POWER, "power_l1": _POWER, "power_l2": _POWER},
    "grid": {
        "power": _Limit(-HOUSE_W, HOUSE_W, "more than a house can"),
        "voltage_l1": _LEG_V,
        "voltage_l2": _LEG_V,
        "frequency": _Limit(40.0, 70.0, "which is no frequency of a grid"),
    },
    "ambient": {"temperature": _WARMTH},
}

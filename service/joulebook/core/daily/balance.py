"""The daily balance: what came from the sun and the grid and is neither used nor stored.

Method `balance-1`, see ``docs/methods/balance.md``.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from joulebook.core.curves import Curve, aligned, clipped, coverage_ratio
from joulebook.core.daily.energy import K90, METER_LIMIT_RATIO, integrate_curve
from joulebook.core.estimate import Estimate, refused
from joulebook.core.spans import Span

METHOD = "balance-1"

#: No loss is given where the devices were measured together for less than this share of the time
#: that the best measured of them was (our choice). A day that is not over can have a loss so far.
LEAST_COMMON_RATIO = 0.5

#: ``pv + grid = load + battery + loss``.
_KINDS = ("pv", "grid", "load", "battery")


@dataclass(frozen=True, slots=True)
class Flows:
    """The four powers of a site on one common grid inside a span; zero where it has no device."""

    pv_w: Curve
    grid_w: Curve
    load_w: Curve
    battery_w: Curve


def common_flows(powers: Mapping[str, Curve | None], span: Span) -> Flows:
    """Return the flows where all of them are known.

    Parameters
    ----------
    powers : mapping of ``pv``, ``grid``, ``load``, ``battery`` to Curve or None
        Powers with the signs of the house [W]; ``None`` only where the site has no such device
        at all. A device that is merely silent has a curve with holes, and counts as unknown.
    """
    present = {kind: line for kind in _KINDS if (line := powers[kind]) is not None}
    parts = [clipped(line, span) for line in aligned(list(present.values()))]
    flows = dict(zip(present, parts, strict=True))
    nothing = Curve(parts[0].at_ms, np.zeros(parts[0].at_ms.size), parts[0].joined)
    pv, grid, load, battery = (flows.get(kind, nothing) for kind in _KINDS)
    return Flows(pv, grid, load, battery)


def loss_wh(
    powers: Mapping[str, Curve | None], span: Span, *, flows: Flows | None = None
) -> Estimate:
    """Return what the balance leaves over in a span; see `common_flows` for the powers. [Wh]

    ``flows`` are those of the powers, where the caller has them already.

    The loss belongs to the time in which all four are known; `coverage_ratio` is that share.
    It can come out below zero where meters disagree: that is shown, not hidden.
    """
    for kind in ("battery", "load"):
        if powers[kind] is None:
            return refused(f"the site has no {kind} device, so nothing balances", method=METHOD)
    if flows is None:
        flows = common_flows(powers, span)
    value = flows.pv_w.value + flows.grid_w.value
    value -= flows.load_w.value
    value -= flows.battery_w.value
    loss = integrate_curve(Curve(flows.load_w.at_ms, value, flows.load_w.joined), span)
    present = {kind: line for kind in _KINDS if (line := powers[kind]) is not None}
    best_ratio = max(coverage_ratio(line, span) for line in present.values())
    if loss.net is None or loss.coverage_ratio < LEAST_COMMON_RATIO * best_ratio:
        return refused(
            f"only {loss.coverage_ratio:.0%} of the time has {', '.join(present)} measured "
            f"together, where one alone has {best_ratio:.0%}; half of that is needed",
            method=METHOD,
            coverage_ratio=loss.coverage_ratio,
        )
    at_ms, joined = flows.load_w.at_ms, flows.load_w.joined
    held_ms = np.where(joined, at_ms[1:] - at_ms[:-1], 0.0)
    limits = [
        _meter_u(part.value, held_ms)
        for part in (flows.pv_w, flows.grid_w, flows.load_w, flows.battery_w)
    ]
    half = K90 * math.hypot(*limits, loss.positive_u, loss.negative_u)
    return Estimate(
        value=loss.net,
        low=loss.net - half,
        high=loss.net + half,
        coverage_ratio=loss.coverage_ratio,
        method=METHOD,
    )


def _meter_u(value: NDArray[np.float64], held_ms: NDArray[np.float64]) -> float:
    """Return the standard uncertainty that one meter's assumed limit leaves. [Wh]"""
    size = np.abs(value)
    doubled = size[:-1] + size[1:]
    doubled *= held_ms
    return METER_LIMIT_RATIO / math.sqrt(3) * float(doubled.sum()) / 7_200_000

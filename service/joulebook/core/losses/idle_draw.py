"""What the inverter takes for itself: at no load, and at the load that a home usually has.

Methods `idle-2` and `conversion-2`, see ``docs/methods/idle.md`` and ``conversion.md``.
"""

import math
from dataclasses import dataclass

import numpy as np

from joulebook.core.daily.energy import METER_LIMIT_RATIO
from joulebook.core.estimate import Estimate, refused
from joulebook.core.history import PackHistory, PowerHistory
from joulebook.core.losses.dark_blocks import DarkBlocks, dark_blocks
from joulebook.core.losses.full_segments import SensorOffset
from joulebook.core.losses.loss_line import Loss, fitted_loss
from joulebook.core.spans import Span
from joulebook.core.uncertainty import Uncertainty

STANDBY_METHOD = "idle-2"
LOSS_METHOD = "conversion-2"

#: Assumed limit of what the load's meter reads when nothing flows, uniform within. [W]
METER_ZERO_LIMIT_W = 1.0

_FEWEST_HOURS = 20.0
_FEWEST_NIGHTS = 5
_LOWEST_OUTPUT_W = 400.0  # so many of the blocks must be below, or zero is out of sight
_LOW_SHARE = 0.02
_WIDEST_IDLE_W = 15.0  # 90 % half width


@dataclass(frozen=True, slots=True, kw_only=True)
class OwnDraw:
    """What the inverter takes, with what it was computed from.

    Attributes
    ----------
    span : Span
        The window.
    idle_w : Estimate
        At no load. [W]
    loss_w, conversion : Estimate
        Lost at the median load [W], and what share comes out there; the idle draw is in both.
    load_w : float or None
        That load: by default the median of the dark hours on battery. [W]
    hours, nights : float, int
        Dark hours on battery that were used.
    idle_u, loss_u, conversion_u : Uncertainty or None
        What the three intervals are made of, where the numbers are given.
    """

    span: Span
    idle_w: Estimate
    loss_w: Estimate
    conversion: Estimate
    load_w: float | None = None
    hours: float = 0.0
    nights: int = 0
    idle_u: Uncertainty | None = None
    loss_u: Uncertainty | None = None
    conversion_u: Uncertainty | None = None


def own_draw(
    history: PackHistory,
    powers: PowerHistory,
    span: Span,
    *,
    offset: SensorOffset,
    load_w: float | None = None,
) -> OwnDraw:
    """Return what the inverter takes in a window, from its dark hours on battery.

    The loss, ``DC in - AC out``, is fitted with ``c + k1·W + k2·W²`` over a point W between the two
    so that single blocks far off do not bend it. Where nothing comes out it is the idle draw.
    ``k1`` and ``k2`` cannot be told apart well and are not given; the loss at the median load can.

    Parameters
    ----------
    history, powers : PackHistory, PowerHistory
        The record, on one time axis.
    span : Span
        The window.
    offset : SensorOffset
        Of the battery's current sensor.
    load_w : float, optional
        The load at which the loss is given; by default the window's own median. Two windows are
        compared at one load. [W]
    """
    if not powers.has_load:
        return _refused(span, "no meter reads the load, so what the inverter takes is not known")
    blocks = dark_blocks(history, powers, span, offset=offset)
    hours = float(np.sum(blocks.readings)) * history.step_s / 3600
    reason = _too_little(blocks, hours)
    if reason is not None:
        return _refused(span, reason, blocks, hours)
    line = fitted_loss(blocks)
    if load_w is None:
        load_w = float(np.median(blocks.output_w))
    zero_a = offset.u_over(span)
    idle_u, loss_u = (_uncertainty(line, blocks, at_w, zero_a) for at_w in (0.0, load_w))
    idle_w, loss_w = line.at(0.0), line.at(load_w)
    reason = _implausible(idle_w, loss_w, idle_u.half_width)
    if reason is not None:
        return _refused(span, reason, blocks, hours)
    ratio = load_w / (load_w + loss_w)
    # The ratio's error is the loss's, over again: more loss, less ratio.
    per_watt = ratio / (load_w + loss_w)
    conversion_u = Uncertainty(loss_u.own * per_watt, loss_u.shared * per_watt)
    coverage = hours * 3600 / span.length_s

    def given(value: float, u: Uncertainty, method: str, most: float = math.inf) -> Estimate:
        return Estimate(
            value=value,
            low=value - u.half_width,
            high=max(min(value + u.half_width, most), value),
            coverage_ratio=coverage,
            method=method,
        )

    return OwnDraw(
        span=span,
        idle_w=given(idle_w, idle_u, STANDBY_METHOD),
        loss_w=given(loss_w, loss_u, LOSS_METHOD),
        conversion=given(ratio, conversion_u, LOSS_METHOD, most=1.0),
        load_w=load_w,
        hours=hours,
        nights=blocks.nights,
        idle_u=idle_u,
        loss_u=loss_u,
        conversion_u=conversion_u,
    )


def _uncertainty(line: Loss, blocks: DarkBlocks, output_w: float, zero_a: float) -> Uncertainty:
    """Return what the loss at an output is uncertain by. [W]

    The fit is this window's own, and so is the offset, of which it is not known how much another
    window has in common. The load meter's zero adds the same to the loss at every output, and an
    error of either meter's scale grows with what flows: those are shared.
    """
    scale = METER_LIMIT_RATIO / math.sqrt(3)
    dc_w = output_w + line.at(output_w)
    own = math.hypot(line.u_at(output_w), zero_a * float(np.mean(blocks.voltage_v)))
    shared = math.hypot(
        METER_ZERO_LIMIT_W / math.sqrt(3),
        scale * output_w,
        scale * dc_w,
    )
    return Uncertainty(own, shared)


def _too_little(blocks: DarkBlocks, hours: float) -> str | None:
    """Return why the blocks say nothing of the idle draw, if so."""
    if hours < _FEWEST_HOURS or blocks.nights < _FEWEST_NIGHTS:
        return (
            f"{hours:.1f} h of {blocks.nights} nights on battery alone, with battery, load and "
            f"grid measured; {_FEWEST_HOURS:.0f} h of {_FEWEST_NIGHTS} nights are needed"
        )
    low_w = float(np.quantile(blocks.output_w, _LOW_SHARE))
    if low_w > _LOWEST_OUTPUT_W:
        return (
            f"the load in the dark is hardly ever below {low_w:.0f} W; to look back to no load, "
            f"{_LOW_SHARE:.0%} of the time must lie below {_LOWEST_OUTPUT_W:.0f} W"
        )
    return None


def _implausible(idle_w: float, loss_w: float, half_width_w: float) -> str | None:
    """Return why what was found is not stated, if so."""
    if half_width_w > _WIDEST_IDLE_W:
        return (
            "the load in the dark changes too little: no load lies out of sight, and the idle "
            f"draw would be uncertain by ±{half_width_w:.0f} W"
        )
    if idle_w - half_width_w > loss_w:
        return (
            f"the loss seems to fall from {idle_w:.0f} W to {loss_w:.0f} W as the load grows: the "
            "meters of battery and load do not go together"
        )
    return None


def _refused(
    span: Span, reason: str, blocks: DarkBlocks | None = None, hours: float = 0.0
) -> OwnDraw:
    coverage = hours * 3600 / span.length_s if span.length_s else 0.0
    idle_w, loss = (
        refused(reason, method=method, coverage_ratio=coverage)
        for method in (STANDBY_METHOD, LOSS_METHOD)
    )
    return OwnDraw(
        span=span,
        idle_w=idle_w,
        loss_w=loss,
        conversion=loss,
        hours=hours,
        nights=blocks.nights if blocks else 0,
    )

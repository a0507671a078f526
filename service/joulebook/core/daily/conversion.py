"""What the inverter takes for itself, from the hours in which only the battery feeds it.

Methods `conversion-1` and `idle-1`, see ``docs/methods/conversion.md`` and ``idle.md``.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from joulebook.core.daily.balance import Flows
from joulebook.core.daily.efficiency import OFFSET_LIMIT_A, Pack
from joulebook.core.daily.energy import K90, METER_LIMIT_RATIO
from joulebook.core.estimate import Estimate, refused

CONVERSION_METHOD = "conversion-1"
IDLE_METHOD = "idle-1"

#: Our choices: what counts as no sun, and the least discharge that says anything.
DARK_PV_W = 10.0
_LEAST_DISCHARGE_A = 2.0
_FEWEST_READINGS = 30
_FEWEST_HOURS = 5.0
_FEWEST_DAYS = 3
_LOWEST_OUTPUT_W = 400.0  # from higher loads alone a straight look back to zero says nothing
_CUT_SIGMAS = 3 * 1.48  # of the median absolute deviation, about three standard deviations
_ROUNDS = 4
#: Sums of squares that are a smaller part of the whole are rounding, not readings.
_TELLABLE = 1e-12

_MS_PER_HOUR = 3_600_000


@dataclass(frozen=True, slots=True)
class NightSums:
    """Sums over the dark hours on battery: DC in, AC out, and for how long."""

    dc_wh: float
    ac_wh: float
    hours: float


def night_readings(flows: Flows, pack: Pack) -> NDArray[np.bool_]:
    """Return at which instants the battery alone feeds the inverter: dark, and discharging."""
    return (flows.pv_w.value < DARK_PV_W) & (
        flows.battery_w.value < -_LEAST_DISCHARGE_A * pack.nominal_v
    )


def night_sums(flows: Flows, pack: Pack, *, night: NDArray[np.bool_] | None = None) -> NightSums:
    """Sum DC in and AC out over the lines whose both ends are night readings.

    AC out is load less grid import: what the grid gives does not pass through the battery side.
    ``night`` are the `night_readings`, where the caller has them already.
    """
    if night is None:
        night = night_readings(flows, pack)
    start = np.flatnonzero(night[:-1] & night[1:] & flows.load_w.joined)
    end = start + 1
    at_ms = flows.load_w.at_ms
    hours = (at_ms[end] - at_ms[start]) / _MS_PER_HOUR
    battery, load, grid = flows.battery_w.value, flows.load_w.value, flows.grid_w.value
    ac_start, ac_end = load[start] - grid[start], load[end] - grid[end]
    return NightSums(
        dc_wh=float(np.sum(-(battery[start] + battery[end]) * hours)) / 2,
        ac_wh=float(np.sum((ac_start + ac_end) * hours)) / 2,
        hours=float(np.sum(hours)),
    )


def conversion(nights: Sequence[NightSums], pack: Pack | None, *, window_h: float) -> Estimate:
    """Return AC out over DC in on dark hours, idle draw included.

    Parameters
    ----------
    nights : sequence of NightSums
        Of the window's days.
    pack : Pack or None
        Gives the nominal voltage, for the offset's part of the interval.
    window_h : float
        Length of the window, of which the dark hours are the coverage. [h]
    """
    dc = math.fsum(night.dc_wh for night in nights)
    ac = math.fsum(night.ac_wh for night in nights)
    hours = math.fsum(night.hours for night in nights)
    coverage = hours / window_h if window_h else 0.0
    if pack is None or hours < _FEWEST_HOURS:
        return refused(
            f"only {hours:.1f} h in the dark on battery with load and battery measured; "
            f"{_FEWEST_HOURS:.0f} h are needed"
            if pack is not None
            else "the battery's rated charge and cells in series were not entered",
            method=CONVERSION_METHOD,
            coverage_ratio=coverage,
        )
    ratio = ac / dc
    meters = ratio * METER_LIMIT_RATIO * math.sqrt(2 / 3)  # two meters, independent
    offset = ratio * OFFSET_LIMIT_A / math.sqrt(3) * pack.nominal_v * hours / dc
    half = K90 * math.hypot(meters, offset)
    return Estimate(
        value=ratio,
        low=max(ratio - half, 0.0),
        high=max(min(ratio + half, 1.0), ratio),
        coverage_ratio=coverage,
        method=CONVERSION_METHOD,
    )


def quadratic_fit(
    share: NDArray[np.float64], square: NDArray[np.float64], loss: NDArray[np.float64]
) -> tuple[tuple[float, float, float], float]:
    """Return the least squares fit of ``c + k1·share + k2·square``.

    Parameters
    ----------
    share, square, loss : float arrays, shape (n,)
        The output as a share of the largest, its square, and what is fitted. [W]

    Returns
    -------
    (c, k1, k2) : tuple of float
        [W]
    spread : float
        The variance of c where each loss has the variance 1: the first of the inverse of the
        normal equations' matrix.

    Notes
    -----
    Each term less what the ones before it explain, as Gram and Schmidt have it: means first, then
    the share's part of the square. That is as exact as a solver, and takes sums only. Where the
    readings cannot tell the terms apart, a solver gives the smallest of the fits.
    """
    mean, mean_square, mean_loss = (float(each.mean()) for each in (share, square, loss))
    line, rest = share - mean, loss - mean_loss
    curve = square - mean_square
    line_size = float((line * line).sum())
    curve_size = float((curve * curve).sum())
    if line_size > _TELLABLE * share.size and curve_size > 0:
        along = float((line * curve).sum()) / line_size
        curve -= line * along
        left = float((curve * curve).sum())
        if left > _TELLABLE * curve_size:
            k1 = float((line * rest).sum()) / line_size
            rest -= line * k1
            k2 = float((curve * rest).sum()) / left
            k1 -= along * k2
            beyond = mean_square - along * mean
            spread = 1 / share.size + mean * mean / line_size + beyond * beyond / left
            return (mean_loss - k1 * mean - k2 * mean_square, k1, k2), spread
    terms = np.column_stack([np.ones(share.size), share, square])
    constant, k1, k2 = np.linalg.lstsq(terms, loss, rcond=None)[0].tolist()
    return (constant, k1, k2), float(np.linalg.pinv(terms.T @ terms)[0, 0])


def idle_of_day(flows: Flows, pack: Pack, *, night: NDArray[np.bool_] | None = None) -> Estimate:
    """Return what the inverter draws with no load, from one day's night readings. [W]

    The loss on battery, ``DC in - AC out``, is fitted with ``c + k1·P + k2·P²`` over the AC
    output P, in rounds that leave out what lies too far off; ``c`` is the idle draw. ``k1`` and
    ``k2`` cannot be told apart well, and are not given. ``night`` as for `night_sums`.
    """
    if night is None:
        night = night_readings(flows, pack)
    # An instant counts where the lines on both of its sides are there.
    joined = flows.load_w.joined
    inner = np.flatnonzero(night[1:-1] & joined[:-1] & joined[1:]) + 1
    output = flows.load_w.value[inner] - flows.grid_w.value[inner]
    loss = -flows.battery_w.value[inner] - output
    coverage = float(inner.size) / max(night.size, 1)
    if output.size < _FEWEST_READINGS or float(np.quantile(output, 0.1)) > _LOWEST_OUTPUT_W:
        return refused(
            f"{output.size} readings in the dark on battery; at least {_FEWEST_READINGS} are "
            f"needed, a tenth of them below {_LOWEST_OUTPUT_W:.0f} W",
            method=IDLE_METHOD,
            coverage_ratio=coverage,
        )
    constant, constant_u = _robust_constant(output, loss)
    return _idle(constant, math.hypot(constant_u, _offset_w(pack)), coverage)


def idle(days: Sequence[Estimate], pack: Pack | None) -> Estimate:
    """Return the median of the days' idle draws. [W]

    The spread of the days shrinks with their number; the sensor's offset does not.
    """
    values = np.array([day.value for day in days if day.value is not None])
    coverage = float(np.mean([day.coverage_ratio for day in days])) if days else 0.0
    if pack is None or values.size < _FEWEST_DAYS:
        return refused(
            f"{values.size} days give an idle draw; {_FEWEST_DAYS} are needed, with hours in the "
            "dark on battery and little load",
            method=IDLE_METHOD,
            coverage_ratio=coverage,
        )
    middle = float(np.median(values))
    spread = 1.48 * float(np.median(np.abs(values - middle))) / math.sqrt(values.size)
    return _idle(middle, math.hypot(spread, _offset_w(pack)), coverage)


def _robust_constant(output: NDArray[np.float64], loss: NDArray[np.float64]) -> tuple[float, float]:
    """Return the constant of the loss curve and its standard uncertainty. [W]"""
    size = max(float(np.abs(output).max()), 1.0)
    share = output / size
    square = share * share
    kept = np.ones(loss.size, dtype=np.bool_)
    near = share, square, loss
    fit, spread = quadratic_fit(*near)
    for _ in range(_ROUNDS):
        off = np.abs(_off(share, square, loss, fit))
        # A perfect fit would cut all but the perfect; a watt is never too far off.
        close = off <= max(_CUT_SIGMAS * float(np.median(off)), 1.0)
        if np.array_equal(close, kept):
            break  # the same readings give the same fit, in this round and in all that follow
        kept, near = close, (share[close], square[close], loss[close])
        fit, spread = quadratic_fit(*near)
    rest = _off(*near, fit)
    variance = float((rest * rest).sum()) / max(rest.size - 3, 1)
    return fit[0], math.sqrt(spread * variance)


def _off(
    share: NDArray[np.float64],
    square: NDArray[np.float64],
    loss: NDArray[np.float64],
    fit: tuple[float, float, float],
) -> NDArray[np.float64]:
    """Return how far losses are off the fitted curve."""
    off = square * -fit[2]
    off -= share * fit[1]
    off -= fit[0]
    off += loss
    return off


def _offset_w(pack: Pack) -> float:
    """Return the standard uncertainty that the assumed sensor offset leaves. [W]"""
    return OFFSET_LIMIT_A / math.sqrt(3) * pack.nominal_v


def _idle(value: float, value_u: float, coverage_ratio: float) -> Estimate:
    half = K90 * value_u
    return Estimate(
        value=value,
        low=value - half,
        high=value + half,
        coverage_ratio=coverage_ratio,
        method=IDLE_METHOD,
    )

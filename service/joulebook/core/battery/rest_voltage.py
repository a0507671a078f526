"""The voltage of a resting lithium iron phosphate cell, and the way from a working one to it.

One generic curve stands for every pack. It was chosen by us and tried on simulated homes whose
own curves differ from it; a fit that uses it must allow for an error of some 8 mV a cell.
"""

import numpy as np

from joulebook.core.history import Floats

#: State of charge, and volts of a cell that rests, halfway between both branches of hysteresis.
_CURVE = (
    *((0.00, 2.720), (0.02, 2.960), (0.05, 3.110), (0.10, 3.200), (0.15, 3.227), (0.20, 3.252)),
    *((0.25, 3.270), (0.30, 3.284), (0.40, 3.294), (0.50, 3.299), (0.60, 3.309), (0.65, 3.324)),
    *((0.70, 3.331), (0.80, 3.334), (0.90, 3.338), (0.95, 3.346), (0.98, 3.372), (1.00, 3.450)),
)
#: State of charge when the charge voltage is held and hardly any current flows any more.
FULL_STATE = 0.999
#: A cell that is being discharged rests this much lower than halfway between both branches. [V]
HALF_HYSTERESIS_V = 0.008
#: Polarisation that builds up over minutes: its share of the pack's resistance, and how fast.
SLOW_SHARE = 0.3
SLOW_S = 1200.0

#: Where the mean over the past starts anew, in time constants: e^-15 is nothing.
_BLOCK = 15.0


def _smooth(points: Floats, count: int) -> tuple[Floats, Floats]:
    """Return a dense monotone cubic through the points (Fritsch and Carlson, 1980).

    Straight lines would put corners into the curve where cells have none. A fit that may move
    the curve locks onto corners: in homes that go down to 5 % it was 0.45 % wrong by them.
    """
    x, y = points.T
    width, rise = np.diff(x), np.diff(y) / np.diff(x)
    tangent = np.concatenate(
        [rise[:1], 2 * rise[:-1] * rise[1:] / (rise[:-1] + rise[1:]), rise[-1:]]
    )
    at = np.linspace(x[0], x[-1], count)
    piece = np.clip(np.searchsorted(x, at, side="right") - 1, 0, width.size - 1)
    s, bend = (at - x[piece]) / width[piece], width[piece] * (tangent[piece] - rise[piece])
    turn = width[piece] * (tangent[piece + 1] - rise[piece])
    straight = y[piece] + s * width[piece] * rise[piece]
    return at, straight + s * (1 - s) * ((1 - s) * bend - s * turn)


#: The same curve drawn finely, strictly rising.
STATES, VOLTS = _smooth(np.array(_CURVE), 2001)


def rest_voltage(state: Floats) -> Floats:
    """Return what a cell at a state of charge rests at, shape as given. [V]"""
    volts: Floats = np.interp(state, STATES, VOLTS)
    return volts


def state_at(cell_v: Floats) -> Floats:
    """Return the state of charge of a cell that rests at a voltage, 0 to 1, shape as given."""
    states: Floats = np.interp(cell_v, VOLTS, STATES)
    return states


def slope_at(state: Floats) -> Floats:
    """Return the curve's slope, shape as given. [V a cell per unit of state of charge]

    It is averaged over 2 % of charge, about what the readings around an anchor cover.
    """
    low, high = np.clip(state - 0.01, 0, 0.98), np.clip(state + 0.01, 0.02, 1)
    return (rest_voltage(high) - rest_voltage(low)) / (high - low)


def rested_cell_v(
    voltage_v: Floats,
    current_a: Floats,
    slow_a: Floats,
    resistance_ohm: Floats,
    cells: int,
    *,
    now_share: float = 0.0,
    slow_share: float = SLOW_SHARE,
) -> Floats:
    """Return what a cell of a pack that is being discharged would rest at. [V]

    Parameters
    ----------
    voltage_v, current_a, slow_a : float64 (n,)
        Of the pack; current above zero while charging, and its `slow_mean`. [V, A]
    resistance_ohm : float64 (n,)
        Of the pack. [Ω]
    cells : int
        In series.
    now_share, slow_share : float
        Of the resistance: what shows beyond it with the present current, and with the slow mean.

    Notes
    -----
    ``(V - I·R - 0.3·R·slow)/cells + 8 mV``: 51.2 V at -10 A for hours, 14 mΩ and 16 cells give
    (51.2 + 0.14 + 0.042)/16 + 0.008 = 3.219 V.
    """
    at_rest = voltage_v - resistance_ohm * ((1 + now_share) * current_a + slow_share * slow_a)
    return at_rest / cells + HALF_HYSTERESIS_V


def slow_mean(values: Floats, step_s: float, *, constant_s: float = SLOW_S) -> Floats:
    """Return the exponential mean of the past, up to and with each value, shape (n,).

    Parameters
    ----------
    values : float64 (n,)
        Taken as if evenly spaced: a lost reading hardly matters, a break does. No NaN.
    step_s : float
        Their spacing. [s]
    constant_s : float
        Time constant. [s]

    Notes
    -----
    ``y[i] = a·y[i-1] + (1-a)·x[i]`` with ``a = exp(-step/constant)``, and ``y[-1] = x[0]``.
    Written as a loop this would cost more than all else together. In a block of 15 time
    constants it is one cumulative sum, and of earlier blocks only the last has any weight left.
    """
    size = values.size
    if not size:
        return np.empty(0)
    decay = step_s / constant_s
    width = max(int(_BLOCK / decay), 1)
    rows = -(-size // width)
    padded: Floats = np.full(rows * width, values[-1])
    padded[:size] = values
    steps = np.arange(width) * decay
    block = padded.reshape(rows, width) * (-np.expm1(-decay) * np.exp(steps))
    np.cumsum(block, axis=1, out=block)
    block *= np.exp(-steps)
    before = np.concatenate([values[:1], block[:-1, -1]])
    block += before[:, None] * np.exp(-steps - decay)
    means: Floats = block.reshape(-1)[:size]
    return means

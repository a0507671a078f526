"""The hours in which the battery alone feeds the inverter, in blocks of a quarter of an hour.

Neither meter is read at the very same moment as the other, and each has its noise. A line through
readings of which both are noisy comes out too flat, and its end at no load too high or too low,
unless it is drawn over the point between them that their noise leaves alone. How far each of them
strays is seen from one reading to the next, where the true power moves both alike.
"""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from joulebook.core.daily.conversion import DARK_PV_W
from joulebook.core.history import Floats, Instants, PackHistory, PowerHistory
from joulebook.core.losses.full_segments import SensorOffset
from joulebook.core.spans import Span

LEAST_DISCHARGE_A = 2.0

#: Up to this the grid gives or takes nothing to speak of (our choice). [W]
GRID_IDLE_W = 50.0

_BLOCK_MS = 900_000
_FEWEST_ROWS = 30
_APART = 3
_PARTS = 8
_UNKNOWN_SHARE_U = 1 / math.sqrt(12)  # anywhere from 0 to 1
_NIGHT_MS = 4 * 3_600_000  # blocks further apart than that are of two nights


@dataclass(frozen=True, slots=True, kw_only=True)
class DarkBlocks:
    """Means over blocks, arrays of equal length in order of time.

    Attributes
    ----------
    at_ms : int64 (n,)
        Where a block begins. [ms, UTC epoch]
    night : int64 (n,)
        Which night it belongs to, from 0 up.
    output_w : float64 (n,)
        What the inverter gave, load less grid import. [W]
    dc_w : float64 (n,)
        What it took: from the battery, offset removed, and what little the panels gave. [W]
    output_w2, dc_w2, product_w2 : float64 (n,)
        Means of their squares and of their product. [W²]
    output_share, share_u : float
        Where the point between both lies that their noise leaves alone: 1 is the output, 0 is
        what was taken; and its standard uncertainty.
    voltage_v : float64 (n,)
        Of the battery. [V]
    readings : int64 (n,)
        How many a block holds.
    """

    at_ms: Instants
    night: NDArray[np.int64]
    output_w: Floats
    dc_w: Floats
    output_w2: Floats
    dc_w2: Floats
    product_w2: Floats
    output_share: float
    share_u: float
    voltage_v: Floats
    readings: NDArray[np.int64]

    @property
    def nights(self) -> int:
        """How many nights there are."""
        return int(self.night[-1]) + 1 if self.night.size else 0

    def between(self, share: float) -> tuple[Floats, Floats]:
        """Return the point between both, and the mean of its square, at an output's share."""
        rest = 1 - share
        square = share**2 * self.output_w2 + rest**2 * self.dc_w2
        square += 2 * share * rest * self.product_w2
        return share * self.output_w + rest * self.dc_w, square


def dark_blocks(
    history: PackHistory, powers: PowerHistory, span: Span, *, offset: SensorOffset
) -> DarkBlocks:
    """Return the blocks of a span in which it is dark and the battery gives more than 2 A.

    A block counts where at least half of its readings are such, and complete.
    """
    first, last = np.searchsorted(history.at_ms, [span.start_ms, span.end_ms])
    inside = slice(int(first), int(last))
    at_ms = history.at_ms[inside]
    flow = history.current_a[inside] - offset.at(at_ms)
    pv_w, grid_w = powers.pv_w[inside], powers.grid_w[inside]
    # A comparison with a missing reading is false; the load and the grid are asked further down.
    rows = np.flatnonzero((flow < -LEAST_DISCHARGE_A) & (pv_w < DARK_PV_W))
    volts = history.voltage_v[inside][rows]
    output = powers.load_w[inside][rows] - grid_w[rows]
    dc = pv_w[rows] - volts * flow[rows]
    complete = ~np.isnan(output + dc)
    alone = complete & (np.abs(grid_w[rows]) <= GRID_IDLE_W)
    if 2 * np.count_nonzero(alone) >= np.count_nonzero(complete):
        complete = alone  # else a grid that always helps is counted, rather than nothing said
    rows, volts, output, dc = rows[complete], volts[complete], output[complete], dc[complete]
    share, share_u = _output_share(rows, output, dc)
    block = at_ms[rows] // _BLOCK_MS
    begins = np.flatnonzero(np.diff(block, prepend=-1))
    readings = np.diff(np.append(begins, block.size))
    kept = readings * history.step_s * 1000 >= _BLOCK_MS / 2
    starts = block[begins[kept]] * _BLOCK_MS

    def mean(values: Floats) -> Floats:
        if not begins.size:
            return np.empty(0)
        means: Floats = (np.add.reduceat(values, begins) / readings)[kept]
        return means

    return DarkBlocks(
        at_ms=starts,
        night=np.cumsum(np.diff(starts, prepend=starts[:1]) > _NIGHT_MS),
        output_w=mean(output),
        dc_w=mean(dc),
        output_w2=mean(output * output),
        dc_w2=mean(dc * dc),
        product_w2=mean(output * dc),
        output_share=share,
        share_u=share_u,
        voltage_v=mean(volts),
        readings=readings[kept],
    )


def _output_share(rows: NDArray[np.int64], output: Floats, dc: Floats) -> tuple[float, float]:
    """Return how much of the point between both meters is the output's, and its uncertainty.

    With noises s of the two, ``share = s_dc² / (s_dc² + s_output²)``: their noise then moves the
    point and the difference of the meters independently. From one reading to the next the true
    power moves both alike, so what a meter moves beyond that is its noise.
    """
    whole = _share_of_noise(rows, output, dc)
    columns = (np.array_split(each, _PARTS) for each in (rows, output, dc))
    shares = [_share_of_noise(*each) for each in zip(*columns, strict=True)]
    parts = [each for each in shares if each is not None]
    if whole is None or len(parts) < _PARTS:
        return 0.5, _UNKNOWN_SHARE_U
    return whole, float(np.std(parts)) / math.sqrt(_PARTS - 1)


def _share_of_noise(rows: NDArray[np.int64], output: Floats, dc: Floats) -> float | None:
    """Return the share that some readings tell; ``None`` where they are too few, or never move."""
    near = np.flatnonzero(np.diff(rows) == 1)
    apart = np.flatnonzero(rows[_APART:] - rows[:-_APART] == _APART)
    if min(near.size, apart.size) < _FEWEST_ROWS:
        return None
    # A few readings later a meter's noise is another: the slope is not flattened by it.
    later = output[apart + _APART] - np.mean(output[apart + _APART])
    alike = float(np.mean(later * output[apart]))
    if alike <= 0:
        return None
    slope = float(np.mean(later * dc[apart])) / alike
    step_out = np.diff(output)[near]
    off = np.diff(dc)[near] - slope * step_out
    noise_out = max(-float(np.mean(off * step_out)) / slope, 0.0)
    noise_dc = max(float(np.mean(off * off)) - slope * slope * noise_out, 0.0)
    total = noise_dc + noise_out
    return noise_dc / total if total > 0 else 0.5

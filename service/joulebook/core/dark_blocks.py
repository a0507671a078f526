"""The hours in which the battery alone feeds the inverter, in blocks of a quarter of an hour.

Meters are not read at the very same moment: while the load jumps, one is ahead of the other. Over
a quarter of an hour most of that evens out. What is left is as often ahead as behind, so it leaves
the middle between both meters alone, and a loss is told by that middle rather than by either. A
loss that is quadratic stays linear in a block's mean and mean square.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from joulebook.core.conversion import DARK_PV_W
from joulebook.core.full_segments import SensorOffset
from joulebook.core.history import Floats, Instants, PackHistory, PowerHistory
from joulebook.core.spans import Span

LEAST_DISCHARGE_A = 2.0

_BLOCK_MS = 900_000
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
    middle_w, middle_w2 : float64 (n,)
        The middle between both, and the mean of its square. [W, W²]
    voltage_v : float64 (n,)
        Of the battery. [V]
    readings : int64 (n,)
        How many a block holds.
    """

    at_ms: Instants
    night: NDArray[np.int64]
    output_w: Floats
    dc_w: Floats
    middle_w: Floats
    middle_w2: Floats
    voltage_v: Floats
    readings: NDArray[np.int64]

    @property
    def nights(self) -> int:
        """How many nights there are."""
        return int(self.night[-1]) + 1 if self.night.size else 0


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
    volts, output, dc = volts[complete], output[complete], dc[complete]
    middle = (output + dc) / 2
    block = at_ms[rows[complete]] // _BLOCK_MS
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
        middle_w=mean(middle),
        middle_w2=mean(middle * middle),
        voltage_v=mean(volts),
        readings=readings[kept],
    )

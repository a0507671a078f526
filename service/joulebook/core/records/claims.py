"""What the battery says of itself, beside what was measured: never evidence, only a difference.

Method `claims-1`, see ``docs/methods/claims.md``. A battery's own state of charge is a share of
what it thinks it holds, and its state of health is what it thinks that is: neither can prove it.
"""

from dataclasses import dataclass

import numpy as np

from joulebook.core.battery.anchors import Measured
from joulebook.core.battery.capacity import CapacityStatement
from joulebook.core.history import MS_PER_DAY, Floats
from joulebook.core.records.record_inputs import RecordInputs

CLAIMS_METHOD = "claims-1"

#: The claims that are set beside ours are those of the last days of the record (our choice).
NEWEST_DAYS = 92.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Claims:
    """What the battery claims; ``None`` where it does not, or there is nothing to hold it against.

    Attributes
    ----------
    soh_ratio : float or None
        Its newest state of health.
    soh_less_ours : float or None
        By how much that is above what was measured, of the rated charge.
    soh_first_ratio : float or None
        What it claimed when the record began.
    soc_at_low_ratio, x_low : float or None
        Its state of charge at the low anchors of the newest months, median, and what the voltage
        said then.
    soc_less_ours : float or None
        The median of the differences.
    lows : int
        How many low anchors that is.
    method : str
        Of all of it.
    """

    soh_ratio: float | None
    soh_less_ours: float | None
    soh_first_ratio: float | None
    soc_at_low_ratio: float | None
    x_low: float | None
    soc_less_ours: float | None
    lows: int
    method: str = CLAIMS_METHOD


def claims_of(inputs: RecordInputs, measured: Measured, capacity: CapacityStatement) -> Claims:
    """Return the battery's claims and how far they differ from what was measured."""
    first, newest = _ends(inputs.soh_ratio)
    ours = capacity.latest.ah.value
    health = None if ours is None else ours / inputs.history.rated_ah
    claimed, told = _at_lows(inputs, measured)
    lows = claimed.size
    return Claims(
        soh_ratio=newest,
        soh_less_ours=None if newest is None or health is None else newest - health,
        soh_first_ratio=first,
        soc_at_low_ratio=float(np.median(claimed)) if lows else None,
        x_low=float(np.median(told)) if lows else None,
        soc_less_ours=float(np.median(claimed - told)) if lows else None,
        lows=lows,
    )


def _ends(values: Floats | None) -> tuple[float | None, float | None]:
    if values is None:
        return None, None
    known = values[~np.isnan(values)]
    return (float(known[0]), float(known[-1])) if known.size else (None, None)


def _at_lows(inputs: RecordInputs, measured: Measured) -> tuple[Floats, Floats]:
    low = measured.balances.full_to_low
    if inputs.soc_ratio is None:
        return np.empty(0), np.empty(0)
    recent = low.low_ms >= inputs.span.end_ms - NEWEST_DAYS * MS_PER_DAY
    rows = np.searchsorted(inputs.history.at_ms, low.low_ms[recent])
    claimed = inputs.soc_ratio[np.minimum(rows, inputs.soc_ratio.size - 1)]
    known = ~np.isnan(claimed)
    return claimed[known], low.x_low[recent][known]

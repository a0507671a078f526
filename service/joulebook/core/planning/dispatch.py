"""A house with panels and a battery that serves itself first, quarter hour by quarter hour.

Panels and battery meet on the DC side, the house takes its part through the inverter. What the
panels give beyond the house charges the battery, and what is over then is sold; what the house
needs beyond the panels comes from the battery down to its reserve, and what is missing then is
bought. The battery is never charged from the grid, and nothing looks ahead.
"""

import math
from dataclasses import dataclass
from itertools import accumulate

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

STEP_H = 0.25


@dataclass(frozen=True, slots=True, kw_only=True)
class Storage:
    """A battery as the simulation has it.

    Attributes
    ----------
    usable_wh : float
        Between full and the reserve, as it can be stored. [Wh]
    charge_w, discharge_w : float
        The most it takes and gives, at its terminals. [W]
    round_trip_ratio : float
        What comes back of what goes in; half of the loss is on either way. [ratio]
    """

    usable_wh: float
    charge_w: float
    discharge_w: float
    round_trip_ratio: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Course:
    """How a time would have gone, shape (n,); NaN where nothing was measured. [Wh]

    Attributes
    ----------
    import_wh, export_wh : float64 arrays
        Bought and sold. [Wh]
    charge_wh, discharge_wh : float64 arrays
        Into and out of the battery, at its terminals. [Wh]
    stored_wh : float64 array
        Above the reserve, at the end of each step. [Wh]
    """

    import_wh: Floats
    export_wh: Floats
    charge_wh: Floats
    discharge_wh: Floats
    stored_wh: Floats


def simulate(
    pv_wh: Floats, load_wh: Floats, *, passed_ratio: float, storage: Storage | None
) -> Course:
    """Return how the time would have gone; the battery begins half full.

    Parameters
    ----------
    pv_wh, load_wh : float64 arrays, shape (n,)
        What the panels gave and the house used in each quarter hour. Where either is NaN, the
        battery rests and nothing is told. [Wh]
    passed_ratio : float
        What of DC energy reaches the house or the grid, more than 0. [ratio]
    storage : Storage or None
        ``None`` for a house without battery.

    Raises
    ------
    ValueError
        If the shapes differ, or a ratio or a size makes no sense.

    Notes
    -----
    With ``spare = pv - load / passed`` the battery would move by ``min(spare, limit) · √r`` or
    ``-min(-spare, limit) / √r``, whatever it holds; what it holds is that sum, cut at 0 and at
    ``usable_wh`` step by step.
    """
    if pv_wh.shape != load_wh.shape:
        raise ValueError(f"{pv_wh.shape} of panels, but {load_wh.shape} of load")
    if not 0 < passed_ratio <= 1:
        raise ValueError(f"the inverter cannot pass on {passed_ratio}")
    spare = pv_wh - load_wh / passed_ratio
    charge, discharge, stored = _battery(spare, storage)
    rest = spare - charge + discharge
    known = ~np.isnan(spare)
    return Course(
        import_wh=np.maximum(-rest, 0.0) * passed_ratio,
        export_wh=np.maximum(rest, 0.0) * passed_ratio,
        charge_wh=np.where(known, charge, np.nan),
        discharge_wh=np.where(known, discharge, np.nan),
        stored_wh=np.where(known, stored, np.nan),
    )


def _battery(spare: Floats, storage: Storage | None) -> tuple[Floats, Floats, Floats]:
    """Return what goes into the battery, what comes out, and what it holds after each step."""
    if storage is None:
        nothing = np.zeros(spare.size)
        return nothing, nothing, nothing
    if not 0 < storage.round_trip_ratio <= 1:
        raise ValueError(f"a battery cannot give back {storage.round_trip_ratio}")
    if min(storage.usable_wh, storage.charge_w, storage.discharge_w) < 0:
        raise ValueError("a battery cannot hold or move less than nothing")
    way = math.sqrt(storage.round_trip_ratio)
    into = np.clip(np.nan_to_num(spare), 0.0, storage.charge_w * STEP_H) * way
    out = np.clip(-np.nan_to_num(spare), 0.0, storage.discharge_w * STEP_H) / way
    most = storage.usable_wh

    def next_stored(stored: float, change: float) -> float:
        changed = stored + change
        return 0.0 if changed < 0.0 else most if changed > most else changed

    # The one thing that cannot be computed of all steps at once.
    held = np.fromiter(
        accumulate((into - out).tolist(), next_stored, initial=most / 2),
        dtype=np.float64,
        count=spare.size + 1,
    )
    moved = np.diff(held)
    return np.maximum(moved, 0.0) / way, np.maximum(-moved, 0.0) * way, held[1:]

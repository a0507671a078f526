"""Why a night tells the capacity or does not: one sentence for each, for the owner to read."""

from joulebook.core.full_anchors import LEFT_SHARE
from joulebook.core.history import Floats, PackHistory
from joulebook.core.low_anchors import (
    LONGEST_FROM_FULL_H,
    QUIET_RATE,
    QUIET_RATE_ASSUMED,
    LowPoints,
)

#: An anchor needs a state of charge of at most this, a slope of at least this [V a cell per unit
#: of state of charge], so much drawn since full, of the rated charge, and quiet readings that
#: stand for this long together. [s]
HIGHEST_STATE = 0.18
LEAST_SLOPE_V = 0.30
LEAST_DRAWN_SHARE = 0.25
LEAST_QUIET_S = 180.0
#: Further below the curve's end than this a voltage is that of a fault. [V a cell]
_LEAST_CELL_V = 2.5


def reasons(
    history: PackHistory, low: LowPoints, states: Floats, slopes: Floats, *, known_ohm: bool
) -> tuple[str, ...]:
    """Return for each low point why it is no anchor; an empty string where it is one.

    Parameters
    ----------
    states, slopes : float64 (m,)
        What the generic curve says of the low points, NaN where there are none.
    known_ohm : bool
        Whether the pack's resistance was measured.
    """
    rate = QUIET_RATE if known_ohm else QUIET_RATE_ASSUMED
    least_quiet = max(round(LEAST_QUIET_S / history.step_s), 1)
    drawn_ratio = low.drawn_ah / history.rated_ah
    return tuple(
        _reason(history, low, night, drawn_ratio[night], rate, least_quiet)
        or _curve_reason(low.cell_v[night], states[night], slopes[night])
        for night in range(low.low_row.size)
    )


def _reason(
    history: PackHistory, low: LowPoints, night: int, drawn: float, rate: float, least_quiet: int
) -> str:
    """Return what was wrong with the readings themselves."""
    if not drawn >= LEAST_DRAWN_SHARE:
        broken = low.broken[night]
        if broken:
            return (
                "the readings break off before enough was drawn"
                f" ({max(drawn, 0.0):.0%} of the rated charge)"
            )
        until = "" if drawn >= LEFT_SHARE else ", which is hardly more than standing full"
        return (
            f"only {max(drawn, 0.0):.0%} of the rated charge was drawn within "
            f"{LONGEST_FROM_FULL_H / 24:.0f} days; {LEAST_DRAWN_SHARE:.0%} is needed{until}"
        )
    if low.quiet[night] < least_quiet:
        return (
            f"no {LEAST_QUIET_S / 60:.0f} quiet minutes at the lowest point: the current has to be "
            f"below {rate * history.rated_ah:.0f} A"
        )
    return ""


def _curve_reason(cell_v: float, state: float, slope: float) -> str:
    """Return why a clear voltage does not tell the state of charge."""
    if not cell_v >= _LEAST_CELL_V:
        return f"a rest voltage of {cell_v:.2f} V a cell is lower than any healthy cell shows"
    if state > HIGHEST_STATE or slope < LEAST_SLOPE_V:
        return (
            f"the cells came down to {cell_v:.3f} V at rest, about {state:.0%} full, where the "
            f"voltage hardly tells the charge; {HIGHEST_STATE:.0%} or less is needed"
        )
    return ""

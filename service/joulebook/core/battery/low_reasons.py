"""Why a night tells the capacity or does not: one sentence for each, for the owner to read."""

from joulebook.core.battery.low_anchors import (
    LONGEST_FROM_FULL_H,
    QUIET_RATE,
    QUIET_RATE_ASSUMED,
    LowPoints,
)
from joulebook.core.history import Floats, PackHistory

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
    rate_a = (QUIET_RATE if known_ohm else QUIET_RATE_ASSUMED) * history.rated_ah
    least_quiet = max(round(LEAST_QUIET_S / history.step_s), 1)
    return tuple(
        _charge_reason(low.most_ah[night] / history.rated_ah, broken=bool(low.broken[night]))
        or _quiet_reason(
            rate_a,
            quiet=bool(low.quiet[night] >= least_quiet)
            and bool(low.drawn_ah[night] >= LEAST_DRAWN_SHARE * history.rated_ah),
        )
        or _curve_reason(low.cell_v[night], states[night], slopes[night])
        for night in range(low.low_row.size)
    )


def _charge_reason(most: float, *, broken: bool) -> str:
    """Return why too little was drawn, as a share of the rated charge."""
    if most >= LEAST_DRAWN_SHARE:
        return ""
    if broken:
        return f"the readings break off when only {most:.0%} of the rated charge was drawn"
    return (
        f"only {most:.0%} of the rated charge was drawn within {LONGEST_FROM_FULL_H / 24:.0f} days "
        f"and before the next full charge; {LEAST_DRAWN_SHARE:.0%} is needed"
    )


def _quiet_reason(rate_a: float, *, quiet: bool) -> str:
    if quiet:
        return ""
    return (
        f"no {LEAST_QUIET_S / 60:.0f} quiet minutes near the lowest point, which would have to be "
        f"at less than {rate_a:.0f} A"
    )


def _curve_reason(cell_v: float, state: float, slope: float) -> str:
    """Return why a clear voltage does not tell the state of charge."""
    if cell_v < _LEAST_CELL_V:
        return f"a rest voltage of {cell_v:.2f} V a cell is lower than any healthy cell shows"
    if state > HIGHEST_STATE or slope < LEAST_SLOPE_V:
        return (
            f"the cells came down to {cell_v:.3f} V at rest, about {state:.0%} full, where the "
            f"voltage hardly tells the charge; {HIGHEST_STATE:.0%} or less is needed"
        )
    return ""

"""What the inverter's rating leaves above the highest load seen, on the whole and leg by leg."""

from joulebook.core.estimate import Estimate, refused
from joulebook.core.loads.metering import LOADS_METHOD, refused_as

#: Each leg of a split-phase inverter gives half of the whole (common practice, no source).
LEG_SHARE = 0.5


def headroom(peak_w: Estimate, rating_w: float | None, *, leg: bool = False) -> Estimate:
    """Return what a rating leaves above a load. [W]

    Parameters
    ----------
    peak_w : Estimate
        The highest reading; its interval can be open above. [W]
    rating_w : float or None
        What the inverter gives, both legs together. [W]
    leg : bool
        Whether the load is that of one leg, which has half of the rating.

    Notes
    -----
    6500 W less 1480 W are 5020 W; on a leg 3250 W less 1480 W are 1770 W.
    """
    if rating_w is None:
        return refused("what the inverter is rated for was not entered", method=LOADS_METHOD)
    if peak_w.value is None:
        return refused_as(peak_w)
    has_w = rating_w * (LEG_SHARE if leg else 1.0)
    # A peak that fell between two readings leaves less: nothing bounds it below.
    return Estimate(
        value=has_w - peak_w.value,
        low=None if peak_w.high is None else has_w - peak_w.high,
        high=None if peak_w.low is None else has_w - peak_w.low,
        coverage_ratio=peak_w.coverage_ratio,
        method=LOADS_METHOD,
    )

"""Which homes do worse than homes like them, looked at all together. Method `peers-1`."""

from dataclasses import dataclass

import numpy as np

from joulebook.core.fleet.discovery import adjusted
from joulebook.core.fleet.likeness import Lives
from joulebook.core.fleet.peers import Comparisons, compare
from joulebook.core.history import Floats

#: Of the homes that are named, so many are expected to be named for nothing (our choice).
DISCOVERY_RATE = 0.05

Flags = np.ndarray[tuple[int], np.dtype[np.bool_]]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Judged:
    """All homes beside their peers.

    Attributes
    ----------
    capacity, fade : Comparisons
        The capacity [of rated], and the fade [ratio per year].
    rate : float64 (n,)
        The false discovery rate at which a home would just be named; NaN without a comparison.
    low_capacity, fast_fade : bool (n,)
        Which homes are named, and for which of the two.
    """

    capacity: Comparisons
    fade: Comparisons
    rate: Floats
    low_capacity: Flags
    fast_fade: Flags


def judge(
    lives: Lives, *, capacity: Floats, capacity_u: Floats, fade: Floats, fade_u: Floats
) -> Judged:
    """Compare capacity and fade of all homes, and name those that stand out.

    Parameters
    ----------
    lives : Lives
        Of n homes.
    capacity, capacity_u : float64 (n,)
        Measured capacity and its standard uncertainty; NaN where it is not given. [of rated]
    fade, fade_u : float64 (n,)
        Loss of capacity, above zero for a loss; NaN where it is not given. [ratio per year]

    Notes
    -----
    A home is one look, though there are two numbers: its p-value is the smaller of the two times
    their number (Bonferroni), and then Benjamini and Hochberg correct for all homes.
    """
    found = (
        compare(lives, capacity, capacity_u, worse="below"),
        compare(lives, fade, fade_u, worse="above"),
    )
    p = np.stack([each.p for each in found])
    looks = (~np.isnan(p)).sum(axis=0)
    own = np.where(looks > 0, np.minimum(1.0, looks * np.fmin(p[0], p[1])), np.nan)
    rate = adjusted(own)
    with np.errstate(invalid="ignore"):
        named = rate <= DISCOVERY_RATE
        limit = float(np.max(own[named], initial=-1.0))
        low_capacity, fast_fade = (named & (looks * each.p <= limit) for each in found)
    return Judged(
        capacity=found[0], fade=found[1], rate=rate, low_capacity=low_capacity, fast_fade=fast_fade
    )

"""Corrects for many looks: who looks at ten thousand homes finds some that are odd by chance.

Part of method `peers-1`, see docs/methods/peers.md.
"""

import numpy as np

from joulebook.core.history import Floats


def adjusted(p: Floats) -> Floats:
    """Return the false discovery rate at which each of many findings would just be named.

    Benjamini and Hochberg (1995), J. R. Stat. Soc. B 57, 289. Name those of at most ``q``, and
    of what is named no more than the share ``q`` is expected to be named for nothing.

    Parameters
    ----------
    p : float64 (n,)
        p-values, 0 to 1; NaN where nobody looked, which counts as no look.

    Raises
    ------
    ValueError
        If one is outside 0 to 1.

    Notes
    -----
    For the sorted ``p(1) ≤ … ≤ p(m)``: the least ``p(j) · m / j`` of all ``j ≥ i``. By hand, 0.01,
    0.04, 0.03 become 0.03, 0.04, 0.04.
    """
    looked = ~np.isnan(p)
    values = p[looked]
    if np.any((values < 0) | (values > 1)):
        raise ValueError("a p-value lies outside 0 to 1")
    order = np.argsort(values, kind="stable")
    m = values.size
    steps = values[order] * m / np.arange(1, m + 1)
    falling = np.minimum.accumulate(steps[::-1])[::-1]
    result = np.full(p.shape, np.nan)
    back = np.empty(m)
    back[order] = falling
    result[looked] = back
    return result

"""Medians of many small groups at once."""

import numpy as np
from numpy.typing import NDArray

from joulebook.core.history import Floats


def group_medians(values: Floats, group: NDArray[np.int64], count: int) -> Floats:
    """Return the median of each group, shape (count,); NaN for a group without values.

    Parameters
    ----------
    values : float64 (n,)
        No NaN.
    group : int64 (n,)
        Which group each belongs to, from 0 up to, not including, ``count``.

    Notes
    -----
    One sort by group and value; a call of numpy's own median for each night would take longer
    than all else that is done with a record.
    """
    order = np.lexsort((values, group))
    ordered = values[order]
    sizes = np.bincount(group, minlength=count)
    starts = np.cumsum(sizes) - sizes
    medians = np.full(count, np.nan)
    there = sizes > 0
    low = starts[there] + (sizes[there] - 1) // 2
    high = starts[there] + sizes[there] // 2
    medians[there] = (ordered[low] + ordered[high]) / 2
    return medians

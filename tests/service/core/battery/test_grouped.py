"""Medians of groups against numpy's own."""

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from joulebook.core.battery.grouped import group_medians


@settings(derandomize=True, deadline=None)
@given(st.lists(st.tuples(st.integers(0, 4), st.floats(-1e6, 1e6)), max_size=40))
def test_medians_are_those_of_numpy(pairs: list[tuple[int, float]]) -> None:
    group = np.array([pair[0] for pair in pairs], dtype=np.int64)
    values = np.array([pair[1] for pair in pairs], dtype=np.float64)
    medians = group_medians(values, group, 5)
    for each in range(5):
        mine = values[group == each]
        if mine.size:
            assert medians[each] == np.median(mine)
        else:
            assert np.isnan(medians[each])

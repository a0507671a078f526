from itertools import pairwise

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from joulebook.bench.energy import energy_of_parts
from joulebook.bench.truth import energy_by_day

#: Steps of 1 s to a bit over the longest gap, often ten, now and then days.
STEPS = st.lists(
    st.one_of(st.integers(1_000, 60_000), st.just(10_000), st.just(200_000_000)),
    min_size=2,
    max_size=40,
)


@settings(derandomize=True, deadline=None)
@given(
    steps=STEPS,
    seed=st.integers(0, 1000),
    cuts=st.lists(st.integers(1, 40), max_size=4),
    rest=st.booleans(),
)
def test_week_by_week_is_the_same_as_line_by_line(
    steps: list[int], seed: int, cuts: list[int], rest: bool
) -> None:
    at_ms = 1_744_588_800_000 + np.cumsum(steps)
    power_w = np.round(np.random.default_rng(seed).normal(0, 500, at_ms.size))
    if rest:
        power_w[::2] = 0.0  # a battery at rest, also as -0.0, crosses nothing
        power_w[::4] = -0.0
    edges = sorted({0, at_ms.size, *(cut for cut in cuts if cut < at_ms.size)})
    parts = [(at_ms[first:last], power_w[first:last]) for first, last in pairwise(edges)]
    found, true = energy_of_parts(parts), energy_by_day(at_ms, power_w)
    assert found["day"].tolist() == true["day"].tolist()
    np.testing.assert_allclose(found["charge_wh"], true["charge_wh"], rtol=1e-9, atol=1e-6)
    np.testing.assert_allclose(found["discharge_wh"], true["discharge_wh"], rtol=1e-9, atol=1e-6)

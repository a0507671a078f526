import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from joulebook.core.fleet.discovery import adjusted


def test_by_hand() -> None:
    # 0.01·3/1 = 0.03, 0.03·3/2 = 0.045 but no more than 0.04·3/3 = 0.04 of the next.
    assert adjusted(np.array([0.01, 0.04, 0.03])) == pytest.approx([0.03, 0.04, 0.04])


def test_the_example_of_benjamini_and_hochberg() -> None:
    # Their section 4.1: of these fifteen p-values the four least are named at 5 %.
    p = [0.0001, 0.0004, 0.0019, 0.0095, 0.0201, 0.0278, 0.0298, 0.0344, 0.0459, 0.3240]
    p += [0.4262, 0.5719, 0.6528, 0.7590, 1.0]
    assert np.count_nonzero(adjusted(np.array(p)) <= 0.05) == 4


@settings(derandomize=True, deadline=None, max_examples=60)
@given(st.lists(st.floats(0, 1), min_size=1, max_size=40))
def test_it_is_what_scipy_says(p: list[float]) -> None:
    expected = stats.false_discovery_control(p, method="bh")
    np.testing.assert_allclose(adjusted(np.array(p)), expected, rtol=1e-12)


def test_where_nobody_looked_is_no_look() -> None:
    found = adjusted(np.array([np.nan, 0.01, np.nan, 0.5]))
    np.testing.assert_allclose(found, [np.nan, 0.02, np.nan, 0.5])
    assert adjusted(np.array([])).size == 0


@pytest.mark.parametrize("wrong", [-0.1, 1.1])
def test_what_is_no_probability_is_refused(wrong: float) -> None:
    with pytest.raises(ValueError, match="outside 0 to 1"):
        adjusted(np.array([0.5, wrong]))

import numpy as np
import pytest
from scipy import stats

from joulebook.core.fleet.student import upper_tail


@pytest.mark.parametrize("freedom", [0.5, 1.0, 2.0, 5.0, 14.3, 120.0, 3700.0, 1e5])
def test_it_is_the_tail_of_scipy(freedom: float) -> None:
    # scipy.stats.t.sf, of the library Boost in C++.
    t = np.concatenate([-np.geomspace(40, 1e-6, 60), [0.0], np.geomspace(1e-6, 40, 120)])
    np.testing.assert_allclose(upper_tail(t, freedom), stats.t.sf(t, freedom), rtol=2e-9)


def test_it_is_what_tables_say() -> None:
    # Any table of Student's t: 5 % above 1.812 with 10 degrees, 0.5 % above 2.576 with very many.
    tail = upper_tail(np.array([1.812, 2.576]), 10.0)
    assert tail[0] == pytest.approx(0.05, abs=1e-4)
    assert upper_tail(np.array([2.576]), 1e7)[0] == pytest.approx(0.005, abs=1e-5)


def test_with_one_degree_it_is_cauchy_s() -> None:
    # By hand: P(T > 1) = 1/2 - arctan(1)/π = 1/4.
    assert upper_tail(np.array([1.0, -1.0]), 1.0) == pytest.approx([0.25, 0.75])


def test_what_is_not_known_stays_so() -> None:
    assert np.isnan(upper_tail(np.array([np.nan, 0.0]), 3.0)).tolist() == [True, False]


def test_no_degree_of_freedom_is_refused() -> None:
    with pytest.raises(ValueError, match="degrees of freedom"):
        upper_tail(np.array([1.0]), 0.0)

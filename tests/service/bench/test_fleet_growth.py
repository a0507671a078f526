"""Exponents beside scipy's regression, and what cannot be fitted."""

import numpy as np
import pytest
from scipy import stats

from joulebook.bench.fleet_growth import growth, student_t


def test_exponent_and_interval_are_those_of_scipy() -> None:
    rng = np.random.default_rng(11)
    homes = [10, 100, 1000] * 3
    costs = [0.03 * size**1.02 * float(rng.lognormal(0, 0.1)) for size in homes]
    found = growth(homes, costs)
    line = stats.linregress(np.log(homes), np.log(costs))
    half = stats.t.ppf(0.95, len(homes) - 2) * line.stderr
    assert found.exponent == pytest.approx(line.slope, rel=1e-12)
    assert found.low == pytest.approx(line.slope - half, rel=1e-9)
    assert found.high == pytest.approx(line.slope + half, rel=1e-9)
    assert found.rounds == 9


@pytest.mark.parametrize(
    ("freedom", "expected"),
    # Any table of Student's t, 5 % to each side: NIST/SEMATECH e-Handbook, 1.3.6.7.2.
    [(1, 6.314), (2, 2.920), (4, 2.132), (7, 1.895), (30, 1.697)],
)
def test_students_t_is_that_of_the_table(freedom: int, expected: float) -> None:
    assert student_t(freedom) == pytest.approx(expected, abs=6e-4)


def test_what_costs_the_same_however_many_there_are_has_exponent_0() -> None:
    assert growth([10, 100, 1000], [5.0, 5.0, 5.0]).exponent == pytest.approx(0, abs=1e-12)


@pytest.mark.parametrize(
    ("homes", "costs"),
    [([10, 100], [1.0, 2.0]), ([10, 10, 10], [1.0, 2.0, 3.0]), ([10, 100, 1000], [0.0, 1.0, 2.0])],
)
def test_too_little_is_refused(homes: list[int], costs: list[float]) -> None:
    with pytest.raises(ValueError, match="an exponent needs"):
        growth(homes, costs)

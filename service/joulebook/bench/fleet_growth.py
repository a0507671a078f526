"""How a cost grows with the number of homes: an exponent, with an interval."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from joulebook.core.fleet.student import upper_tail

METHOD = "least squares of log cost on log homes, 90 % by Student's t"
_LEVEL = 0.90


@dataclass(frozen=True, slots=True, kw_only=True)
class Growth:
    """``cost = factor * homes ** exponent``, as fits best.

    Attributes
    ----------
    exponent : float
        1: twice the homes cost twice as much.
    low, high : float
        Its interval of 90 %.
    rounds : int
        How many costs it rests on.
    """

    exponent: float
    low: float
    high: float
    rounds: int


def growth(homes: Sequence[int], costs: Sequence[float]) -> Growth:
    """Fit the exponent of a cost.

    Parameters
    ----------
    homes : sequence of int, length (n,)
        How many homes each cost is of; two different numbers at least.
    costs : sequence of float, length (n,)
        Above 0, in any unit.

    Raises
    ------
    ValueError
        If there are fewer than three costs, or one number of homes, or a cost is not above 0.

    Notes
    -----
    Ordinary least squares of a straight line, and the interval of its slope by Student's t with
    n - 2 degrees of freedom: NIST/SEMATECH e-Handbook of Statistical Methods, 4.1.4.1 and 4.4.3.
    It holds the rounds to be independent and their relative errors alike.
    """
    if len(costs) < 3 or len(set(homes)) < 2 or min(costs) <= 0:
        raise ValueError("an exponent needs three costs above 0, and two numbers of homes")
    x, y = np.log(np.asarray(homes, dtype=float)), np.log(np.asarray(costs, dtype=float))
    across = x - x.mean()
    spread = float(across @ across)
    exponent = float(across @ y) / spread
    rest = y - y.mean() - exponent * across
    freedom = len(costs) - 2
    half = student_t(freedom) * float(np.sqrt(rest @ rest / freedom / spread))
    return Growth(exponent=exponent, low=exponent - half, high=exponent + half, rounds=len(costs))


def student_t(freedom: int) -> float:
    """Return what Student's t exceeds, to either side, in one case of ten.

    By halving, of the tail that :mod:`joulebook.core.fleet.student` computes.
    """
    low, high = 0.0, 10.0  # 6.31 with one degree of freedom, and less with more
    for _ in range(60):
        middle = (low + high) / 2
        if upper_tail(np.array([middle]), freedom)[0] > (1 - _LEVEL) / 2:
            low = middle
        else:
            high = middle
    return high

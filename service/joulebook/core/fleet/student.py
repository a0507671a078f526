"""The upper tail of Student's t, for p-values. Part of method `peers-1`, see docs/methods/peers.md.

By the regularised incomplete beta function and its continued fraction: NIST Digital Library of
Mathematical Functions, 8.17.22 with 8.17.4, evaluated by Lentz's way as Thompson and Barnett
(1986, J. Comput. Phys. 64, 490) mended it.
"""

import math

import numpy as np

from joulebook.core.history import Floats

_TINY = 1e-300
_CLOSE = 1e-15
#: The fraction needs about the root of the degrees of freedom, and few more.
_MOST_STEPS = 1000


def upper_tail(t: Floats, freedom: float) -> Floats:
    """Return the probability that Student's t is above given values.

    Parameters
    ----------
    t : float64 (n,)
        NaN stays NaN.
    freedom : float
        Degrees of freedom, above 0.

    Raises
    ------
    ValueError
        If there is no degree of freedom.

    Notes
    -----
    ``P(T > t) = I_x(f/2, 1/2) / 2`` with ``x = f / (f + t²)`` for ``t ≥ 0``. By any table, 5 % of
    t with 10 degrees of freedom lie above 1.812.
    """
    if not freedom > 0:
        raise ValueError(f"{freedom} degrees of freedom")
    a, b = freedom / 2, 0.5
    # Both by themselves: 1 - x would lose what tells a small t from none.
    x, rest = freedom / (freedom + t * t), t * t / (freedom + t * t)
    # The fraction closes quickly on the side of its mean; the other side is the rest to 1.
    near, far = x < (a + 1) / (a + b + 2), x >= (a + 1) / (a + b + 2)
    beta = np.full(x.shape, np.nan)
    beta[near] = _incomplete(x[near], rest[near], a, b)
    beta[far] = 1 - _incomplete(rest[far], x[far], b, a)
    tail: Floats = np.where(t >= 0, beta / 2, 1 - beta / 2)
    return tail


def _incomplete(x: Floats, rest: Floats, a: float, b: float) -> Floats:
    """Return I_x(a, b) where x is below its mean, and ``rest`` what is missing to 1."""
    log_beta = math.lgamma(a) + math.lgamma(b) - math.lgamma(a + b)
    front = np.exp(a * np.log(np.maximum(x, _TINY)) + b * np.log(rest) - log_beta) / a
    c, d = np.ones_like(x), 1 / _kept(1 - (a + b) * x / (a + 1))
    value = d.copy()
    for m in range(1, _MOST_STEPS):
        even = m * (b - m) * x / ((a + 2 * m - 1) * (a + 2 * m))
        odd = -(a + m) * (a + b + m) * x / ((a + 2 * m) * (a + 2 * m + 1))
        step = np.ones_like(x)
        for term in (even, odd):
            d = 1 / _kept(1 + term * d)
            c = _kept(1 + term / c)
            step = c * d
            value *= step
        if np.all(np.abs(step - 1) < _CLOSE):
            break
    result: Floats = front * value
    return result


def _kept(value: Floats) -> Floats:
    """Return what may be divided by."""
    kept: Floats = np.where(np.abs(value) < _TINY, _TINY, value)
    return kept

"""Least squares that a few bad rows cannot bend: priors as rows, Huber weights, scales by group.

Huber (1964), Ann. Math. Statist. 35, 73; the scale is the median absolute deviation about zero.
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from joulebook.core.history import Floats, Instants

#: The median absolute deviation of a normal variable, in standard deviations.
MAD_RATIO = 0.6744897501960817

#: No row is ever so far off. [standard deviations]
NEVER = 1e9

#: Rows whose columns, of unit size, are nearer to dependence than this say too little.
_LEAST_STRENGTH = 1e-13

#: A group of fewer rows keeps the scale that was stated for it.
_FEWEST_TO_SCALE = 8
#: Rows are left out from this round on: before it the unknowns are not where they belong.
_FIRST_ROUND_TO_DROP = 2

#: At some unknowns (n,): what the rows say less what they should say, shape (m,), and how what
#: they should say changes with the unknowns, shape (m, n).
Equations = Callable[[Floats], tuple[Floats, Floats]]


@dataclass(frozen=True, slots=True)
class Solution:
    """Unknowns (n,) and their covariance (n, n), for rows of unit standard deviation."""

    value: Floats
    covariance: Floats


@dataclass(frozen=True, slots=True)
class Rows:
    """Linear equations ``terms @ unknowns = target``, each of unit standard deviation.

    Attributes
    ----------
    terms : float64 (m, n)
    target : float64 (m,)
    """

    terms: Floats
    target: Floats


@dataclass(frozen=True, slots=True, kw_only=True)
class Robust:
    """How rows far off are treated.

    Attributes
    ----------
    bend : float
        From here on a row pulls with the same force, however far off it is. [standard deviations]
    drop : float
        From here on it is left out. [standard deviations]
    least_scale : float
        A group's scale is never taken below this.
    rounds : int
        At most so many.
    close : float
        Stop when no unknown moves by more than this part of its standard deviation.
    """

    bend: float = 1.5
    drop: float = 6.0
    least_scale: float = 0.5
    rounds: int = 12
    close: float = 0.01


@dataclass(frozen=True, slots=True, kw_only=True)
class RobustFit:
    """What a fit found, and what became of each row.

    Attributes
    ----------
    value, covariance : float64 (n,), (n, n)
        Unknowns, and their covariance with the final weights.
    scaled : float64 (m,)
        What is left of each row, in its stated standard deviations times its group's scale.
    weight : float64 (m,)
        From 0 (left out) to 1.
    scale : float64 (groups,)
        By how much the stated standard deviations of each group were found too small.
    data : Rows
        The last round's rows without the prior, weighted.
    """

    value: Floats
    covariance: Floats
    scaled: Floats
    weight: Floats
    scale: Floats
    data: Rows


def least_squares(terms: Floats, target: Floats) -> Solution:
    """Solve rows of unit standard deviation, columns brought to one size.

    Parameters
    ----------
    terms, target : float64 (m, n), (m,)
        ``terms @ unknowns = target``.

    Raises
    ------
    ValueError
        If the rows do not tell all unknowns apart.

    Notes
    -----
    Normal equations by Cholesky lose twice the digits that the columns' dependence costs, and
    two rounds of refinement with the rows themselves bring them back (Björck 1987, Linear
    Algebra Appl. 88, 31). An orthogonal factorisation of the tall matrix was as exact, but its
    many small steps took thirty times as long where threads had to wait for busy cores.
    """
    rows, unknowns = terms.shape
    size = np.sqrt(np.einsum("ij,ij->j", terms, terms))
    gram = (terms.T @ terms) / np.outer(size, size) if np.all(size > 0) else np.zeros((1, 1))
    if rows < unknowns or np.linalg.eigvalsh(gram)[0] <= _LEAST_STRENGTH:
        raise ValueError(f"{rows} rows do not tell {unknowns} unknowns apart")
    triangle = np.linalg.inv(np.linalg.cholesky(gram))
    inverse = triangle.T @ triangle / np.outer(size, size)
    value = inverse @ (terms.T @ target)
    for _ in range(2):
        value = value + inverse @ (terms.T @ (target - terms @ value))
    return Solution(value, inverse)


def huber_weights(scaled: Floats, *, bend: float, drop: float) -> Floats:
    """Return a weight for each row: 1 to the bend, then bend/|scaled|, and 0 beyond ``drop``."""
    far = np.abs(scaled)
    weights: Floats = np.where(far > drop, 0.0, bend / np.maximum(far, bend))
    return weights


def mad_scale(scaled: Floats) -> float:
    """Return the robust standard deviation about zero: the median of ``|scaled|`` over 0.6745."""
    return float(np.median(np.abs(scaled))) / MAD_RATIO


def gauss_newton(
    equations: Equations,
    start: Floats,
    *,
    sigma: Floats,
    group: Instants,
    prior: Rows,
    how: Robust,
) -> RobustFit:
    """Fit unknowns to equations and a prior, each group of rows on its own scale.

    Parameters
    ----------
    equations : Equations
        What is left of the rows, and their derivatives.
    start : float64 (n,)
        Where to begin.
    sigma : float64 (m,)
        Stated standard deviation of each row.
    group : int64 (m,)
        Of each row, from 0 up.
    prior : Rows
        Rows of unit standard deviation that are neither weighted nor scaled; may be empty.
    how : Robust
        Limits.

    Raises
    ------
    ValueError
        If rows and prior do not tell all unknowns apart.
    """
    groups = int(group.max(initial=-1)) + 1

    def improved(value: Floats, drop: float) -> RobustFit:
        rest, slopes = equations(value)
        scaled, scale = _rescaled(rest / sigma, group, groups, how.least_scale)
        weight = huber_weights(scaled, bend=how.bend, drop=drop)
        root = np.sqrt(weight)
        terms = slopes * (root / (sigma * scale[group]))[:, None]
        data = Rows(terms, root * scaled + terms @ value)
        solution = least_squares(
            np.concatenate([data.terms, prior.terms]), np.concatenate([data.target, prior.target])
        )
        return RobustFit(
            value=solution.value,
            covariance=solution.covariance,
            scaled=scaled,
            weight=weight,
            scale=scale,
            data=data,
        )

    fit = improved(start, NEVER)
    for round_number in range(1, how.rounds):
        before = fit.value
        fit = improved(before, how.drop if round_number >= _FIRST_ROUND_TO_DROP else NEVER)
        moved = np.abs(fit.value - before)
        if round_number > _FIRST_ROUND_TO_DROP and np.all(
            moved <= how.close * np.sqrt(np.diag(fit.covariance))
        ):
            break
    return fit


def _rescaled(
    scaled: Floats, group: Instants, groups: int, least_scale: float
) -> tuple[Floats, Floats]:
    scale = np.ones(groups)
    for number in range(groups):
        own = scaled[group == number]
        if own.size >= _FEWEST_TO_SCALE:
            scale[number] = max(mad_scale(own), least_scale)
    return scaled / scale[group], scale

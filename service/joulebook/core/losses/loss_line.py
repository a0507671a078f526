"""The loss of an inverter over what flows through it: a line that noise and outliers do not bend.

Huber (1964), Ann. Math. Statist. 35, 73.
"""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from joulebook.core.history import Floats
from joulebook.core.losses.dark_blocks import DarkBlocks
from joulebook.core.robust import MAD_RATIO, huber_weights, least_squares, mad_scale

_BEND = 1.345  # Huber's constant: 95 % efficient where errors are normal
_DROP = 6.0
_ROUNDS = 25
_STEPS = 5  # each brings the loss nearer by its own share of the output, some hundredths
_LOUDNESS_BINS = 8
_LEAST_SCALE_W = 0.1
_ASIDE = 0.2
_LEAST_SHARE_U = 0.01


@dataclass(frozen=True, slots=True)
class LossLine:
    """The loss over the point W between output and input, in kW: ``c + k1·W + k2·W²``.

    Attributes
    ----------
    terms, covariance : float64 (3,), (3, 3)
    output_share : float
        Of the output in W; the rest is the input's.
    """

    terms: Floats
    covariance: Floats
    output_share: float

    def at(self, output_w: float) -> float:
        """Return the loss at an output. [W]"""
        loss = 0.0
        for _ in range(_STEPS):  # W is a part of the loss above the output
            loss = float(self._row(output_w, loss) @ self.terms)
        return loss

    def u_at(self, output_w: float) -> float:
        """Return its standard uncertainty from how nights differ. [W]"""
        row = self._row(output_w, self.at(output_w))
        return math.sqrt(float(row @ self.covariance @ row))

    def _row(self, output_w: float, loss_w: float) -> Floats:
        between_kw = (output_w + (1 - self.output_share) * loss_w) / 1000
        return np.array([1.0, between_kw, between_kw**2])


@dataclass(frozen=True, slots=True)
class Loss:
    """The loss over the output, with all that its line is uncertain by.

    Attributes
    ----------
    line, other : LossLine
        The best one, and one over a point a little off.
    off : float
        How many of that point's standard uncertainties those two are apart.
    """

    line: LossLine
    other: LossLine
    off: float

    def at(self, output_w: float) -> float:
        """Return the loss at an output. [W]"""
        return self.line.at(output_w)

    def u_at(self, output_w: float) -> float:
        """Return its standard uncertainty. [W]"""
        apart = (self.other.at(output_w) - self.line.at(output_w)) / self.off
        return math.hypot(self.line.u_at(output_w), apart)


def fitted_loss(blocks: DarkBlocks) -> Loss:
    """Fit the loss to the blocks of a window; at least two nights of them."""
    share = blocks.output_share
    moved = share + _ASIDE if share < 0.5 else share - _ASIDE
    off = _ASIDE / max(blocks.share_u, _LEAST_SHARE_U)
    return Loss(_line_over(blocks, share), _line_over(blocks, moved), off)


def _line_over(blocks: DarkBlocks, share: float) -> LossLine:
    between_w, between_w2 = blocks.between(share)
    terms = np.column_stack([np.ones(between_w.size), between_w / 1e3, between_w2 / 1e6])
    loss = blocks.dc_w - blocks.output_w
    # Noise often grows with what flows: weighted alike, the loud hours would drown the quiet ones.
    value, _ = robust_line(terms, loss, blocks.night)
    loudness = _loudness(between_w, np.abs(loss - terms @ value))
    value, covariance = robust_line(terms / loudness[:, None], loss / loudness, blocks.night)
    return LossLine(value, covariance, share)


def _loudness(between_w: Floats, off_w: Floats) -> Floats:
    """Return how far blocks typically lie from the line, by how much flows. [W]"""
    edges = np.quantile(between_w, np.linspace(0, 1, _LOUDNESS_BINS + 1))
    place = np.clip(np.searchsorted(edges, between_w, side="right") - 1, 0, _LOUDNESS_BINS - 1)
    centres = (edges[1:] + edges[:-1]) / 2
    bins = [off_w[place == each] for each in range(_LOUDNESS_BINS)]
    typical = np.array([np.median(each) if each.size else np.nan for each in bins])
    known = ~np.isnan(typical)
    loudness = np.interp(between_w, centres[known], typical[known])
    louder: Floats = np.maximum(loudness / MAD_RATIO, _LEAST_SCALE_W)
    return louder


def robust_line(
    terms: Floats, target: Floats, group: NDArray[np.int64], *, drop: float = _DROP
) -> tuple[Floats, Floats]:
    """Fit ``terms @ value = target`` so that rows far off pull no harder than rows less far.

    Parameters
    ----------
    terms, target : float64 (m, n), (m,)
        Rows.
    group : int64 (m,)
        From 0 up; rows of one group share their errors, and the covariance is that of groups.
    drop : float
        Rows beyond so many standard deviations are left out.

    Returns
    -------
    value, covariance : float64 (n,), (n, n)
    """
    value = least_squares(terms, target).value
    root = np.ones(target.size)
    for _ in range(_ROUNDS):
        rest = target - terms @ value
        weight = huber_weights(rest / max(mad_scale(rest), _LEAST_SCALE_W), bend=_BEND, drop=drop)
        root = np.sqrt(weight)
        before, value = value, least_squares(terms * root[:, None], target * root).value
        if np.allclose(value, before, rtol=1e-9, atol=1e-9):
            break
    return value, _by_leaving_out(terms * root[:, None], target * root, group)


def _by_leaving_out(terms: Floats, target: Floats, group: NDArray[np.int64]) -> Floats:
    """Return the covariance of a fit from what it would be without each group in turn."""
    groups = int(group[-1]) + 1
    normal = np.zeros((groups, terms.shape[1], terms.shape[1]))
    np.add.at(normal, group, terms[:, :, None] * terms[:, None, :])
    right = np.zeros((groups, terms.shape[1]))
    np.add.at(right, group, terms * target[:, None])
    without = np.linalg.solve(normal.sum(axis=0) - normal, (right.sum(axis=0) - right)[:, :, None])
    apart = without[:, :, 0] - without[:, :, 0].mean(axis=0)
    covariance: Floats = apart.T @ apart * (groups - 1) / groups
    return covariance

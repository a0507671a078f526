"""The unknowns of the capacity fit: where they stand in time, and what is held of them before.

Every limit here is our choice, tried on simulated homes; ``docs/methods/capacity.md`` gives each
with its reason.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from joulebook.core.history import DAYS_PER_YEAR, MS_PER_DAY, Floats, Instants
from joulebook.core.robust import Rows

CAPACITY_KNOT_DAYS = 60.0
OFFSET_KNOT_DAYS = 91.0

#: States of charge at which the generic curve's error is unknown. [ratio]
CURVE_AT = np.linspace(0.0, 0.28, 15)

_FIRST_RATIO, _FIRST_U = 1.02, 0.04  # of the rated charge
_DRIFT_PER_YEAR, _DRIFT_U = -0.03, 0.08  # of the rated charge
_BEND_LATE, _BEND_EARLY, _BEND_AH = 0.006, 0.020, 0.02
_OFFSET_U_A, _OFFSET_STEP_U_A = 0.3, 0.02
_CURVE_U_V, _CURVE_REACH = 0.008, 0.10
_SHARED_U_V = 0.0009
#: Mean and standard deviation of the single unknowns, in the order of `Unknowns`.
_SINGLES = {
    "loss": (0.0025, 0.0015),
    "full_cold": (0.001, 0.001),
    "low_cold": (0.0015, 0.0012),
    "slow": (0.0, 0.3),
    "kept_below": (0.5, 0.3),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Unknowns:
    """Which place of the vector holds what.

    Attributes
    ----------
    capacity_ms : int64 (k,)
        Knots of the capacity, straight lines between them. [ms, UTC epoch]
    offset_ms : int64 (b,)
        Knots of the sensor's offset. [ms, UTC epoch]
    offset_piece : int64 (b,)
        The stretch between two free steps to which each of them belongs.
    steps_ms : int64 (p - 1,)
        Where one stretch ends and the next begins. [ms, UTC epoch]
    rated_ah : float
        What the maker rates. [Ah]
    """

    capacity_ms: Instants
    offset_ms: Instants
    offset_piece: Instants
    steps_ms: Instants
    rated_ah: float

    @property
    def capacity(self) -> slice:
        """Capacity at its knots. [Ah]"""
        return slice(0, self.capacity_ms.size)

    @property
    def offset(self) -> slice:
        """What the sensor reads when nothing flows, at its knots. [A]"""
        return slice(self.capacity_ms.size, self.capacity_ms.size + self.offset_ms.size)

    @property
    def curve(self) -> slice:
        """Error of the generic curve at `CURVE_AT`, volts a cell."""
        return slice(self.offset.stop, self.offset.stop + CURVE_AT.size)

    @property
    def shared(self) -> slice:
        """Error that the rest voltages around each capacity knot share, volts a cell."""
        return slice(self.curve.stop, self.curve.stop + self.capacity_ms.size)

    @property
    def loss(self) -> int:
        """Share of the charge put in that cannot be taken out."""
        return int(self.shared.stop)

    @property
    def full_cold(self) -> int:
        """Share of the capacity that a full charge misses, per °C below 25."""
        return int(self.shared.stop) + 1

    @property
    def low_cold(self) -> int:
        """Share of the capacity that a low voltage comes early, per °C below 25."""
        return int(self.shared.stop) + 2

    @property
    def slow(self) -> int:
        """Slow polarisation beyond what was taken off already, in resistances."""
        return int(self.shared.stop) + 3

    @property
    def kept_below(self) -> int:
        """Whether the charge below the anchor is a share of the capacity (0) or fixed (1)."""
        return int(self.shared.stop) + 4

    @property
    def size(self) -> int:
        """How many there are."""
        return int(self.shared.stop) + len(_SINGLES)


def place_unknowns(
    start_ms: int,
    end_ms: int,
    *,
    capacity_from_ms: int,
    steps_ms: Sequence[int],
    rated_ah: float,
) -> Unknowns:
    """Lay out knots so that the dates of earlier ones stay put while a record grows.

    Parameters
    ----------
    start_ms, end_ms : int
        Of the record. [ms, UTC epoch]
    capacity_from_ms : int
        When this battery began: the first knot of the capacity. [ms, UTC epoch]
    steps_ms : sequence of int
        Where the offset may step freely. [ms, UTC epoch]
    rated_ah : float
        What the maker rates. [Ah]
    """
    inside = sorted({step for step in steps_ms if start_ms < step < end_ms})
    edges = [start_ms, *inside, end_ms]
    pieces = [_knots(begin, end, OFFSET_KNOT_DAYS) for begin, end in pairwise(edges)]
    return Unknowns(
        capacity_ms=_knots(capacity_from_ms, end_ms, CAPACITY_KNOT_DAYS),
        offset_ms=np.concatenate(pieces),
        offset_piece=np.repeat(np.arange(len(pieces)), [piece.size for piece in pieces]),
        steps_ms=np.array(inside, dtype=np.int64),
        rated_ah=rated_ah,
    )


def _knots(start_ms: int, end_ms: int, days: float) -> Instants:
    """Return instants every so many days from the start, up to the first at or after the end."""
    step_ms = round(days * MS_PER_DAY)
    count = max(-(-(end_ms - start_ms) // step_ms), 1)
    return start_ms + step_ms * np.arange(count + 1, dtype=np.int64)


def between_knots(knots: Floats, at: Floats) -> Floats:
    """Return each knot's share (m, k) in the straight lines' value at some places (m,).

    Before the first knot and after the last the value is theirs.
    """
    right = np.clip(np.searchsorted(knots, at, side="right"), 1, knots.size - 1)
    share = np.clip((at - knots[right - 1]) / (knots[right] - knots[right - 1]), 0.0, 1.0)
    rows = np.zeros((at.size, knots.size))
    each = np.arange(at.size)
    rows[each, right - 1] = 1.0 - share
    rows[each, right] = share
    return rows


def capacity_shares(unknowns: Unknowns, at_ms: Instants) -> Floats:
    """Return each capacity knot's share (m, k) in the capacity at some instants (m,)."""
    origin = unknowns.capacity_ms[0]
    return between_knots(_days(unknowns.capacity_ms, origin), _days(at_ms, origin))


def offset_shares(unknowns: Unknowns, at_ms: Instants) -> Floats:
    """Return each offset knot's share (m, b) in the offset at some instants (m,)."""
    piece = np.searchsorted(unknowns.steps_ms, at_ms, side="right")
    rows = np.zeros((at_ms.size, unknowns.offset_ms.size))
    for number in range(unknowns.steps_ms.size + 1):
        own, inside = unknowns.offset_piece == number, piece == number
        knots_ms = unknowns.offset_ms[own]
        rows[np.ix_(inside, own)] = between_knots(
            _days(knots_ms, knots_ms[0]), _days(at_ms[inside], knots_ms[0])
        )
    return rows


def _days(at_ms: Instants, origin_ms: int) -> Floats:
    days: Floats = (at_ms - origin_ms) / MS_PER_DAY
    return days


def start_values(unknowns: Unknowns) -> Floats:
    """Return where the fit begins: a healthy pack, a sensor without offset."""
    value = np.zeros(unknowns.size)
    years = (unknowns.capacity_ms - unknowns.capacity_ms[0]) / (MS_PER_DAY * DAYS_PER_YEAR)
    value[unknowns.capacity] = unknowns.rated_ah * (
        _FIRST_RATIO + np.maximum(_DRIFT_PER_YEAR * years, -0.5)
    )
    for name, (mean, _) in _SINGLES.items():
        value[getattr(unknowns, name)] = mean
    return value


def capacity_prior(unknowns: Unknowns) -> Rows:
    """Return what is held of the capacity alone: its start, its drift, and how it may bend."""
    knots, rated = unknowns.capacity_ms.size, unknowns.rated_ah
    years = CAPACITY_KNOT_DAYS / DAYS_PER_YEAR
    identity = np.eye(knots, unknowns.size)
    first = identity[:1] / (_FIRST_U * rated)
    drift = np.diff(identity, axis=0) / (_DRIFT_U * rated * years)
    bend = np.diff(identity, n=2, axis=0)
    early = 1.0 / (1.0 + np.arange(knots - 2))
    bend_u = (_BEND_LATE + _BEND_EARLY * early) * rated * years + _BEND_AH
    return Rows(
        np.concatenate([first, drift, bend / bend_u[:, None]]),
        np.concatenate(
            [
                [_FIRST_RATIO / _FIRST_U],
                np.full(knots - 1, _DRIFT_PER_YEAR / _DRIFT_U),
                np.zeros(bend_u.size),
            ]
        ),
    )


def prior(unknowns: Unknowns) -> Rows:
    """Return all that is held before any reading, as rows of unit standard deviation."""
    own = capacity_prior(unknowns)
    identity = np.eye(unknowns.size)
    offset = identity[unknowns.offset]
    joined = np.diff(unknowns.offset_piece) == 0
    begins = np.concatenate([[True], ~joined])
    apart = CURVE_AT[:, None] - CURVE_AT[None, :]
    covariance = _CURVE_U_V**2 * np.exp(-np.abs(apart) / _CURVE_REACH)
    # Uncorrelated rows of unit variance: with covariance L·Lᵀ these are inverse(L).
    curve = np.linalg.inv(np.linalg.cholesky(covariance)) @ identity[unknowns.curve]
    singles = np.array([identity[getattr(unknowns, name)] / u for name, (_, u) in _SINGLES.items()])
    terms = [
        own.terms,
        offset[begins] / _OFFSET_U_A,
        np.diff(offset, axis=0)[joined] / _OFFSET_STEP_U_A,
        curve,
        identity[unknowns.shared] / _SHARED_U_V,
        singles,
    ]
    known = [mean / u for mean, u in _SINGLES.values()]
    zeros = sum(rows.shape[0] for rows in terms[1:5])
    return Rows(np.concatenate(terms), np.concatenate([own.target, np.zeros(zeros), known]))

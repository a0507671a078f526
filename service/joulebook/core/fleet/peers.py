"""How a home's number compares with those of homes like it.

Method `peers-1`, see ``docs/methods/peers.md``.
"""

from dataclasses import dataclass
from typing import Literal

import numpy as np

from joulebook.core.daily.energy import K90
from joulebook.core.fleet.likeness import FEWEST_PEERS, Lives, nearest
from joulebook.core.fleet.student import upper_tail
from joulebook.core.history import Floats, Instants
from joulebook.core.robust import MAD_RATIO, Robust, Rows, gauss_newton

METHOD = "peers-1"

#: A number may change by so much from one end of what is still like to the other, before anything
#: is known of it: one standard deviation (our choice; wide). [of the number's own unit]
SLOPE_PRIOR = 0.05
#: A median is so much less sure than a mean (√(π/2)), and a spread by the median deviation rests
#: on this share of the values (Huber 1964: 37 % as efficient as the standard deviation).
_MEDIAN_U, _MAD_SHARE = 1.2533141373155001, 0.37
#: The median of the square of a normal variable: 0.6745².
_MEDIAN_SQUARE = MAD_RATIO**2
_UNKNOWNS = 4
#: No number is surer than this, so that nothing is divided by nothing where all are the same.
_LEAST_U = 1e-6

#: Why there is no comparison.
NO_NUMBER, NO_LIFE, FEW_PEERS = 1, 2, 3
WHY = {
    NO_NUMBER: "the number itself is not given",
    NO_LIFE: "heat, use or age of the battery is not known",
    FEW_PEERS: f"fewer than {FEWEST_PEERS} homes are like it in heat, use and age",
}


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Comparisons:
    """Every home beside its peers; NaN where there is no comparison, and ``why`` says why.

    Attributes
    ----------
    count : int64 (n,)
        How many peers.
    middle, low, high : float64 (n,)
        The peers' middle, moved to the home's own heat, use and age; and what 90 % of homes like
        it lie between.
    apart, apart_low, apart_high : float64 (n,)
        The home's number less that middle, with its 90 % interval.
    p : float64 (n,)
        Probability to be so much worse by chance, among homes like it.
    why : int64 (n,)
        0, or a key of `WHY`.
    """

    count: Instants
    middle: Floats
    low: Floats
    high: Floats
    apart: Floats
    apart_low: Floats
    apart_high: Floats
    p: Floats
    why: Instants


def compare(
    lives: Lives, value: Floats, u: Floats, *, worse: Literal["below", "above"]
) -> Comparisons:
    """Compare the number of every home with the numbers of homes of like heat, use and age.

    Parameters
    ----------
    lives : Lives
        Of n homes.
    value, u : float64 (n,)
        The number and its standard uncertainty, in one unit; NaN where it is not given.
    worse : ``below`` or ``above``
        On which side of its peers a home does worse.

    Notes
    -----
    Peers' numbers are moved along one robust plane to the home's own heat, use and age, as
    matching is done with correction of what is left of the difference (Abadie and Imbens 2011, J.
    Bus. Econ. Stat. 29, 1); their median is what is expected. How homes differ beyond their
    uncertainties is the larger of the spread among its own peers and that among all.
    """
    places = lives.places()
    known = ~(np.isnan(value) | np.isnan(u))
    placed = ~np.isnan(places).any(axis=1)
    usable = np.flatnonzero(known & placed)
    peers, count = nearest(places, usable)
    enough = count >= FEWEST_PEERS
    why = np.where(known, np.where(placed, FEW_PEERS, NO_LIFE), NO_NUMBER)
    why[usable[enough]] = 0
    counts = np.zeros(value.size, dtype=np.int64)
    counts[usable] = count
    if not enough.any():
        none = np.full(value.size, np.nan)
        return Comparisons(count=counts, why=why, **dict.fromkeys(_NUMBERS, none))
    found = _compared(places[usable], value[usable], u[usable], peers, enough, worse)
    spread_out = {name: np.full(value.size, np.nan) for name in _NUMBERS}
    for name, column in found.items():
        spread_out[name][usable[enough]] = column
    return Comparisons(count=counts, why=why, **spread_out)


_NUMBERS = ("middle", "low", "high", "apart", "apart_low", "apart_high", "p")


def _compared(
    places: Floats,
    value: Floats,
    u: Floats,
    peers: Instants,
    enough: np.ndarray[tuple[int], np.dtype[np.bool_]],
    worse: Literal["below", "above"],
) -> dict[str, Floats]:
    slope = _plane(places, value, u)
    peers, at = peers[enough], places[enough]
    moved = value[peers] - np.einsum("ijk,k->ij", places[peers] - at[:, None, :], slope)
    moved[peers < 0] = np.nan
    middle = np.nanmedian(moved, axis=1)
    near = np.nanmedian(np.abs(moved - middle[:, None]), axis=1) / MAD_RATIO
    middle_u = _MEDIAN_U * near / np.sqrt((peers >= 0).sum(axis=1))
    own_u, apart = u[enough], value[enough] - middle
    peers_u = np.where(peers < 0, np.nan, u[peers])
    local = np.sqrt(np.maximum(near**2 - np.nanmedian(peers_u, axis=1) ** 2, 0.0))
    sure = np.hypot(np.hypot(own_u, middle_u), _LEAST_U)
    spread = np.maximum(local, _spread(apart, sure))
    freedom = max(_MAD_SHARE * (apart.size - _UNKNOWNS), 1.0)
    sign = -1.0 if worse == "below" else 1.0
    return {
        "middle": middle,
        "low": middle - K90 * np.hypot(spread, middle_u),
        "high": middle + K90 * np.hypot(spread, middle_u),
        "apart": apart,
        "apart_low": apart - K90 * sure,
        "apart_high": apart + K90 * sure,
        "p": upper_tail(sign * apart / np.hypot(sure, spread), freedom),
    }


def _plane(places: Floats, value: Floats, u: Floats) -> Floats:
    """Return by how much the number changes with heat, use and age, shape (3,)."""
    centred = places - np.median(places, axis=0)
    terms = np.column_stack([np.ones(value.size), centred])
    middle = float(np.median(value))
    rough = float(np.median(np.abs(value - middle))) / MAD_RATIO
    prior = np.zeros((_UNKNOWNS - 1, _UNKNOWNS))
    prior[:, 1:] = np.eye(_UNKNOWNS - 1) / SLOPE_PRIOR
    fit = gauss_newton(
        lambda unknowns: (value - terms @ unknowns, terms),
        np.array([middle, 0.0, 0.0, 0.0]),
        sigma=np.hypot(u, rough) + _LEAST_U,
        group=np.zeros(value.size, dtype=np.int64),
        prior=Rows(prior, np.zeros(_UNKNOWNS - 1)),
        how=Robust(),
    )
    return fit.value[1:]


def _spread(apart: Floats, sure: Floats) -> float:
    """Return how homes differ from their peers beyond their uncertainties, by the median of all.

    The spread at which the median of ``apart² / (sure² + spread²)`` is that of a normal
    variable's square; 0 where the uncertainties alone tell the differences.
    """
    low, high = 0.0, float(np.max(np.abs(apart))) / MAD_RATIO
    for _ in range(60):
        tried = (low + high) / 2
        square = apart**2 / (sure**2 + tried**2)
        if float(np.median(square)) > _MEDIAN_SQUARE:
            low = tried
        else:
            high = tried
    return high

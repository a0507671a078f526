"""Which homes are like a home: in heat, in use and in age. Part of method `peers-1`."""

from dataclasses import dataclass

import numpy as np

from joulebook.core.history import Floats, Instants
from joulebook.core.outlook.exposure import AGEING_PER_C

#: No more than these many of the nearest are peers, and fewer than those are too few (our choice).
MOST_PEERS, FEWEST_PEERS = 60, 12

#: How far homes may lie apart and still be like each other (our choice): the heat of 4 °C, which
#: is 25 % of the thermal age a year, 50 full cycles a year, and one year of age.
HEAT_APART_C, CYCLES_APART, AGE_APART_YEARS = 4.0, 50.0, 1.0

#: Rows of distances that are held at once. [homes]
_AT_ONCE = 128


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Lives:
    """What each home's battery went through; NaN where it is not known.

    Attributes
    ----------
    heat : float64 (n,)
        Thermal age by the calendar: years at 25 °C that age a battery as much as one year did.
    cycles : float64 (n,)
        Full equivalent cycles. [1/year]
    age_years : float64 (n,)
        Since it first ran. [years]
    """

    heat: Floats
    cycles: Floats
    age_years: Floats

    def places(self) -> Floats:
        """Return where each home lies, shape (n, 3): 1 apart in one of them is just still like."""
        with np.errstate(divide="ignore", invalid="ignore"):
            warmth_c = np.log(np.where(self.heat > 0, self.heat, np.nan)) / AGEING_PER_C
        return np.column_stack(
            [
                warmth_c / HEAT_APART_C,
                self.cycles / CYCLES_APART,
                self.age_years / AGE_APART_YEARS,
            ]
        )


def nearest(places: Floats, usable: Instants) -> tuple[Instants, Instants]:
    """Return who the peers of each usable home are.

    Parameters
    ----------
    places : float64 (n, 3)
        From `Lives.places`.
    usable : int64 (m,)
        Homes whose place and number are known: only those have peers, and are peers.

    Returns
    -------
    peers : int64 (m, MOST_PEERS)
        Rows of ``usable``, the nearest in any order, -1 beyond the last.
    count : int64 (m,)
        How many there are.
    """
    here = places[usable]
    order = np.argsort(here[:, 0], kind="stable")
    here = here[order]
    peers = np.full((usable.size, MOST_PEERS), -1, dtype=np.int64)
    count = np.zeros(usable.size, dtype=np.int64)
    for first in range(0, usable.size, _AT_ONCE):
        rows = slice(first, min(first + _AT_ONCE, usable.size))
        # Sorted by heat, so that only a stretch of homes can be like those of this piece.
        low, high = np.searchsorted(here[:, 0], [here[first, 0] - 1, here[rows.stop - 1, 0] + 1])
        found, found_count = _of_piece(here, rows, int(low), int(high) + 1)
        peers[order[rows]] = np.where(found < 0, -1, order[found])
        count[order[rows]] = found_count
    return peers, count


def _of_piece(here: Floats, rows: slice, low: int, high: int) -> tuple[Instants, Instants]:
    there = here[low:high]
    apart = np.zeros((rows.stop - rows.start, there.shape[0]))
    like = np.ones(apart.shape, dtype=np.bool_)
    for axis in range(here.shape[1]):
        by = np.abs(here[rows, axis, None] - there[None, :, axis])
        like &= by <= 1
        apart += by * by
    own = np.arange(rows.start, rows.stop)
    like[own - rows.start, own - low] = False
    apart[~like] = np.inf
    wanted = min(MOST_PEERS, there.shape[0])
    found = np.argpartition(apart, wanted - 1, axis=1)[:, :wanted]
    known = np.isfinite(np.take_along_axis(apart, found, axis=1))
    padded = np.full((apart.shape[0], MOST_PEERS), -1, dtype=np.int64)
    # Known ones first, so that `count` says how many there are.
    first = np.argsort(~known, axis=1, kind="stable")
    padded[:, :wanted] = np.where(
        np.take_along_axis(known, first, axis=1), np.take_along_axis(found, first, axis=1) + low, -1
    )
    return padded, known.sum(axis=1)

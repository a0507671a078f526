"""Every home beside homes of like heat, use and age, as it is kept in the homes' lines."""

from collections.abc import Mapping, Sequence

import msgspec
import numpy as np

from joulebook.core.daily.energy import K90
from joulebook.core.fleet.judged import judge
from joulebook.core.fleet.likeness import Lives
from joulebook.core.fleet.peers import METHOD, WHY, Comparisons
from joulebook.core.history import Floats
from joulebook.summaries.homes.numbers import Measured, Numbers

#: So many decimals are kept: a home's peers move a little with each of them, and its line not.
_PLACES = 3, 4


class Beside(msgspec.Struct, frozen=True, kw_only=True, omit_defaults=True):
    """One number of a home beside those of its peers.

    Attributes
    ----------
    peers : int
        How many there are.
    middle, low, high : float or None
        What is expected of it, and what 90 % of homes like it lie between.
    apart, apart_low, apart_high : float or None
        Its number less the middle, with its 90 % interval.
    named : bool
        Whether it stands out as worse after correcting for many looks.
    reason : str or None
        Why there is no comparison.
    """

    peers: int
    middle: float | None = None
    low: float | None = None
    high: float | None = None
    apart: float | None = None
    apart_low: float | None = None
    apart_high: float | None = None
    named: bool = False
    reason: str | None = None


class Peers(msgspec.Struct, frozen=True, kw_only=True, omit_defaults=True):
    """Capacity [of rated] and fade [ratio per year] beside those of homes like it.

    ``rate`` is the false discovery rate at which it would just be named; ``None`` where nothing
    could be compared.
    """

    capacity: Beside
    fade: Beside
    rate: float | None = None
    method: str = METHOD


def peers_of(homes: Mapping[int, Numbers]) -> dict[int, Peers]:
    """Compare all homes with each other; the result by site."""
    every = list(homes.values())
    lives = Lives(
        heat=_column([each.heat for each in every]),
        cycles=_column([each.cycles for each in every]),
        age_years=_column([each.age_years for each in every]),
    )
    capacity, capacity_u = _measured([each.capacity for each in every])
    fade, fade_u = _measured([each.fade for each in every])
    found = judge(lives, capacity=capacity, capacity_u=capacity_u, fade=fade, fade_u=fade_u)
    capacities = _beside(found.capacity, found.low_capacity, _PLACES[0])
    fades = _beside(found.fade, found.fast_fade, _PLACES[1])
    rates = [None if np.isnan(each) else float(f"{each:.1e}") for each in found.rate.tolist()]
    return {
        site_id: Peers(capacity=own_capacity, fade=own_fade, rate=rate)
        for site_id, own_capacity, own_fade, rate in zip(
            homes, capacities, fades, rates, strict=True
        )
    }


def _column(values: Sequence[float | None]) -> Floats:
    return np.array([np.nan if each is None else each for each in values], dtype=np.float64)


def _measured(numbers: Sequence[Measured]) -> tuple[Floats, Floats]:
    """Return numbers and their standard uncertainties; NaN where only an interval is given."""
    low, high = (_column([getattr(each, end) for each in numbers]) for end in ("low", "high"))
    return _column([each.value for each in numbers]), (high - low) / (2 * K90)


def _beside(
    found: Comparisons, named: np.ndarray[tuple[int], np.dtype[np.bool_]], places: int
) -> list[Beside]:
    names = ("middle", "low", "high", "apart", "apart_low", "apart_high")
    columns = np.stack([getattr(found, name) for name in names], axis=1).round(places).tolist()
    rows = zip(found.count.tolist(), found.why.tolist(), columns, named.tolist(), strict=True)
    return [
        Beside(peers=count, reason=WHY[why])
        if why
        else Beside(peers=count, named=is_named, **dict(zip(names, numbers, strict=True)))
        for count, why, numbers, is_named in rows
    ]

"""Two stretches of days compared over the hours in which both were measured.

Method `same-hours-1`, see ``docs/methods/same-hours.md``. The clocks on the wall decide which
hours belong together, so that Monday morning stands beside Monday morning.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import reduce
from operator import add

import numpy as np

from joulebook.core.curves import Curve, clipped
from joulebook.core.daily.balance import common_flows
from joulebook.core.daily.energy import K90, METER_LIMIT_RATIO, integrate_curve
from joulebook.core.estimate import Estimate, refused
from joulebook.core.spans import Span

METHOD = "same-hours-1"

#: Less of the time than this measured in both says nothing of the whole (our choice).
LEAST_COMMON_RATIO = 0.5

_HOUR_MS = 3_600_000
#: The energies of each power: above zero, and below it.
_SIDES = {
    "pv": ("pv_wh",),
    "load": ("load_wh",),
    "grid": ("grid_import_wh", "grid_export_wh"),
    "battery": ("battery_charge_wh", "battery_discharge_wh"),
}
NAMES = (*(name for names in _SIDES.values() for name in names), "loss_wh")

#: Powers of a day by device kind; ``None`` where the site has no such device. [W]
Powers = Mapping[str, Curve | None]
#: Times of two days that belong together, each pair equally long.
Pairs = Sequence[tuple[Span, Span]]


@dataclass(frozen=True, slots=True)
class Shared:
    """An energy of two days, over the time in which both were measured. Days add up.

    Attributes
    ----------
    here_wh, there_wh : float
        Of the day that is looked at, and of the one beside it. [Wh]
    here_u, there_u : float
        Standard uncertainty from reading only now and then. [Wh]
    both_ms : int
        How long that time is. [ms]
    meters_wh : tuple of float
        By meter: how much more it counted here than there, above and below zero taken apart and
        both without sign. [Wh]
    """

    here_wh: float
    there_wh: float
    here_u: float
    there_u: float
    both_ms: int
    meters_wh: tuple[tuple[float, float], ...]

    def __add__(self, other: "Shared") -> "Shared":
        """Return both together; what is uncertain adds up too, on the wide side."""
        meters = zip(self.meters_wh, other.meters_wh, strict=True)
        return Shared(
            self.here_wh + other.here_wh,
            self.there_wh + other.there_wh,
            self.here_u + other.here_u,
            self.there_u + other.there_u,
            self.both_ms + other.both_ms,
            tuple((one[0] + more[0], one[1] + more[1]) for one, more in meters),
        )


@dataclass(frozen=True, slots=True)
class Compared:
    """An energy here and there over the same hours [Wh], ``None`` where it is refused.

    ``difference`` is here less there, with its interval, its coverage or the reason.
    """

    here_wh: float | None
    there_wh: float | None
    difference: Estimate


@dataclass(frozen=True, slots=True)
class _Sums:
    """What a curve adds up to above and below zero, and how uncertain each is by sampling."""

    wh: tuple[float, float]
    u: tuple[float, float]


def shared_of_days(here: Powers, there: Powers, pairs: Pairs) -> dict[str, Shared]:
    """Return the energies of two days over the time in which both were measured.

    Parameters
    ----------
    here, there : mapping of ``pv``, ``grid``, ``load``, ``battery`` to Curve or None
        Powers with the signs of the house [W]; ``None`` where the site has no such device.
    pairs : sequence of pairs of Span
        Which times of both days belong together, in order; see `core.spans.same_clock`.

    Returns
    -------
    dict of str to Shared
        By name; without those for which the site has no device.
    """
    found: dict[str, Shared] = {}
    if not pairs:
        return found
    for kind, names in _SIDES.items():
        one, other = here[kind], there[kind]
        if one is not None and other is not None:
            runs = common_runs(one, other, pairs)
            sums = (_sums(one, runs, 0), _sums(other, runs, 1))
            for side, name in enumerate(names):
                found[name] = _one_side(*sums, side, _length_ms(runs))
    if all(powers[kind] is not None for powers in (here, there) for kind in ("load", "battery")):
        found["loss_wh"] = _loss(here, there, pairs)
    return found


def compared(days: Sequence[Mapping[str, Shared]], *, hours: float) -> dict[str, Compared]:
    """Return by how much each energy differs, or why that cannot be told, by its name.

    Parameters
    ----------
    days : sequence of mappings
        What `shared_of_days` returned, one for each pair of days.
    hours : float
        How long the time is that the comparison is about. [h]

    Notes
    -----
    A meter that reads 1 % too much does so here and there: only 1 % of the difference is left.
    What readings now and then may have missed is each side's own:
    ``u² = (limit/√3)² Σ (|Δ above| + |Δ below|)² + u_here² + u_there²``. 12 kWh here and 10 there,
    read often: 2 ± 1.6449 · 0.01/√3 · 2 = 2 ± 0.019 kWh.
    """
    return {
        name: _compared([day[name] for day in days if name in day], hours=hours) for name in NAMES
    }


def common_runs(one: Curve, other: Curve, pairs: Pairs) -> list[tuple[Span, Span]]:
    """Return the parts of pairs of times in which both curves are known without a hole."""
    found = []
    for here, there in pairs:
        runs, others = _runs(one, here), _runs(other, there)
        place = 0
        for start, end in runs:
            # Runs are in order and do not touch: those that end before this one are done with.
            while place < len(others) and others[place][1] <= start:
                place += 1
            for other_start, other_end in others[place:]:
                if other_start >= end:
                    break
                first, last = max(start, other_start), min(end, other_end)
                found.append(
                    (
                        Span(here.start_ms + first, here.start_ms + last),
                        Span(there.start_ms + first, there.start_ms + last),
                    )
                )
    return found


def _runs(line: Curve, span: Span) -> list[tuple[int, int]]:
    """Return from when to when a curve has no hole, counted from the start of a span. [ms]"""
    part = clipped(line, span)
    change = np.diff(np.concatenate(([False], part.joined, [False])).astype(np.int8))
    starts, ends = (part.at_ms[np.flatnonzero(change == step)] for step in (1, -1))
    return [
        (start - span.start_ms, end - span.start_ms)
        for start, end in zip(starts.tolist(), ends.tolist(), strict=True)
    ]


def _one_side(here: _Sums, there: _Sums, side: int, both_ms: int) -> Shared:
    """Return what lies above (0) or below (1) zero."""
    more_wh = here.wh[side] - there.wh[side]
    return Shared(
        *(here.wh[side], there.wh[side], here.u[side], there.u[side]),
        both_ms,
        ((more_wh, 0.0),),
    )


def _loss(here: Powers, there: Powers, pairs: Pairs) -> Shared:
    """Return what the balance leaves over, while all powers of both days are known."""
    flows = [
        common_flows(powers, Span(pairs[0][side].start_ms, pairs[-1][side].end_ms))
        for side, powers in enumerate((here, there))
    ]
    lines = [
        Curve(
            each.load_w.at_ms,
            each.pv_w.value + each.grid_w.value - each.load_w.value - each.battery_w.value,
            each.load_w.joined,
        )
        for each in flows
    ]
    runs = common_runs(lines[0], lines[1], pairs)
    ours, theirs = (_sums(line, runs, side) for side, line in enumerate(lines))
    meters_wh = []
    for kind in ("pv_w", "grid_w", "load_w", "battery_w"):
        one, other = (_sums(getattr(each, kind), runs, side) for side, each in enumerate(flows))
        meters_wh.append((one.wh[0] - other.wh[0], one.wh[1] - other.wh[1]))
    return Shared(
        *(ours.wh[0] - ours.wh[1], theirs.wh[0] - theirs.wh[1]),
        *(math.hypot(*ours.u), math.hypot(*theirs.u)),
        _length_ms(runs),
        tuple(meters_wh),
    )


def _sums(line: Curve, runs: Pairs, side: int) -> _Sums:
    """Return what one side's curve adds up to over all runs."""
    parts = [integrate_curve(line, run[side]) for run in runs]
    return _Sums(
        (sum(part.positive or 0.0 for part in parts), sum(part.negative or 0.0 for part in parts)),
        (sum(part.positive_u for part in parts), sum(part.negative_u for part in parts)),
    )


def _length_ms(runs: Pairs) -> int:
    return sum(first.end_ms - first.start_ms for first, _ in runs)


def _compared(parts: Sequence[Shared], *, hours: float) -> Compared:
    if not parts:
        return _not_compared("the site has no device for it, or no day that both have", 0.0)
    whole = reduce(add, parts)
    share = min(1.0, whole.both_ms / _HOUR_MS / hours) if hours > 0 else 0.0
    if share < LEAST_COMMON_RATIO:
        return _not_compared(
            f"only {share:.0%} of the time was measured in both; half of it is needed", share
        )
    meters_wh = math.hypot(*(abs(above) + abs(below) for above, below in whole.meters_wh))
    scale_u = METER_LIMIT_RATIO / math.sqrt(3) * meters_wh
    half = K90 * math.hypot(scale_u, whole.here_u, whole.there_u)
    change = whole.here_wh - whole.there_wh
    return Compared(
        whole.here_wh,
        whole.there_wh,
        Estimate(
            value=change,
            low=change - half,
            high=change + half,
            coverage_ratio=share,
            method=METHOD,
        ),
    )


def _not_compared(reason: str, share: float) -> Compared:
    return Compared(None, None, refused(reason, method=METHOD, coverage_ratio=share))

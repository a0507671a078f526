"""How much of what goes into the battery comes out again.

Method `round-trip-1`, see ``docs/methods/round-trip.md``.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from itertools import pairwise

import numpy as np

from joulebook.core.curves import Curve, aligned, clipped
from joulebook.core.daily.energy import K90, Integral, hours_by_sign, integrate_curve
from joulebook.core.estimate import Estimate, refused
from joulebook.core.spans import Span

ROUND_TRIP_METHOD = "round-trip-1"

#: Assumed limits, uniform within; printed beside every figure that rests on them.
OFFSET_LIMIT_A = 0.3  # current sensor reads this when nothing flows
SOC_END_LIMIT_RATIO = 0.03  # the battery's own state of charge, at the ends of the window
SOC_STEP_LIMIT_RATIO = 0.01  # and its error from one side of a gap to the other
#: No round trip is ever given better than this, whatever the sums say.
BEST_HALF_WIDTH_RATIO = 0.003
#: Common practice, no source: nominal voltage of a lithium iron phosphate cell.
NOMINAL_CELL_V = 3.2

_LEAST_COVERAGE_RATIO = 0.5
_LARGEST_CORRECTION_RATIO = 0.25  # stored change against charge
_WIDEST_HALF_WIDTH_RATIO = 0.15


@dataclass(frozen=True, slots=True)
class Pack:
    """What the maker rates: charge of the whole battery [Ah] and cells in series."""

    rated_ah: float
    cells: int

    @property
    def nominal_v(self) -> float:
        """Nominal voltage. [V]"""
        return self.cells * NOMINAL_CELL_V

    @property
    def rated_wh(self) -> float:
        """Rated energy. [Wh]"""
        return self.rated_ah * self.nominal_v


@dataclass(frozen=True, slots=True, kw_only=True)
class RunSums:
    """Sums over the gap-free runs of a day or a window: what a round trip is made of.

    Attributes
    ----------
    charge_wh, discharge_wh : float
        Energy in and out, both counted up. [Wh]
    charge_u_wh, discharge_u_wh : float
        Standard uncertainty of them from sampling. [Wh]
    charging_h, discharging_h : float
        Time with power above and below zero. [h]
    stored_ratio : float
        Change of the battery's own state of charge over the same runs.
    runs : int
        How many runs there were.
    from_start, to_end : bool
        Whether a run begins with the first instant of the span, and one ends with the last: runs
        that meet at midnight are one.
    covered_s, length_s : float
        Time in runs, and of the whole. [s]
    """

    charge_wh: float
    discharge_wh: float
    charge_u_wh: float
    discharge_u_wh: float
    charging_h: float
    discharging_h: float
    stored_ratio: float
    runs: int
    from_start: bool
    to_end: bool
    covered_s: float
    length_s: float


def run_sums(battery_w: Curve, soc: Curve, span: Span, *, whole: Integral | None = None) -> RunSums:
    """Sum what went in and out and how the stored energy changed, where both are known.

    Parameters
    ----------
    battery_w, soc : Curve
        Power into the battery [W] and its own state of charge. [ratio]
    whole : Integral, optional
        That of the power over the span, where the caller has it: most often the state of charge
        is known whenever the power is, and this is all that is needed.
    """
    both = aligned([battery_w, soc])
    power, level = (clipped(line, span) for line in both)
    as_before = both[0].at_ms is battery_w.at_ms and bool(
        np.array_equal(both[0].joined, battery_w.joined)
    )
    energy = whole if whole is not None and as_before else integrate_curve(power, span)
    charging_h, discharging_h = hours_by_sign(power, span)
    joined = power.joined
    begins = joined & ~np.concatenate([[False], joined[:-1]])
    return RunSums(
        charge_wh=energy.positive or 0.0,
        discharge_wh=energy.negative or 0.0,
        charge_u_wh=energy.positive_u,
        discharge_u_wh=energy.negative_u,
        charging_h=charging_h,
        discharging_h=discharging_h,
        stored_ratio=float(np.sum(np.diff(level.value)[joined])),
        runs=int(np.count_nonzero(begins)),
        from_start=bool(joined.size and joined[0] and power.at_ms[0] == span.start_ms),
        to_end=bool(joined.size and joined[-1] and power.at_ms[-1] == span.end_ms),
        covered_s=energy.covered_s,
        length_s=span.length_s,
    )


def joined_sums(days: Sequence[tuple[date, RunSums]]) -> RunSums:
    """Add the sums of days in order; a run through midnight is counted once.

    Raises
    ------
    ValueError
        If there are no days.
    """
    if not days:
        raise ValueError("no days to add")
    meeting = sum(
        later == earlier + timedelta(days=1) and before.to_end and after.from_start
        for (earlier, before), (later, after) in pairwise(days)
    )
    sums = [each for _, each in days]
    return RunSums(
        charge_wh=math.fsum(each.charge_wh for each in sums),
        discharge_wh=math.fsum(each.discharge_wh for each in sums),
        charge_u_wh=math.hypot(*(each.charge_u_wh for each in sums)),
        discharge_u_wh=math.hypot(*(each.discharge_u_wh for each in sums)),
        charging_h=math.fsum(each.charging_h for each in sums),
        discharging_h=math.fsum(each.discharging_h for each in sums),
        stored_ratio=math.fsum(each.stored_ratio for each in sums),
        runs=sum(each.runs for each in sums) - meeting,
        from_start=sums[0].from_start,
        to_end=sums[-1].to_end,
        covered_s=math.fsum(each.covered_s for each in sums),
        length_s=math.fsum(each.length_s for each in sums),
    )


def split_loss_ratio(charge_wh: float, discharge_wh: float, stored_wh: float) -> float:
    """Return the round trip ratio with half of the loss on the way in, half on the way out.

    Parameters
    ----------
    charge_wh, discharge_wh : float
        Energy in and out over the same time, both counted up. [Wh]
    stored_wh : float
        How much more the cells hold at the end. [Wh]

    Raises
    ------
    ValueError
        If nothing went in.

    Notes
    -----
    With one-way ratio ``s``: ``discharge = s·(charge·s - stored)``, so
    ``s = (stored + √(stored² + 4·charge·discharge)) / (2·charge)``, and the round trip is
    ``s²``. 100 in, 88 out, 4 more stored: ``s = 0.958296``, ``s² = 0.918332``. It lies between
    ``out/(in - stored)`` and ``(out + stored)/in``. Without a change it is ``out/in``.
    """
    if not charge_wh > 0:
        raise ValueError("no round trip without charge")
    root = math.sqrt(stored_wh**2 + 4 * charge_wh * discharge_wh)
    return float(((stored_wh + root) / (2 * charge_wh)) ** 2)


def ratio_u(out: float, into: float, *, out_u: float, into_u: float, correlation: float) -> float:
    """Return the standard uncertainty of out/in, by the law of propagation (JCGM 100:2008 §5).

    Parameters
    ----------
    out, into, out_u, into_u : float
        The two amounts and their standard uncertainties, in one unit.
    correlation : float
        From -1 to 1; a gain error of one sensor that saw both is 1, and cancels.
    """
    a, b = out_u / out, into_u / into
    return out / into * math.sqrt(max(a * a + b * b - 2 * correlation * a * b, 0.0))


def round_trip(sums: RunSums | None, pack: Pack | None) -> Estimate:
    """Return the DC round trip ratio of a window, corrected for the change of stored energy.

    Parameters
    ----------
    sums : RunSums or None
        Of the window; ``None`` where no day had power and state of charge together.
    pack : Pack or None
        Turns the state of charge into energy; ``None`` where the owner did not enter it.
    """
    if pack is None:
        return _no_round_trip("the battery's rated charge and cells in series were not entered")
    if sums is None or sums.length_s == 0:
        return _no_round_trip("no battery power and state of charge were measured together")
    coverage = sums.covered_s / sums.length_s
    if coverage < _LEAST_COVERAGE_RATIO:
        return _no_round_trip(
            f"only {coverage:.0%} of the time has battery power and state of charge together; "
            f"{_LEAST_COVERAGE_RATIO:.0%} are needed",
            coverage,
        )
    stored_wh = sums.stored_ratio * pack.rated_wh
    if abs(stored_wh) >= _LARGEST_CORRECTION_RATIO * min(sums.charge_wh, sums.discharge_wh):
        return _no_round_trip(
            f"too little went through: {sums.charge_wh:.0f} Wh in and {sums.discharge_wh:.0f} Wh "
            f"out, while the stored energy changed by {stored_wh:+.0f} Wh; take a longer window",
            coverage,
        )
    ratio = split_loss_ratio(sums.charge_wh, sums.discharge_wh, stored_wh)
    half = max(K90 * round_trip_u(sums, ratio, pack), BEST_HALF_WIDTH_RATIO)
    if half > _WIDEST_HALF_WIDTH_RATIO:
        return _no_round_trip(
            f"the ratio would be uncertain by ±{half:.0%}; take a longer window", coverage
        )
    return Estimate(
        value=ratio,
        low=max(ratio - half, 0.0),
        high=max(min(ratio + half, 1.0), ratio),  # nothing gives back more than it took
        coverage_ratio=coverage,
        method=ROUND_TRIP_METHOD,
    )


def round_trip_u(sums: RunSums, ratio: float, pack: Pack) -> float:
    """Return the standard uncertainty of a round trip, from three independent parts.

    The sensor's offset adds to one side and takes from the other, hour by hour; the stored
    change is known to the battery's own state of charge at the two ends, and to a step of it at
    each gap; and sampling. The sensor's gain cancels (`ratio_u` with correlation 1).
    """
    offset_w = OFFSET_LIMIT_A / math.sqrt(3) * pack.nominal_v
    offset = offset_w * (sums.charging_h * ratio + sums.discharging_h) / sums.charge_wh
    steps = 2 * SOC_END_LIMIT_RATIO**2 + 2 * max(sums.runs - 1, 0) * SOC_STEP_LIMIT_RATIO**2
    # One more Wh stored moves the ratio by about √ratio per Wh of charge.
    stored = math.sqrt(steps / 3) * pack.rated_wh * math.sqrt(ratio) / sums.charge_wh
    sampling = ratio_u(
        sums.discharge_wh,
        sums.charge_wh,
        out_u=sums.discharge_u_wh,
        into_u=sums.charge_u_wh,
        correlation=0.0,
    )
    return math.hypot(offset, stored, sampling)


def _no_round_trip(reason: str, coverage_ratio: float = 0.0) -> Estimate:
    return refused(reason, method=ROUND_TRIP_METHOD, coverage_ratio=coverage_ratio)

"""What a change would have done in a measured year, beside what was. Method `planning-1`.

The present equipment is simulated too. By how much that misses what was measured makes the
interval of everything said about a change; where it misses by too much, nothing is said.
"""

from dataclasses import dataclass

import numpy as np

from joulebook.core.estimate import refused
from joulebook.core.planning.dispatch import Course, Floats
from joulebook.core.planning.measured import Equipment, MeasuredTime
from joulebook.core.planning.outcome import METHOD, QUARTERS_A_YEAR, Outcome, Teller

#: Where the simulation of what is there misses energy bought or sold by more than this share of
#: the use, it does not know this house. Our choice.
MOST_OFF_RATIO = 0.1
#: Four weeks: less says nothing of a year. [h]
LEAST_HOURS = 672.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Plan:
    """A year as it was, as the simulation has it, and as it would have been after a change.

    Attributes
    ----------
    off_ratio : float
        By how much the simulation of what is there misses, as a share of the use. [ratio]
    base, course : Course or None
        The simulations of what is there, and of the change; ``None`` where nothing is told.
    """

    was: Outcome
    change: Outcome
    difference: Outcome
    off_ratio: float
    coverage_ratio: float
    base: Course | None = None
    course: Course | None = None


def plan_of(
    time: MeasuredTime,
    present: Equipment,
    *,
    changed: Equipment,
    pv_scale: float = 1.0,
    more_load_wh: Floats | None = None,
) -> Plan:
    """Return what a change would have done.

    Parameters
    ----------
    time : MeasuredTime
        The year.
    present, changed : Equipment
        What is there, and what would be.
    pv_scale : float
        What the panels would give, of what they gave. [ratio]
    more_load_wh : float64 array, shape (n,), optional
        What the house would use beyond what it did. [Wh]
    """
    known, coverage = time.known, time.hours * 4 / QUARTERS_A_YEAR
    if time.hours < LEAST_HOURS:
        return _refused(
            f"only {time.hours:.0f} hours were measured by all meters at once; "
            f"{LEAST_HOURS:.0f} are needed",
            coverage,
            1.0,
        )
    pv, load = (np.where(known, each, np.nan) for each in (time.pv_wh, time.load_wh))
    new_pv, new_load = pv * pv_scale, load if more_load_wh is None else load + more_load_wh
    base, course = present.course(pv, load), changed.course(new_pv, new_load)
    doubt = [each.course(new_pv, new_load) for each in changed.doubtful()]
    teller = Teller(time, coverage, base, course, doubt)
    used = float(np.nansum(load))
    off = max(teller.missed_wh) / used if used > 0 else 1.0
    if off > MOST_OFF_RATIO:
        return _refused(
            f"the simulation of what is there misses what was measured by {off:.0%} of the use; "
            f"{MOST_OFF_RATIO:.0%} is the most that is told",
            coverage,
            off,
        )
    return Plan(
        was=teller.measured(present.storage),
        change=teller.changed(changed.storage),
        difference=teller.difference(),
        off_ratio=off,
        coverage_ratio=min(coverage, 1.0),
        base=base,
        course=course,
    )


def _refused(reason: str, coverage: float, off: float) -> Plan:
    nothing = refused(reason, method=METHOD, coverage_ratio=min(coverage, 1.0))
    outcome = Outcome(
        import_wh=nothing,
        export_wh=nothing,
        paid=nothing,
        full_h=nothing,
        empty_h=nothing,
        cycles=nothing,
    )
    return Plan(
        was=outcome,
        change=outcome,
        difference=outcome,
        off_ratio=off,
        coverage_ratio=min(coverage, 1.0),
    )

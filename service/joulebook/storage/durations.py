"""How long something takes: counts by upper bound, as histograms of measurement systems want."""

from bisect import bisect_left
from dataclasses import dataclass, field

#: Upper bounds, each included: from a commit on a good disk to one that nobody waits for. [s]
BOUNDS_S = (0.001, 0.0025, 0.005, 0.01, 0.025, 0.05, 0.1, 0.25, 0.5, 1.0, 2.5, 5.0, 10.0, 30.0)


@dataclass(slots=True)
class Durations:
    """Durations seen, counted. One thread notes; a copy may be read by any.

    Attributes
    ----------
    counts : list of int
        How many were at most each of `BOUNDS_S` and above the one before; the last: above all.
    sum_s : float
        All of them together. [s]
    """

    counts: list[int] = field(default_factory=lambda: [0] * (len(BOUNDS_S) + 1))
    sum_s: float = 0.0

    def note(self, duration_s: float) -> None:
        """Count one."""
        self.counts[bisect_left(BOUNDS_S, duration_s)] += 1
        self.sum_s += duration_s

    def copy(self) -> "Durations":
        """Return them as they are now."""
        return Durations(self.counts.copy(), self.sum_s)

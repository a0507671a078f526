"""The quarter hours of a series: least, mean over time, greatest, last, and how many.

Method `quarter-hours-1`, see ``docs/methods/quarter-hours.md``.
"""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from joulebook.core.curves import MAX_GAP_S, usual_max_gap_s
from joulebook.core.spans import Span

METHOD = "quarter-hours-1"

#: Quarter hours begin on the clock of UTC, and so do those of every zone of today. [ms]
QUARTER_MS = 900_000


@dataclass(frozen=True, slots=True, kw_only=True)
class Quarters:
    """Steps of equal length of one series: quarter hours, or several of them together.

    Attributes
    ----------
    start_ms : int64 array, shape (m,)
        Where each step begins; it ends where the next one begins. [ms, UTC epoch]
    low, high, last : float64 arrays, shape (m,)
        The least, the greatest and the last of the readings inside, NaN where there are none.
    mean : float64 array, shape (m,)
        Over the measured time of the step, NaN where none was. It may lie a little outside of
        ``low`` to ``high``, for lines run across the step's ends.
    count : int64 array, shape (m,)
        How many readings it holds.
    covered_ms : int64 array, shape (m,)
        How much of it was measured. [ms]
    """

    start_ms: NDArray[np.int64]
    low: NDArray[np.float64]
    mean: NDArray[np.float64]
    high: NDArray[np.float64]
    last: NDArray[np.float64]
    count: NDArray[np.int64]
    covered_ms: NDArray[np.int64]


def quarter_hours(
    at_ms: NDArray[np.int64],
    values: Mapping[str, NDArray[np.float64]],
    *,
    span: Span,
    max_gap_s: float | None = None,
) -> dict[str, Quarters]:
    """Return the quarter hours of a device's quantities over a span.

    Between two readings the quantity is a straight line, unless they are too far apart; a line
    that crosses the end of a quarter hour counts on either side with its part.

    Parameters
    ----------
    at_ms : int64 array, shape (n,)
        Instants of the span and of at least the nearest reading within ``max_gap_s`` on either
        side, strictly increasing. [ms, UTC epoch]
    values : mapping of quantity to float64 array, shape (n,)
        NaN where an instant did not bring it; infinities count as missing too.
    span : Span
        From the beginning of a quarter hour to the end of one.
    max_gap_s : float, optional
        The longest step that a line may bridge, a quarter hour at most; by default
        `usual_max_gap_s` of each quantity's own instants. [s]

    Raises
    ------
    ValueError
        If the span is not made of quarter hours, ``max_gap_s`` is longer than one, or the
        shapes differ.

    Notes
    -----
    Sum of ``(a + b)/2 · h`` over the lines inside, over the sum of their ``h``. As no line is
    longer than a quarter hour, it crosses one end at most, and a quarter hour without readings
    has nothing measured.
    """
    if span.start_ms % QUARTER_MS or span.end_ms % QUARTER_MS:
        raise ValueError(f"not made of quarter hours: {span}")
    if (max_gap_s or 0.0) > QUARTER_MS / 1000:
        raise ValueError(f"a line may bridge a quarter hour at most, not {max_gap_s} s")
    # Quantities that share their instants are computed together.
    together: dict[bytes, tuple[NDArray[np.bool_], list[str]]] = {}
    for name, value in values.items():
        if value.shape != at_ms.shape:
            raise ValueError(f"{at_ms.size} instants, but {value.size} of {name}")
        there = np.isfinite(value)
        together.setdefault(there.tobytes(), (there, []))[1].append(name)
    found: dict[str, Quarters] = {}
    for there, names in together.values():
        rows = np.array([values[name] for name in names])
        instants = at_ms
        if not there.all():
            rows, instants = rows[:, there], at_ms[there]
        gap_s = usual_max_gap_s(instants, limit_s=MAX_GAP_S) if max_gap_s is None else max_gap_s
        found.update(zip(names, _quarters(instants, rows, span, gap_s * 1000), strict=True))
    return {name: found[name] for name in values}


def _quarters(
    at_ms: NDArray[np.int64], rows: NDArray[np.float64], span: Span, max_gap_ms: float
) -> list[Quarters]:
    """Return the quarter hours of quantities, one a row, of which no reading is missing."""
    edges = np.arange(span.start_ms, span.end_ms + 1, QUARTER_MS)
    first = np.searchsorted(at_ms, edges)
    count = np.diff(first)
    filled = np.flatnonzero(count)
    begins, upto = first[filled], first[-1]
    low, mean, high, last = (np.full((len(rows), count.size), np.nan) for _ in range(4))
    area, covered_ms = np.zeros((len(rows), count.size)), np.zeros(count.size, dtype=np.int64)
    if filled.size:
        low[:, filled] = np.minimum.reduceat(rows[:, :upto], begins, axis=1)
        high[:, filled] = np.maximum.reduceat(rows[:, :upto], begins, axis=1)
        last[:, filled] = rows[:, first[filled + 1] - 1]
        doubled, held_ms, late, late_ms = _cut_lines(at_ms, rows, edges, first, max_gap_ms)
        area[:, filled] = np.add.reduceat(doubled[:, :upto], begins, axis=1)
        covered_ms[filled] = np.add.reduceat(held_ms[:upto], begins)
        area += late[:, :-1]
        covered_ms += late_ms[:-1]
    known = covered_ms > 0
    mean[:, known] = area[:, known] / (2 * covered_ms[known])
    return [
        Quarters(
            start_ms=edges[:-1],
            low=low[row],
            mean=mean[row],
            high=high[row],
            last=last[row],
            count=count,
            covered_ms=covered_ms,
        )
        for row in range(len(rows))
    ]


def _cut_lines(
    at_ms: NDArray[np.int64],
    rows: NDArray[np.float64],
    edges: NDArray[np.int64],
    first: NDArray[np.int64],
    max_gap_ms: float,
) -> tuple[NDArray[np.float64], NDArray[np.int64], NDArray[np.float64], NDArray[np.int64]]:
    """Return twice the area and the length of the line that leaves each reading, cut at edges.

    The part beyond the edge comes apart, by edge: it belongs to the quarter hour after it.
    """
    doubled = np.zeros(rows.shape)
    held_ms = np.zeros(at_ms.size, dtype=np.int64)
    late, late_ms = np.zeros((len(rows), edges.size)), np.zeros(edges.size, dtype=np.int64)
    step = np.diff(at_ms)
    held_ms[:-1] = np.where(step <= max_gap_ms, step, 0)
    np.add(rows[:, :-1], rows[:, 1:], out=doubled[:, :-1])
    doubled *= held_ms
    # The reading before each edge, where a line leaves it that ends beyond.
    before = first - 1
    crosses = (before >= 0) & (first < at_ms.size)
    crosses[crosses] = (held_ms[before[crosses]] > 0) & (at_ms[first[crosses]] > edges[crosses])
    left, right, edge = before[crosses], first[crosses], edges[crosses]
    early = edge - at_ms[left]
    beyond = at_ms[right] - edge
    start, end = rows[:, left], rows[:, right]
    middle = start + (end - start) * (early / (early + beyond))
    doubled[:, left], held_ms[left] = (start + middle) * early, early
    late[:, crosses], late_ms[crosses] = (middle + end) * beyond, beyond
    return doubled, held_ms, late, late_ms


class Gathering:
    """Puts quarter hours of a series, handed over in order, into steps of several.

    Parameters
    ----------
    span : Span
        The first step begins at its start; the last one is the one that holds its last instant.
    step_ms : int
        A multiple of a quarter hour. [ms]

    Raises
    ------
    ValueError
        If the step is none.
    """

    def __init__(self, span: Span, step_ms: int) -> None:
        if step_ms <= 0 or step_ms % QUARTER_MS:
            raise ValueError(f"not a multiple of a quarter hour: {step_ms} ms")
        self._start_ms, self._step_ms = span.start_ms, step_ms
        size = -(-(span.end_ms - span.start_ms) // step_ms)
        self._low, self._high, self._last, self._mean = (np.full(size, np.nan) for _ in range(4))
        self._count, self._covered_ms = (np.zeros(size, dtype=np.int64) for _ in range(2))

    def add(self, part: Quarters) -> None:
        """Take quarter hours of the span that come after all that were handed over."""
        kept = np.flatnonzero(part.count)
        if not kept.size:
            return
        place = (part.start_ms[kept] - self._start_ms) // self._step_ms
        first = np.flatnonzero(np.diff(place, prepend=-1))
        steps = place[first]
        self._low[steps] = np.fmin(self._low[steps], np.minimum.reduceat(part.low[kept], first))
        self._high[steps] = np.fmax(self._high[steps], np.maximum.reduceat(part.high[kept], first))
        self._last[steps] = part.last[kept][np.append(first[1:], place.size) - 1]
        self._count[steps] += np.add.reduceat(part.count[kept], first)
        if first.size == place.size and not self._covered_ms[steps].any():
            self._mean[steps], self._covered_ms[steps] = part.mean[kept], part.covered_ms[kept]
        else:
            self._add_means(steps, first, part.mean[kept], part.covered_ms[kept])

    def _add_means(
        self,
        steps: NDArray[np.int64],
        first: NDArray[np.int64],
        mean: NDArray[np.float64],
        covered_ms: NDArray[np.int64],
    ) -> None:
        known_ms = self._covered_ms[steps]
        before = np.where(known_ms > 0, self._mean[steps], 0.0) * known_ms
        more = np.add.reduceat(np.where(covered_ms > 0, mean, 0.0) * covered_ms, first)
        total_ms = known_ms + np.add.reduceat(covered_ms, first)
        self._covered_ms[steps] = total_ms
        covered = total_ms > 0
        self._mean[steps[covered]] = (before + more)[covered] / total_ms[covered]

    def result(self) -> Quarters:
        """Return the steps."""
        return Quarters(
            start_ms=self._start_ms + self._step_ms * np.arange(self._low.size),
            low=self._low,
            mean=self._mean,
            high=self._high,
            last=self._last,
            count=self._count,
            covered_ms=self._covered_ms,
        )

"""The right answers, by plain numpy from the readings as they were generated."""

import numpy as np
from numpy.typing import NDArray

from joulebook.bench.plant import DAY_MS, Floats
from joulebook.bench.questions import MAX_GAP_MS, QUARTER_MS, SIX, Answer, Wanted
from joulebook.bench.site import Piece
from joulebook.core.spans import Span

_MS_PER_HOUR = 3_600_000


class Truth:
    """Keeps what the questions are about: chosen days whole, the battery's span for quarters."""

    def __init__(self, days: list[Span], quarters_span: Span) -> None:
        self._wanted_days = days
        self._quarters_span = quarters_span
        self._days: dict[Span, dict[str, tuple[NDArray[np.int64], dict[str, Floats]]]] = {}
        self._six: list[tuple[NDArray[np.int64], dict[str, Floats]]] = []
        self._power: list[tuple[NDArray[np.int64], Floats]] = []
        self._newest: dict[str, tuple[int, dict[str, float]]] = {}
        self.readings = 0

    def keep(self, piece: Piece) -> None:
        """Take note of the readings that the others were given."""
        for columns in piece:
            device, at_ms, values = columns.device, columns.at_ms, columns.values
            self.readings += at_ms.size * len(values)
            self._newest[device] = (
                int(at_ms[-1]),
                {name: float(array[-1]) for name, array in values.items()},
            )
            for span in self._wanted_days:
                part = _part(at_ms, values, span)
                if part[0].size:
                    self._days.setdefault(span, {})[device] = part
            if device == "battery":
                self._power.append((at_ms, values["power"]))
                six = {name: values[name] for name in SIX}
                self._six.append(_part(at_ms, six, self._quarters_span))

    def day(self, span: Span, wanted: Wanted) -> Answer:
        """Return what :meth:`questions.Reader.day` should."""
        answer: Answer = {}
        for device, quantities in wanted.items():
            at_ms, values = self._days[span][device]
            answer[f"{device}.at_ms"] = at_ms
            answer.update({f"{device}.{name}": values[name] for name in quantities})
        return answer

    def quarters(self, *, weighted: bool) -> Answer:
        """Return what :meth:`questions.Reader.quarters` should.

        ``weighted`` means over time, as joulebook gives them; a mean of the readings otherwise.
        """
        at_ms = np.concatenate([times for times, _ in self._six])
        quarter = at_ms // QUARTER_MS
        first = np.flatnonzero(np.diff(quarter, prepend=-1))
        count = np.diff(np.append(first, at_ms.size))
        answer: Answer = {"quarter": quarter[first]}
        for name in SIX:
            value = np.concatenate([values[name] for _, values in self._six])
            answer[f"{name}.low"] = np.minimum.reduceat(value, first)
            answer[f"{name}.high"] = np.maximum.reduceat(value, first)
            answer[f"{name}.count"] = count
            answer[f"{name}.mean"] = (
                _means_over_time(at_ms, value, quarter[first])
                if weighted
                else np.add.reduceat(value, first) / count
            )
        return answer

    def energy(self) -> Answer:
        """Return what :meth:`questions.Reader.energy` should."""
        at_ms = np.concatenate([times for times, _ in self._power])
        return energy_by_day(at_ms, np.concatenate([power for _, power in self._power]))

    def last(self) -> Answer:
        """Return what :meth:`questions.Reader.last` should."""
        found = [(at_ms, value) for at_ms, of in self._newest.values() for value in of.values()]
        at, values = zip(*found, strict=True)
        return {"at_ms": np.array(at), "value": np.array(values)}


def energy_by_day(at_ms: NDArray[np.int64], power_w: Floats) -> Answer:
    """Return charge and discharge by UTC day, line by line as the question says."""
    step_ms = np.diff(at_ms)
    step_h = np.where(step_ms <= MAX_GAP_MS, step_ms, 0) / _MS_PER_HOUR
    a, b = power_w[:-1], power_w[1:]
    up, down = np.maximum(a, 0) + np.maximum(b, 0), -np.minimum(a, 0) - np.minimum(b, 0)
    crosses = (up > 0) & (down > 0)
    both = up[crosses] + down[crosses]
    up[crosses], down[crosses] = up[crosses] ** 2 / both, down[crosses] ** 2 / both
    day = at_ms[:-1] // DAY_MS
    first = np.flatnonzero(np.diff(day, prepend=-1))
    return {
        "day": day[first],
        "charge_wh": np.add.reduceat(up * step_h, first) / 2,
        "discharge_wh": np.add.reduceat(down * step_h, first) / 2,
    }


def _part(
    at_ms: NDArray[np.int64], values: dict[str, Floats], span: Span
) -> tuple[NDArray[np.int64], dict[str, Floats]]:
    first, last = np.searchsorted(at_ms, (span.start_ms, span.end_ms))
    return at_ms[first:last], {name: array[first:last] for name, array in values.items()}


def _means_over_time(
    at_ms: NDArray[np.int64], value: Floats, quarters: NDArray[np.int64]
) -> Floats:
    """Integrate by cutting the lines at each quarter's edges: put the edges in as readings."""
    edges = np.append(quarters, quarters + 1) * QUARTER_MS
    edges = edges[(edges > at_ms[0]) & (edges < at_ms[-1])]
    grid = np.union1d(at_ms, edges)
    line = np.searchsorted(at_ms, grid[:-1], side="right") - 1
    known = np.diff(at_ms)[line] <= MAX_GAP_MS
    drawn = np.interp(grid, at_ms, value)
    held_ms = np.diff(grid) * known
    place = np.searchsorted(quarters, grid[:-1] // QUARTER_MS)
    area = np.bincount(place, held_ms * (drawn[:-1] + drawn[1:]) / 2, quarters.size)
    return area / np.bincount(place, held_ms, quarters.size)

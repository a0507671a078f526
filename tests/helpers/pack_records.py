"""Records of a pack made of a few numbers, to be summed by hand."""

from collections.abc import Sequence

import numpy as np

from joulebook.core.history import PackHistory

MINUTE_MS = 60_000
HOUR_MS = 3_600_000
DAY_MS = 24 * HOUR_MS


def pack_record(
    current_a: Sequence[float],
    *,
    step_s: float = 60.0,
    at_ms: Sequence[int] | None = None,
    voltage_v: float | Sequence[float] = 52.0,
    temperature_c: float | Sequence[float] = 25.0,
    rated_ah: float = 200.0,
    cells: int = 16,
) -> PackHistory:
    """Return a record of given currents; voltage and temperature stay where one is given."""
    size = len(current_a)
    steps = np.arange(size, dtype=np.int64) * round(step_s * 1000)
    return PackHistory(
        at_ms=steps if at_ms is None else np.array(at_ms, dtype=np.int64),
        voltage_v=np.broadcast_to(np.array(voltage_v, dtype=np.float64), size).copy(),
        current_a=np.array(current_a, dtype=np.float64),
        temperature_c=np.broadcast_to(np.array(temperature_c, dtype=np.float64), size).copy(),
        step_s=step_s,
        rated_ah=rated_ah,
        cells=cells,
    )


def without(history: PackHistory, *, from_ms: int, to_ms: int) -> PackHistory:
    """Return a record that was silent for a while."""
    kept = (history.at_ms < from_ms) | (history.at_ms >= to_ms)
    return PackHistory(
        at_ms=history.at_ms[kept],
        voltage_v=history.voltage_v[kept],
        current_a=history.current_a[kept],
        temperature_c=history.temperature_c[kept],
        step_s=history.step_s,
        rated_ah=history.rated_ah,
        cells=history.cells,
    )

"""A battery that is drawn down a little every night, and in some of them far."""

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import numpy as np

from joulebook.core.history import PackHistory
from tests.helpers.cycled_packs import START_MS, cycled_pack

#: Full at 16:00; the record begins there. [ms]
_FULL_MS = 16 * 3_600_000
DAY_MS = 86_400_000


def deep_nights(lowest: Sequence[float], **pack: Any) -> PackHistory:
    """Return a record from 16:00, full, over as many days as there are lowest states.

    Each day is drawn from 16:00 to 07:00 down to its lowest state of charge, charged from 08:00
    to 12:00, and held full until 16:00; see :func:`~tests.helpers.cycled_packs.cycled_pack`.
    """
    parts = [_from_full(cycled_pack(2, lowest=each, **pack)) for each in lowest]
    first = parts[0]
    return PackHistory(
        at_ms=np.concatenate([part.at_ms + day * DAY_MS for day, part in enumerate(parts)]),
        voltage_v=np.concatenate([part.voltage_v for part in parts]),
        current_a=np.concatenate([part.current_a for part in parts]),
        temperature_c=np.concatenate([part.temperature_c for part in parts]),
        step_s=first.step_s,
        rated_ah=first.rated_ah,
        cells=first.cells,
    )


def until(history: PackHistory, to_ms: int) -> PackHistory:
    """Return a record up to an instant, as it looks while a test runs."""
    return kept(history, history.at_ms < to_ms)


def kept(history: PackHistory, rows: Any) -> PackHistory:
    """Return a record with only some of its readings."""
    return replace(
        history,
        at_ms=history.at_ms[rows],
        voltage_v=history.voltage_v[rows],
        current_a=history.current_a[rows],
        temperature_c=history.temperature_c[rows],
    )


def night_ms(day: int, hour: float) -> int:
    """Return an instant so many hours after the full charge of a day, at 16:00."""
    return START_MS + _FULL_MS + day * DAY_MS + round(hour * 3_600_000)


def _from_full(two_days: PackHistory) -> PackHistory:
    begin = START_MS + _FULL_MS
    return kept(two_days, (two_days.at_ms >= begin) & (two_days.at_ms < begin + DAY_MS))

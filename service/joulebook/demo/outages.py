"""When the studio's bridge was not heard, and which single readings never came."""

import numpy as np
from numpy.typing import NDArray

from joulebook.core.spans import Span
from joulebook.demo.noise import chance
from joulebook.demo.studio import DAY_MS, stream

#: The bridge's power supply failed on this day, and nobody was there for two days.
LONG_OUTAGE_DAY = 201
#: The inverter was restarted on this day at noon, and counts the panels' energy from zero since.
RESTART_DAY = 300

_HOUR_MS = 3_600_000
#: The bridge was switched on at ten in the morning of the first day.
FIRST_HEARD_MS = 10 * _HOUR_MS
_OUTAGES_A_DAY = 0.035
_ROW_LOST = 0.0012
_READING_LOST = 0.0005


def outages_of(day: int, start_ms: int) -> list[Span]:
    """Return the spans without the bridge that begin on day number ``day`` of the history."""
    midnight_ms = start_ms + day * DAY_MS
    if day == LONG_OUTAGE_DAY:
        begin_ms = midnight_ms + 9 * _HOUR_MS
        return [Span(begin_ms, begin_ms + 51 * _HOUR_MS)]
    draw = stream("outages", day)
    if draw.random() >= _OUTAGES_A_DAY:
        return []
    begin_ms = midnight_ms + int(draw.integers(0, DAY_MS))
    return [Span(begin_ms, begin_ms + int(draw.integers(_HOUR_MS, 6 * _HOUR_MS)))]


def heard(at_ms: NDArray[np.int64], start_ms: int) -> NDArray[np.bool_]:
    """Tell for each instant whether the bridge was there. Instants in order, shape (n,)."""
    there = at_ms >= start_ms + FIRST_HEARD_MS
    last_day = int(at_ms[-1] - start_ms) // DAY_MS
    first_day = int(at_ms[0] - start_ms) // DAY_MS
    for day in range(first_day - 3, last_day + 1):  # the long one lasts into its third day
        for span in outages_of(max(day, 0), start_ms):
            there &= (at_ms < span.start_ms) | (at_ms >= span.end_ms)
    return there


def row_came(at_ms: NDArray[np.int64], device: str) -> NDArray[np.bool_]:
    """Tell for each instant whether the device answered at all."""
    return chance(at_ms, f"{device} answers") >= _ROW_LOST


def reading_came(at_ms: NDArray[np.int64], device: str, quantity: str) -> NDArray[np.bool_]:
    """Tell for each instant whether the device gave this one reading."""
    return chance(at_ms, f"{device}.{quantity} comes") >= _READING_LOST


def restart_ms(start_ms: int) -> int:
    """Return when the inverter was restarted. [ms, UTC epoch]"""
    return start_ms + RESTART_DAY * DAY_MS + 12 * _HOUR_MS

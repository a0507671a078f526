"""What the studio switches on: appliances by working day, hour and chance, on two 120 V legs.

The kiln is not here: it has its own circuit straight from the meter, so neither the inverter nor
its load meter ever sees it.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np
from numpy.typing import NDArray

from joulebook.core.spans import date_of, dates, local_day
from joulebook.demo.studio import DAY_MS, STEP_MS, ZONE, stream
from joulebook.demo.sun import Floats

_HOUR_MS = 3_600_000
_MINUTE_MS = 60_000
_STANDBY_W = 38.0  # clocks, a router, the bridge itself
_CLOSED_WEEKDAYS = (6, 0)  # Sunday and Monday
_CLASS_WEEKDAYS = (2, 4)  # Wednesday and Friday evenings


@dataclass(frozen=True, slots=True)
class Use:
    """One appliance running once: from, to [ms, UTC epoch], and what each leg gives it. [W]"""

    start_ms: int
    end_ms: int
    l1_w: float
    l2_w: float


def is_working_day(day: date) -> bool:
    """Tell whether the studio is open: Tuesday to Saturday, but for two holidays a year."""
    summer_break = day.month == 8 and 5 <= day.day <= 18
    winter_break = (day.month == 12 and day.day >= 24) or (day.month == 1 and day.day <= 2)
    return day.weekday() not in _CLOSED_WEEKDAYS and not (summer_break or winter_break)


def load_legs_w(at_ms: NDArray[np.int64]) -> tuple[Floats, Floats]:
    """Return what each leg gives on average over the step that begins at each instant. [W]

    ``at_ms`` is an unbroken run of steps, shape (n,).
    """
    start_ms, count = int(at_ms[0]), len(at_ms)
    l1 = np.full(count, _STANDBY_W)
    l2 = np.zeros(count)
    last_ms = start_ms + count * STEP_MS
    # What began yesterday evening may still run, and a day of 25 hours ends a step day late.
    first = date_of(start_ms, ZONE) - timedelta(days=1)
    for day in dates(first, date_of(last_ms, ZONE)):
        for use in uses(day):
            _add(l1, use, use.l1_w, start_ms)
            _add(l2, use, use.l2_w, start_ms)
    return l1, l2


def uses(day: date) -> list[Use]:
    """Return everything that is switched on during one local date, in a fixed order."""
    draw = stream("loads", day.toordinal())
    # Clocks change before anyone is awake, so the evening is counted back from the day's end.
    midnight_ms = local_day(day, ZONE).end_ms - DAY_MS
    found = list(_fridge(midnight_ms, draw))
    if is_working_day(day):
        has_class = day.weekday() in _CLASS_WEEKDAYS
        closes_h = 21.5 if has_class else 18.0
        found += _throwing(midnight_ms, draw, closes_h)
        found += _kettle(midnight_ms, draw, closes_h)
        found += _light(midnight_ms, draw, closes_h)
        found += _drying(midnight_ms, draw, closes_h)
        if day.month in (11, 12, 1, 2, 3):
            found += _heater(midnight_ms, draw)
    return found


def _use(midnight_ms: int, hour: float, minutes: float, l1_w: float, l2_w: float) -> Use:
    start_ms = midnight_ms + round(hour * _HOUR_MS)
    return Use(start_ms, start_ms + round(minutes * _MINUTE_MS), l1_w, l2_w)


def _fridge(midnight_ms: int, draw: np.random.Generator) -> Iterator[Use]:
    hour = float(draw.uniform(0, 0.5))
    while hour < 24:
        yield _use(midnight_ms, hour, float(draw.uniform(14, 20)), 0.0, 92.0)
        hour += float(draw.uniform(0.62, 0.82))


def _throwing(midnight_ms: int, draw: np.random.Generator, closes_h: float) -> Iterator[Use]:
    """Wheel sessions; each pot is a burst at its own power, and the extractor runs through most."""
    hour = float(draw.uniform(9.2, 10.2))
    while hour < closes_h - 0.7:
        length_h = float(draw.uniform(0.6, 1.5))
        end_h = min(hour + length_h, closes_h)
        if draw.random() < 0.75:
            yield _use(midnight_ms, hour, (end_h - hour) * 60, 210.0, 0.0)
        pot_h = hour
        while pot_h < end_h:
            minutes = float(draw.uniform(5, 14))
            yield _use(midnight_ms, pot_h, minutes, 0.0, float(draw.uniform(260, 520)))
            pot_h += minutes / 60 + float(draw.uniform(0.02, 0.1))
        hour = end_h + float(draw.uniform(0.25, 0.9))


def _kettle(midnight_ms: int, draw: np.random.Generator, closes_h: float) -> Iterator[Use]:
    for hour in np.sort(draw.uniform(9, closes_h, size=int(draw.integers(3, 7)))):
        yield _use(midnight_ms, float(hour), float(draw.uniform(2.5, 4.5)), 1480.0, 0.0)


def _light(midnight_ms: int, draw: np.random.Generator, closes_h: float) -> Iterator[Use]:
    opens_h = 9 + float(draw.uniform(-0.2, 0.2))
    yield _use(midnight_ms, opens_h, (closes_h + 0.4 - opens_h) * 60, 70.0, 85.0)


def _drying(midnight_ms: int, draw: np.random.Generator, closes_h: float) -> Iterator[Use]:
    """Dry the pots overnight in a warm 240 V cupboard, on its thermostat."""
    hour = closes_h + float(draw.uniform(0.0, 0.5))
    until_h = 24 + float(draw.uniform(5.5, 7.0))
    while hour < until_h:
        minutes = float(draw.uniform(9, 15))
        yield _use(midnight_ms, hour, minutes, 440.0, 440.0)
        hour += minutes / 60 + float(draw.uniform(0.08, 0.16))


def _heater(midnight_ms: int, draw: np.random.Generator) -> Iterator[Use]:
    """Warm the room before it opens; a 240 V heater takes as much from each leg."""
    yield _use(midnight_ms, 7.5, float(draw.uniform(70, 130)), 600.0, 600.0)


def _add(leg_w: Floats, use: Use, watts: float, start_ms: int) -> None:
    """Add one use to a leg's mean power, in part to the steps in which it begins and ends."""
    if watts == 0:
        return
    from_ms = max(use.start_ms - start_ms, 0)
    to_ms = min(use.end_ms - start_ms, len(leg_w) * STEP_MS)
    if to_ms <= from_ms:
        return
    # In whole milliseconds, so that it does not matter which step the run begins with.
    first, before_ms = divmod(from_ms, STEP_MS)
    last, within_ms = divmod(to_ms, STEP_MS)
    leg_w[first:last] += watts
    leg_w[first] -= watts * (before_ms / STEP_MS)
    if within_ms:
        leg_w[last] += watts * (within_ms / STEP_MS)

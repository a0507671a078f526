"""The studio's history, told day after day: truth, instruments, and what the bridge heard."""

from collections.abc import Iterator
from dataclasses import dataclass, fields, replace
from datetime import date

import numpy as np
from numpy.typing import NDArray

from joulebook.core.spans import local_day
from joulebook.demo.outages import heard, reading_came, restart_ms, row_came
from joulebook.demo.plant import Plant, Truth
from joulebook.demo.sensors import Seen, counted_w, running_wh, sense, shown
from joulebook.demo.studio import DAY_MS, STEP_MS, STEP_S, ZONE
from joulebook.demo.sun import Floats
from joulebook.demo.weather import Sky, instants

_FIRST_C = 18.0  # in the shed, on the day the battery came
_STEP_H = STEP_S / 3600


@dataclass(frozen=True, slots=True)
class Stretch:
    """Some whole days: the truth, what the instruments measured, and their counters' state.

    ``counters_wh`` holds each counter at the start of every step and at the end of the last.
    """

    truth: Truth
    seen: Seen
    counters_wh: Seen

    @property
    def end_ms(self) -> int:
        """When the last step ends. [ms, UTC epoch]"""
        return int(self.truth.at_ms[-1]) + STEP_MS


class History:
    """Tells the studio's days in order, and what its devices show at any instant of the last ones.

    The same installation date gives the same history, in whatever pieces it is told.
    """

    def __init__(self, installed: date) -> None:
        self.installed = installed
        self.start_ms = local_day(installed, ZONE).start_ms
        self._day = 0
        self._sky = Sky()
        self._plant = Plant(_FIRST_C)
        self._ends_wh: dict[tuple[str, str], float] = {}
        self._last: Stretch | None = None

    def tell(self, days: int) -> Stretch:
        """Go on by some days of 86,400 s."""
        at_ms = instants(self.start_ms, self._day, days)
        truth = self._plant.days(at_ms, self._sky.days(self._day, at_ms))
        self._day += days
        seen = sense(truth)
        self._last = Stretch(truth, seen, self._count(counted_w(seen), at_ms))
        return self._last

    def until(self, end_ms: int, days: int) -> Iterator[Stretch]:
        """Go on in pieces of up to ``days`` days, through the day that holds ``end_ms``."""
        last_day = (end_ms - self.start_ms) // DAY_MS
        while self._day <= last_day:
            yield self.tell(min(days, last_day + 1 - self._day))

    def at(self, at_ms: int) -> dict[str, dict[str, float]] | None:
        """Return what every device shows at an instant; ``None`` for one that lies behind us.

        Powers hold through a step, counters rise through it, and noise belongs to the instant.
        """
        while self._last is None or at_ms >= self._last.end_ms:
            self.tell(1)
        steps_ms = self._last.truth.at_ms
        if at_ms < steps_ms[0]:
            return None
        step = int(at_ms - steps_ms[0]) // STEP_MS
        held = _held(self._last.truth, step, at_ms)
        seen = sense(held)
        through = (at_ms - int(steps_ms[step])) / STEP_MS
        for device, counters in self._last.counters_wh.items():
            for quantity, wh in counters.items():
                # A counter that restarts at the end of this step has not yet done so.
                rise = max(float(wh[step + 1] - wh[step]), 0.0) * through
                seen[device][quantity] = wh[step : step + 1] + rise
        return {
            device: {quantity: float(values[0]) for quantity, values in of.items()}
            for device, of in shown(seen).items()
        }

    def _count(self, powers: Seen, at_ms: NDArray[np.int64]) -> Seen:
        restart = int(np.searchsorted(at_ms, restart_ms(self.start_ms)))
        counters: Seen = {}
        for device, of in powers.items():
            for quantity, watts in of.items():
                restarts = device == "pv" and 0 < restart < len(at_ms)
                wh = running_wh(
                    self._ends_wh.get((device, quantity), 0.0),
                    watts * _STEP_H,
                    restart if restarts else None,
                )
                self._ends_wh[device, quantity] = float(wh[-1])
                counters.setdefault(device, {})[quantity] = wh
        return counters


def came(stretch: Stretch, start_ms: int) -> dict[str, tuple[NDArray[np.int64], dict[str, Floats]]]:
    """Return what the bridge heard of each device: instants, and values, NaN where lost."""
    at_ms = stretch.truth.at_ms
    there = heard(at_ms, start_ms)
    readings = shown(_with_counters(stretch))
    told: dict[str, tuple[NDArray[np.int64], dict[str, Floats]]] = {}
    for device, of in readings.items():
        rows = there & row_came(at_ms, device)
        row_ms = at_ms[rows]
        values = {
            quantity: np.where(reading_came(row_ms, device, quantity), column[rows], np.nan)
            for quantity, column in of.items()
        }
        told[device] = (row_ms, values)
    return told


def _with_counters(stretch: Stretch) -> Seen:
    counted = {
        device: {quantity: wh[:-1] for quantity, wh in of.items()}
        for device, of in stretch.counters_wh.items()
    }
    return {device: of | counted.get(device, {}) for device, of in stretch.seen.items()}


def _held(truth: Truth, step: int, at_ms: int) -> Truth:
    rows = {field.name: getattr(truth, field.name)[step : step + 1] for field in fields(truth)}
    return replace(truth, **rows | {"at_ms": np.array([at_ms], dtype=np.int64)})

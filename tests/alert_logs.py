"""What simulated homes logged, with what the days and the record make of it."""

from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, timedelta
from functools import cached_property

import numpy as np

from joulebook.core.daily.days import DayInputs, DayResult, compute_day
from joulebook.core.history import PackHistory, PowerHistory
from joulebook.core.outlook.forecast import WarrantyTerms
from joulebook.core.powers import DeviceArrays
from joulebook.core.records.record import Record, analyse
from joulebook.core.records.record_inputs import RecordInputs
from joulebook.core.spans import Span
from tests.helpers.homes import Home
from tests.helpers.homes.home import START_MS

DAY_MS = 86_400_000
FLOOR_RATIO, WARRANTY_DAYS = 0.7, 3652
#: When something was seen, and what its rule's value was.
Values = Iterator[tuple[int, float | None]]


@dataclass(frozen=True, kw_only=True)
class Wiring:
    """What is wrong from the fault on, beside what the battery and the meters logged.

    Attributes
    ----------
    lug_ohm, neutral_ohm : float
        More than before, in the way from battery to inverter and in the neutral.
    dead_leg : bool
        Whether the second leg carries nothing.
    leak_ratio : float
        Of the charge, what one cell loses each day beside the others.
    """

    lug_ohm: float = 0.0
    neutral_ohm: float = 0.0
    dead_leg: bool = False
    leak_ratio: float = 0.0


@dataclass(frozen=True, eq=False, kw_only=True)
class Logged:
    """What a home logged, perhaps with a fault in it, and from which day on."""

    home: Home
    history: PackHistory
    powers: PowerHistory
    wiring: Wiring = field(default_factory=Wiring)
    onset_day: int | None = None

    @property
    def days(self) -> int:
        """Whole days of the record."""
        return int((self.history.at_ms[-1] - START_MS) // DAY_MS)

    def after(self) -> slice:
        """Return the readings from the fault on; none where there is no fault."""
        if self.onset_day is None:
            return slice(self.history.at_ms.size, None)
        first = np.searchsorted(self.history.at_ms, START_MS + self.onset_day * DAY_MS)
        return slice(int(first), None)

    @cached_property
    def inputs(self) -> RecordInputs:
        """What the record is analysed from."""
        end_ms = START_MS + WARRANTY_DAYS * DAY_MS
        terms = WarrantyTerms(end_ms=end_ms, floor_ratio=FLOOR_RATIO)
        return RecordInputs(history=self.history, powers=self.powers, terms=terms)

    @cached_property
    def record(self) -> Record:
        """The whole record's analysis."""
        return analyse(self.inputs)

    @cached_property
    def results(self) -> list[DayResult]:
        """The numbers of each whole day."""
        return list(_days(self))


def logged(home: Home) -> Logged:
    """Return what a home logged."""
    return Logged(home=home, history=home.history, powers=home.powers)


def _days(log: Logged) -> Iterator[DayResult]:
    history, powers = log.history, log.powers
    devices = {
        "battery": {"voltage": history.voltage_v, "current": history.current_a},
        "pv": {"power": powers.pv_w},
        "grid": {"power": powers.grid_w},
        "load": {"power": powers.load_w},
    }
    names = {device: frozenset(values) for device, values in devices.items()}
    begins: date = datetime.fromtimestamp(START_MS / 1000, tz=UTC).date()
    for day in range(log.days):
        span = Span(START_MS + day * DAY_MS, START_MS + (day + 1) * DAY_MS)
        part = slice(
            *np.searchsorted(history.at_ms, (span.start_ms - 300_000, span.end_ms + 300_001))
        )
        yield compute_day(
            DayInputs(
                day=begins + timedelta(days=day),
                span=span,
                devices={
                    device: DeviceArrays(
                        history.at_ms[part], {name: each[part] for name, each in values.items()}
                    )
                    for device, values in devices.items()
                },
                site_series=names,
                battery_ah=history.rated_ah,
                battery_cells=history.cells,
            )
        )

"""Faults planted into what simulated homes logged, and what rules would have seen day by day."""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, timedelta

import numpy as np

from joulebook.core.alerts.evidence import (
    IDLE_BEFORE,
    IDLE_NOW,
    days_since_full,
    idle_jump_w,
    round_trip_drop_percent,
)
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


@dataclass(frozen=True, kw_only=True)
class Logged:
    """What a home logged, perhaps with a fault in it, and from which day on."""

    home: str
    history: PackHistory
    powers: PowerHistory
    onset_day: int | None = None

    @property
    def days(self) -> int:
        """Whole days of the record."""
        return int((self.history.at_ms[-1] - START_MS) // DAY_MS)

    def after(self) -> slice:
        """Return the readings from the fault on."""
        assert self.onset_day is not None
        first = np.searchsorted(self.history.at_ms, START_MS + self.onset_day * DAY_MS)
        return slice(int(first), None)


def logged(home: Home) -> Logged:
    """Return what a home logged."""
    return Logged(home=home.spec.name, history=home.history, powers=home.powers)


def with_more_idle(log: Logged, day: int, watts: float = 25.0) -> Logged:
    """Let the inverter take so much more from the battery."""
    found = replace(log, onset_day=day)
    amps = log.history.current_a.copy()
    amps[found.after()] -= watts / log.history.voltage_v[found.after()]
    return replace(found, history=replace(log.history, current_a=amps))


def with_resistance(log: Logged, day: int, ohm: float = 0.03) -> Logged:
    """Put a resistance into the battery: it takes more volts to fill, and gives fewer.

    The charger holds the same voltage as before.
    """
    found = replace(log, onset_day=day)
    after, volts = found.after(), log.history.voltage_v.copy()
    held_v = float(np.nanquantile(volts, 0.999))
    raised = volts[after] + ohm * log.history.current_a[after]
    volts[after] = np.minimum(raised, np.maximum(volts[after], held_v))
    return replace(found, history=replace(log.history, voltage_v=volts))


def with_heat(log: Logged, day: int, celsius: float = 25.0) -> Logged:
    """Make the battery so much hotter, as behind a closed door in the sun."""
    found = replace(log, onset_day=day)
    warmth = log.history.temperature_c.copy()
    warmth[found.after()] += celsius
    return replace(found, history=replace(log.history, temperature_c=warmth))


def with_frost(log: Logged, day: int, celsius: float = 30.0) -> Logged:
    """Make it so much colder."""
    return with_heat(log, day, -celsius)


def with_silence(log: Logged, day: int) -> Logged:
    """Let the bridge fall silent for good."""
    found = replace(log, onset_day=day)
    keep = slice(0, found.after().start)
    history, powers = log.history, log.powers
    return replace(
        found,
        history=replace(
            history,
            at_ms=history.at_ms[keep],
            voltage_v=history.voltage_v[keep],
            current_a=history.current_a[keep],
            temperature_c=history.temperature_c[keep],
        ),
        powers=replace(
            powers,
            pv_w=powers.pv_w[keep],
            grid_w=powers.grid_w[keep],
            load_w=powers.load_w[keep],
        ),
    )


Values = Iterator[tuple[int, float | None]]


def silent_minutes(log: Logged) -> Values:
    """Yield, ten minutes by ten minutes, how long ago the newest reading was."""
    at_ms = log.history.at_ms
    end_ms = START_MS + (log.days + 2) * DAY_MS
    for now_ms in range(int(at_ms[0]), end_ms, 600_000):
        newest = at_ms[np.searchsorted(at_ms, now_ms, side="right") - 1]
        yield now_ms, float(now_ms - newest) / 60_000


def warmth(log: Logged) -> Values:
    """Yield each reading of the temperature."""
    for at_ms, value in zip(log.history.at_ms, log.history.temperature_c, strict=True):
        yield int(at_ms), float(value)


def cold_while_charging(log: Logged) -> Values:
    """Yield how far below 0 °C the battery was at each reading that charges it."""
    history = log.history
    for at_ms, value, amps in zip(
        history.at_ms, history.temperature_c, history.current_a, strict=True
    ):
        yield int(at_ms), -float(value) if amps > 1.0 else -99.0


def round_trip_drops(log: Logged) -> Values:
    """Yield the drop of the round trip as of each day."""
    segments = _analysed(log).segments
    for day in range(log.days):
        now_ms = START_MS + day * DAY_MS
        yield now_ms, round_trip_drop_percent(segments, now_ms)


def days_without_full(log: Logged) -> Values:
    """Yield as of each day how long ago the battery was full; after a fault it never is."""
    full_ms = _analysed(log).measured.full_ms
    if log.onset_day is not None:
        full_ms = full_ms[full_ms < START_MS + log.onset_day * DAY_MS]
    for day in range(log.days):
        now_ms = START_MS + day * DAY_MS
        yield now_ms, days_since_full(full_ms, now_ms)


def idle_jumps(log: Logged) -> Values:
    """Yield the jump of the idle draw as of each day."""
    by_day = [day.numbers["idle_w"].value for day in _days(log)]
    for day in range(1, log.days + 1):
        first = max(day - IDLE_NOW - IDLE_BEFORE, 0)
        yield START_MS + day * DAY_MS, idle_jump_w(by_day[first:day])


def missing_percent(log: Logged) -> Values:
    """Yield as of each day how much of the day before was not read."""
    for day, result in enumerate(_days(log), start=1):
        yield START_MS + day * DAY_MS, 100 * (1 - result.coverage_ratio)


def above_floor(log: Logged) -> Values:
    """Yield, month by month, how far the capacity's upper end lies above the floor, in per cent."""
    for now_ms, record in _monthly(log):
        high_ah = record.capacity.latest.ah.high
        rated_ah = log.history.rated_ah
        yield now_ms, None if high_ah is None else 100 * (high_ah / rated_ah - FLOOR_RATIO)


def chances(log: Logged) -> Values:
    """Yield, month by month, the chance to hold until the end."""
    for now_ms, record in _monthly(log):
        found = None if record.forecast is None else record.forecast.probability_met
        yield now_ms, None if found is None else 100 * found


def _inputs(log: Logged) -> RecordInputs:
    end_ms = START_MS + WARRANTY_DAYS * DAY_MS
    terms = WarrantyTerms(end_ms=end_ms, floor_ratio=FLOOR_RATIO)
    return RecordInputs(history=log.history, powers=log.powers, terms=terms)


def _analysed(log: Logged) -> Record:
    return analyse(_inputs(log))


def _monthly(log: Logged) -> Iterator[tuple[int, Record]]:
    inputs = _inputs(log)
    for day in range(180, log.days, 30):
        now_ms = START_MS + day * DAY_MS
        yield now_ms, analyse(inputs.until(now_ms))


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


#: What a rule sees of a log, and how a fault of its kind is planted.
See = Callable[[Logged], Values]
Plant = Callable[[Logged, int], Logged]
WITHOUT_FULL: Plant = lambda log, day: replace(log, onset_day=day)  # noqa: E731 -- beside the others
PLANTED: Sequence[tuple[str, See, Plant | None, str]] = (
    ("bridge-silent", silent_minutes, with_silence, "silent for good"),
    ("gap", missing_percent, None, ""),
    ("hot-battery", warmth, with_heat, "25 °C hotter"),
    ("cold-charging", cold_while_charging, with_frost, "30 °C colder"),
    ("idle-jump", idle_jumps, with_more_idle, "25 W more"),
    ("round-trip-drop", round_trip_drops, with_resistance, "30 mΩ more inside"),
    ("never-full", days_without_full, WITHOUT_FULL, "not full any more"),
    ("capacity-low", above_floor, None, ""),
    ("forecast-low", chances, None, ""),
)

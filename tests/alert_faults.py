"""Faults planted into what simulated homes logged, and what rules would have seen day by day."""

from dataclasses import replace

import numpy as np

from joulebook.core.alerts.evidence import (
    IDLE_BEFORE,
    IDLE_NOW,
    days_since_full,
    idle_jump_w,
    round_trip_drop_percent,
)
from tests.alert_logs import DAY_MS, Logged, Values
from tests.helpers.homes.home import START_MS


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


def without_full(log: Logged, day: int) -> Logged:
    """Let the battery not get full any more, as far as `days_without_full` sees it."""
    return replace(log, onset_day=day)


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
    segments = log.record.segments
    for day in range(log.days):
        now_ms = START_MS + day * DAY_MS
        yield now_ms, round_trip_drop_percent(segments, now_ms)


def days_without_full(log: Logged) -> Values:
    """Yield as of each day how long ago the battery was full; after a fault it never is."""
    full_ms = log.record.measured.full_ms
    if log.onset_day is not None:
        full_ms = full_ms[full_ms < START_MS + log.onset_day * DAY_MS]
    for day in range(log.days):
        now_ms = START_MS + day * DAY_MS
        yield now_ms, days_since_full(full_ms, now_ms)


def idle_jumps(log: Logged) -> Values:
    """Yield the jump of the idle draw as of each day."""
    nights = [day.night for day in log.results]
    for day in range(1, log.days + 1):
        first = max(day - IDLE_NOW - IDLE_BEFORE, 0)
        yield START_MS + day * DAY_MS, idle_jump_w(nights[first:day])


def missing_percent(log: Logged) -> Values:
    """Yield as of each day how much of the day before was not read."""
    for day, result in enumerate(log.results, start=1):
        yield START_MS + day * DAY_MS, 100 * (1 - result.coverage_ratio)

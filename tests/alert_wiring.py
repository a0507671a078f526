"""What meters around a simulated home would have read of its cables, legs, neutral and cells.

The simulation knows none of these. They are made here from what it logged: currents, loads and
the battery's own state of charge, by Ohm's law and the rest voltage of the home's cells.
"""

from collections.abc import Callable, Iterator, Mapping
from dataclasses import replace

import numpy as np

from joulebook.core.alerts.evidence import quiet_spread_mv
from joulebook.core.checks.finding import Finding
from joulebook.core.checks.inputs import CheckInputs
from joulebook.core.checks.legs import legs, neutral
from joulebook.core.checks.lugs import lugs
from joulebook.core.history import Floats
from joulebook.core.powers import DeviceArrays
from joulebook.core.spans import Span
from tests.alert_logs import DAY_MS, Logged, Values, Wiring
from tests.helpers.homes.cell import GRID_X, Curves
from tests.helpers.homes.home import START_MS
from tests.helpers.homes.sensors import quantised

#: The checks look at so many days.
_CHECKED_DAYS = 7
_LEG_V = 120.0
#: What the wires of a sound service resist, a leg and the neutral (our choice). [Ω]
_SERVICE_OHM = 0.03
#: What is above hangs across both legs: cookers, heat pumps, chargers (our choice). [W]
_ONE_LEG_W = 2500.0
_VERDICTS: Mapping[str, float | None] = {"trouble": 1.0, "good": 0.0, "unclear": None}


def with_loose_lug(log: Logged, day: int) -> Logged:
    """Let a lug come loose."""
    return replace(log, onset_day=day, wiring=Wiring(lug_ohm=0.006))


def with_dead_leg(log: Logged, day: int) -> Logged:
    """Let a clamp come off the second leg."""
    return replace(log, onset_day=day, wiring=Wiring(dead_leg=True))


def with_loose_neutral(log: Logged, day: int) -> Logged:
    """Let the neutral of the service corrode."""
    return replace(log, onset_day=day, wiring=Wiring(neutral_ohm=0.5))


def with_leaking_cell(log: Logged, day: int) -> Logged:
    """Let one cell lose charge beside the others, with nothing that balances it."""
    return replace(log, onset_day=day, wiring=Wiring(leak_ratio=0.003))


def lug_rises(log: Logged) -> Values:
    """Yield day by day by how much the way to the inverter resists more than it ever did. [mΩ]"""
    least = None
    for now_ms, found in _checked(log, _direct, lambda each: lugs(each, "battery", "inverter")):
        high = found.evidence.get("high_mohm")
        if high is None:
            yield now_ms, None
            continue
        yield now_ms, None if least is None else found.evidence["low_mohm"] - least
        least = high if least is None else min(least, high)


def legs_in_trouble(log: Logged) -> Values:
    """Yield day by day whether the check of the legs sees trouble."""
    for now_ms, found in _checked(log, _split, lambda each: legs(each, "load")):
        yield now_ms, _VERDICTS[found.verdict]


def neutral_in_trouble(log: Logged) -> Values:
    """Yield day by day whether the check of the neutral sees trouble."""
    for now_ms, found in _checked(log, _split, lambda each: neutral(each, "grid")):
        yield now_ms, _VERDICTS[found.verdict]


def cell_spreads(log: Logged) -> Values:
    """Yield day by day how far the cells are apart at rest. [mV]"""
    high_v, low_v = _cells_v(log)
    at_ms, current_a = log.history.at_ms, log.history.current_a
    for day in range(1, log.days + 1):
        now_ms = START_MS + day * DAY_MS
        part = slice(*np.searchsorted(at_ms, (now_ms - DAY_MS, now_ms)))
        high, low = high_v[part], low_v[part]
        yield now_ms, quiet_spread_mv(high - low, (high + low) / 2, current_a[part])


def _checked(
    log: Logged,
    read: Callable[[Logged], Mapping[str, Mapping[str, Floats]]],
    check: Callable[[CheckInputs], Finding],
) -> Iterator[tuple[int, Finding]]:
    """Yield what a check finds in the last seven days, day by day."""
    devices, at_ms = read(log), log.history.at_ms
    names = {device: frozenset(values) for device, values in devices.items()}
    for day in range(_CHECKED_DAYS, log.days + 1):
        span = Span(START_MS + (day - _CHECKED_DAYS) * DAY_MS, START_MS + day * DAY_MS)
        part = slice(*np.searchsorted(at_ms, (span.start_ms, span.end_ms)))
        arrays = {
            device: DeviceArrays(at_ms[part], {name: each[part] for name, each in values.items()})
            for device, values in devices.items()
        }
        yield (
            span.end_ms,
            check(CheckInputs(days=(span,), devices=arrays, site_series=names)),
        )


def _random(log: Logged) -> np.random.Generator:
    """Return the same noise for a home with a fault and without."""
    return np.random.default_rng((log.home.spec.seed, 7))


def _fault(log: Logged, value: float) -> Floats:
    """Return a value from the fault on, and nothing before."""
    course = np.zeros(log.history.at_ms.size)
    course[log.after()] = value
    return course


def _direct(log: Logged) -> dict[str, dict[str, Floats]]:
    """Return what battery and inverter read of their voltages."""
    random, volts, amps = _random(log), log.history.voltage_v, log.history.current_a
    ohm = random.uniform(0.001, 0.003) + _fault(log, log.wiring.lug_ohm)
    read_v = (volts + ohm * amps) * random.uniform(0.997, 1.003) + random.uniform(-0.2, 0.2)
    read_v = quantised(read_v + random.normal(0, 0.05, volts.size), 0.1)
    return {"battery": {"voltage": volts, "current": amps}, "inverter": {"dc_voltage": read_v}}


def _split(log: Logged) -> dict[str, dict[str, Floats]]:
    """Return what is read of the legs: their loads, and their voltages at the panel."""
    random, load_w = _random(log), log.powers.load_w
    count = load_w.size
    hourly = np.repeat(random.normal(0, 0.12, count // 12 + 1), 12)[:count]
    share = np.clip(random.uniform(0.3, 0.7) + hourly, 0.02, 0.98)
    both_w = np.maximum(load_w - _ONE_LEG_W, 0.0)
    first_w = share * (load_w - both_w) + both_w / 2
    second_w = load_w - first_w
    if log.wiring.dead_leg:
        second_w[log.after()] = 0.0
    across_v = _LEG_V + 2 * np.sin(log.history.at_ms * (2 * np.pi / DAY_MS))
    neutral_ohm = _SERVICE_OHM + _fault(log, log.wiring.neutral_ohm)
    apart_v = neutral_ohm * (first_w - second_w) / _LEG_V
    first_v = across_v - _SERVICE_OHM * first_w / _LEG_V - apart_v
    second_v = across_v - _SERVICE_OHM * second_w / _LEG_V + apart_v
    noise_v = random.normal(0, 0.15, (2, count))
    return {
        "load": {"power_l1": first_w, "power_l2": second_w},
        "grid": {
            "voltage_l1": quantised(first_v + noise_v[0], 0.1),
            "voltage_l2": quantised(second_v + noise_v[1], 0.1),
        },
    }


def _cells_v(log: Logged) -> tuple[Floats, Floats]:
    """Return the highest and the lowest cell: alike but for one that may fall behind."""
    spec, random = log.home.spec, _random(log)
    rest_v = Curves([spec]).voltage[0] / spec.pack.cells
    state = log.home.soc_ratio
    days = np.maximum(_fault(log, 1.0) * (log.history.at_ms - START_MS) / DAY_MS, 0.0)
    behind = log.wiring.leak_ratio * np.maximum(days - (log.onset_day or 0), 0.0)
    fallen_v = np.interp(state, GRID_X, rest_v) - np.interp(state - behind, GRID_X, rest_v)
    mean_v = log.history.voltage_v / spec.pack.cells
    apart_v = random.uniform(0.003, 0.012) / 2
    noise_v = random.normal(0, 0.001, (2, mean_v.size))
    return (
        quantised(mean_v + apart_v + noise_v[0], 0.001),
        quantised(mean_v - apart_v - fallen_v + noise_v[1], 0.001),
    )

"""Low points after a full charge: on made-up packs whose lowest state is known."""

from dataclasses import replace

import numpy as np
import pytest

from joulebook.core.battery.charge_counter import ChargeCounter, count_charge
from joulebook.core.battery.full_anchors import FullCharges, charge_voltage, full_charges
from joulebook.core.battery.low_anchors import (
    CellVoltmeter,
    LowPoints,
    cell_voltmeter,
    low_points,
    per_row,
    search_lows,
    states_of,
)
from joulebook.core.battery.resistance import PackResistance, assumed_resistance
from joulebook.core.history import PackHistory
from tests.helpers.cycled_packs import RESISTANCE_OHM, START_MS, cycled_pack

HOUR_MS = 3_600_000
DAYS = 8


def _known(ohm: float = RESISTANCE_OHM) -> PackResistance:
    return PackResistance(
        terms=np.array([ohm, 0, 0, 0, 0]),
        covariance=np.zeros((5, 5)),
        steps=100,
        span_c=(25.0, 25.0),
    )


def _parts(
    history: PackHistory, resistance: PackResistance | None = None
) -> tuple[CellVoltmeter, ChargeCounter, FullCharges]:
    counter = count_charge(history)
    held = charge_voltage(history)
    assert held is not None
    full = full_charges(history, counter, held)
    known = resistance or _known()
    meter = cell_voltmeter(history, counter, history.temperature_c, known, full.offset_a)
    return meter, counter, full


def _low(
    history: PackHistory, resistance: PackResistance | None = None
) -> tuple[LowPoints, ChargeCounter, FullCharges]:
    meter, counter, full = _parts(history, resistance)
    return low_points(meter, counter, search_lows(meter, counter, full)), counter, full


def _without(history: PackHistory, from_h: float, to_h: float) -> PackHistory:
    """Take hours of the record out."""
    hours = (history.at_ms - START_MS) / HOUR_MS
    kept = (hours < from_h) | (hours >= to_h)
    return replace(
        history,
        at_ms=history.at_ms[kept],
        voltage_v=history.voltage_v[kept],
        current_a=history.current_a[kept],
        temperature_c=history.temperature_c[kept],
    )


@pytest.mark.parametrize("step_s", [10, 60, 300])
@pytest.mark.parametrize("lowest", [0.05, 0.10, 0.15])
def test_the_lowest_point_of_each_night(step_s: int, lowest: float) -> None:
    history = cycled_pack(DAYS, step_s=step_s, lowest=lowest, temperature_c=12.0)
    low, _, _ = _low(history)
    nights = slice(0, DAYS - 1)
    # From 07:00 to 08:00 nothing flows; the quiet readings reach from before 07:00 to 08:00.
    hour = low.hour[nights] % 24
    assert ((hour > 6.9) & (hour < 8)).all()
    assert low.drawn_ah[nights] == pytest.approx(np.full(DAYS - 1, 200 * (1 - lowest)), abs=0.5)
    assert low.low_c[nights] == pytest.approx(np.full(DAYS - 1, 12.0))
    assert low.ohm[nights] == pytest.approx(np.full(DAYS - 1, RESISTANCE_OHM))
    assert (low.quiet[nights] * step_s >= 180).all()
    assert not low.broken.any()
    # This pack has no slow polarisation, of which a share is taken off: some 2 mV.
    states, slopes = states_of(low.cell_v[nights])
    assert states == pytest.approx(np.full(DAYS - 1, lowest), abs=0.006)
    assert (slopes > 0.3).all()


def test_after_the_last_full_charge_there_is_no_night_yet() -> None:
    history = _without(cycled_pack(DAYS), DAYS * 24 - 8, DAYS * 24 + 1)
    low, _, full = _low(history)
    assert history.at_ms.size - 1 == full.last[-1]
    assert low.low_row[-1] == -1
    assert low.quiet[-1] == 0
    assert np.isnan(low.cell_v[-1])
    assert (low.most_ah[-1], low.drawn_ah[-1]) == (0, 0)


def test_a_heavy_load_at_the_end_of_the_night_does_not_hide_it() -> None:
    history = cycled_pack(DAYS)
    hour = (history.at_ms - START_MS) / HOUR_MS % 24
    heavy = (hour >= 7) & (hour < 7.1)
    loaded = replace(
        history,
        current_a=history.current_a - np.where(heavy, 60.0, 0),
        voltage_v=history.voltage_v - np.where(heavy, 60.0 * RESISTANCE_OHM, 0),
    )
    low, _, _ = _low(loaded)
    states, _ = states_of(low.cell_v[:-1])
    assert states == pytest.approx(np.full(DAYS - 1, 0.10), abs=0.01)


def test_where_no_reading_is_quiet_there_is_no_low_point() -> None:
    history = cycled_pack(DAYS, resistance_ohm=0.0)
    loud = replace(history, current_a=np.where(history.current_a <= 0, -50.0, history.current_a))
    meter, counter, full = _parts(history)
    meter = replace(meter, current_a=loud.current_a)
    low = low_points(meter, counter, search_lows(meter, counter, full))
    # The last of the charging is quiet too, but it is no low point.
    assert (low.drawn_ah < 1).all()
    # What was out is known all the same.
    assert low.most_ah[:-1] == pytest.approx(np.full(DAYS - 1, 180.0), abs=0.5)


def test_an_assumed_resistance_asks_for_hardly_any_load() -> None:
    history = cycled_pack(DAYS)
    known, _, _ = _low(history)
    assumed, _, _ = _low(history, assumed_resistance(200.0, 16))
    assert (assumed.quiet[:-1] > 0).all()
    assert assumed.quiet[:-1].sum() < known.quiet[:-1].sum()
    assert (assumed.current_a[:-1] > -6).all()


def test_a_break_ends_the_search() -> None:
    whole = cycled_pack(DAYS)
    # From 02:00 to 03:00 of the fourth night.
    history = _without(whole, 4 * 24 + 2, 4 * 24 + 3)
    low, _, _ = _low(history)
    broken = np.flatnonzero(low.broken)
    assert broken.tolist() == [3]
    assert low.hour[broken[0]] < 4 * 24 + 2
    assert low.hour[broken[0] + 1] > 4 * 24 + 24


def test_it_is_looked_for_within_four_days_of_full() -> None:
    # Days 3 to 7 never get full: the charge voltage is not reached. They are drawn deeper.
    history = cycled_pack(12)
    day = (history.at_ms - START_MS) / HOUR_MS / 24
    dull = (day >= 2.5) & (day < 8.3)
    dim = replace(
        history, voltage_v=np.where(dull, np.minimum(history.voltage_v, 53), history.voltage_v)
    )
    low, counter, full = _low(dim)
    after = int(np.argmax(np.diff(full.first)))
    assert low.hour[after] - counter.hours[full.last[after]] <= 96
    assert not low.broken[after]


def test_shares_and_a_zero_change_what_is_read() -> None:
    meter, counter, full = _parts(cycled_pack(DAYS))
    search = search_lows(meter, counter, full)
    plain = low_points(meter, counter, search)
    other = replace(meter, now_share=0.2, slow_share=0.5, zero_v=0.004)
    low = low_points(other, counter, search)
    more = RESISTANCE_OHM * (0.2 * plain.current_a + 0.2 * plain.slow_a) / 16 + 0.004
    assert low.cell_v[:-1] == pytest.approx((plain.cell_v - more)[:-1], abs=3e-4)


def test_nothing_after_no_full_charge() -> None:
    meter, counter, full = _parts(cycled_pack(DAYS))
    never = replace(full, first=full.first[:0], last=full.last[:0])
    low = low_points(meter, counter, search_lows(meter, counter, never))
    assert low.low_row.size == low.cell_v.size == 0


def test_stretches_of_rows() -> None:
    begin, end = np.array([1, 4]), np.array([3, 5])
    rows = per_row(np.array([7.0, np.inf]), begin, end, 7)
    assert rows.tolist() == [-np.inf, 7, 7, -np.inf, -np.inf, -np.inf, -np.inf]

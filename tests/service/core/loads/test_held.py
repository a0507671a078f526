"""Energy left in a battery that was seen full, and in one that only claims its charge."""

from dataclasses import replace

import numpy as np
import pytest

from joulebook.core.estimate import Estimate, refused
from joulebook.core.history import PackHistory
from joulebook.core.loads.held import (
    SinceFull,
    Usable,
    left_by_claim,
    left_since_full,
    since_full,
    untold,
    usable,
)
from joulebook.core.losses.full_segments import SensorOffset

DAY_MS = 86_400_000
RATED_AH, CELLS = 200.0, 16
FULL_V, REST_V = 3.45 * CELLS, 3.30 * CELLS


def cycled(days: int, *, zero_a: float = 0.0, silent_h: tuple[int, int] = (0, 0)) -> PackHistory:
    """Return days in minutes: 40 A in for 2 h, held full for 2 h, 20 A out for 4 h, and rest.

    Each day begins and ends with 80 Ah drawn; the last reading is at midnight. The sensor reads
    ``zero_a`` too much.
    """
    at_ms = np.arange(0, days * DAY_MS + 1, 60_000, dtype=np.int64)
    hour = at_ms / 3_600_000 % 24
    charging, held = (hour >= 8) & (hour < 10), (hour >= 10) & (hour < 12)
    giving = (hour >= 16) & (hour < 20)
    current = np.where(charging, 40.0, np.where(giving, -20.0, 0.0)) + zero_a
    silent = (at_ms >= at_ms[-1] - silent_h[1] * 3_600_000) & (
        at_ms < at_ms[-1] - silent_h[0] * 3_600_000
    )
    return PackHistory(
        at_ms=at_ms,
        voltage_v=np.where(held, FULL_V, REST_V),
        current_a=np.where(silent, np.nan, current),
        temperature_c=np.full(at_ms.size, 20.0),
        step_s=60.0,
        rated_ah=RATED_AH,
        cells=CELLS,
    )


def offset(value_a: float, u_a: float = 0.02) -> SensorOffset:
    return SensorOffset(
        at_ms=np.array([0, DAY_MS]), offset_a=np.full(2, value_a), u_a=np.full(2, u_a)
    )


def measured(wh: float = 10_000.0, ah: float = 200.0, half: float = 0.0) -> Usable:
    number = Estimate(value=wh, low=wh - half, high=wh + half, coverage_ratio=1.0, method="test-1")
    return Usable(wh=number, ah=ah, measured=True)


def drawn(ah: float, half: float = 0.0) -> SinceFull:
    number = Estimate(value=ah, low=ah - half, high=ah + half, coverage_ratio=1.0, method="test-1")
    return SinceFull(drawn_ah=number)


def test_rated_energy_is_charge_times_cells_times_nominal_voltage() -> None:
    # CV-140: 280 Ah of 16 cells at 3.2 V are 14336 Wh (arithmetic exact).
    holds = usable(None, None, rated_ah=280.0, cells=16)
    assert holds.wh.value == pytest.approx(14_336)
    assert (holds.ah, holds.measured) == (280.0, False)
    # CV-144: warranties leave 60 to 70 % (common practice, no source): it may hold that little.
    assert holds.wh.low == pytest.approx(0.6 * 14_336)


def test_measured_energy_goes_before_what_is_rated() -> None:
    holds = usable(measured().wh, 190.0, rated_ah=280.0, cells=16)
    assert (holds.wh.value, holds.ah, holds.measured) == (10_000.0, 190.0, True)
    refusal = refused("too few nights", method="test-1")
    assert usable(refusal, None, rated_ah=280.0, cells=16).measured is False


@pytest.mark.parametrize("facts", [(None, 16), (280.0, None)])
def test_nothing_is_known_where_nothing_was_entered(facts: tuple[float | None, int | None]) -> None:
    holds = usable(None, None, rated_ah=facts[0], cells=facts[1])
    assert holds.wh.reason == "the battery's rated charge and cells in series were not entered"
    assert left_since_full(holds, drawn(50)).reason == holds.wh.reason
    assert left_by_claim(holds, 0.5).reason == holds.wh.reason


def test_what_was_drawn_is_not_left() -> None:
    # By hand: a quarter of 200 Ah is gone, and so of 10 kWh.
    left = left_since_full(measured(half=400.0), drawn(50, half=6))
    assert left.value == 7500.0
    # 400 Wh of the whole and 6 of 200 Ah, which are 300 Wh: 500 Wh together.
    assert (left.low, left.high) == (7000.0, 8000.0)


def test_it_is_never_below_empty_nor_above_full() -> None:
    assert left_since_full(measured(), drawn(230)).value == 0.0
    above = left_since_full(measured(half=100.0), drawn(-10, half=6))
    assert (above.value, above.high) == (10_000.0, 10_100.0)


def test_a_claim_is_taken_as_such_and_widely() -> None:
    left = left_by_claim(measured(half=1000.0), 0.5)
    assert (left.value, left.low) == (5000.0, 5000 - (500**2 + 1000**2) ** 0.5)
    assert left_by_claim(measured(), None).reason == "the battery reports no state of charge"
    assert left_since_full(measured(), untold("never full")).reason == "never full"


def test_charge_is_counted_from_the_last_full_charge() -> None:
    found = since_full(cycled(8), offset(0.0))
    # By hand: 20 A for 4 h since 12:00, when the voltage was last held; full lacks 0.1 %.
    assert found.drawn_ah.value == pytest.approx(80.2, abs=0.05)
    assert found.hours == pytest.approx(12.0, abs=0.1)
    assert found.full_ms == pytest.approx(7 * DAY_MS + 12 * 3_600_000, abs=61_000)
    assert found.drawn_ah.low is not None
    # 1.6449 times 0.02 A over 12 h, the scale's 1 % over √3 of 80 Ah, and 0.3 % of 200 Ah.
    assert found.drawn_ah.value is not None
    assert found.drawn_ah.value - found.drawn_ah.low == pytest.approx(
        1.6449 * (0.24**2 + 0.462**2 + 0.6**2) ** 0.5, rel=0.02
    )


def test_the_sensors_offset_is_taken_off() -> None:
    off = since_full(cycled(8, zero_a=0.25), offset(0.25))
    assert off.drawn_ah.value == pytest.approx(80.0, abs=0.5)


def test_without_a_record_the_weeks_full_charges_tell_the_offset() -> None:
    found = since_full(cycled(10, zero_a=0.25), None)
    assert found.drawn_ah.value == pytest.approx(80.0, abs=2.5)
    assert found.drawn_ah.low is not None
    assert found.drawn_ah.value is not None
    # An assumed limit of 0.3 A over 12 h.
    assert found.drawn_ah.value - found.drawn_ah.low > 1.6449 * 0.3 / 3**0.5 * 12 * 0.99


def test_a_battery_that_was_hardly_ever_full_tells_nothing() -> None:
    few = since_full(cycled(3), None)
    assert few.drawn_ah.reason == "the battery was full on fewer than 5 of the last days"
    never = cycled(8)
    # The voltage is held, but the current never dies away.
    never = replace(never, current_a=np.where(never.voltage_v == FULL_V, 3.0, never.current_a))
    assert since_full(never, None).drawn_ah.reason == ("no full charge was found in the last days")


def test_a_silence_since_then_tells_nothing() -> None:
    found = since_full(cycled(8, silent_h=(3, 6)), None)
    assert found.drawn_ah.reason == (
        "the current was not measured for too long since the last full charge"
    )

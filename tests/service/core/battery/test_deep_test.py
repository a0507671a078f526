"""A pack of 200 Ah that follows the generic curve, drawn to 40 % each night and once to 5 %.

What must come out is what went into the pack; the sensor's zero and the rest are chosen.
"""

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from joulebook.core.battery.anchors import measure
from joulebook.core.battery.deep_test import DeepTestResult, result_of
from joulebook.core.battery.deep_test_plan import target_of
from joulebook.core.battery.rest_voltage import FULL_STATE
from joulebook.core.history import PackHistory
from tests.helpers.deep_nights import deep_nights, kept, night_ms, until

TARGET = target_of(200.0, 16)
USUAL = [0.4] * 12
DEEP = deep_nights([*USUAL, 0.05, 0.4])
STARTED_MS, ENDED_MS = night_ms(12, -1), night_ms(13, 1)


def result(
    history: PackHistory, started_ms: int = STARTED_MS, ended_ms: int = ENDED_MS
) -> DeepTestResult:
    return result_of(history, measure(history), TARGET, started_ms=started_ms, ended_ms=ended_ms)


def refused_for(found: DeepTestResult) -> str:
    """Return the only reason of a test that does not count."""
    assert (found.verdict, found.capacity.value) == ("does not count", None)
    [reason] = found.reasons
    assert found.capacity.reason == reason
    return reason


def test_a_deep_night_gives_the_capacity_and_says_what_it_rests_on() -> None:
    found = result(DEEP)
    assert (found.verdict, found.reasons) == ("counts", ())
    assert found.capacity.value == pytest.approx(200.0, rel=0.003)
    assert found.capacity.method == "deep-test-1"
    assert found.capacity.coverage_ratio == 1.0
    # By hand at 5 %: 8.2 mV over a slope of 2.6 V is 0.32 % of the charge, the gain 0.58 %,
    # 1.645 times both and some small change.
    half = ((found.capacity.high or 0) - (found.capacity.low or 0)) / 2
    assert half == pytest.approx(0.0115 * 200, abs=0.3)
    assert found.x_low == pytest.approx(0.05, abs=0.005)
    assert found.drawn_ah == pytest.approx(190.0, abs=1.0)
    assert found.returned_ah == pytest.approx(190.0, abs=1.0)
    assert found.low_c == 25.0
    assert found.full_ms == pytest.approx(night_ms(12, 0), abs=1_200_000)
    # Full again between noon, when the current dies away, and four.
    assert night_ms(12, 20) <= (found.returned_ms or 0) <= night_ms(12, 24)


@pytest.mark.parametrize("offset_a", [-0.3, 0.3])
def test_the_zero_of_the_current_sensor_drops_out(offset_a: float) -> None:
    # 0.3 A over 15 hours are 4.5 Ah, 2.3 % of this pack. No other night is needed to know it.
    found = result(deep_nights([*[0.4] * 6, 0.05, 0.4], offset_a=offset_a), night_ms(6, -1))
    assert found.capacity.value == pytest.approx(200.0, rel=0.004)
    assert found.offset_a == pytest.approx(offset_a, abs=0.03)


def test_the_capacity_is_the_pack_s_and_not_the_maker_s() -> None:
    worn = replace(deep_nights([*USUAL, 0.05, 0.4], capacity_ah=170.0), rated_ah=200.0)
    assert result(worn).capacity.value == pytest.approx(170.0, rel=0.004)


def test_without_the_way_back_the_zero_is_read_from_the_nights_before() -> None:
    history = until(deep_nights([*USUAL, 0.05], offset_a=0.3), night_ms(12, 17))
    found = result(history)
    assert (found.verdict, found.returned_ms, found.returned_ah) == ("counts", None, None)
    assert found.capacity.value == pytest.approx(200.0, rel=0.004)


def test_without_the_way_back_and_nights_before_the_zero_is_not_known() -> None:
    # Full on five days, but the readings broke off every noon: nothing closes.
    nights = deep_nights([*USUAL, 0.05])
    hour = (nights.at_ms - night_ms(0, 0)) / 3_600_000 % 24
    broken = kept(nights, (hour < 16) | (hour > 17))
    found = result(until(broken, night_ms(12, 15.9)))
    assert refused_for(found).startswith("the current sensor's zero is not known")


def test_two_nights_of_a_test_and_the_deeper_one_counts() -> None:
    nights = deep_nights([*USUAL, 0.07, 0.05, 0.4])
    found = result(nights, ended_ms=night_ms(14, 1))
    assert found.full_ms == pytest.approx(night_ms(13, 0), abs=1_200_000)
    assert found.x_low == pytest.approx(0.05, abs=0.005)


def test_where_the_deeper_night_does_not_count_the_other_one_does() -> None:
    nights = deep_nights([*USUAL, 0.07, 0.05, 0.4])
    warm = np.where(nights.at_ms > night_ms(13, 2), 40.0, 25.0)
    found = result(replace(nights, temperature_c=warm), ended_ms=night_ms(14, 1))
    assert (found.verdict, found.low_c) == ("counts", 25.0)
    assert found.x_low == pytest.approx(0.07, abs=0.005)


def test_it_does_not_count_where_the_battery_was_not_full_before() -> None:
    # A record that begins when it is half empty, with five full days long before.
    nights = deep_nights([*USUAL, 0.05])
    gone = (nights.at_ms < night_ms(10, -1)) | (nights.at_ms > night_ms(12, 4))
    found = result(kept(nights, gone), ended_ms=night_ms(12, 16))
    assert refused_for(found).startswith("the battery was not full at the beginning")
    assert found.full_ms is None


def test_a_battery_that_was_never_seen_full_is_told_so_too() -> None:
    found = result(until(DEEP, night_ms(2, 0)), night_ms(1, -1))
    assert found.verdict == "does not count"
    assert "never seen being held full" in " ".join(found.reasons)


def test_it_does_not_count_where_it_was_not_low_enough() -> None:
    assert refused_for(result(deep_nights([*USUAL, 0.11, 0.4]))).startswith("it came down to 1")
    high = result(deep_nights([*USUAL, 0.3, 0.4]))
    assert "hardly tells the charge" in refused_for(high)
    assert high.full_ms is not None


def test_it_does_not_count_across_a_gap() -> None:
    # A long one is a break, and of many short ones too little is left.
    long = (DEEP.at_ms > night_ms(12, 6)) & (DEEP.at_ms < night_ms(12, 7))
    assert "broke off on the way" in refused_for(result(kept(DEEP, ~long)))
    some = (DEEP.at_ms > night_ms(12, 6)) & (DEEP.at_ms % 1_200_000 < 480_000)
    reasons = result(kept(DEEP, ~some)).reasons
    assert "has readings; 98% is needed" in reasons[0]


def test_it_does_not_count_where_it_was_charged_on_the_way() -> None:
    charged = (DEEP.at_ms >= night_ms(12, 8)) & (DEEP.at_ms < night_ms(12, 9))
    drawn = (DEEP.at_ms >= night_ms(12, 9)) & (DEEP.at_ms < night_ms(12, 10))
    current = DEEP.current_a + 25.0 * charged - 25.0 * drawn
    assert "went in on the way down" in refused_for(result(replace(DEEP, current_a=current)))


def test_it_does_not_count_where_the_load_was_high_to_the_end() -> None:
    # Drawn at 60 A until it cuts off, and charged at once: no quiet minute low down.
    low = (DEEP.at_ms >= night_ms(12, 11)) & (DEEP.at_ms < night_ms(12, 16))
    current = np.where(low, -60.0, DEEP.current_a)
    nights = kept(replace(DEEP, current_a=current), ~low | (DEEP.at_ms < night_ms(12, 12)))
    found = result(nights)
    assert found.verdict == "does not count"


@pytest.mark.parametrize(
    ("temperature_c", "told"), [(5.0, "5 to 5 °C"), (40.0, "40 to 40 °C"), (np.nan, "no temp")]
)
def test_it_does_not_count_in_the_cold_and_in_the_heat(temperature_c: float, told: str) -> None:
    deep = DEEP.at_ms >= night_ms(12, -1)
    read = np.where(deep, temperature_c, 25.0)
    assert told in refused_for(result(replace(DEEP, temperature_c=read)))


def test_cold_that_is_allowed_is_corrected_and_widens_the_interval() -> None:
    # By hand: 10 °C below 25 hide 0.25 % each of what is above the anchor.
    cool = result(replace(DEEP, temperature_c=np.full(DEEP.at_ms.size, 15.0))).capacity
    warm = result(DEEP).capacity
    assert (cool.value or 0) / (warm.value or 1) == pytest.approx(1.0257, abs=0.002)
    assert (cool.high or 0) - (cool.low or 0) > (warm.high or 0) - (warm.low or 0)


def test_a_low_night_before_the_test_began_is_not_part_of_it() -> None:
    # Entered in the morning, after a night that happened to be deep.
    found = result(DEEP, night_ms(12, 16.5), night_ms(14, 0))
    assert "hardly tells the charge" in refused_for(found)


@pytest.mark.parametrize("seed", range(3))
def test_noise_stays_inside_the_interval(seed: int) -> None:
    random = np.random.default_rng(seed)
    noisy: dict[str, Any] = {
        "voltage_v": DEEP.voltage_v + random.normal(0, 0.02, DEEP.at_ms.size),
        "current_a": DEEP.current_a + random.normal(0, 0.2, DEEP.at_ms.size),
    }
    found = result(replace(DEEP, **noisy)).capacity
    assert (found.low or 0) < 200.0 < (found.high or 0)


def test_the_worked_example_of_the_page() -> None:
    # By hand: (191.9 - 0.002 * 191.9 - 188) / 20 h = 0.176 A; (188 + 0.176 * 15) over the share
    # from full to 5 %.
    measured = measure(DEEP)
    down, back = measured.balances.full_to_low, measured.balances.low_to_full
    assert (down.hours.size, back.hours.size) == (1, 1)
    example = replace(
        measured.balances,
        full_to_low=replace(
            down,
            **{name: np.array([value]) for name, value in (("drawn_ah", 188.0), ("x_low", 0.05))},
            **{name: np.array([value]) for name, value in (("hours", 15.0), ("low_c", 25.0))},
        ),
        low_to_full=replace(
            back,
            returned_ah=np.array([191.9]),
            charged_ah=np.array([191.9]),
            hours=np.array([5.0]),
        ),
    )
    found = result_of(
        *(DEEP, replace(measured, balances=example), TARGET),
        started_ms=STARTED_MS,
        ended_ms=ENDED_MS,
    )
    assert found.offset_a == pytest.approx(0.176, abs=0.0005)
    assert found.capacity.value == pytest.approx(190.64 / (FULL_STATE - 0.05), abs=0.01)

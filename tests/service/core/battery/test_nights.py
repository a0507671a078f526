"""The capacity that each night implies, followed by hand."""

from dataclasses import replace

import numpy as np
import pytest

from joulebook.core.battery.anchors import Measured, measure
from joulebook.core.battery.nights import GUESSED_OFFSET_U, NightList, night_list
from joulebook.core.history import MS_PER_DAY
from tests.helpers.cycled_packs import CAPACITY_AH, START_MS, cycled_pack

#: 2026-04-01, UTC. [ms, UTC epoch]
APRIL_MS = 1_775_001_600_000


@pytest.fixture(scope="module")
def measured() -> Measured:
    return measure(cycled_pack(92, offset_a=0.25))


@pytest.fixture(scope="module")
def listed(measured: Measured) -> NightList:
    return night_list(measured)


def test_a_night_by_hand(measured: Measured, listed: NightList) -> None:
    night, low = listed.nights[10], measured.balances.full_to_low
    assert night.implied_ah is not None
    assert night.correction_ah is not None
    # The offset is read from closings, 0.2 % of 181 Ah in 20 hours taken for lost: 0.232 A.
    assert night.correction_ah == pytest.approx(0.232 * low.hours[10], abs=0.05)
    assert night.drawn_ah == pytest.approx(low.drawn_ah[10] + night.correction_ah)
    assert night.implied_ah == pytest.approx(night.drawn_ah / (0.999 - low.x_low[10]))
    assert night.implied_ah == pytest.approx(CAPACITY_AH, rel=0.02)
    assert night.low_ah is not None
    assert night.high_ah is not None
    assert night.low_ah < CAPACITY_AH < night.high_ah
    # At 10 % the slope is 1.2 V for the whole charge: 8 mV are 0.7 %, 0.8 % of what is drawn.
    assert (night.high_ah - night.low_ah) / 2 == pytest.approx(1.645 * 0.01 * 200, rel=0.3)
    assert night.counts
    assert night.reason == ""
    assert (night.full_ms, night.low_ms) == (measured.full_ms[10], measured.low_ms[10])
    assert (night.cell_v, night.x_low, night.low_c) == (
        measured.low.cell_v[10],
        low.x_low[10],
        25.0,
    )


def test_the_last_night_is_listed_with_its_reason(listed: NightList) -> None:
    last = listed.nights[-1]
    assert not last.counts
    assert last.implied_ah is None
    assert "hardly tells the charge" in last.reason
    assert last.drawn_ah > 0
    assert last.cell_v is not None


def test_quarters_by_calendar(listed: NightList) -> None:
    first, second = listed.quarters
    assert (first.end_ms, second.start_ms) == (APRIL_MS, APRIL_MS)
    assert first.start_ms == APRIL_MS - 90 * MS_PER_DAY
    # From 2026-01-05 to 2026-03-31 are 86 evenings.
    assert first.nights == 86
    assert first.capacity.value == pytest.approx(CAPACITY_AH, rel=0.02)
    assert first.capacity.low is not None
    assert first.capacity.high is not None
    assert first.capacity.low < CAPACITY_AH < first.capacity.high
    assert first.capacity.coverage_ratio == pytest.approx(86 / 90)
    assert first.capacity.method == "nights-1"
    # Five evenings of April are too few only below four.
    assert second.nights == 5
    assert second.capacity.value is not None


def test_a_quarter_with_three_nights_is_refused() -> None:
    last = night_list(measure(cycled_pack(90))).quarters[-1]
    assert last.nights == 3
    assert last.capacity.value is None
    assert last.capacity.reason == "3 nights of this quarter went low enough, and 4 are needed"


def test_cold_hides_a_share(measured: Measured) -> None:
    down = measured.balances.full_to_low
    cold = replace(
        measured,
        balances=replace(
            measured.balances, full_to_low=replace(down, low_c=np.full(down.low_ms.size, 5.0))
        ),
    )
    warm_night, cold_night = night_list(measured).nights[10], night_list(cold).nights[10]
    assert warm_night.implied_ah is not None
    assert cold_night.implied_ah is not None
    # 20 degrees · 0.25 % · 90 % of the charge are 4.5 % of it.
    state = down.x_low[10]
    ratio = (0.999 - state) / (0.999 - state - 0.05 * (1 - state))
    assert cold_night.implied_ah / warm_night.implied_ah == pytest.approx(ratio)


def test_shallow_nights_are_left_out_where_deep_ones_are(measured: Measured) -> None:
    down = measured.balances.full_to_low
    states = down.x_low.copy()
    states[::3] = 0.16
    mixed = replace(
        measured,
        balances=replace(measured.balances, full_to_low=replace(down, x_low=states)),
    )
    nights = night_list(mixed).nights
    assert not nights[0].counts
    assert nights[0].implied_ah is not None
    assert nights[0].reason.startswith("it ended at 16%; nights that went down to 12%")
    assert nights[1].counts


def test_where_no_night_is_deep_the_deeper_ones_count(measured: Measured) -> None:
    down = measured.balances.full_to_low
    states = np.linspace(0.14, 0.18, down.low_ms.size)
    shallow = replace(
        measured,
        balances=replace(measured.balances, full_to_low=replace(down, x_low=states)),
    )
    counted = [night.counts for night in night_list(shallow).nights]
    assert sum(counted) == pytest.approx(0.4 * states.size, abs=1)
    assert counted[0]


def test_without_closings_the_offset_is_guessed(measured: Measured) -> None:
    closing = measured.balances.full_to_full
    few = replace(closing, **{name: getattr(closing, name)[:4] for name in closing.__slots__})
    nights = night_list(
        replace(measured, balances=replace(measured.balances, full_to_full=few))
    ).nights
    assert nights[3].correction_ah == pytest.approx(
        measured.offset_a * measured.balances.full_to_low.hours[3]
    )
    assert nights[3].high_ah is not None
    assert nights[3].low_ah is not None
    # 0.17 A for 15.5 hours are 2.6 Ah more to doubt.
    assert (nights[3].high_ah - nights[3].low_ah) / 2 > 1.645 * GUESSED_OFFSET_U * 15


def test_an_offset_that_drifts_is_followed(measured: Measured) -> None:
    closing = measured.balances.full_to_full
    drifting = replace(closing, change_ah=closing.change_ah.copy())
    # 0.2 A more from the fiftieth closing on, and one that is far off.
    drifting.change_ah[50:] += 0.2 * closing.hours[50:]
    drifting.change_ah[70] += 50
    nights = night_list(
        replace(measured, balances=replace(measured.balances, full_to_full=drifting))
    ).nights
    hours = measured.balances.full_to_low.hours
    for night, offset_a in ((5, 0.232), (44, 0.232), (56, 0.432), (70, 0.432), (88, 0.432)):
        assert nights[night].correction_ah == pytest.approx(offset_a * hours[night], abs=0.1)


def test_nothing_is_an_empty_list() -> None:
    empty = night_list(measure(cycled_pack(2)))
    assert (empty.nights, empty.quarters) == ((), ())
    assert START_MS % MS_PER_DAY == 0


def test_a_night_without_a_quiet_reading_has_no_low_point(measured: Measured) -> None:
    loud = replace(measured.low, quiet=np.zeros_like(measured.low.quiet))
    reasons = tuple("too loud" for _ in measured.reasons)
    none = replace(measured.balances.full_to_low)
    none = replace(none, **{name: getattr(none, name)[:0] for name in none.__slots__})
    listed = night_list(
        replace(
            measured,
            low=loud,
            reasons=reasons,
            balances=replace(measured.balances, full_to_low=none),
        )
    )
    assert listed.quarters == ()
    night = listed.nights[0]
    assert (night.low_ms, night.cell_v, night.x_low, night.low_c) == (None, None, None, None)

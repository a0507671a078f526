"""Balances through low anchors, on packs whose charge is known."""

import numpy as np
import pytest

from joulebook.core.battery.anchors import measure
from joulebook.core.history import MS_PER_HOUR
from tests.helpers.cycled_packs import START_MS, cycled_pack

OFFSET_A = 0.25


def test_down_and_up_again() -> None:
    balances = measure(cycled_pack(20, offset_a=OFFSET_A, temperature_c=14.0)).balances
    down, up = balances.full_to_low, balances.low_to_full
    assert down.low_ms.size == up.full_ms.size == 19
    assert up.low.tolist() == list(range(19))
    # 180 Ah went out, less what the offset took off in the hours since; and came back likewise.
    assert down.hours == pytest.approx((down.low_ms - down.full_ms) / MS_PER_HOUR, abs=1e-5)
    assert down.drawn_ah == pytest.approx(180 - OFFSET_A * down.hours, abs=0.5)
    assert up.returned_ah == pytest.approx(180 + OFFSET_A * up.hours, abs=0.5)
    assert up.hours == pytest.approx((up.full_ms - down.low_ms) / MS_PER_HOUR, abs=1e-5)
    # Both together are the closing from full to full.
    closing = balances.full_to_full
    assert up.returned_ah - down.drawn_ah == pytest.approx(closing.change_ah)
    assert down.charged_ah + up.charged_ah == pytest.approx(closing.charged_ah)
    assert down.hours + up.hours == pytest.approx(closing.hours)
    # At some 51.8 V on the way down.
    assert down.drawn_wh / down.drawn_ah == pytest.approx(np.full(19, 52.1), abs=0.5)
    for read_c in (down.full_c, down.low_c, up.full_c):
        assert read_c == pytest.approx(np.full(19, 14.0))
    assert (down.current_a <= 0.2).all()
    assert (down.slow_a < 0).all()
    assert balances.start_ms == START_MS
    assert (balances.rated_ah, balances.cells) == (200.0, 16)


def test_the_way_back_must_not_be_broken() -> None:
    history = cycled_pack(10)
    hours = (history.at_ms - START_MS) / MS_PER_HOUR
    # 09:00 to 10:00 of the fifth day are lost to the log: the night before stays an anchor.
    lost = (hours >= 4 * 24 + 9) & (hours < 4 * 24 + 10)
    history.current_a[lost] = np.nan
    balances = measure(history).balances
    assert balances.full_to_low.low_ms.size == 9
    assert balances.low_to_full.low.tolist() == [0, 1, 2, 4, 5, 6, 7, 8]
    assert balances.full_to_full.hours.size == 8


def test_the_way_back_must_not_take_too_long() -> None:
    history = cycled_pack(12)
    day = (history.at_ms - START_MS) / MS_PER_HOUR / 24
    # From the third night on the charge voltage is not reached for six days.
    dull = (day >= 2.5) & (day < 8.4)
    history.voltage_v[dull] = np.minimum(history.voltage_v[dull], 53.5)
    balances = measure(history).balances
    low, up = balances.full_to_low, balances.low_to_full
    gap = int(np.argmax(np.diff(low.full_ms)))
    # The low point of the gap is one of the first four nights of it.
    assert low.hours[gap] < 96
    assert (up.hours < 96).all()

"""Months of quarter hours as bytes and back; what comes back is what went in, or an error."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from joulebook.core.daily.quarters import QUARTER_MS, Quarters, quarter_hours
from joulebook.core.spans import Span
from joulebook.storage.blocks.parts import BlockDamagedError
from joulebook.storage.quarter_months import (
    decode_month,
    encode_month,
    month_of,
    months,
    no_quarters,
)
from tests.helpers.databases import NOON_MS
from tests.service.storage.quarter_waves import assert_same

DAY_MS = 86_400_000
#: 2026-03-01 and 2026-04-01, UTC, by `date -u -d 2026-03-01 +%s`.
MARCH = Span(1_772_323_200_000, 1_775_001_600_000)


def quarters_of(at_ms: NDArray[np.int64], value: NDArray[np.float64]) -> Quarters:
    return quarter_hours(at_ms, {"power": value}, span=MARCH, max_gap_s=300)["power"]


def wavy(places: int) -> Quarters:
    """A day and a half of readings with some decimal places, every minute."""
    at_ms = NOON_MS + 60_000 * np.arange(2000)
    return quarters_of(at_ms, np.round(1000 * np.sin(np.arange(2000) / 90), places))


def test_months_begin_where_the_calendar_says() -> None:
    assert month_of(NOON_MS) == month_of(MARCH.start_ms) == month_of(MARCH.end_ms - 1) == MARCH
    # 2027-12 and 2028-01, by `date -u -d 2027-12-01 +%s` and so on.
    assert month_of(1_828_000_000_000) == Span(1_827_619_200_000, 1_830_297_600_000)
    assert list(months(Span(MARCH.start_ms - 1, MARCH.end_ms + 1)))[1] == MARCH
    assert len(list(months(Span(MARCH.start_ms - 1, MARCH.end_ms + 1)))) == 3
    assert list(months(MARCH)) == [MARCH]
    assert list(months(Span(0, 0))) == []


@pytest.mark.parametrize("places", [0, 1, 3, 6])
def test_decimals_come_back_exactly_and_means_to_a_hundredth_of_their_last_place(
    places: int,
) -> None:
    quarters = wavy(places)
    found = decode_month(encode_month(MARCH, {7: quarters}), MARCH)
    assert_same(found[7], quarters, atol=0.0051 * 10.0**-places)


@pytest.mark.parametrize("scale", [1 / 3, 1e-9 / 7, 1e300])
def test_what_is_no_decimal_comes_back_bit_for_bit(scale: float) -> None:
    at_ms = NOON_MS + 60_000 * np.arange(60)
    quarters = quarters_of(at_ms, np.arange(60.0) * scale)
    assert_same(decode_month(encode_month(MARCH, {7: quarters}), MARCH)[7], quarters, atol=0.0)


def test_a_reading_without_time_has_no_mean() -> None:
    quarters = quarters_of(np.array([NOON_MS]), np.array([-3.5]))
    found = decode_month(encode_month(MARCH, {7: quarters}), MARCH)[7]
    assert_same(found, quarters, atol=0.0)
    assert np.isnan(found.mean).all()


def test_only_the_series_that_are_asked_for_come_back() -> None:
    data = encode_month(MARCH, {7: wavy(0), 8: no_quarters(MARCH), 9: wavy(1)})
    assert list(decode_month(data, MARCH)) == [7, 9]
    assert list(decode_month(data, MARCH, [9, 10])) == [9]
    assert decode_month(encode_month(MARCH, {}), MARCH) == {}


def test_no_quarters_are_nothing_measured() -> None:
    quarters = no_quarters(MARCH)
    assert quarters.start_ms.tolist() == list(range(MARCH.start_ms, MARCH.end_ms, QUARTER_MS))
    assert np.isnan(quarters.mean).all()
    assert not quarters.count.any()


def test_another_month_s_bytes_are_refused() -> None:
    data = encode_month(MARCH, {7: wavy(0)})
    with pytest.raises(BlockDamagedError, match="not the quarter hours of this month"):
        decode_month(data, month_of(MARCH.end_ms))


def test_any_byte_that_changed_is_noticed() -> None:
    data = encode_month(MARCH, {7: wavy(0), 9: wavy(1)})
    for place in range(len(data)):
        damaged = bytearray(data)
        damaged[place] ^= 0x40
        with pytest.raises(BlockDamagedError):
            decode_month(bytes(damaged), MARCH)
    for size in range(0, len(data), 7):
        with pytest.raises(BlockDamagedError):
            decode_month(data[:size], MARCH)


@settings(derandomize=True, deadline=None)
@given(
    st.lists(
        st.tuples(
            st.integers(0, 31 * DAY_MS - 1),
            st.one_of(st.floats(-1e7, 1e7).map(lambda x: round(x, 2)), st.floats(-1e9, 1e9)),
        ),
        min_size=1,
        max_size=60,
        unique_by=lambda pair: pair[0],
    ).map(sorted)
)
def test_whatever_was_measured_comes_back(pairs: list[tuple[int, float]]) -> None:
    offsets, values = map(np.array, zip(*pairs, strict=True))
    quarters = quarters_of(MARCH.start_ms + offsets.astype(np.int64), values.astype(np.float64))
    found = decode_month(encode_month(MARCH, {7: quarters}), MARCH)[7]
    assert_same(found, quarters, atol=0.0051)


def test_a_month_without_a_hole_is_small_and_comes_back() -> None:
    # 0.1 V steps around a slow curve, every 10 s of March; 4 bytes a quarter hour are the bar.
    at_ms = np.arange(MARCH.start_ms, MARCH.end_ms, 10_000)
    noise = np.random.default_rng(1).normal(0, 0.05, at_ms.size)
    quarters = quarters_of(at_ms, np.round(51.2 + np.sin(at_ms / 2e7) + noise, 1))
    data = encode_month(MARCH, {7: quarters})
    assert len(data) < 4 * quarters.count.size
    found = decode_month(data, MARCH)[7]
    assert (found.count > 0).all()
    assert_same(found, quarters, atol=0.00051)

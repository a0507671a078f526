"""The instants of a block come back as they were, whatever the clock did."""

from itertools import accumulate

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from joulebook.storage.blocks.axis import decode_axis, decode_clock, encode_axis
from joulebook.storage.blocks.parts import BlockDamagedError, Rows
from tests.helpers.block_parts import Instants, cut_evenly, runs_part

START_MS = 1_751_846_400_000


def there_and_back(at_ms: Instants) -> bytes:
    """Return the bytes of an axis, after all and each of its pages came back from them."""
    sizes = cut_evenly(len(at_ms), 3)
    data = encode_axis(at_ms, sizes)
    np.testing.assert_array_equal(decode_axis(data, Rows.whole(*sizes)), at_ms, strict=True)
    np.testing.assert_array_equal(decode_clock(data, Rows.whole(*sizes)).at_ms(), at_ms)
    start = 0
    for page, size in enumerate(sizes):
        rows = Rows(sizes, page, page + 1)
        np.testing.assert_array_equal(decode_axis(data, rows), at_ms[start : start + size])
        np.testing.assert_array_equal(decode_clock(data, rows).at_ms(), at_ms[start : start + size])
        start += size
    return data


def test_a_regular_day_is_a_start_a_step_and_no_breaks() -> None:
    data = there_and_back(START_MS + np.arange(8640, dtype=np.int64) * 10_000)
    # 1 byte for the form, 8 + 8 + 4 for start, step and count, and two lengths of nothing.
    assert len(data) == 1 + 20 + 8


def test_a_regular_day_with_gaps_takes_a_fiftieth_of_a_byte_a_row() -> None:
    kept = np.random.default_rng(1).random(8640) >= 0.01
    data = there_and_back((START_MS + np.arange(8640, dtype=np.int64) * 10_000)[kept])
    assert len(data) / kept.sum() < 0.025


def test_a_clock_that_trembles_about_a_regular_one_costs_its_tremble_only() -> None:
    tremble = np.random.default_rng(1).integers(-20, 21, 8640)
    data = there_and_back(START_MS + np.arange(8640, dtype=np.int64) * 10_000 + tremble)
    # 41 equal chances are log2(41) = 5.36 bits; a tenth more for the packing.
    assert len(data) / 8640 < 5.36 / 8 * 1.1


def test_a_clock_that_sleeps_between_readings_is_kept_as_differences() -> None:
    steps = 10_000 + np.random.default_rng(1).integers(0, 41, 8640)
    data = there_and_back(START_MS + np.cumsum(steps))
    assert len(data) / 8640 < 5.36 / 8 * 1.1


def test_a_clock_that_was_set_forward_starts_another_run() -> None:
    at_ms = START_MS + np.arange(1000, dtype=np.int64) * 10_000
    at_ms[600:] += 3_600_123
    assert len(there_and_back(at_ms)) < 100


@pytest.mark.parametrize("at_ms", [[0], [-5], [7, 8], [-(2**52), 2**52], [0, 1, 2**40]])
def test_few_instants_come_back(at_ms: list[int]) -> None:
    there_and_back(np.array(at_ms, dtype=np.int64))


@settings(derandomize=True, deadline=None)
@given(
    start=st.integers(-(2**50), 2**50),
    steps=st.lists(
        st.sampled_from([1, 10_000, 10_001, 20_000]) | st.integers(1, 2**33), max_size=200
    ),
)
def test_any_rising_instants_come_back(start: int, steps: list[int]) -> None:
    there_and_back(np.array(list(accumulate(steps, initial=start)), dtype=np.int64))


@pytest.mark.parametrize(
    "data",
    [
        b"",
        b"\x09" + bytes(40),  # a form that there is not
        runs_part(breaks=[1] * 10, jumps=[1] * 10),  # as many breaks as rows
        runs_part(breaks=[-1], jumps=[5]),
        runs_part(breaks=[9], jumps=[5]),
        runs_part(breaks=[3, 0], jumps=[5, 5]),
    ],
)
def test_what_is_no_axis_is_damage(data: bytes) -> None:
    with pytest.raises(BlockDamagedError):
        decode_axis(data, Rows.whole(10))

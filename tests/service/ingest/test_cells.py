import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from joulebook.ingest.cells import instants_of, numbers_of


def test_plain_cells_become_numbers_and_empty_ones_are_missing() -> None:
    numbers, bad = numbers_of(["53.1", "", "-4e2", "+.5", "7."])
    assert bad == []
    np.testing.assert_array_equal(numbers, [53.1, np.nan, -400.0, 0.5, 7.0])


@pytest.mark.parametrize(
    "cell",
    [
        *["x", "nan", "inf", "-Infinity", "1_000", "1e999", "-1e999", "53,1", "1-2", "1 2", "٣"],
        *["0x1", "e5", ".", "\ud800", "\0"],
    ],
)
def test_a_cell_that_is_no_number_costs_itself(cell: str) -> None:
    numbers, bad = numbers_of(["1", cell, "", "3"])
    assert bad == [1]
    np.testing.assert_array_equal(numbers, [1.0, np.nan, np.nan, 3.0])


def test_blanks_around_a_number_are_nothing() -> None:
    numbers, bad = numbers_of([" 1", "2\t", "   "])
    assert bad == []
    np.testing.assert_array_equal(numbers, [1.0, 2.0, np.nan])


def test_no_cells_are_no_numbers() -> None:
    numbers, bad = numbers_of([])
    assert (numbers.tolist(), bad) == ([], [])


@given(st.lists(st.floats(allow_nan=False, allow_infinity=False)))
@settings(derandomize=True, deadline=None)
def test_every_float_comes_back_bit_for_bit(values: list[float]) -> None:
    numbers, bad = numbers_of([repr(value) for value in values])
    assert bad == []
    assert numbers.tobytes() == np.array(values, dtype=np.float64).tobytes()


@given(st.lists(st.text(max_size=6)))
@settings(derandomize=True, deadline=None)
def test_any_cell_is_a_number_or_empty_or_bad(cells: list[str]) -> None:
    numbers, bad = numbers_of(cells)
    for place, cell in enumerate(cells):
        known = not math.isnan(numbers[place])
        assert known + (not cell.strip()) + (place in bad) == 1


def test_bad_times_are_told_by_their_place() -> None:
    instants, bad = instants_of([" 1780000000 ", "x", "2026-05-28T20:26:40Z"])
    assert bad == [1]
    assert instants.tolist() == [1_780_000_000_000, 0, 1_780_000_000_000]

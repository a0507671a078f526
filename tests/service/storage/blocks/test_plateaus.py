"""Stretches of one value, taken out and put back."""

import numpy as np
import pytest

from joulebook.storage.blocks.numbers import decode_numbers, encode_numbers
from joulebook.storage.blocks.parts import BlockDamagedError, Rows
from joulebook.storage.blocks.plateaus import find_plateaus, plateaus_of, sizes_without

NOISE = np.random.default_rng(1).integers(0, 500, 1000)
DAY = np.concatenate([np.zeros(2000, dtype=np.int64), NOISE, np.full(1500, 7), NOISE])


def test_the_dark_hours_are_found_and_each_page_keeps_its_first_value() -> None:
    assert find_plateaus(DAY, (5500,)) == [(1, 1999), (3001, 1499)]
    assert find_plateaus(DAY, (1000, 4500)) == [(1, 999), (1001, 999), (3001, 1499)]


def test_a_value_that_hardly_ever_changes_is_packed_as_it_is() -> None:
    # "Again the same" is next to nothing there: a list of plateaus would take more.
    assert find_plateaus(np.repeat(np.arange(8), 1000), (8000,)) == []


def test_noise_has_no_plateaus() -> None:
    assert find_plateaus(NOISE, (1000,)) == []


def test_taking_them_out_saves_bytes_and_every_page_comes_back() -> None:
    values = DAY.astype(np.float64)
    sizes = (1000, 1500, 1700, 1300)
    data = encode_numbers(values, sizes)
    # 2000 values of 500 equal chances are 2000 * log2(500) / 8 = 2241 bytes; differences of
    # such noise take about one bit more each.
    assert len(data) < 2241 + 2000 / 8 + 200
    for page in range(4):
        rows = Rows(sizes, page, page + 1)
        assert decode_numbers(data, rows).tolist() == values[rows.start : rows.stop].tolist()
    assert decode_numbers(data, Rows.whole(*sizes)).tolist() == values.tolist()


def test_what_is_left_in_each_page() -> None:
    assert sizes_without([(1, 2), (5, 3), (12, 7)], (4, 6, 10)) == (2, 3, 3)


def test_a_page_is_read_with_its_own_plateaus_and_the_whole_with_all() -> None:
    plateaus, sizes = [(1, 2), (5, 3), (12, 7)], (4, 6, 10)
    by_page = [plateaus_of(plateaus, Rows(sizes, page, page + 1)) for page in range(3)]
    assert by_page == [[(1, 2)], [(5, 3)], [(12, 7)]]
    assert plateaus_of(plateaus, Rows(sizes, 1, 3)) == [(5, 3), (12, 7)]
    out_of_order = [(12, 7), (1, 2)]  # which is damage, and must be seen
    assert plateaus_of(out_of_order, Rows.whole(*sizes)) == out_of_order


@pytest.mark.parametrize(
    "plateaus",
    [
        [(0, 2)],  # no value before it
        [(4, 2)],  # the first value of a page
        [(1, 4)],  # into the next page
        [(1, 0)],
        [(1, 2), (2, 1)],
        [(5, 2), (1, 2)],
        [(1, 1), (2, 1)],  # one right behind the other has no value of its own
        [(20, 1)],
        [(19, 2)],
        [(2**32 - 1, 2**32 - 1)],
    ],
)
def test_plateaus_that_cannot_be_are_damage(plateaus: list[tuple[int, int]]) -> None:
    with pytest.raises(BlockDamagedError):
        sizes_without(plateaus, (4, 6, 10))

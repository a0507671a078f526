"""Whole numbers and floats through pcodec, page by page."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from joulebook.storage.blocks.pages import (
    pack_floats,
    pack_integers,
    unpack_floats,
    unpack_integers,
)
from joulebook.storage.blocks.parts import BlockDamagedError, Rows
from tests.helpers.block_parts import integers

EDGES = [2**bits + more for bits in (7, 8, 15, 16, 31, 32, 53, 62) for more in (-1, 0, 1)]
WHOLE = st.sampled_from([0, *EDGES, *(-edge for edge in EDGES), 2**63 - 1, -(2**63)])


@settings(derandomize=True, deadline=None)
@given(values=st.lists(WHOLE | st.integers(-3, 3), max_size=300), consecutive=st.booleans())
def test_whole_numbers_of_any_size_come_back(values: list[int], consecutive: bool) -> None:
    array = np.array(values, dtype=np.int64)
    data = pack_integers(array, [len(array)], consecutive=consecutive)
    assert unpack_integers(data, Rows.whole(len(array))).tolist() == values


@pytest.mark.parametrize(
    ("largest", "kind"),
    [(100, np.int16), (-(2**15), np.int16), (2**15, np.int32), (2**31, np.int64)],
)
def test_whole_numbers_are_kept_as_narrow_as_they_are(largest: int, kind: type) -> None:
    assert unpack_integers(integers(0, largest), Rows.whole(2)).dtype == kind


@settings(derandomize=True, deadline=None)
@given(st.lists(st.floats(allow_nan=False), max_size=300))
def test_floats_come_back_bit_for_bit(values: list[float]) -> None:
    array = np.array(values, dtype=np.float64)
    back = unpack_floats(pack_floats(array, [len(array)]), Rows.whole(len(array)))
    assert back.view(np.int64).tolist() == array.view(np.int64).tolist()


def test_pages_of_nothing_are_no_bytes_and_any_page_reads_alone() -> None:
    sizes = (0, 3, 0, 2, 0)
    data = pack_integers(np.array([1, 2, 3, 40, 50], dtype=np.int64), sizes)
    by_page = [unpack_integers(data, Rows(sizes, page, page + 1)).tolist() for page in range(5)]
    assert by_page == [[], [1, 2, 3], [], [40, 50], []]
    assert unpack_integers(data, Rows(sizes, 2, 5)).tolist() == [40, 50]


def test_a_page_reads_without_the_bytes_of_others() -> None:
    data = pack_integers(np.arange(6, dtype=np.int64) ** 9, (3, 3))
    assert unpack_integers(data[:-1], Rows((3, 3), 0, 1)).tolist() == [0, 1, 512]
    with pytest.raises(BlockDamagedError, match="cannot be unpacked"):
        unpack_integers(data[:-1], Rows((3, 3), 1, 2))


@pytest.mark.parametrize("count", [100, 599, 601, 4000])
def test_another_count_of_numbers_than_were_packed_is_damage(count: int) -> None:
    noise = np.random.default_rng(1).integers(0, 10**6, 600)
    with pytest.raises(BlockDamagedError):
        unpack_integers(pack_integers(noise, [600]), Rows.whole(count))


def test_floats_are_no_whole_numbers() -> None:
    floats = pack_floats(np.array([0.5]), [1])
    with pytest.raises(BlockDamagedError, match="type 4"):
        unpack_integers(floats, Rows.whole(1))
    with pytest.raises(BlockDamagedError, match="type 1"):
        unpack_floats(integers(1), Rows.whole(1))


def test_bytes_that_pcodec_cannot_read_are_damage() -> None:
    with pytest.raises(BlockDamagedError, match="cannot be unpacked"):
        unpack_integers(b"\x01\x02\x00\x00\x00\xff\xff" + b"\x01\x00\x00\x00\x00", Rows.whole(1))

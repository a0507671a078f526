"""Whole blocks: whatever a device sent comes back, all of it or any part."""

from concurrent.futures import ThreadPoolExecutor
from math import inf, nan

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from joulebook.core.quantities import ValueKind
from joulebook.core.spans import Span
from joulebook.storage.blocks.block import DeviceBlock, decode_block, encode_block
from joulebook.storage.blocks.columns import Column
from joulebook.storage.blocks.parts import MAX_READINGS, MAX_ROWS
from tests.helpers.block_parts import assert_same
from tests.helpers.quantised_site import DAY_MS, START_MS, quantised_site
from tests.measure_blocks import as_block

VALUES: dict[ValueKind, st.SearchStrategy[float | str | None]] = {
    "number": st.floats() | st.sampled_from([nan, -0.0, inf, 51.3, 2.0**53, 5e-324, 12345600.0]),
    "flag": st.sampled_from([0.0, 1.0, nan]),
    "text": st.none() | st.text(max_size=5) | st.sampled_from(["idle", "charging"]),
}


@st.composite
def device_blocks(draw: st.DrawFn) -> DeviceBlock:
    """Draw up to 60 rows within a few weeks, and a few columns of each kind, some alike."""
    instants = draw(
        st.sets(
            st.integers(0, 60).map(lambda tick: START_MS + tick * 10_000)
            | st.integers(START_MS, START_MS + 20 * DAY_MS),
            min_size=1,
            max_size=60,
        )
    )
    columns = {}
    for series_id in draw(st.lists(st.integers(-(2**63), 2**63 - 1), max_size=5, unique=True)):
        kind = draw(st.sampled_from(tuple(VALUES)))
        some = draw(st.lists(VALUES[kind], min_size=1, max_size=len(instants)))
        values = np.empty(len(instants), dtype=np.object_ if kind == "text" else np.float64)
        values[:] = np.array(some, dtype=values.dtype)[np.arange(len(instants)) % len(some)]
        columns[series_id] = Column(kind, values)
    return DeviceBlock(np.array(sorted(instants), dtype=np.int64), columns)


@settings(derandomize=True, deadline=None)
@given(device_blocks(), st.data())
def test_any_mixture_comes_back_whole_and_in_parts(block: DeviceBlock, data: st.DataObject) -> None:
    sealed = encode_block(block)
    assert_same(decode_block(sealed), block)
    wanted = data.draw(st.sets(st.sampled_from([*block.columns, 7])))
    edges = st.sampled_from(block.at_ms.tolist()) | st.integers(0, 20 * DAY_MS).map(
        lambda later: START_MS + later
    )
    start_ms, end_ms = sorted((data.draw(edges), data.draw(edges)))
    within = (block.at_ms >= start_ms) & (block.at_ms < end_ms)
    part = DeviceBlock(
        block.at_ms[within],
        {
            series_id: Column(column.kind, column.values[within])
            for series_id, column in block.columns.items()
            if series_id in wanted
        },
    )
    assert_same(decode_block(sealed, wanted, Span(start_ms, end_ms)), part)


def week() -> DeviceBlock:
    """Return a week of a battery with quantities that are missing, and a state and a flag."""
    block = as_block(quantised_site(7, jitter_ms=20)["battery"])
    random = np.random.default_rng(5)
    for series_id in (1, 2):  # these come in one message, so they are missing together
        block.columns[series_id].values[::7] = nan
    block.columns[4].values[random.random(len(block.at_ms)) < 0.3] = nan
    block.columns[5].values[:] = nan
    state = np.empty(len(block.at_ms), dtype=np.object_)
    state[:] = np.where(np.arange(len(state)) // 5000 % 2, "charging", "idle")
    state[100:2000] = None
    block.columns[20] = Column("text", state)
    block.columns[21] = Column("flag", np.round(random.random(len(state))))
    return block


def test_a_week_comes_back_and_each_of_its_days_alone() -> None:
    block = week()
    sealed = encode_block(block)
    assert_same(decode_block(sealed), block)
    for day in range(-1, 8):
        span = Span(START_MS + day * DAY_MS, START_MS + (day + 1) * DAY_MS)
        first, last = np.searchsorted(block.at_ms, (span.start_ms, span.end_ms))
        columns = {
            series_id: Column(column.kind, column.values[first:last])
            for series_id, column in block.columns.items()
        }
        assert_same(decode_block(sealed, None, span), DeviceBlock(block.at_ms[first:last], columns))


def test_quantities_that_are_missing_together_share_what_says_so() -> None:
    at_ms = START_MS + np.arange(8000, dtype=np.int64) * 10_000
    values = np.where(np.random.default_rng(2).random(8000) < 0.5, nan, 1.0)
    one, five = (
        len(encode_block(DeviceBlock(at_ms, dict.fromkeys(range(n), Column("number", values)))))
        for n in (1, 5)
    )
    assert one > 1000
    assert (five - one) / 4 < 100


def test_threads_that_share_a_block_do_not_disturb_each_other() -> None:
    block = week()
    sealed = encode_block(block)
    with ThreadPoolExecutor(4) as pool:
        for back in pool.map(decode_block, [sealed] * 16):
            assert_same(back, block)
        assert set(pool.map(encode_block, [block] * 8)) == {sealed}


def no_columns(*at_ms: int) -> DeviceBlock:
    return DeviceBlock(np.array(at_ms, dtype=np.int64), {})


@pytest.mark.parametrize(
    "block",
    [
        no_columns(),
        no_columns(5, 5),
        no_columns(5, 4),
        no_columns(2**52 + 1),
        no_columns(-(2**52) - 1),
        no_columns(-(2**63), 0),
        DeviceBlock(np.arange(2), {1: Column("number", np.zeros(3))}),
        DeviceBlock(np.arange(MAX_ROWS + 1), {}),
        DeviceBlock(
            np.arange(MAX_ROWS),
            dict.fromkeys(range(MAX_READINGS // MAX_ROWS + 1), Column("number", np.zeros(1))),
        ),
    ],
)
def test_what_is_no_block_is_refused(block: DeviceBlock) -> None:
    with pytest.raises(ValueError, match=r"block|instants|values"):
        encode_block(block)


@pytest.mark.parametrize(
    ("days", "noise", "jitter_ms", "most_bytes"),
    [(1, 1.0, 0, 0.30), (7, 0.75, 0, 0.27), (1, 1.0, 20, 0.60), (7, 1.0, 20, 0.60)],
)
def test_how_few_bytes_a_reading_takes(
    days: int, noise: float, jitter_ms: int, most_bytes: float
) -> None:
    size = readings = 0
    for device in quantised_site(days, noise=noise, jitter_ms=jitter_ms).values():
        block = as_block(device)
        size += len(encode_block(block))
        readings += len(block.at_ms) * len(block.columns)
    assert size / readings <= most_bytes

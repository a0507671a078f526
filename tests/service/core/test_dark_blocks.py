"""Blocks of the hours on battery alone: which readings count, and their means."""

from dataclasses import replace

import numpy as np
import pytest

from joulebook.core.dark_blocks import dark_blocks
from joulebook.core.spans import Span
from tests.helpers.dark_nights import dark_nights, loss_w
from tests.helpers.full_cycles import DAY_MS, START_MS, constant_offset, no_offset

TWO_DAYS = Span(START_MS, START_MS + 2 * DAY_MS)


def test_means_over_a_quarter_of_an_hour() -> None:
    history, powers = dark_nights(2)
    blocks = dark_blocks(history, powers, TWO_DAYS, offset=no_offset())
    # Ten dark hours are forty blocks of fifteen minutes.
    assert blocks.at_ms.size == 80
    assert blocks.nights == 2
    assert blocks.night.tolist() == [0] * 40 + [1] * 40
    assert set(blocks.readings) == {15}
    first = powers.load_w[:15]
    assert blocks.output_w[0] == pytest.approx(first.mean())
    assert blocks.dc_w[0] == pytest.approx((first + loss_w(first)).mean())
    middle = first + loss_w(first) / 2
    assert blocks.middle_w[0] == pytest.approx(middle.mean())
    assert blocks.middle_w2[0] == pytest.approx((middle**2).mean())
    assert blocks.voltage_v[0] == pytest.approx(history.voltage_v[:15].mean())
    assert blocks.at_ms[1] - blocks.at_ms[0] == 900_000


def test_the_offset_is_taken_off() -> None:
    history, powers = dark_nights(2, offset_a=0.2)
    plain = dark_blocks(*dark_nights(2), TWO_DAYS, offset=no_offset())
    blocks = dark_blocks(history, powers, TWO_DAYS, offset=constant_offset(0.2))
    assert blocks.dc_w == pytest.approx(plain.dc_w)


def test_what_the_grid_and_the_panels_give_is_counted() -> None:
    history, powers = dark_nights(2)
    helped = replace(powers, grid_w=powers.grid_w + 50.0, pv_w=powers.pv_w + 4.0)
    plain = dark_blocks(history, powers, TWO_DAYS, offset=no_offset())
    blocks = dark_blocks(history, helped, TWO_DAYS, offset=no_offset())
    assert blocks.output_w == pytest.approx(plain.output_w - 50.0)
    assert blocks.dc_w == pytest.approx(plain.dc_w + 4.0)


@pytest.mark.parametrize("column", ["pv_w", "grid_w", "load_w"])
def test_a_missing_reading_is_left_out_and_half_a_block_is_enough(column: str) -> None:
    history, powers = dark_nights(2)
    values = getattr(powers, column).copy()
    values[:7] = np.nan
    values[15:23] = np.nan
    blocks = dark_blocks(history, replace(powers, **{column: values}), TWO_DAYS, offset=no_offset())
    assert blocks.readings[0] == 8
    assert blocks.at_ms[1] == START_MS + 1_800_000  # seven of fifteen are not enough


def test_light_and_little_discharge_are_left_out() -> None:
    history, powers = dark_nights(2)
    assert (
        dark_blocks(
            history, replace(powers, pv_w=powers.pv_w + 10), TWO_DAYS, offset=no_offset()
        ).at_ms.size
        == 0
    )
    still = replace(history, current_a=history.current_a * 0)
    blocks = dark_blocks(still, powers, TWO_DAYS, offset=no_offset())
    assert blocks.at_ms.size == 0
    assert blocks.nights == 0


def test_only_the_span_counts() -> None:
    history, powers = dark_nights(2)
    blocks = dark_blocks(history, powers, Span(START_MS, START_MS + 3_600_000), offset=no_offset())
    assert blocks.at_ms.size == 4

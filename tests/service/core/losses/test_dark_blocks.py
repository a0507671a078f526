"""Blocks of the hours on battery alone: which readings count, and their means."""

from dataclasses import replace

import numpy as np
import pytest

from joulebook.core.losses.dark_blocks import dark_blocks
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
    point, square = blocks.between(0.25)
    between = first + 0.75 * loss_w(first)
    assert point[0] == pytest.approx(between.mean())
    assert square[0] == pytest.approx((between**2).mean())
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


def _share(**wrong: float) -> float:
    history, powers = dark_nights(30, **wrong)  # type: ignore[arg-type]
    span = Span(START_MS, START_MS + 30 * DAY_MS)
    return dark_blocks(history, powers, span, offset=no_offset()).output_share


def test_the_line_is_drawn_over_the_meter_that_strays_less() -> None:
    # A noisy load meter leaves the current sensor to tell the load, and the other way round.
    assert _share(noise_w=40.0) < 0.1
    assert _share(noise_w=1.0, dc_noise_a=1.0) > 0.9
    # 20 W of each: 0.385 A at 52 V.
    assert _share(noise_w=20.0, dc_noise_a=0.385) == pytest.approx(0.5, abs=0.1)
    # Read a minute apart, both stray alike.
    assert _share(late_s=60) == pytest.approx(0.5, abs=0.1)


def test_too_few_readings_or_a_load_that_never_moves_tell_nothing_of_noise() -> None:
    history, powers = dark_nights(2)
    first = Span(START_MS, START_MS + 3_600_000)
    few = dark_blocks(history, powers, first, offset=no_offset())
    assert few.output_share == 0.5
    assert few.share_u == pytest.approx(0.289, abs=1e-3)
    still = replace(powers, load_w=np.full(powers.load_w.size, 300.0))
    assert dark_blocks(history, still, TWO_DAYS, offset=no_offset()).output_share == 0.5
    steady = replace(history, current_a=np.where(powers.pv_w > 0, 9.0, -7.0))
    assert 0 <= dark_blocks(steady, powers, TWO_DAYS, offset=no_offset()).output_share <= 1
    # Every second reading is lost: none has a neighbour to be compared with.
    gaps = np.where(np.arange(powers.load_w.size) % 2, np.nan, powers.load_w)
    sparse = dark_blocks(history, replace(powers, load_w=gaps), TWO_DAYS, offset=no_offset())
    assert sparse.output_share == 0.5


def test_hours_in_which_the_grid_helps_are_left_out_unless_it_always_does() -> None:
    history, powers = dark_nights(2)
    helps = np.zeros(powers.load_w.size)
    helps[:300] = 400.0
    blocks = dark_blocks(history, replace(powers, grid_w=helps), TWO_DAYS, offset=no_offset())
    assert blocks.at_ms.size == 60
    always = replace(powers, grid_w=helps * 0 + 60.0)
    blocks = dark_blocks(history, always, TWO_DAYS, offset=no_offset())
    assert blocks.at_ms.size == 80

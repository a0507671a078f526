"""Starts in loads of round numbers, and the kinds they fall into."""

import numpy as np
import pytest

from joulebook.core.curves import Curve, curve
from joulebook.core.loads.starts import Kind, Starts, find_starts, joined_starts, kinds_of
from joulebook.core.spans import Span

STEP_MS = 10_000


def line(*watts: float) -> Curve:
    """Return readings each 10 s."""
    return curve(np.arange(len(watts), dtype=np.int64) * STEP_MS, np.array(watts))


def found(*watts: float) -> list[tuple[int, float]]:
    load = line(*watts)
    starts = find_starts(load, None, Span(0, len(watts) * STEP_MS))
    return list(zip((starts.at_ms // STEP_MS).tolist(), starts.step_w.tolist(), strict=True))


def test_a_step_is_a_start() -> None:
    assert found(100, 100, 1600, 1600, 100) == [(1, 1500.0)]


def test_a_rise_that_the_logger_cut_in_two_is_one_start() -> None:
    # Means of 10 s: the kettle went on within the third of them.
    assert found(100, 100, 900, 1600, 1600) == [(1, 1500.0)]


def test_noise_before_it_does_not_move_it() -> None:
    assert found(100, 101, 1600, 1599, 100) == [(1, 1499.0)]


def test_small_steps_and_slow_rises_are_none() -> None:
    assert found(100, 250, 100, 290, 100) == []
    assert found(*range(0, 3000, 90)) == []


def test_two_starts_in_a_row_are_two() -> None:
    assert found(100, 900, 900, 900, 2400, 2400) == [(0, 800.0), (3, 1500.0)]


def test_a_fall_is_no_start_and_neither_is_a_gap() -> None:
    assert found(1600, 100, 100) == []
    at_ms = np.array([0, 10_000, 400_000, 410_000])
    gap = curve(at_ms, np.array([100.0, 100.0, 1600.0, 1600.0]))
    assert find_starts(gap, None, Span(0, 500_000)).at_ms.size == 0


def test_only_those_that_begin_in_the_span_count() -> None:
    load = line(100, 1600, 100, 1600, 100, 1600)
    assert (find_starts(load, None, Span(STEP_MS, 4 * STEP_MS)).at_ms // STEP_MS).tolist() == [2]


def test_nothing_read_is_no_start() -> None:
    empty = curve(np.empty(0, np.int64), np.empty(0))
    assert find_starts(empty, None, Span(0, 1)).at_ms.size == 0
    assert kinds_of(joined_starts(())) == []


def test_legs_are_told_apart() -> None:
    l1, l2 = line(50, 50, 1530, 1530), line(50, 50, 70, 50)
    starts = find_starts(line(100, 100, 1600, 1580), (l1, l2), Span(0, 10**6))
    assert (starts.l1_w.tolist(), starts.l2_w.tolist()) == ([1480.0], [20.0])


def of(*rows: tuple[int, float, float, float]) -> Starts:
    at_ms, step, l1, l2 = zip(*rows, strict=True)
    return Starts(
        at_ms=np.array(at_ms), step_w=np.array(step), l1_w=np.array(l1), l2_w=np.array(l2)
    )


def test_starts_alike_are_one_kind() -> None:
    # Two kettles on L1, a heater on both legs, a pump on L2.
    starts = of(
        (1, 1480.0, 1480.0, 0.0),
        (2, 1420.0, 1420.0, 0.0),
        (3, 1450.0, 725.0, 725.0),
        (4, 500.0, 0.0, 500.0),
    )
    assert kinds_of(starts) == [
        Kind(at_ms=1, step_w=1480.0, l1_w=1480.0, l2_w=0.0, count=2),
        Kind(at_ms=3, step_w=1450.0, l1_w=725.0, l2_w=725.0, count=1),
        Kind(at_ms=4, step_w=500.0, l1_w=0.0, l2_w=500.0, count=1),
    ]
    assert [kind.at_ms for kind in kinds_of(starts, most=2)] == [1, 3]


def test_without_legs_the_size_alone_decides() -> None:
    nothing = float("nan")
    starts = of((1, 1480.0, nothing, nothing), (2, 1400.0, nothing, nothing))
    assert kinds_of(starts) == [Kind(at_ms=1, step_w=1480.0, l1_w=None, l2_w=None, count=2)]


@pytest.mark.parametrize("parts", [1, 3])
def test_parts_make_the_whole(parts: int) -> None:
    whole = joined_starts([of((1, 900.0, 900.0, 0.0))] * parts)
    assert whole.step_w.tolist() == [900.0] * parts

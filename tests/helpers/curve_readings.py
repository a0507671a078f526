"""Readings for the integrals: by seconds, from cyclers' files, and drawn by hypothesis."""

import csv
from collections.abc import Sequence
from pathlib import Path

import numpy as np
from hypothesis import strategies as st
from numpy.typing import NDArray

from joulebook.core.curves import Curve, curve
from joulebook.core.daily.energy import Integral, integrate
from joulebook.core.spans import Span

DATA = Path(__file__).parents[1] / "data"

Readings = tuple[NDArray[np.int64], NDArray[np.float64]]


def readings(at_s: Sequence[float], value: Sequence[float]) -> Readings:
    """Return readings at seconds after the epoch."""
    return (
        np.round(np.asarray(at_s, dtype=np.float64) * 1000).astype(np.int64),
        np.asarray(value, dtype=np.float64),
    )


def line(at_s: Sequence[float], value: Sequence[float], max_gap_s: float = 300.0) -> Curve:
    """Return the curve through readings at seconds after the epoch."""
    return curve(*readings(at_s, value), max_gap_s=max_gap_s)


def seconds(start_s: float, end_s: float) -> Span:
    """Return a span of seconds after the epoch."""
    return Span(round(start_s * 1000), round(end_s * 1000))


def whole(at_s: Sequence[float], value: Sequence[float], max_gap_s: float = 1e6) -> Integral:
    """Integrate readings from the first to the last."""
    return integrate(*readings(at_s, value), span=seconds(at_s[0], at_s[-1]), max_gap_s=max_gap_s)


def cycler(name: str) -> dict[str, list[float]]:
    """Return the columns of a cycler's file; its first line says where it comes from."""
    with (DATA / name).open(encoding="utf-8") as file:
        next(file)
        rows = list(csv.DictReader(file))
    return {
        column: [float(row[column]) if row[column] else np.nan for row in rows]
        for column in rows[0]
        if column != "Cycle_Label"
    }


@st.composite
def histories(draw: st.DrawFn) -> Readings:
    """Readings with steps from 1 s to 20 min, some of them missing."""
    steps = draw(st.lists(st.integers(1000, 1_200_000), min_size=2, max_size=30))
    at_ms = np.cumsum(np.array(steps, dtype=np.int64))
    value = draw(
        st.lists(
            st.one_of(st.floats(-20_000, 20_000, width=32), st.just(float("nan"))),
            min_size=len(steps),
            max_size=len(steps),
        )
    )
    return at_ms, np.array(value, dtype=np.float64)

"""The checks of :mod:`joulebook.ingest.checks` for whole columns of readings at once."""

import csv
import io
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from joulebook.core.cells import cells_of, present
from joulebook.core.quantities import ValueKind
from joulebook.ingest.checks import (
    EARLIEST_MS,
    MOST_AHEAD_MS,
    Expected,
    Objection,
    too_far_ahead,
    too_old,
)
from joulebook.ingest.wording import shown_time

Instants = NDArray[np.int64]
Numbers = NDArray[np.float64]
#: What a column is, and its values.
Headed = tuple[ValueKind, NDArray[Any]]


@dataclass(frozen=True, slots=True)
class Kept:
    """Readings that are set aside for one reason, as a CSV file that can be imported again."""

    reason: str
    detail: str
    readings: int
    payload: bytes


def refused_times(
    device: str, at_ms: Instants, values: dict[str, Headed], now_ms: int
) -> Iterator[Kept]:
    """Yield the rows whose time cannot be, by reason; ``values`` by the headers of a CSV file."""
    filled = np.any([present(column) for _, column in values.values()], axis=0)
    for wrong, objection_of in (
        (at_ms < EARLIEST_MS, too_old),
        (at_ms > now_ms + MOST_AHEAD_MS, lambda first_ms: too_far_ahead(first_ms, now_ms)),
    ):
        mask = wrong & filled
        if mask.any():
            objection = objection_of(int(at_ms[mask][0]))
            rows = {header: (kind, column[mask]) for header, (kind, column) in values.items()}
            yield _kept(
                f"{device}, rows refused: {mask.sum()}; the first", objection, at_ms[mask], rows
            )


def refused_values(
    series: str, expected: Expected, at_ms: Instants, values: Numbers
) -> Iterator[Kept]:
    """Yield the values of a series that are out of range, by reason."""
    endless = np.isinf(values)
    for mask in (endless, (values < expected.low) & ~endless, (values > expected.high) & ~endless):
        if mask.any():
            first = int(np.argmax(mask))
            objection = expected.refusal(float(values[first]))
            first_time = shown_time(int(at_ms[first]))
            what = f"{series}, readings refused: {mask.sum()}; the first, of {first_time},"
            header = f"{series} [{expected.unit}]"
            yield _kept(what, objection, at_ms[mask], {header: ("number", values[mask])})


def _kept(what: str, objection: Objection, at_ms: Instants, rows: dict[str, Headed]) -> Kept:
    text = io.StringIO()
    writer = csv.writer(text)
    writer.writerow(["time", *rows])
    columns = [cells_of(column, kind) for kind, column in rows.values()]
    writer.writerows(zip([shown_time(at) for at in at_ms.tolist()], *columns, strict=True))
    readings = sum(int(np.count_nonzero(present(column))) for _, column in rows.values())
    return Kept(objection.reason, f"{what} {objection.detail}", readings, text.getvalue().encode())

"""The table as Parquet, for other programs; needs the extra ``parquet``."""

from collections.abc import Iterable, Iterator, Sequence
from pathlib import Path
from typing import Any

import numpy as np

from joulebook.core.cells import present
from joulebook.errors import UnavailableError
from joulebook.export.tables import TablePart, header_of
from joulebook.storage.records import Series

#: Rows that are compressed together. Fewer make the file larger, more take memory.
GROUP_ROWS = 65_536


def write_parquet(path: Path, series: Sequence[Series], parts: Iterable[TablePart]) -> None:
    """Write a table: ``time`` as UTC timestamps in ms, numbers as float64, flags, texts.

    Raises
    ------
    UnavailableError
        If pyarrow is not installed.
    """
    arrow, parquet = _pyarrow(path)
    kinds = {"number": arrow.float64(), "flag": arrow.bool_(), "text": arrow.string()}
    schema = arrow.schema(
        [
            ("time", arrow.timestamp("ms", tz="UTC")),
            *((header_of(one), kinds[one.kind]) for one in series),
        ]
    )
    with parquet.ParquetWriter(path, schema, compression="zstd") as writer:
        for part in _grouped(parts):
            columns = [arrow.array(part.at_ms, arrow.timestamp("ms", tz="UTC"))]
            for one, values in zip(series, part.columns, strict=True):
                stored = values != 0 if one.kind == "flag" else values
                columns.append(arrow.array(stored, kinds[one.kind], mask=~present(values)))
            writer.write_table(arrow.table(columns, schema=schema))


def _grouped(parts: Iterable[TablePart]) -> Iterator[TablePart]:
    """Join parts until there are enough rows for a group."""
    waiting: list[TablePart] = []
    for part in parts:
        waiting.append(part)
        if sum(len(one.at_ms) for one in waiting) >= GROUP_ROWS:
            yield _joined(waiting)
            waiting = []
    if waiting:
        yield _joined(waiting)


def _joined(parts: list[TablePart]) -> TablePart:
    columns = zip(*(part.columns for part in parts), strict=True)
    return TablePart(
        np.concatenate([part.at_ms for part in parts]),
        [np.concatenate(column) for column in columns],
    )


def _pyarrow(path: Path) -> tuple[Any, Any]:
    try:
        import pyarrow
        import pyarrow.parquet
    except ImportError as error:
        raise UnavailableError(
            "Parquet needs the package pyarrow, which is not installed",
            where=path,
            expected="joulebook installed with its extra: joulebook[parquet]",
            next_step="pip install 'joulebook[parquet]', or give the file a name in .csv",
        ) from error
    return pyarrow, pyarrow.parquet

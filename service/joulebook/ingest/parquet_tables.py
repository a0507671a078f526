"""Parquet files of readings, with the columns of the CSV; needs the extra ``parquet``.

A column of numbers, flags or texts is imported; one of anything else is left out, and named.
"""

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np

from joulebook.core.quantities import ValueKind
from joulebook.errors import UnavailableError, UsageError
from joulebook.ingest.bulk import BulkImport, DeviceColumns, ImportCounts
from joulebook.ingest.headers import TableColumn, read_header
from joulebook.storage.database import Database
from joulebook.storage.records import Site

_ROWS_AT_ONCE = 65_536


def import_parquet(
    database: Database,
    site: Site,
    path: Path,
    *,
    clock_ms: Callable[[], int],
    progress: Callable[[int, int], None] = lambda _done, _total: None,
) -> tuple[ImportCounts, list[str]]:
    """Import a Parquet file of readings; on disk by the time it returns.

    ``time`` is a column of timestamps with a zone, or of seconds since 1970 as numbers.

    Parameters
    ----------
    progress : callable
        Told how many rows of how many are done.

    Returns
    -------
    ImportCounts
        ``rows`` are those of the file.
    list of str
        Columns that hold no numbers, flags or texts, and were left out.

    Raises
    ------
    UsageError
        If the file cannot be read or its columns are wrong. Nothing was stored.
    UnavailableError
        If pyarrow is not installed, or the database cannot be written; what was stored before
        stays, and importing again is safe.
    """
    arrow, parquet = _pyarrow(path)
    try:
        file = parquet.ParquetFile(path)
    except (OSError, arrow.ArrowInvalid) as error:
        raise _wrong(f"the file cannot be read ({error})", path, "a Parquet file") from error
    with file, BulkImport(database, site, source=path.name, clock_ms=clock_ms) as bulk:
        schema = file.schema_arrow
        held = {one.name: _kind(arrow, one.type) for one in schema}
        left_out = [name for name, kind in held.items() if name != "time" and kind is None]
        names = [name for name in schema.names if name not in left_out]
        kinds = [kind for kind in map(held.get, names[1:]) if kind is not None]
        columns = read_header(names, expect=bulk.expected, where=path, kinds=kinds)
        _check_time(arrow, schema.field("time").type, path)
        total, done = file.metadata.num_rows, 0
        for batch in file.iter_batches(_ROWS_AT_ONCE, columns=names):
            for device in _devices(arrow, batch, columns):
                bulk.add(device)
            done += batch.num_rows
            progress(done, total)
        return replace(bulk.counts, rows=total), left_out


def _kind(arrow: Any, held: Any) -> ValueKind | None:
    """Return what a column's type is to us, ``None`` where it is nothing that is a reading."""
    types = arrow.types
    if types.is_dictionary(held):  # each text once, and then its number in every row
        held = held.value_type
    if types.is_integer(held) or types.is_floating(held) or types.is_decimal(held):
        return "number"
    if types.is_boolean(held):
        return "flag"
    return "text" if types.is_string(held) or types.is_large_string(held) else None


def _check_time(arrow: Any, kind: Any, path: Path) -> None:
    stamped = arrow.types.is_timestamp(kind) and kind.tz is not None
    if not (stamped or _kind(arrow, kind) == "number"):
        raise _wrong(f"the column time is of {kind}", path, "timestamps with a zone, or seconds")


def _devices(arrow: Any, batch: Any, columns: list[TableColumn]) -> list[DeviceColumns]:
    at_ms = _instants(arrow, batch.column("time"))
    dated = ~np.isnan(at_ms)
    devices: dict[str, DeviceColumns] = {}
    for column in columns:
        values = _values(arrow, batch.column(column.place), column.kind)[dated]
        if column.kind == "number" and not column.conversion.changes_nothing:
            values = np.array([column.conversion.apply(number) for number in values.tolist()])
        device = devices.setdefault(
            column.device, DeviceColumns(column.device, at_ms[dated].astype(np.int64), {})
        )
        device.values[column.quantity] = values
        device.units[column.quantity] = column.unit
        device.kinds[column.quantity] = column.kind
    return list(devices.values())


def _instants(arrow: Any, column: Any) -> Any:
    """Return milliseconds as floats, NaN where there is no time: exact far beyond any date."""
    if arrow.types.is_timestamp(column.type):
        column = column.cast(arrow.timestamp("ms", column.type.tz), safe=False).cast(arrow.int64())
        return _numbers(arrow, column)
    return np.round(_numbers(arrow, column) * 1000)


def _values(arrow: Any, column: Any, kind: ValueKind) -> Any:
    if kind == "text":
        return column.cast(arrow.string()).to_numpy(zero_copy_only=False)
    return _numbers(arrow, column)


def _numbers(arrow: Any, column: Any) -> Any:
    return column.cast(arrow.float64(), safe=False).to_numpy(zero_copy_only=False)


def _wrong(what: str, path: Path, expected: str) -> UsageError:
    return UsageError(
        what,
        where=path,
        expected=expected,
        next_step="mend the file; nothing was stored",
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
            next_step="pip install 'joulebook[parquet]', or export to CSV where the file was made",
        ) from error
    return pyarrow, pyarrow.parquet

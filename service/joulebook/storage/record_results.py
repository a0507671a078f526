"""What was computed of a site's whole record, and whether that is behind it."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from joulebook.storage.connections import Connection, joined
from joulebook.storage.faults import names_faults

_RESULTS = """
SELECT record_results.site_id, method, record_results.mark, computed_ms, result,
    record_results.mark < coalesce(record_marks.mark, 0)
FROM record_results
LEFT JOIN record_marks ON record_marks.site_id = record_results.site_id
"""


@dataclass(frozen=True, slots=True, kw_only=True)
class RecordResult:
    """One stored result.

    Attributes
    ----------
    name, method : str
        What it is, and what made it.
    mark : int
        The record's mark when its analysis began.
    computed_ms : int
        When it was computed. [ms, UTC epoch]
    result : bytes
        As the caller packed it.
    behind : bool
        Whether a day, a correction, an event or a fact of the site has changed since.
    """

    name: str
    method: str
    mark: int
    computed_ms: int
    result: bytes
    behind: bool


@names_faults
def record_mark(connection: Connection, site_id: int) -> int:
    """Return the mark of a site's record. Ask for it before reading what is analysed."""
    row = connection.execute(
        "SELECT mark FROM record_marks WHERE site_id = ?", (site_id,)
    ).fetchone()
    return 0 if row is None else int(row[0])


@names_faults
def save_record_result(
    connection: Connection,
    site_id: int,
    name: str,
    method: str,
    result: bytes,
    *,
    mark: int,
    computed_ms: int,
) -> None:
    """Store a result, unless there is one of a later mark.

    Parameters
    ----------
    mark : int
        What :func:`record_mark` returned before anything was read.
    """
    with joined(connection, (site_id,)):
        connection.execute(
            """
            INSERT INTO record_results (site_id, name, method, mark, computed_ms, result)
            VALUES (?, ?, ?, ?, ?, ?)
            ON CONFLICT (site_id, name) DO UPDATE
            SET method = excluded.method,
                mark = excluded.mark,
                computed_ms = excluded.computed_ms,
                result = excluded.result
            WHERE excluded.mark >= record_results.mark
            """,
            (site_id, name, method, mark, computed_ms, result),
        )


@names_faults
def results_named(connection: Connection, name: str) -> dict[int, RecordResult]:
    """Return the stored result of one name of every site that has it, by the site's id.

    For small ones: thousands of sites are looked at every minute.
    """
    rows = connection.execute(f"{_RESULTS} WHERE name = ?", (name,))
    return {site_id: _result(name, row) for site_id, *row in rows}


@names_faults
def record_result(connection: Connection, site_id: int, name: str) -> RecordResult | None:
    """Return a stored result, ``None`` where there is none."""
    row = connection.execute(
        f"{_RESULTS} WHERE record_results.site_id = ? AND name = ?", (site_id, name)
    ).fetchone()
    return None if row is None else _result(name, row[1:])


def _result(name: str, row: Sequence[Any]) -> RecordResult:
    method, mark, computed_ms, result, behind = row
    return RecordResult(
        name=name,
        method=method,
        mark=mark,
        computed_ms=computed_ms,
        result=result,
        behind=bool(behind),
    )


@dataclass(frozen=True, slots=True)
class Stamp:
    """By which a stored result is known without reading it."""

    mark: int
    computed_ms: int


@names_faults
def result_stamp(connection: Connection, site_id: int, name: str) -> Stamp | None:
    """Return the stamp of a stored result, ``None`` where there is none."""
    row = connection.execute(
        "SELECT mark, computed_ms FROM record_results WHERE site_id = ? AND name = ?",
        (site_id, name),
    ).fetchone()
    return None if row is None else Stamp(*row)


@names_faults
def is_behind(connection: Connection, site_id: int, stamp: Stamp) -> bool:
    """Tell whether a day, a correction, an event or a fact has changed since a result's mark."""
    return stamp.mark < record_mark(connection, site_id)

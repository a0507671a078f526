"""The table of sealed blocks: which there are, what they hold, which are damaged."""

import logging
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from joulebook.core.spans import Span
from joulebook.storage.blocks.block import (
    BLOCK_FORMAT,
    DeviceBlock,
    checksum,
    decode_block,
)
from joulebook.storage.blocks.parts import BlockDamagedError
from joulebook.storage.connections import Connection, joined_snapshot
from joulebook.storage.faults import names_faults
from joulebook.storage.marking import next_mark
from joulebook.storage.periods import A_MONDAY_MS, WEEK_MS
from joulebook.storage.records import DamagedBlock, Series, Value

_log = logging.getLogger(__name__)

#: Blocks that are checked in one go: a few megabytes, so that a check holds nobody up.
CHECKED_AT_ONCE = 64


@dataclass(frozen=True, slots=True)
class StoredBlock:
    """A row of ``blocks``. Its id is never given again, so it tells one version from the next.

    ``period`` is the UTC day or ISO week whose readings belong into it.
    """

    id: int
    device_id: int
    period: Span
    rows: int
    data: bytes


def blocks_within(connection: Connection, device_id: int, span: Span) -> Iterator[StoredBlock]:
    """Yield a device's blocks whose periods meet a span, in order of time."""
    rows = connection.execute(
        """
        SELECT id, device_id, start_ms, end_ms, rows, data
        FROM blocks
        WHERE device_id = ? AND start_ms > ? AND start_ms < ? AND end_ms > ?
        ORDER BY start_ms
        """,
        (device_id, span.start_ms - WEEK_MS, span.end_ms, span.start_ms),
    )
    for block_id, device, start_ms, end_ms, count, data in rows:
        yield StoredBlock(block_id, device, Span(start_ms, end_ms), count, data)


def block_ids(connection: Connection, device_id: int, span: Span) -> list[int]:
    """Return the ids of :func:`blocks_within`, without reading the blocks."""
    return [block_id for block_id, _ in heads_within(connection, device_id, span)]


def periods_within(connection: Connection, device_id: int, span: Span) -> list[Span]:
    """Return the periods of :func:`blocks_within`, without reading the blocks."""
    return [period for _, period in heads_within(connection, device_id, span)]


def heads_within(connection: Connection, device_id: int, span: Span) -> list[tuple[int, Span]]:
    """Return the ids and periods of :func:`blocks_within`, without reading the blocks."""
    rows = connection.execute(
        """
        SELECT id, start_ms, end_ms
        FROM blocks
        WHERE device_id = ? AND start_ms > ? AND start_ms < ? AND end_ms > ?
        ORDER BY start_ms
        """,
        (device_id, span.start_ms - WEEK_MS, span.end_ms, span.start_ms),
    )
    return [(block_id, Span(start_ms, end_ms)) for block_id, start_ms, end_ms in rows]


def weeks_of_several(
    connection: Connection, before_ms: int, most_rows: int
) -> list[tuple[int, int]]:
    """Return (device, an instant) for the ISO weeks before one that have several blocks.

    Those that have more rows than ``most_rows`` are left out.
    """
    return connection.execute(
        """
        SELECT device_id, min(start_ms)
        FROM blocks
        WHERE start_ms < ?
        GROUP BY device_id, (start_ms - ?) / ?
        HAVING count(*) > 1 AND sum(rows) <= ?
        ORDER BY min(start_ms)
        """,
        (before_ms, A_MONDAY_MS, WEEK_MS, most_rows),
    ).fetchall()


def read_sealed(
    connection: Connection, device_id: int, span: Span, series_ids: Iterable[int]
) -> tuple[list[DeviceBlock], list[DamagedBlock]]:
    """Return what blocks hold of a span, in order of time, and the blocks that are damaged."""
    wanted = set(series_ids)
    parts, damaged = [], []
    for block in blocks_within(connection, device_id, span):
        inside = span.start_ms <= block.period.start_ms and block.period.end_ms <= span.end_ms
        try:
            parts.append(decode_block(block.data, wanted, None if inside else span))
        except BlockDamagedError as error:
            damaged.append(named_damage(connection, block, error))
    return parts, damaged


def named_damage(
    connection: Connection, block: StoredBlock, error: BlockDamagedError
) -> DamagedBlock:
    """Return which block is damaged, in words, and log it."""
    (device,) = connection.execute(
        """
        SELECT sites.name || '/' || devices.name
        FROM devices
        JOIN sites ON sites.id = devices.site_id
        WHERE devices.id = ?
        """,
        (block.device_id,),
    ).fetchone()
    damaged = DamagedBlock(
        block_id=block.id, device=device, span=block.period, rows=block.rows, why=str(error)
    )
    _log.error("%s", damaged)
    return damaged


def sealed_values(
    connection: Connection, device_id: int, series: Sequence[Series], instants: list[int]
) -> dict[int, tuple[Value, ...]]:
    """Return the sealed values of a device at some instants, in the order of the series.

    Only blocks that hold one of the instants' days are opened. What is in a damaged one is not
    known, and so not in the result.
    """
    wanted = np.unique(np.array(instants, dtype=np.int64))
    whole = Span(int(wanted[0]), int(wanted[-1]) + 1)
    found: dict[int, tuple[Value, ...]] = {}
    for period in periods_within(connection, device_id, whole):
        start_ms, end_ms = period.start_ms, period.end_ms
        first, last = np.searchsorted(wanted, (start_ms, end_ms))
        if first == last:
            continue
        asked = wanted[first:last]
        span = Span(int(asked[0]), int(asked[-1]) + 1)
        parts, _ = read_sealed(connection, device_id, span, (one.id for one in series))
        for part in parts:
            place = np.flatnonzero(np.isin(part.at_ms, asked, assume_unique=True))
            columns = [_values(part, one, place) for one in series]
            found.update(zip(part.at_ms[place].tolist(), zip(*columns, strict=True), strict=True))
    return found


def _values(part: DeviceBlock, series: Series, place: NDArray[np.intp]) -> list[Any]:
    column = part.columns.get(series.id)
    if column is None:
        return [None] * len(place)
    values: list[Any] = column.values[place].tolist()
    if series.kind == "text":
        return values
    kind = int if series.kind == "flag" else float
    return [None if value != value else kind(value) for value in values]


def put_block(
    connection: Connection, device_id: int, period: Span, block: DeviceBlock, data: bytes
) -> int:
    """Store a block in place of those of its period, in the caller's transaction; return its id."""
    block_id = next_mark(connection)
    connection.execute(
        "DELETE FROM blocks WHERE device_id = ? AND start_ms >= ? AND start_ms < ?",
        (device_id, period.start_ms, period.end_ms),
    )
    connection.execute(
        """
        INSERT INTO blocks (
            id, device_id, start_ms, end_ms, first_ms, last_ms, rows, format, checksum, data
        )
        VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?)
        """,
        (
            block_id,
            device_id,
            period.start_ms,
            period.end_ms,
            int(block.at_ms[0]),
            int(block.at_ms[-1]),
            len(block.at_ms),
            BLOCK_FORMAT,
            checksum(data),
            data,
        ),
    )
    return block_id


@names_faults
def check_blocks(
    connection: Connection, after_id: int, count: int = CHECKED_AT_ONCE
) -> tuple[int | None, list[DamagedBlock]]:
    """Check the next blocks' checksums, and that they can be decoded as what they are.

    Parameters
    ----------
    after_id : int
        The last block that was checked, 0 to begin.

    Returns
    -------
    last_id : int or None
        Where to go on; ``None`` after the last block.
    damaged : list of DamagedBlock
    """
    with joined_snapshot(connection):
        rows = connection.execute(
            """
            SELECT id, device_id, start_ms, end_ms, rows, data, checksum
            FROM blocks
            WHERE id > ?
            ORDER BY id
            LIMIT ?
            """,
            (after_id, count),
        ).fetchall()
        damaged = []
        for block_id, device_id, start_ms, end_ms, row_count, data, stored_checksum in rows:
            block = StoredBlock(block_id, device_id, Span(start_ms, end_ms), row_count, data)
            try:
                _check(block, stored_checksum)
            except BlockDamagedError as error:
                damaged.append(named_damage(connection, block, error))
    return (rows[-1][0] if len(rows) == count else None), damaged


def _check(block: StoredBlock, stored_checksum: int) -> None:
    decoded = decode_block(block.data)
    if checksum(block.data) != stored_checksum:
        raise BlockDamagedError("the checksum beside the block is not that of its bytes")
    if len(decoded.at_ms) != block.rows:
        raise BlockDamagedError(f"{len(decoded.at_ms)} rows, where {block.rows} belong")


def damaged_blocks(connection: Connection) -> list[DamagedBlock]:
    """Check every block and return those that are damaged; reads the whole table."""
    last_id: int | None = 0
    damaged = []
    while last_id is not None:
        last_id, found = check_blocks(connection, last_id)
        damaged += found
    return damaged

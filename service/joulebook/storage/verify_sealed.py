"""Looks at every sealed block, for :mod:`joulebook.storage.verify`."""

from typing import NamedTuple

import numpy as np

from joulebook.core.spans import Span
from joulebook.storage.blocks.block import DeviceBlock, checksum, decode_block
from joulebook.storage.blocks.parts import BlockDamagedError
from joulebook.storage.connections import Connection, on_server
from joulebook.storage.findings import Findings
from joulebook.storage.records import DamagedBlock
from joulebook.storage.tables import has_table
from joulebook.storage.verify_links import SealedDays


def check_blocks(connection: Connection, findings: Findings) -> None:
    """Check each block's checksum, that all of it can be decoded, and whose readings they are."""
    if not has_table(connection, "blocks"):  # a backup of an earlier version
        return
    known, chain = _kinds(connection), SealedDays(connection)
    findings.checked |= {"blocks": 0, "sealed rows": 0, "sealed readings": 0}
    # A device at a time: a server sends whole answers.
    for (device_id,) in connection.execute(
        "SELECT DISTINCT device_id FROM blocks ORDER BY device_id"
    ).fetchall():
        _check_device(connection, findings, device_id, known.get(device_id, {}), chain)


def _check_device(
    connection: Connection,
    findings: Findings,
    device_id: int,
    known: dict[int, str],
    chain: SealedDays,
) -> None:
    data = (
        "data" if on_server(connection) else "CASE typeof(data) WHEN 'blob' THEN data ELSE x'' END"
    )
    rows = connection.execute(
        f"""
        SELECT blocks.id, sites.name || '/' || devices.name,
            start_ms, end_ms, rows, checksum, {data}
        FROM blocks
        LEFT JOIN devices ON devices.id = device_id
        LEFT JOIN sites ON sites.id = devices.site_id
        WHERE device_id = ?
        ORDER BY start_ms
        """,  # noqa: S608 -- the name of a column
        (device_id,),
    )
    before_ms = 0  # the end of the last block
    for block_id, device, start_ms, end_ms, row_count, crc, data in rows:
        findings.checked["blocks"] += 1
        stored = _Stored(Span(start_ms, max(start_ms, end_ms)), row_count, crc, data)
        try:
            block = _decoded(stored, known, follows=start_ms >= before_ms)
        except BlockDamagedError as error:
            name = device or f"device {device_id}"
            damaged = DamagedBlock(
                block_id=block_id, device=name, span=stored.period, rows=row_count, why=str(error)
            )
            findings.damage.append(str(damaged))
        else:
            findings.damage += chain.differences(device_id, device, block)
            findings.checked["sealed rows"] += row_count
            findings.checked["sealed readings"] += sum(
                int(np.count_nonzero(column.present())) for column in block.columns.values()
            )
        before_ms = end_ms


class _Stored(NamedTuple):
    """What a row of ``blocks`` says of its bytes, and the bytes."""

    period: Span
    rows: int
    checksum: int
    data: bytes


def _decoded(stored: _Stored, known: dict[int, str], *, follows: bool) -> DeviceBlock:
    """Return all that a block holds, if it is what its row says and of the device's series."""
    if checksum(stored.data) != stored.checksum:
        raise BlockDamagedError("the checksum beside it is not that of its bytes")
    block = decode_block(stored.data)
    if len(block.at_ms) != stored.rows:
        raise BlockDamagedError(f"{len(block.at_ms)} rows, where {stored.rows} belong")
    if not follows:
        raise BlockDamagedError("it begins before the block before it ends")
    if block.at_ms[0] < stored.period.start_ms or block.at_ms[-1] >= stored.period.end_ms:
        raise BlockDamagedError("it holds readings of another time")
    for series_id, column in block.columns.items():
        if known.get(series_id) != column.kind:
            raise BlockDamagedError(
                f"its series {series_id} is none of the device's {column.kind}s"
            )
    return block


def _kinds(connection: Connection) -> dict[int, dict[int, str]]:
    """Return the kinds of series, by device and id."""
    kinds: dict[int, dict[int, str]] = {}
    for device_id, series_id, kind in connection.execute("SELECT device_id, id, kind FROM series"):
        kinds.setdefault(device_id, {})[series_id] = kind
    return kinds

"""Looks at all stored quarter hours, for :mod:`joulebook.storage.verify`."""

from joulebook.core.daily.quarters import METHOD
from joulebook.storage.blocks.parts import BlockDamagedError
from joulebook.storage.connections import Connection
from joulebook.storage.findings import Findings, has_table
from joulebook.storage.quarter_months import decode_month, month_of

_CHECKED = "months of quarter hours"
_OLDER = "months of an earlier method"


def check_quarters(connection: Connection, findings: Findings) -> None:
    """Check that all quarter hours of today's method can be decoded; others are computed anew."""
    if not has_table(connection, "quarters"):  # a backup of an earlier version
        return
    findings.checked |= {_CHECKED: 0, _OLDER: 0}
    for device, start_ms, month, method, data in connection.execute(
        """
        SELECT
            coalesce(sites.name || '/' || devices.name, 'device ' || device_id),
            start_ms,
            strftime('%Y-%m', start_ms / 1000, 'unixepoch'),
            method,
            CAST(data AS BLOB)
        FROM quarters
        LEFT JOIN devices ON devices.id = device_id
        LEFT JOIN sites ON sites.id = devices.site_id
        ORDER BY device_id, start_ms
        """
    ):
        findings.checked[_CHECKED if method == METHOD else _OLDER] += 1
        fault = _fault(start_ms, data) if method == METHOD else None
        if fault:
            findings.damage.append(
                f"the quarter hours of {device}, {month} (UTC), which can be computed "
                f"anew, cannot be read: {fault}"
            )


def _fault(start_ms: int, data: bytes) -> str | None:
    try:
        decode_month(data, month_of(start_ms))
    except (BlockDamagedError, ValueError, OverflowError) as error:  # the last two: no such month
        return str(error)
    return None

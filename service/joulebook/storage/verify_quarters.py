"""Looks at all stored quarter hours, for :mod:`joulebook.storage.verify`."""

from joulebook.core.daily.quarters import METHOD
from joulebook.storage.blocks.parts import BlockDamagedError
from joulebook.storage.connections import Connection
from joulebook.storage.findings import Findings
from joulebook.storage.periods import day_of, utc_date
from joulebook.storage.quarter_months import decode_month, month_of
from joulebook.storage.tables import bytes_of, has_table

_CHECKED = "months of quarter hours"
_OLDER = "months of an earlier method"


def check_quarters(connection: Connection, findings: Findings) -> None:
    """Check that all quarter hours of today's method can be decoded; others are computed anew."""
    if not has_table(connection, "quarters"):  # a backup of an earlier version
        return
    findings.checked |= {_CHECKED: 0, _OLDER: 0}
    # A device at a time: a server sends whole answers.
    for (device_id,) in connection.execute(
        "SELECT DISTINCT device_id FROM quarters ORDER BY device_id"
    ).fetchall():
        _check_device(connection, findings, device_id)


def _check_device(connection: Connection, findings: Findings, device_id: int) -> None:
    for device, start_ms, method, data in connection.execute(
        f"""
        SELECT
            coalesce(sites.name || '/' || devices.name, 'device ' || device_id),
            start_ms,
            method,
            {bytes_of(connection, "data")}
        FROM quarters
        LEFT JOIN devices ON devices.id = device_id
        LEFT JOIN sites ON sites.id = devices.site_id
        WHERE device_id = ?
        ORDER BY start_ms
        """,  # noqa: S608 -- the name of a column
        (device_id,),
    ):
        findings.checked[_CHECKED if method == METHOD else _OLDER] += 1
        fault = _fault(start_ms, data) if method == METHOD else None
        if fault:
            findings.damage.append(
                f"the quarter hours of {device}, {_month(start_ms)} (UTC), which can be computed "
                f"anew, cannot be read: {fault}"
            )


def _month(start_ms: int) -> str:
    try:
        return f"{utc_date(day_of(start_ms)):%Y-%m}"
    except OverflowError:
        return f"{start_ms} ms"


def _fault(start_ms: int, data: bytes) -> str | None:
    try:
        decode_month(data, month_of(start_ms))
    except (BlockDamagedError, ValueError, OverflowError) as error:  # the last two: no such month
        return str(error)
    return None

"""The rows of the table ``quarters``: months of a device, and the ids they are known by."""

import logging
from collections.abc import Mapping, Sequence

from joulebook.core.daily.quarters import METHOD, Quarters
from joulebook.core.spans import Span
from joulebook.storage.blocks.parts import BlockDamagedError
from joulebook.storage.connections import Connection
from joulebook.storage.quarter_months import decode_month, encode_month

_log = logging.getLogger(__name__)


def series_ids(
    connection: Connection, site_id: int, device: str, quantities: Sequence[str] | None
) -> dict[str, tuple[int, int]]:
    """Return (device, series) ids by quantity, of numbers and flags."""
    rows = connection.execute(
        """
        SELECT quantity, device_id, series.id
        FROM devices
        JOIN series ON series.device_id = devices.id
        WHERE site_id = ? AND name = ? AND kind != 'text'
        ORDER BY slot
        """,
        (site_id, device),
    )
    return {
        quantity: (device_id, series_id)
        for quantity, device_id, series_id in rows
        if quantities is None or quantity in quantities
    }


def store_month(
    connection: Connection, device_id: int, month: Span, series: Mapping[int, Quarters]
) -> None:
    """Write a month's row over what was there."""
    connection.execute(
        """
        INSERT INTO quarters (device_id, start_ms, method, data)
        VALUES (?, ?, ?, ?)
        ON CONFLICT (device_id, start_ms) DO UPDATE
        SET method = excluded.method, data = excluded.data
        """,
        (device_id, month.start_ms, METHOD, encode_month(month, series)),
    )


def is_outdated(connection: Connection, device_id: int, month: Span) -> bool:
    """Whether another version of the method made what is stored of a month."""
    row = connection.execute(
        "SELECT 1 FROM quarters WHERE device_id = ? AND start_ms = ? AND method != ?",
        (device_id, month.start_ms, METHOD),
    ).fetchone()
    return row is not None


def stored_month(
    connection: Connection, device_id: int, month: Span, ids: Mapping[int, str] | None
) -> dict[int, Quarters] | None:
    """Return what is stored of a month, or ``None`` where it is there but of no use."""
    row = connection.execute(
        "SELECT data FROM quarters WHERE device_id = ? AND start_ms = ?",
        (device_id, month.start_ms),
    ).fetchone()
    if row is None:
        return {}
    try:
        # Whatever method made them: those of an earlier one are dirty, or their readings are gone.
        return decode_month(row[0], month, ids)
    except BlockDamagedError as error:
        # They can be built again, and are: from the readings, whenever they are asked for.
        _log.warning("quarter hours of device %d are damaged: %s", device_id, error)
        return None

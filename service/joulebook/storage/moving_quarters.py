"""The quarter hours of a device and month, in either of two databases.

They hold the numbers of series, which differ; what is packed of each series goes as it is.
"""

import hashlib
from dataclasses import dataclass
from typing import Any

from joulebook.storage.blocks.parts import BlockDamagedError
from joulebook.storage.moving_sides import Side
from joulebook.storage.moving_units import Told
from joulebook.storage.moving_weeks import damaged
from joulebook.storage.periods import DAY_MS, utc_date
from joulebook.storage.quarter_months import join_parts, month_parts


@dataclass(frozen=True, slots=True)
class Month:
    """The quarter hours of a device in a month of UTC, as they are packed."""

    device: str
    start_ms: int

    @property
    def name(self) -> str:
        """The device and the month's first day."""
        return f"quarter hours of {self.device}, month from {utc_date(self.start_ms // DAY_MS)}"

    def read(self, side: Side) -> tuple[str, dict[str, bytes]] | None:
        """Return the method, and what is packed of each quantity.

        Raises
        ------
        DataRefusedError
            If they are damaged.
        """
        row = side.connection.execute(
            "SELECT method, data FROM quarters WHERE device_id = ? AND start_ms = ?",
            (side.devices.get(self.device), self.start_ms),
        ).fetchone()
        if row is None:
            return None
        names = {one.id: one.quantity for one in side.series_of(self.device)}
        try:
            parts = month_parts(row[1], self.start_ms)
            return row[0], {names[number]: bytes(part) for number, part in parts.items()}
        except (BlockDamagedError, KeyError) as error:
            raise damaged(side, self.name, error) from error

    def told(self, content: Any) -> Told:
        """Return the method and a digest by quantity."""
        if content is None:
            return {}
        method, parts = content
        return {f"{self.name}, method": method} | {
            f"{self.name}, {name}": hashlib.sha256(part).digest() for name, part in parts.items()
        }

    def write(self, side: Side, content: Any) -> None:
        """Put them in the place of those that are there."""
        key = (side.devices[self.device], self.start_ms)
        side.connection.execute("DELETE FROM quarters WHERE device_id = ? AND start_ms = ?", key)
        if content is not None:
            method, parts = content
            data = join_parts(
                self.start_ms,
                {side.series[self.device, name].id: part for name, part in parts.items()},
            )
            side.connection.execute(
                "INSERT INTO quarters (device_id, start_ms, method, data) VALUES (?, ?, ?, ?)",
                (*key, method, data),
            )


def months_of(side: Side, device: str) -> list[int]:
    """Return when the months begin of which a device has quarter hours. [ms, UTC epoch]"""
    rows = side.connection.execute(
        "SELECT start_ms FROM quarters WHERE device_id = ? ORDER BY start_ms",
        (side.devices.get(device),),
    )
    return [start_ms for (start_ms,) in rows]

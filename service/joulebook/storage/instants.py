"""When a site has readings, found without reading them all."""

import numpy as np
from numpy.typing import NDArray

from joulebook.storage.blocks.block import decode_block
from joulebook.storage.blocks.parts import BlockDamagedError
from joulebook.storage.connections import Connection
from joulebook.storage.marking import REACH_MS
from joulebook.storage.periods import WEEK_MS


class NextReading:
    """Finds a reading at or after an instant, for :func:`~joulebook.storage.marking.reached_days`.

    It is the first such reading of the site, or any that is no later than twice ``REACH_MS``:
    so close, all say the same of the days. Asked in order of time it opens each block once, and
    of several devices only those that are needed.
    """

    def __init__(self, connection: Connection, site_id: int) -> None:
        self._connection = connection
        self._site_id = site_id
        self._devices = connection.execute(
            "SELECT id FROM devices WHERE site_id = ?", (site_id,)
        ).fetchall()
        self._opened: dict[int, tuple[int, NDArray[np.int64]]] = {}

    def __call__(self, at_ms: int) -> int | None:
        """Return the reading's instant, ``None`` where there is none. [ms, UTC epoch]"""
        nearest = self._hot(at_ms)
        for (device_id,) in self._devices:
            if nearest is not None and nearest <= at_ms + 2 * REACH_MS:
                break
            sealed = self._sealed(device_id, at_ms)
            if sealed is not None and (nearest is None or sealed < nearest):
                nearest = sealed
        return nearest

    def _hot(self, at_ms: int) -> int | None:
        # One seek a device.
        (found,) = self._connection.execute(
            """
            SELECT min((
                SELECT min(at_ms)
                FROM readings
                WHERE device_id = devices.id AND at_ms >= ?
            ))
            FROM devices
            WHERE site_id = ?
            """,
            (at_ms, self._site_id),
        ).fetchone()
        return None if found is None else int(found)

    def _sealed(self, device_id: int, at_ms: int) -> int | None:
        row = self._connection.execute(
            """
            SELECT id, first_ms
            FROM blocks
            WHERE device_id = ? AND start_ms > ? AND last_ms >= ?
            ORDER BY start_ms
            LIMIT 1
            """,
            (device_id, at_ms - WEEK_MS, at_ms),
        ).fetchone()
        if row is None:
            return None
        block_id, first_ms = row
        if first_ms >= at_ms:
            return int(first_ms)
        instants = self._instants(device_id, block_id)
        # What a damaged block held cannot be told: its days are taken to have had readings.
        return int(instants[np.searchsorted(instants, at_ms)]) if len(instants) else at_ms

    def _instants(self, device_id: int, block_id: int) -> NDArray[np.int64]:
        opened = self._opened.get(device_id)
        if opened is not None and opened[0] == block_id:
            return opened[1]
        (data,) = self._connection.execute(
            "SELECT data FROM blocks WHERE id = ?", (block_id,)
        ).fetchone()
        try:
            instants = decode_block(data, ()).at_ms
        except BlockDamagedError:
            instants = np.empty(0, dtype=np.int64)
        self._opened[device_id] = (block_id, instants)
        return instants

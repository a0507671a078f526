"""The readings of a device and week, in either of two databases.

Blocks hold the numbers of series, which differ: they are decoded and encoded again. The bytes of a
block so become others; its readings, and their digests, do not.
"""

import hashlib
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from joulebook.core.quantities import ValueKind
from joulebook.core.spans import Span
from joulebook.errors import DataRefusedError
from joulebook.storage.blocks.block import DeviceBlock, decode_block, encode_block
from joulebook.storage.blocks.columns import Column
from joulebook.storage.blocks.digest import series_digest
from joulebook.storage.blocks.parts import BlockDamagedError
from joulebook.storage.blockstore import blocks_within, put_block
from joulebook.storage.hot_statements import insert_fresh
from joulebook.storage.hotrows import delete_hot, read_hot
from joulebook.storage.moving_sides import Side
from joulebook.storage.moving_units import Told
from joulebook.storage.overlays import in_line
from joulebook.storage.periods import DAY_MS, WEEK_MS, utc_date, week_period
from joulebook.storage.records import Series

#: Readings of a device by quantity: its series have other numbers elsewhere.
Named = dict[str, Column]


@dataclass(frozen=True, slots=True)
class WeekContent:
    """What a device has in a week: blocks with their periods, and hot rows."""

    blocks: tuple[tuple[Span, NDArray[np.int64], Named], ...]
    hot: tuple[NDArray[np.int64], Named]
    kinds: dict[str, ValueKind]


@dataclass(frozen=True, slots=True)
class Week:
    """The readings of a device in an ISO week of UTC."""

    device: str
    period: Span

    @property
    def name(self) -> str:
        """The device, and the day with which the week begins."""
        return f"readings of {self.device}, week from {utc_date(self.period.start_ms // DAY_MS)}"

    def read(self, side: Side) -> WeekContent:
        """Return blocks and hot rows.

        Raises
        ------
        DataRefusedError
            If a block is damaged, or holds what is no series of the device.
        """
        series = side.series_of(self.device)
        device_id = side.devices.get(self.device)
        kinds = {one.quantity: one.kind for one in series}
        none: tuple[NDArray[np.int64], Named] = (np.empty(0, dtype=np.int64), {})
        if device_id is None or not series:
            return WeekContent((), none, kinds)
        names = {one.id: one.quantity for one in series}
        blocks = []
        for block in blocks_within(side.connection, device_id, self.period):
            try:
                decoded = decode_block(block.data)
                named = _named(decoded, names)
            except (BlockDamagedError, KeyError) as error:
                raise damaged(side, f"{self.name}, block {block.id}", error) from error
            blocks.append((block.period, decoded.at_ms, named))
        hot = read_hot(side.connection, device_id, self.period, series)
        return WeekContent(tuple(blocks), (hot.at_ms, _named(hot, names)), kinds)

    def count(self, told: Told) -> int:
        """Return how many readings were told, sealed and hot."""
        return sum(digest[0] for digest in told.values() if isinstance(digest, tuple))

    def told(self, content: Any) -> Told:
        """Return how many readings of each series are sealed and hot, and their digests.

        However many blocks the week is sealed in: they may have been joined meanwhile.
        """
        order = {name: place for place, name in enumerate(content.kinds)}
        parts = [
            DeviceBlock(at_ms, {order[name]: column for name, column in named.items()})
            for _, at_ms, named in content.blocks
        ]
        sealed = in_line(parts, {order[name]: kind for name, kind in content.kinds.items()})
        found: dict[tuple[str, str], tuple[int, bytes]] = {}
        for name, place in order.items():
            found["sealed", name] = readings_digest(sealed.at_ms, sealed.columns[place])
        for name, column in content.hot[1].items():
            found["hot", name] = readings_digest(content.hot[0], column)
        return {
            f"{self.name}, {name} ({where})": digest
            for (where, name), digest in found.items()
            if digest[0]
        }

    def write(self, side: Side, content: Any) -> None:
        """Put blocks and hot rows in the place of those that are there."""
        device_id, series = side.devices[self.device], side.series_of(self.device)
        side.connection.execute(
            "DELETE FROM blocks WHERE device_id = ? AND start_ms >= ? AND start_ms < ?",
            (device_id, self.period.start_ms, self.period.end_ms),
        )
        delete_hot(side.connection, device_id, self.period)
        numbers = {one.quantity: one.id for one in series}
        for period, at_ms, named in content.blocks:
            block = DeviceBlock(at_ms, {numbers[name]: named[name] for name in named})
            put_block(side.connection, device_id, period, block, encode_block(block))
        at_ms, named = content.hot
        if len(at_ms):
            held = tuple(one for one in series if one.quantity in named)
            columns = [_values(named[one.quantity], one) for one in held]
            rows = list(zip(at_ms.tolist(), *columns, strict=True))
            insert_fresh(side.connection, [(device_id, held, rows)])


def weeks_of(side: Side, device: str) -> Iterator[Span]:
    """Yield the weeks in which a device has readings, in no order; some come twice."""
    device_id = side.devices.get(device)
    blocks = side.connection.execute(
        "SELECT start_ms FROM blocks WHERE device_id = ? ORDER BY start_ms", (device_id,)
    ).fetchall()
    yield from (week_period(start_ms) for (start_ms,) in blocks)
    after_ms = -(2**52)
    while True:
        (at_ms,) = side.connection.execute(
            "SELECT min(at_ms) FROM readings WHERE device_id = ? AND at_ms >= ?",
            (device_id, after_ms),
        ).fetchone()
        if at_ms is None:
            return
        yield week_period(at_ms)
        after_ms = week_period(at_ms).start_ms + WEEK_MS


def readings_digest(at_ms: NDArray[np.int64], column: Column) -> tuple[int, bytes]:
    """Return how many readings a series has, and their digest; that of texts is of their UTF-8."""
    if column.kind != "text":
        return series_digest(at_ms, column.values)
    there = column.present()
    hashed = hashlib.sha256(np.ascontiguousarray(at_ms[there]).data)
    for text in column.values[there].tolist():
        data = text.encode("utf-8", "surrogatepass")
        hashed.update(len(data).to_bytes(8, "big") + data)
    return int(there.sum()), hashed.digest()


def _named(block: DeviceBlock, names: dict[int, str]) -> Named:
    return {names[number]: column for number, column in block.columns.items()}


def _values(column: Column, series: Series) -> list[Any]:
    values: list[Any] = column.values.tolist()
    if series.kind == "text":
        return values
    kind = bool if series.kind == "flag" else float
    return [None if value != value else kind(value) for value in values]


def damaged(side: Side, where: str, error: Exception) -> DataRefusedError:
    """Return the error that says what is damaged and in the way."""
    return DataRefusedError(
        f"this cannot be moved, it is damaged: {where}: {error}",
        where=f"site {side.name}",
        expected="bytes as they were written",
        next_step="see `joulebook verify`; restore a backup, or recompute what is computed",
    )

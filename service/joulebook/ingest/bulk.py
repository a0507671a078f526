"""Readings that come as columns, from a file or the demo, under the same rules as messages."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from typing import Any, Self

import numpy as np
from numpy.typing import NDArray

from joulebook.core.cells import header_for, present
from joulebook.core.quantities import ValueKind
from joulebook.errors import UsageError
from joulebook.ingest.arrays import Kept, refused_times, refused_values
from joulebook.ingest.checks import EARLIEST_MS, MOST_AHEAD_MS, Expected, Objection
from joulebook.ingest.expectations import Expectations
from joulebook.ingest.topics import NAME, NAME_RULE, PREFIX
from joulebook.ingest.wording import shown
from joulebook.storage.database import Database, transaction
from joulebook.storage.quarantine import put_aside
from joulebook.storage.records import Column, DeviceRows, Refused, Site, Value, Written
from joulebook.storage.series import (
    SeriesMismatch,
    SeriesRegister,
    TooManyDevices,
    TooManySeries,
    series_of,
)
from joulebook.storage.writing import write_rows


@dataclass(frozen=True, slots=True)
class DeviceColumns:
    """Readings of one device as arrays of one length.

    Attributes
    ----------
    at_ms : int array, shape (n,)
        Instants, in any order. [ms, UTC epoch]
    values : dict of float or object arrays, shape (n,)
        By quantity: numbers in the canonical unit and flags as 1 and 0, NaN where missing; texts
        as str, None where missing.
    units : dict
        The units of quantities that the house does not know, "" where one is left out.
    kinds : dict
        What the quantities are; numbers where one is left out.
    """

    device: str
    at_ms: NDArray[np.int64]
    values: dict[str, NDArray[Any]]
    units: dict[str, str] = field(default_factory=dict)
    kinds: dict[str, ValueKind] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, kw_only=True)
class ImportCounts:
    """What an import has done so far, in readings; ``rows`` are rows of a device or lines."""

    rows: int = 0
    new: int = 0
    repeated: int = 0
    replaced: int = 0
    quarantined: int = 0


class BulkImport:
    """Writes columns of readings of one site, one commit for each call of :meth:`add`.

    Use it as a context manager, or call :meth:`close`; in one thread only.

    Parameters
    ----------
    source : str
        What the quarantine names as the sender: the file's name, for instance.
    clock_ms : callable
        The time of day, against which readings may be too far ahead. [ms, UTC epoch]
    """

    def __init__(
        self, database: Database, site: Site, *, source: str, clock_ms: Callable[[], int]
    ) -> None:
        self.counts = ImportCounts()
        self._site = site
        self._zones = {site.id: site.zone}
        self._source = source
        self._clock_ms = clock_ms
        self._register = SeriesRegister()
        self._expectations = Expectations()
        self._connection = database.connect()
        for series in series_of(self._connection, site.id):
            self._expectations.pin(
                site.id, series.device, series.quantity, series.unit, series.kind
            )

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def close(self) -> None:
        """Close the connection."""
        self._connection.close()

    def expected(
        self, device: str, quantity: str, unit: str, kind: ValueKind = "number"
    ) -> Expected | Objection:
        """Return what a series must be, or why it cannot be of this unit and kind."""
        if not NAME.fullmatch(device):
            return Objection("name-illegal", f"is of device {shown(device)}; expected {NAME_RULE}")
        return self._expectations.of(self._site.id, device, quantity, unit, kind)

    def add(self, columns: DeviceColumns) -> Written:
        """Store readings; on disk by the time it returns. What cannot be stored is set aside.

        Raises
        ------
        UsageError
            If a name or a unit is not one that the series can have. Nothing was stored.
        StorageUnavailableError
            If the database cannot be written now. Nothing was stored.
        """
        expected = {name: self._accepted(columns, name) for name in columns.values}
        good, kept = _checked(columns, expected, self._clock_ms())
        rows = _rows(good)
        names = tuple(
            Column(name, expected[name].unit, expected[name].kind) for name in good.values
        )
        written = Written()
        try:
            with transaction(self._connection, None if kept else [self._site.id]):
                if rows:
                    series = self._register.resolve(
                        self._connection, self._site.id, columns.device, names
                    )
                    part = DeviceRows(self._site.id, series[0].device_id, series, rows)
                    written = write_rows(self._connection, self._zones, [part])
                put_aside(self._connection, [self._refused(columns.device, one) for one in kept])
        except (SeriesMismatch, TooManySeries, TooManyDevices) as refusal:
            self._register.forget()
            raise self._wrong(str(refusal)) from refusal
        except BaseException:
            self._register.forget()
            raise
        self._count(len(columns.at_ms), written, sum(one.readings for one in kept))
        return written

    def put_aside(self, refused: Sequence[Refused], *, readings: int) -> None:
        """Keep what could not even be read as columns; one commit."""
        put_aside(self._connection, refused)
        self._count(0, Written(), readings)

    def _count(self, rows: int, written: Written, quarantined: int) -> None:
        before = self.counts
        self.counts = ImportCounts(
            rows=before.rows + rows,
            new=before.new + written.new,
            repeated=before.repeated + written.repeated,
            replaced=before.replaced + written.replaced,
            quarantined=before.quarantined + quarantined,
        )

    def _accepted(self, columns: DeviceColumns, name: str) -> Expected:
        known = self._expectations.unit_of(self._site.id, columns.device, name) or ""
        unit = columns.units.get(name, known)
        kind = columns.kinds.get(name, "number")
        expected = self.expected(columns.device, name, unit, kind)
        if isinstance(expected, Objection):
            raise self._wrong(f"{columns.device}.{name} {expected.detail}")
        if unit != expected.unit:
            raise self._wrong(
                f"{columns.device}.{name} is in {shown(unit)}; expected {expected.unit}"
            )
        return expected

    def _wrong(self, what: str) -> UsageError:
        return UsageError(
            what,
            where=self._source,
            expected="names and units that the site's series can have",
            next_step="correct the name or the unit; nothing of this part was stored",
        )

    def _refused(self, device: str, kept: Kept) -> Refused:
        return Refused(
            site_id=self._site.id,
            source=self._source,
            topic=f"{PREFIX}{self._site.name}/{device}",
            payload=kept.payload,
            reason=kept.reason,
            detail=kept.detail,
            received_ms=self._clock_ms(),
        )


def _checked(
    columns: DeviceColumns, expected: dict[str, Expected], now_ms: int
) -> tuple[DeviceColumns, list[Kept]]:
    """Return the readings that can be stored, with the others missing, and those others."""
    device, at_ms = columns.device, columns.at_ms
    headers = {
        header_for(device, name, one.unit, one.kind): (one.kind, columns.values[name])
        for name, one in expected.items()
    }
    kept = list(refused_times(device, at_ms, headers, now_ms))
    dated = (at_ms >= EARLIEST_MS) & (at_ms <= now_ms + MOST_AHEAD_MS)
    at_ms = at_ms[dated]
    good: dict[str, NDArray[Any]] = {}
    for name, one in expected.items():
        values = columns.values[name][dated]
        if one.kind == "number":
            kept += refused_values(f"{device}.{name}", one, at_ms, values)
            values = np.where((values >= one.low) & (values <= one.high), values, np.nan)
        good[name] = values
    return replace(columns, at_ms=at_ms, values=good), kept


def _rows(columns: DeviceColumns) -> list[tuple[Value, ...]]:
    """Return rows in order of time, ``None`` where missing, without those that hold nothing."""
    at_ms = columns.at_ms
    order = slice(None) if np.all(at_ms[1:] >= at_ms[:-1]) else np.argsort(at_ms, kind="stable")
    lists: list[list[Value]] = []
    empty = np.ones(len(at_ms), dtype=bool)
    for name, values in columns.values.items():
        missing = ~present(values)
        empty &= missing
        cells: list[Value] = values[order].tolist()
        if columns.kinds.get(name) == "flag":
            cells = [None if cell != cell else bool(cell) for cell in cells]
        elif missing.any():
            cells = [None if cell != cell else cell for cell in cells]
        lists.append(cells)
    rows = list(zip(at_ms[order].tolist(), *lists, strict=True))
    if empty.any():
        rows = [row for row, leave in zip(rows, empty[order].tolist(), strict=True) if not leave]
    return rows

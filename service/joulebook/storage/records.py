"""What storage takes in and hands out: plain frozen records, no SQL."""

from dataclasses import dataclass
from datetime import UTC, date, datetime
from typing import Literal
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import NDArray

from joulebook.core.quantities import ValueKind
from joulebook.core.spans import Span

#: What a reading can be. Numbers are floats; ``None`` is missing.
Value = float | str | bool | None

#: What a token is for: a bridge writes to its site, a program reads, a watcher sees /metrics.
Scope = Literal["write", "read", "metrics"]

#: A viewer sees a site; an owner changes what is said of it too.
Role = Literal["viewer", "owner"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Site:
    """A site and the facts that its owner entered; ``None`` where he entered nothing."""

    id: int
    name: str
    timezone: str  # IANA name
    battery_ah: float | None = None  # rated charge. [Ah]
    battery_cells: int | None = None  # in series
    installed: date | None = None
    warranty_years: float | None = None
    warranty_floor_ratio: float | None = None
    warranty_throughput_wh: float | None = None
    inverter_w: float | None = None  # what it gives for long
    inverter_peak_w: float | None = None  # and for some seconds
    charge_low_c: float | None = None  # coldest cell at which the terms allow charging
    charge_high_c: float | None = None  # and the hottest
    discharge_low_c: float | None = None  # the same for discharging
    discharge_high_c: float | None = None
    charge_max_v: float | None = None  # the most that the terms let the pack be charged to
    battery_maker: str | None = None
    battery_model: str | None = None
    battery_serial: str | None = None
    inverter_maker: str | None = None
    inverter_model: str | None = None
    inverter_serial: str | None = None
    installer: str | None = None  # who put it up
    commissioned: date | None = None  # when it was handed over
    locale: str | None = None  # how its numbers and dates are written, as "en-GB"
    organisation_id: int | None = None  # that looks after it

    @property
    def zone(self) -> ZoneInfo:
        """The site's time zone."""
        return ZoneInfo(self.timezone)


@dataclass(frozen=True, slots=True, kw_only=True)
class Grant:
    """What a token lets its bearer do, under one name: write to one site, read, or watch.

    ``site_id`` is 0 and ``site`` empty for a token that concerns several sites; none of those
    writes. ``organisation_id`` is that of one that reads all sites of an organisation; without
    it, such a token concerns every site.
    """

    token_id: int
    name: str
    site_id: int
    site: str
    scope: Scope = "write"
    organisation_id: int | None = None


@dataclass(frozen=True, slots=True)
class Column:
    """A quantity as a sender describes it, before storage has given it a place."""

    quantity: str
    unit: str
    kind: ValueKind = "number"


@dataclass(frozen=True, slots=True)
class Series:
    """A stored series: site, device and quantity, and the column that holds its readings."""

    id: int
    site_id: int
    device_id: int
    device: str
    quantity: str
    unit: str
    kind: ValueKind
    slot: int


@dataclass(frozen=True, slots=True)
class DeviceRows:
    """Readings of one device to be written: one row an instant, one place a series.

    ``rows`` holds ``(at_ms, value, value, …)`` in the order of ``series``; ``None`` is missing.
    """

    site_id: int
    device_id: int
    series: tuple[Series, ...]
    rows: list[tuple[Value, ...]]


@dataclass(frozen=True, slots=True)
class Written:
    """How many readings (not rows) were new, the same as before, or replaced another value."""

    new: int = 0
    repeated: int = 0
    replaced: int = 0

    def __add__(self, other: "Written") -> "Written":
        return Written(
            self.new + other.new,
            self.repeated + other.repeated,
            self.replaced + other.replaced,
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Refused:
    """A message, or a part of one, that could not be stored, with the reason for a person."""

    site_id: int | None  # None: nobody could tell
    source: str  # the bridge's name, "broker", or the file's name
    topic: str
    payload: bytes
    reason: str  # a short code of ours, such as "time-too-old"
    detail: str  # a sentence: what, where, what was expected
    received_ms: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Quarantined:
    """A refused message as the quarantine holds it."""

    id: int
    refused: Refused
    times_seen: int
    last_received_ms: int


@dataclass(frozen=True, slots=True, kw_only=True)
class DamagedBlock:
    """A sealed block whose bytes are not those that were written, and which readings it held."""

    block_id: int
    device: str
    span: Span  # a UTC day or ISO week
    rows: int
    why: str

    def __str__(self) -> str:
        first, last = (
            datetime.fromtimestamp(at_ms / 1000, tz=UTC).date()
            for at_ms in (self.span.start_ms, self.span.end_ms - 1)
        )
        days = f"{first}" if first == last else f"{first} to {last}"
        return f"block {self.block_id} of {self.device}, {days} (UTC), is damaged: {self.why}"


@dataclass(frozen=True, slots=True, kw_only=True)
class SealCounts:
    """What sealing did.

    Attributes
    ----------
    blocks, rows : int
        Blocks that hot rows were written into, and all rows of those blocks.
    weeks : int
        Blocks that were made of the blocks of a week.
    postponed : int
        Periods that were written to meanwhile; the next run seals them.
    too_many_rows : int
        Days with more rows than a block can have; they stay hot.
    damaged : tuple of DamagedBlock
        Blocks that could not be opened to take in late readings, or to be joined with the
        others of their week. They stay as they are, and so do the readings.
    """

    blocks: int = 0
    rows: int = 0
    weeks: int = 0
    postponed: int = 0
    too_many_rows: int = 0
    damaged: tuple[DamagedBlock, ...] = ()

    def __add__(self, other: "SealCounts") -> "SealCounts":
        return SealCounts(
            blocks=self.blocks + other.blocks,
            rows=self.rows + other.rows,
            weeks=self.weeks + other.weeks,
            postponed=self.postponed + other.postponed,
            too_many_rows=self.too_many_rows + other.too_many_rows,
            damaged=self.damaged + other.damaged,
        )


@dataclass(frozen=True, slots=True)
class DeviceReadings:
    """Readings of one device as arrays.

    ``at_ms`` is int64 (n,); each quantity float64 (n,), NaN where it is missing. What is in a
    damaged block is not among them; ``damaged`` names such blocks.
    """

    at_ms: NDArray[np.int64]
    values: dict[str, NDArray[np.float64]]
    damaged: tuple[DamagedBlock, ...] = ()


@dataclass(frozen=True, slots=True)
class Latest:
    """The newest reading of a series."""

    series: Series
    at_ms: int
    value: float | str | bool


@dataclass(frozen=True, slots=True)
class DirtyDay:
    """A local day whose result is behind its readings; ``mark`` tells one marking from the next."""

    site_id: int
    day: date
    mark: int

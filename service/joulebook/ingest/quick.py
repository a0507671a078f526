"""The packs that bridges send most, read quickly: JSON, numbers only, one time for all.

Anything else, and anything doubtful, is left to :mod:`joulebook.ingest.senml`, which says what is
wrong. A pack that is read here gives the same readings there; a property test holds them together.
"""

from dataclasses import dataclass

import msgspec

from joulebook.ingest.layouts import Layout, Row
from joulebook.ingest.senml import MOST_TIME_S, VERSIONS, instant_ms
from joulebook.ingest.senml_fields import MAX_PACK_BYTES
from joulebook.ingest.units import Conversion

_UNSET = msgspec.UNSET

#: A text that may be left out.
Sent = str | msgspec.UnsetType


class QuickRecord(msgspec.Struct, forbid_unknown_fields=True, gc=False):
    """The fields of a plain record. Base fields count in the first record only."""

    n: str
    v: float
    u: Sent = _UNSET
    t: float | msgspec.UnsetType = _UNSET
    bn: Sent = _UNSET
    bt: float | msgspec.UnsetType = _UNSET
    bu: Sent = _UNSET
    bver: int | msgspec.UnsetType = _UNSET


# What is remembered of packs is bounded; whatever is larger is read slowly, each time anew.
_USUAL_NAMES, _USUAL_LENGTH = 128, 32

_DECODER = msgspec.json.Decoder(list[QuickRecord])


@dataclass(frozen=True, slots=True)
class Shape:
    """What tells packs apart besides their times and values."""

    names: tuple[str, ...]
    units: tuple[Sent, ...]
    base_name: Sent
    base_unit: Sent

    def names_and_units(self) -> list[tuple[str, str]]:
        """Return the resolved name and unit of each record."""
        bn = "" if self.base_name is _UNSET else self.base_name
        bu = "" if self.base_unit is _UNSET else self.base_unit
        return [
            (f"{bn}{name}", bu if unit is _UNSET else unit or bu)
            for name, unit in zip(self.names, self.units, strict=True)
        ]

    def is_usual(self) -> bool:
        """Return whether the pack is one to remember: few names, as a device has, and short."""
        base = 0 if self.base_name is _UNSET else len(self.base_name)
        unit = 0 if self.base_unit is _UNSET else len(self.base_unit)
        texts = [*self.names, *(each for each in self.units if each is not _UNSET)]
        return (
            len(self.names) <= _USUAL_NAMES
            and base + unit + sum(map(len, texts)) <= _USUAL_NAMES * _USUAL_LENGTH
        )

    def quotes(self) -> int:
        """Return how many quotation marks such a pack has, ``bt``, ``bver`` and ``t`` aside."""
        units = len(self.units) - self.units.count(_UNSET)
        bases = (self.base_name is not _UNSET) + (self.base_unit is not _UNSET)
        return 6 * len(self.names) + 4 * units + 4 * bases


class QuickPack:
    """A pack of plain records, not yet known to be of one instant."""

    __slots__ = ("_payload", "_records", "names", "units")

    def __init__(self, payload: bytes, records: list[QuickRecord]) -> None:
        self._payload = payload
        self._records = records
        self.names = [record.n for record in records]
        self.units = [record.u for record in records]

    def shape(self) -> Shape:
        """Return the pack's shape."""
        first = self._records[0]
        return Shape(tuple(self.names), tuple(self.units), first.bn, first.bu)

    def fits(self, plan: "Plan") -> bool:
        """Return whether the pack has the shape of a plan."""
        # Comparing with the last pack's shape costs less than finding it by its hash: the texts
        # are new objects, whose hashes would all have to be computed.
        first = self._records[0]
        return (
            self.names == plan.names
            and self.units == plan.units
            and first.bn == plan.base_name
            and first.bu == plan.base_unit
        )

    def at_ms(self, plan: "Plan", received_ms: int) -> int | None:
        """Return the instant of all records, ``None`` where they have not one, or are not plain."""
        records = self._records
        first = records[0]
        quotes = plan.quotes
        time_s = 0.0
        if first.bt is not _UNSET:
            quotes += 2
            time_s = first.bt
        if first.bver is not _UNSET:
            quotes += 2
            if first.bver not in VERSIONS:
                return None
        if first.t is not _UNSET:
            quotes += 2 * len(records)
            time_s += first.t
            if any(record.t != first.t for record in records):
                return None
        # A label twice, a base field further down or an escaped quote leaves quotation marks
        # unaccounted for, and counting them is far cheaper than looking at every field.
        if self._payload.count(b'"') != quotes or not abs(time_s) < MOST_TIME_S:
            return None
        return instant_ms(time_s, received_ms)

    def values(self) -> list[float]:
        """Return the numbers as they were sent."""
        return [record.v for record in self._records]


class Plan:
    """What to do with packs of one shape: where they belong, and what their values must be."""

    __slots__ = ("_conversions", "_limits", "base_name", "base_unit", "layout", "names", "quotes",
                 "units")  # fmt: skip

    def __init__(
        self,
        shape: Shape,
        layout: Layout,
        conversions: list[tuple[int, Conversion]],
        limits: list[tuple[int, float, float]],
    ) -> None:
        self.names = list(shape.names)
        self.units = list(shape.units)
        self.base_name = shape.base_name
        self.base_unit = shape.base_unit
        self.quotes = shape.quotes()
        self.layout = layout
        self._conversions = conversions
        self._limits = limits

    def row(self, at_ms: int, values: list[float]) -> Row | None:
        """Return the row to store, or ``None`` where a value is out of its range."""
        for place, conversion in self._conversions:
            values[place] = conversion.apply(values[place])
        for place, low, high in self._limits:
            if not low <= values[place] <= high:
                return None
        return (at_ms, *values)


def read_quickly(payload: bytes) -> QuickPack | None:
    """Return a pack of plain records, or ``None`` where it has to be read slowly."""
    if len(payload) > MAX_PACK_BYTES:
        return None
    try:
        records = _DECODER.decode(payload)
    except (msgspec.DecodeError, UnicodeDecodeError):
        return None
    return QuickPack(payload, records) if records else None

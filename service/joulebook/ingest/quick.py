"""The packs that bridges send most, read quickly: JSON, numbers only, one time for all.

Anything else, and anything doubtful, is left to :mod:`joulebook.ingest.senml`, which says what is
wrong. A pack that is read here gives the same readings there; a property test holds them together.
"""

from dataclasses import dataclass

import msgspec

from joulebook.ingest.layouts import Layout, Row
from joulebook.ingest.senml import instant_ms
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


_DECODER = msgspec.json.Decoder(list[QuickRecord])

#: What tells packs apart besides times and values: names, units, base name and base unit.
Shape = tuple[tuple[str, ...], tuple[Sent, ...], Sent, Sent]


@dataclass(slots=True)  # frozen would make it six times as slow to build
class QuickPack:
    """A pack of one instant as it was sent."""

    shape: Shape
    at_ms: int
    values: list[float]


@dataclass(frozen=True, slots=True)
class Plan:
    """What to do with the values of a shape: where they belong, and what they must be."""

    layout: Layout
    conversions: list[tuple[int, Conversion]]
    limits: list[tuple[int, float, float]]

    def row(self, at_ms: int, values: list[float]) -> Row | None:
        """Return the row to store, or ``None`` where a value is out of its range."""
        for place, conversion in self.conversions:
            values[place] = conversion.apply(values[place])
        for place, low, high in self.limits:
            if not low <= values[place] <= high:
                return None
        return (at_ms, *values)


def read_quickly(payload: bytes, received_ms: int) -> QuickPack | None:
    """Return a plain pack of one instant, or ``None`` where it has to be read slowly."""
    try:
        records = _DECODER.decode(payload)
    except (msgspec.DecodeError, UnicodeDecodeError):
        return None
    if not records:
        return None
    first = records[0]
    names = tuple([record.n for record in records])
    units = tuple([record.u for record in records])
    timed = first.t is not _UNSET
    if timed and any(record.t != first.t for record in records):
        return None
    # A label twice, a base field further down or an escaped quote leaves quotes unaccounted for,
    # and counting them is far cheaper than looking at every field.
    with_unit = len(units) - units.count(_UNSET)
    quotes = len(names) * (8 if timed else 6) + 4 * with_unit
    time_s = 0.0
    if first.bt is not _UNSET:
        quotes += 2
        time_s = first.bt
    if first.t is not _UNSET:
        time_s += first.t
    quotes += 4 * ((first.bn is not _UNSET) + (first.bu is not _UNSET))
    if payload.count(b'"') != quotes or not abs(time_s) < 1e15:
        return None
    shape = (names, units, first.bn, first.bu)
    return QuickPack(shape, instant_ms(time_s, received_ms), [record.v for record in records])


def names_and_units(shape: Shape) -> list[tuple[str, str]]:
    """Return the resolved name and unit of each record of a shape."""
    names, units, base_name, base_unit = shape
    bn = "" if base_name is _UNSET else base_name
    bu = "" if base_unit is _UNSET else base_unit
    return [
        (f"{bn}{name}", bu if unit is _UNSET else unit or bu)
        for name, unit in zip(names, units, strict=True)
    ]

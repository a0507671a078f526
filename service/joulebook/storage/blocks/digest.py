"""What tells whether a day's readings are still those that were sealed, whatever holds them.

The digest is made of the readings and not of a file's bytes, so a CSV of the same readings has
the same one. A series' digest is the SHA-256 of the instants of its readings (int64, little
endian, ms UTC) followed by their values (float64, little endian); a day's is the SHA-256 of a
line ``quantity unit digest`` (hexadecimal, ended by a line feed) for each of its series, by name.
"""

import hashlib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from joulebook.storage.blocks.block import DeviceBlock
from joulebook.storage.periods import DAY_MS


@dataclass(frozen=True, slots=True)
class NamedSeries:
    """What a series is called in a digest."""

    quantity: str
    unit: str


@dataclass(frozen=True, slots=True)
class DayDigest:
    """A device's day.

    Attributes
    ----------
    day : int
        In days since 1970-01-01, UTC.
    readings : int
        How many it has.
    digest : bytes
        SHA-256.
    series : mapping of NamedSeries to bytes
        The digests that it is made of.
    """

    day: int
    readings: int
    digest: bytes
    series: Mapping[NamedSeries, bytes]


def day_digests(block: DeviceBlock, names: Mapping[int, NamedSeries]) -> Iterator[DayDigest]:
    """Yield a digest for each UTC day of a block that has readings of the series in ``names``.

    Flags and texts are left out: the CSV of an evidence file holds neither.
    """
    columns = sorted(
        (
            (names[series], column.values.astype("<f8", copy=False))
            for series, column in block.columns.items()
            if series in names and column.kind == "number"
        ),
        key=lambda pair: pair[0].quantity,
    )
    at_ms = block.at_ms.astype("<i8", copy=False)
    days, firsts = np.unique(at_ms // DAY_MS, return_index=True)
    for day, first, last in zip(days.tolist(), firsts, [*firsts[1:], at_ms.size], strict=True):
        found = {
            name: series_digest(at_ms[first:last], values[first:last]) for name, values in columns
        }
        there = {name: digest for name, (count, digest) in found.items() if count}
        if there:
            yield DayDigest(
                day=day,
                readings=sum(count for count, _ in found.values()),
                digest=digest_of_series(there),
                series=there,
            )


def series_digest(at_ms: NDArray[np.int64], values: NDArray[np.float64]) -> tuple[int, bytes]:
    """Return how many readings a series has, NaN being none, and their digest."""
    there = ~np.isnan(values)
    if not there.all():
        at_ms, values = at_ms[there], values[there]
    hashed = hashlib.sha256(np.ascontiguousarray(at_ms).data)
    hashed.update(np.ascontiguousarray(values).data)
    return values.size, hashed.digest()


def digest_of_series(series: Mapping[NamedSeries, bytes]) -> bytes:
    """Return the digest of a day that is made of these."""
    lines = sorted(
        f"{name.quantity} {name.unit} {digest.hex()}\n" for name, digest in series.items()
    )
    return hashlib.sha256("".join(lines).encode()).digest()

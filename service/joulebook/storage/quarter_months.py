"""Quarter hours of one device and month (UTC) as bytes. Arrays only, no SQL, no clock.

Of each series the lows are kept as whole steps of a decimal, and the others as what lies between
them: high less low, high less last, mean less low. The mean is kept to a hundredth of the
readings' last decimal place; where readings are no decimals, everything is kept bit for bit.
"""

import struct
import zlib
from collections.abc import Iterable, Mapping
from dataclasses import fields
from datetime import UTC, datetime
from typing import Any

import numpy as np
from numpy.typing import NDArray

from joulebook.core.daily.quarters import QUARTER_MS, Quarters
from joulebook.core.spans import Span
from joulebook.storage.blocks.numbers import decode_numbers, encode_numbers
from joulebook.storage.blocks.pages import pack_integers, unpack_integers
from joulebook.storage.blocks.parts import BlockDamagedError, Bytes, PartReader, Rows, framed

#: The arrays of `Quarters`, and those that something is measured in.
ARRAYS = tuple(field.name for field in fields(Quarters))
_MEASURED = tuple(name for name in ARRAYS if name != "start_ms")

_MAGIC = b"jqtr"
_FORMAT = 1
_HEAD = struct.Struct("<4sHHq")  # magic, format, series, start
_PART = struct.Struct("<qII")  # series, length, CRC-32
_CRC = struct.Struct("<I")
_PLACES = struct.Struct("<B")
_MOST_PLACES, _FLOATS = 6, 255
_MEAN_PLACES = 2  # more than the readings have
_MOST = 2.0**45  # so that differences of means are whole numbers of 64 bits, far from their end


def month_of(at_ms: int) -> Span:
    """Return the span of the month of UTC in which an instant falls."""
    first = datetime.fromtimestamp(at_ms // 1000, tz=UTC).replace(day=1, hour=0, minute=0, second=0)
    later = first.replace(year=first.year + first.month // 12, month=first.month % 12 + 1)
    return Span(round(first.timestamp()) * 1000, round(later.timestamp()) * 1000)


def months(span: Span) -> Iterable[Span]:
    """Yield the months of UTC that a span reaches into, in order."""
    at_ms = span.start_ms
    while at_ms < span.end_ms:
        month = month_of(at_ms)
        yield month
        at_ms = month.end_ms


def no_quarters(span: Span) -> Quarters:
    """Return the quarter hours of a span in which nothing was measured."""
    start_ms = np.arange(span.start_ms, span.end_ms, QUARTER_MS)
    low, mean, high, last = (np.full(start_ms.size, np.nan) for _ in range(4))
    count, covered_ms = (np.zeros(start_ms.size, dtype=np.int64) for _ in range(2))
    return Quarters(
        start_ms=start_ms,
        low=low,
        mean=mean,
        high=high,
        last=last,
        count=count,
        covered_ms=covered_ms,
    )


def encode_month(month: Span, series: Mapping[int, Quarters]) -> bytes:
    """Return the quarter hours of a month, by the ids of their series, as bytes.

    Series without any reading in the month are left out.
    """
    parts = {
        series_id: _encode(quarters)
        for series_id, quarters in series.items()
        if quarters.count.any()
    }
    return join_parts(month.start_ms, parts)


def decode_month(
    data: bytes, month: Span, series_ids: Iterable[int] | None = None
) -> dict[int, Quarters]:
    """Return the quarter hours of a month by series; those not asked for are not looked at.

    Raises
    ------
    BlockDamagedError
        If the bytes are not those of that month as they were written.
    """
    reader, listed = _listed(data, month.start_ms)
    wanted = None if series_ids is None else set(series_ids)
    found = {}
    for series_id, length, crc in listed:
        if wanted is None or series_id in wanted:
            found[series_id] = _decode(_taken(reader, series_id, length, crc), month)
        else:
            reader.take(length)
    return found


def _listed(data: bytes, start_ms: int) -> tuple[PartReader, list[tuple[Any, ...]]]:
    """Return a reader that stands before the parts, and series, length and CRC-32 of each."""
    reader = PartReader(data)
    magic, form, count, started_ms = reader.fields(_HEAD)
    if (magic, form, started_ms) != (_MAGIC, _FORMAT, start_ms):
        raise BlockDamagedError("not the quarter hours of this month")
    parts = [reader.fields(_PART) for _ in range(count)]
    if reader.fields(_CRC) != (zlib.crc32(data[: _HEAD.size + count * _PART.size]),):
        raise BlockDamagedError("the list of series is not what was written")
    return reader, parts


def _taken(reader: PartReader, series_id: int, length: int, crc: int) -> Bytes:
    part = reader.take(length)
    if zlib.crc32(part) != crc:
        raise BlockDamagedError(f"series {series_id} is not what was written")
    return part


def month_parts(data: bytes, start_ms: int) -> dict[int, Bytes]:
    """Return what a month's bytes hold of each series, as it is packed.

    Raises
    ------
    BlockDamagedError
        If the bytes are not those of that month as they were written.
    """
    reader, listed = _listed(data, start_ms)
    return {series_id: _taken(reader, series_id, length, crc) for series_id, length, crc in listed}


def join_parts(start_ms: int, parts: Mapping[int, Bytes]) -> bytes:
    """Return a month's bytes of packed series: what `month_parts` took apart."""
    head = _HEAD.pack(_MAGIC, _FORMAT, len(parts), start_ms)
    head += b"".join(_PART.pack(one, len(part), zlib.crc32(part)) for one, part in parts.items())
    return b"".join((head, _CRC.pack(zlib.crc32(head)), *parts.values()))


def _encode(quarters: Quarters) -> bytes:
    has = quarters.count > 0
    low, high, last = (each[has] for each in (quarters.low, quarters.high, quarters.last))
    covered_ms = quarters.covered_ms[has]
    mean = np.where(covered_ms > 0, quarters.mean[has], low)
    times = [_whole(quarters.count), _whole(covered_ms)]
    places = _places_of(np.concatenate([low, high, last]))
    if places is None:
        values = [encode_numbers(each, (each.size,)) for each in (low, mean, high, last)]
        return _PLACES.pack(_FLOATS) + b"".join(map(framed, times + values))
    low_steps, high_steps, last_steps = (_steps(each, places) for each in (low, high, last))
    fine = _steps(mean, places + _MEAN_PLACES) - low_steps * 10**_MEAN_PLACES
    values = [
        _whole(low_steps, consecutive=True),
        _whole(fine),
        _whole(high_steps - low_steps),
        _whole(high_steps - last_steps),
    ]
    return _PLACES.pack(places) + b"".join(map(framed, times + values))


def _decode(part: Bytes, month: Span) -> Quarters:
    reader = PartReader(part)
    (places,) = reader.fields(_PLACES)
    start_ms = np.arange(month.start_ms, month.end_ms, QUARTER_MS)
    count = unpack_integers(reader.framed(), Rows.whole(start_ms.size)).astype(np.int64)
    has = count > 0
    rows = Rows.whole(int(np.count_nonzero(has)))
    covered_ms = unpack_integers(reader.framed(), rows).astype(np.int64)
    if places == _FLOATS:
        low, mean, high, last = (decode_numbers(reader.framed(), rows) for _ in range(4))
    else:
        low_steps, fine, above, under = (
            unpack_integers(reader.framed(), rows).astype(np.int64) for _ in range(4)
        )
        low = low_steps / 10.0**places
        mean = (low_steps * 10**_MEAN_PLACES + fine) / 10.0 ** (places + _MEAN_PLACES)
        high_steps = low_steps + above
        high, last = high_steps / 10.0**places, (high_steps - under) / 10.0**places
    mean[covered_ms == 0] = np.nan
    return Quarters(
        start_ms=start_ms,
        low=_spread(low, has),
        mean=_spread(mean, has),
        high=_spread(high, has),
        last=_spread(last, has),
        count=count,
        covered_ms=_spread_ms(covered_ms, has),
    )


def _spread(values: NDArray[np.float64], has: NDArray[np.bool_]) -> NDArray[np.float64]:
    """Lay values over the quarter hours that have some; mostly that is all of them."""
    if values.size == has.size:
        return values
    spread = np.full(has.size, np.nan)
    spread[has] = values
    return spread


def _spread_ms(values: NDArray[np.int64], has: NDArray[np.bool_]) -> NDArray[np.int64]:
    if values.size == has.size:
        return values
    spread = np.zeros(has.size, dtype=np.int64)
    spread[has] = values
    return spread


def _places_of(values: NDArray[np.float64]) -> int | None:
    """Return how many decimal places give every value back, ``None`` where no few do."""
    largest = np.abs(values).max()
    for places in range(_MOST_PLACES + 1):
        scale = 10.0**places
        if largest * scale >= _MOST:
            return None
        if (np.rint(values * scale) / scale == values).all():
            return places
    return None


def _steps(values: NDArray[np.float64], places: int) -> NDArray[np.int64]:
    return np.rint(values * 10.0**places).astype(np.int64)


def _whole(values: NDArray[np.int64], *, consecutive: bool = False) -> bytes:
    return pack_integers(values, (values.size,), consecutive=consecutive)


def cut(quarters: Quarters, span: Span) -> Quarters:
    """Return the part of quarter hours in a span that they hold; it shares their memory."""
    first = (span.start_ms - int(quarters.start_ms[0])) // QUARTER_MS
    part = slice(first, first + (span.end_ms - span.start_ms) // QUARTER_MS)
    return Quarters(**{name: getattr(quarters, name)[part] for name in ARRAYS})


def put(target: Quarters, part: Quarters) -> None:
    """Write quarter hours over those of the same time, as far as the target reaches."""
    offset = (int(part.start_ms[0]) - int(target.start_ms[0])) // QUARTER_MS
    end = min(offset + part.start_ms.size, target.start_ms.size)
    for name in _MEASURED:
        getattr(target, name)[max(offset, 0) : end] = getattr(part, name)[
            max(-offset, 0) : end - offset
        ]

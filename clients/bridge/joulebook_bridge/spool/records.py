"""What is in a file of the spool: records, each with its length and a checksum.

A power cut may tear the last record, and a worn card may change one in the middle. Either costs
that record: reading goes on at the next mark whose checksum holds.
"""

import json
import struct
import zlib
from collections.abc import Iterator
from dataclasses import dataclass

from joulebook_bridge.batch import Batch, Instant, Shape

MAGIC = b"joulebook spool 1\n"
_MARK = b"\xa5\x5a"
_FRAME = struct.Struct(">2sII")  # mark, length, checksum
_BATCH = struct.Struct(">Hqq")  # shape, wall and machine's time [ms]; then the values
_HEADER, _SHAPE, _VALUES = b"H", b"S", b"B"
_LONGEST = 1 << 20


@dataclass(frozen=True, slots=True)
class Header:
    """When and by which clock a file was begun.

    Attributes
    ----------
    boot : str
        The start of the machine whose milliseconds count.
    at : Instant
        When it was begun.
    clock_is_set : bool
        Whether the times in it were known to be right.
    """

    boot: str
    at: Instant
    clock_is_set: bool


@dataclass(slots=True)
class Content:
    """What a file holds."""

    header: Header | None
    batches: list[Batch]
    damaged_bytes: int

    @property
    def readings(self) -> int:
        """How many values are in it."""
        return sum(len(batch.values) for batch in self.batches)


class Encoder:
    """Writes batches as bytes; what their values are is said once in each file."""

    def __init__(self) -> None:
        self._shapes: dict[Shape, int] = {}

    def begin(self, header: Header) -> bytes:
        """Return how a file begins."""
        told = {
            "boot": header.boot,
            "wall_ms": header.at.wall_ms,
            "mono_ms": header.at.mono_ms,
            "clock_is_set": header.clock_is_set,
        }
        return MAGIC + _framed(_HEADER + json.dumps(told).encode())

    def batch(self, batch: Batch) -> bytes:
        """Return a batch, with its shape before it where the file does not know it yet."""
        data = b""
        number = self._shapes.get(batch.shape)
        if number is None:
            number = self._shapes[batch.shape] = len(self._shapes)
            told = {
                "number": number,
                "device": batch.shape.device,
                "columns": batch.shape.columns,
            }
            data = _framed(_SHAPE + json.dumps(told).encode())
        fixed = _BATCH.pack(number, batch.at.wall_ms, batch.at.mono_ms)
        values = struct.pack(f">{len(batch.values)}d", *batch.values)
        return data + _framed(_VALUES + fixed + values)

    def forget(self, shape: Shape) -> None:
        """Take back that the file knows a shape: it could not be written."""
        self._shapes.pop(shape, None)

    def knows(self, shape: Shape) -> bool:
        """Tell whether the file knows a shape."""
        return shape in self._shapes


def decode(data: bytes) -> Content:
    """Return what the bytes of a file hold, as far as they are whole."""
    content = Content(None, [], 0)
    shapes: dict[int, Shape] = {}
    for payload, lost in _payloads(data):
        content.damaged_bytes += lost
        kind, body = payload[:1], payload[1:]
        if kind == _HEADER:
            told = json.loads(body)
            at = Instant(told["wall_ms"], told["mono_ms"])
            content.header = Header(told["boot"], at, told["clock_is_set"])
        elif kind == _SHAPE:
            told = json.loads(body)
            columns = tuple((name, unit) for name, unit in told["columns"])
            shapes[told["number"]] = Shape(told["device"], columns)
        elif kind == _VALUES:
            batch = _batch(body, shapes)
            if batch is None:
                content.damaged_bytes += len(body)  # its shape was lost
            else:
                content.batches.append(batch)
    return content


def _batch(body: bytes, shapes: dict[int, Shape]) -> Batch | None:
    number, wall_ms, mono_ms = _BATCH.unpack_from(body)
    values = struct.unpack(f">{(len(body) - _BATCH.size) // 8}d", body[_BATCH.size :])
    shape = shapes.get(number)
    if shape is None or len(shape.columns) != len(values):
        return None
    return Batch(Instant(wall_ms, mono_ms), shape, values)


def _payloads(data: bytes) -> Iterator[tuple[bytes, int]]:
    """Yield each whole payload, with the number of damaged bytes before it; then what is left."""
    place = len(MAGIC) if data.startswith(MAGIC) else 0
    good_until = place
    while (place := data.find(_MARK, place)) >= 0:
        payload = _payload_at(data, place)
        if payload is None:
            place += 1
            continue
        yield payload, place - good_until
        place += _FRAME.size + len(payload)
        good_until = place
    if len(data) > good_until:
        yield b"", len(data) - good_until


def _payload_at(data: bytes, place: int) -> bytes | None:
    if place + _FRAME.size > len(data):
        return None
    _, length, checksum = _FRAME.unpack_from(data, place)
    payload = data[place + _FRAME.size : place + _FRAME.size + length]
    if not 0 < length <= _LONGEST or len(payload) < length or zlib.crc32(payload) != checksum:
        return None
    return payload


def _framed(payload: bytes) -> bytes:
    return _FRAME.pack(_MARK, len(payload), zlib.crc32(payload)) + payload

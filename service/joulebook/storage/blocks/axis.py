"""The instants of a block: runs of a regular clock where they are one, else differences.

A regular clock with gaps is a start, a step and its breaks, and there is nothing to decode. A
clock that trembles about a regular one is that plus how far it was off. Any other is kept as
the differences between instants. All three are exact.
"""

import struct
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from joulebook.core.stepped import Clock
from joulebook.storage.blocks.pages import pack_integers, unpack_integers
from joulebook.storage.blocks.parts import BlockDamagedError, Bytes, PartReader, Rows, framed

_RUNS, _DIFFERENCES, _RUNS_AND_OFFSETS = 1, 2, 3
_FORM = struct.Struct("<B")
_START = struct.Struct("<q")
_RUNS_HEAD = struct.Struct("<qqI")
#: A clock with more breaks than one in so many rows is tried in the other forms too.
_FEW_BREAKS = 32


def encode_axis(at_ms: NDArray[np.int64], sizes: Sequence[int]) -> bytes:
    """Return instants as bytes.

    Parameters
    ----------
    at_ms : int64 array, shape (n,)
        Strictly increasing, n > 0. [ms, UTC epoch]
    sizes : sequence of int
        How many rows each page has; they sum to n.
    """
    steps = np.diff(at_ms)
    step = _middle(steps)
    runs = _encode_runs(at_ms, steps, step)
    if np.count_nonzero(steps != step) * _FEW_BREAKS <= len(at_ms):
        return _FORM.pack(_RUNS) + runs
    forms = (
        _FORM.pack(_RUNS) + runs,
        _FORM.pack(_DIFFERENCES) + _START.pack(at_ms[0]) + pack_integers(at_ms - at_ms[0], sizes),
        _FORM.pack(_RUNS_AND_OFFSETS) + _encode_trembling(at_ms, steps, step, sizes),
    )
    return min(forms, key=len)


def _middle(steps: NDArray[np.int64]) -> int:
    """Return the middle one of a thousand of the steps: sorting all costs more than packing."""
    some = np.sort(steps[:: 1 + len(steps) // 1000])
    return int(some[len(some) // 2]) if len(some) else 1


def _encode_runs(at_ms: NDArray[np.int64], steps: NDArray[np.int64], step: int) -> bytes:
    """Return a start, a step, and where the clock left that step and by how much."""
    (breaks,) = np.nonzero(steps != step)
    jumps = steps[breaks] - step
    return (
        _RUNS_HEAD.pack(at_ms[0], step, len(breaks))
        + framed(pack_integers(np.diff(breaks, prepend=0), [len(breaks)], consecutive=False))
        + framed(pack_integers(jumps, [len(breaks)], consecutive=False))
    )


def _encode_trembling(
    at_ms: NDArray[np.int64], steps: NDArray[np.int64], step: int, sizes: Sequence[int]
) -> bytes:
    """Return the regular clock nearest to the instants, and how far each was off it."""
    # The middle step is off by its own tremble, which adds up over the rows; the whole length
    # over the count of steps is not.
    ticks = np.rint(steps / step).sum()
    step = max(1, round((at_ms[-1] - at_ms[0]) / max(1, ticks)))
    regular = at_ms[0] + np.rint((at_ms - at_ms[0]) / step).astype(np.int64) * step
    offsets = pack_integers(at_ms - regular, sizes, consecutive=False)
    return framed(offsets) + _encode_runs(regular, np.diff(regular), step)


def decode_axis(data: Bytes, rows: Rows) -> NDArray[np.int64]:
    """Return the instants of some rows, int64. [ms, UTC epoch]"""
    part = PartReader(data)
    (form,) = part.fields(_FORM)
    if form == _RUNS:
        return _decode_runs(part, rows).at_ms()
    if form == _DIFFERENCES:
        (start_ms,) = part.fields(_START)
        at_ms: NDArray[np.int64] = unpack_integers(part.rest(), rows).astype(np.int64)
        at_ms += start_ms
        return at_ms
    if form == _RUNS_AND_OFFSETS:
        offsets = unpack_integers(part.framed(), rows)
        regular_ms = _decode_runs(part, rows).at_ms()
        regular_ms += offsets
        return regular_ms
    raise BlockDamagedError(f"a time axis of an unknown form {form}")


def decode_clock(data: Bytes, rows: Rows) -> Clock:
    """Return the clock of some rows, without an instant for each where it is kept so."""
    part = PartReader(data)
    if part.fields(_FORM) == (_RUNS,):
        return _decode_runs(part, rows)
    return Clock.of(decode_axis(data, rows))


def _decode_runs(part: PartReader, rows: Rows) -> Clock:
    start_ms, step, count = part.fields(_RUNS_HEAD)
    wanted = rows.stop - rows.start
    if count >= rows.total:
        raise BlockDamagedError(f"{count} breaks in {rows.total} rows")
    each = Rows.whole(count)
    breaks = unpack_integers(part.framed(), each).cumsum(dtype=np.int64)
    jumps = unpack_integers(part.framed(), each).astype(np.int64)
    if not count:
        return Clock(_wrapped(start_ms + rows.start * step), step, wanted, breaks, jumps)
    breaks += 1
    if breaks[0] < 1 or breaks[-1] >= rows.total or not (breaks[1:] > breaks[:-1]).all():
        raise BlockDamagedError("breaks outside the rows")
    if wanted == rows.total:
        return Clock(start_ms, step, wanted, breaks, jumps)
    before, last = breaks.searchsorted(np.array((rows.start, rows.stop - 1)), side="right")
    first_ms = start_ms + rows.start * step + int(jumps[:before].sum())
    return Clock(
        _wrapped(first_ms), step, wanted, breaks[before:last] - rows.start, jumps[before:last]
    )


def _wrapped(number: int) -> int:
    """Return what 64 bits make of a number: damaged bytes may lead beyond, and must not raise."""
    return (number + 2**63) % 2**64 - 2**63

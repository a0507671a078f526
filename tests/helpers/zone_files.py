"""Time zones with rules of our own, as files of zone data (TZif, RFC 9636)."""

import struct
from datetime import datetime
from pathlib import Path

Change = tuple[str, float]


def write_zone(folder: Path, name: str, first_h: float, *changes: Change) -> None:
    """Write a zone that begins some hours ahead of UTC and goes otherwise from instants on.

    ``changes`` are pairs: an instant with its offset, as ISO 8601 writes it, and how many hours
    clocks are ahead of UTC from then on.
    """
    instants = [round(datetime.fromisoformat(at).timestamp()) for at, _ in changes]
    offsets = [round(3600 * hours) for hours in (first_h, *(hours for _, hours in changes))]
    body = b"".join(struct.pack(">q", at) for at in instants)
    body += bytes(range(1, len(offsets)))
    body += b"".join(struct.pack(">iBB", offset, 0, 0) for offset in offsets)
    path = folder / name
    path.parent.mkdir(parents=True, exist_ok=True)
    # The part for readers of the first version is empty, for nobody of them is left.
    path.write_bytes(_head(0, 0) + _head(len(instants), len(offsets)) + body + b"LMT\x00\n\n")


def _head(changes: int, kinds: int) -> bytes:
    letters = 4 if kinds else 0
    return b"TZif2" + bytes(15) + struct.pack(">6l", 0, 0, 0, changes, kinds, letters)

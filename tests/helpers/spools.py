"""Spools in a temporary folder, and batches with numbers in them."""

from pathlib import Path

from joulebook_bridge.batch import Batch, Instant, Shape
from joulebook_bridge.spool.outbox import Parcel
from joulebook_bridge.spool.room import Room
from joulebook_bridge.spool.spool import Spool

BATTERY = Shape("battery", (("voltage", "V"), ("current", "A")))
PANELS = Shape("pv", (("power", "W"),))


def batch(at: Instant, number: float, shape: Shape = BATTERY) -> Batch:
    """Return a batch whose first value is a number."""
    return Batch(at, shape, (float(number), *[-0.5] * (len(shape.columns) - 1)))


def room(most_bytes: int = 10**9, *, keep_free: int = 0, drop_oldest: bool = True) -> Room:
    return Room(most_bytes=most_bytes, keep_free_bytes=keep_free, drop_oldest=drop_oldest)


def spool_in(
    folder: Path, *, boot: str = "first", limits: Room | None = None, sync_s: float = 1
) -> Spool:
    return Spool(folder, boot, limits or room(), sync_s=sync_s)


def take_all(spool: Spool) -> list[Parcel]:
    """Take everything that is to be sent, in the order in which it would be."""
    parcels = []
    while (parcel := spool.next(live_only=False)) is not None:
        parcels.append(parcel)
    return parcels


def numbers(parcels: list[Parcel]) -> list[int]:
    """Return the number in each row of parcels."""
    return [int(values[0]) for parcel in parcels for _, values in parcel.rows]


def files(folder: Path) -> list[str]:
    """Return the names of the spool's files."""
    return sorted(path.name for path in folder.iterdir() if path.name[0].isdigit())

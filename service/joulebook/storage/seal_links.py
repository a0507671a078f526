"""The chain of what was sealed: later edits show, since each link's hash holds the one before.

A link says that a device's UTC day was sealed with readings of a certain digest. A day that is
sealed again, with readings that came late, gets a new link; the old one stays and tells when it
held. Who could write to the file could also make a whole new chain: what speaks against that is
an older head of it in somebody else's hands (a letter, a signed page, an earlier evidence file).
"""

import contextlib
import hashlib
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date

from joulebook.storage.blocks.block import DeviceBlock, decode_block
from joulebook.storage.blocks.digest import DayDigest, NamedSeries, day_digests
from joulebook.storage.blocks.parts import BlockDamagedError
from joulebook.storage.connections import Connection, transaction
from joulebook.storage.faults import names_faults
from joulebook.storage.periods import day_of, utc_date

#: What the first link's hash holds in the place of the one before.
NO_HASH = bytes(32)


@dataclass(frozen=True, slots=True, kw_only=True)
class SealLink:
    """A link of a site's chain.

    Attributes
    ----------
    number : int
        Counted from 1.
    device : str
    day : date
        UTC.
    readings : int
        How many the day had.
    digest, hash : bytes
        Of the readings, and of this link with all before it. SHA-256.
    sealed_ms : int
        When. [ms, UTC epoch]
    """

    number: int
    device: str
    day: date
    readings: int
    digest: bytes
    sealed_ms: int
    hash: bytes

    def hash_after(self, before: bytes) -> bytes:
        """Return the hash that the link must have after one of the hash ``before``."""
        line = (
            f"{before.hex()} {self.number} {self.device} {self.day} {self.readings} "
            f"{self.digest.hex()} {self.sealed_ms}\n"
        )
        return hashlib.sha256(line.encode()).digest()


def link_block(connection: Connection, device_id: int, block: DeviceBlock, sealed_ms: int) -> int:
    """Add a link for each day of a block that is not sealed as it is now; return how many.

    In the caller's transaction: the block and its links come to be together.
    """
    known = dict(
        connection.execute(
            """
            SELECT day, digest
            FROM seal_links
            WHERE device_id = ? AND day BETWEEN ? AND ?
            ORDER BY number
            """,
            (device_id, *(day_of(int(at_ms)) for at_ms in (block.at_ms[0], block.at_ms[-1]))),
        )
    )
    new = [
        each
        for each in day_digests(block, series_names(connection, device_id))
        if known.get(each.day) != each.digest
    ]
    _append(connection, device_id, new, sealed_ms)
    return len(new)


@names_faults
def link_unlinked(connection: Connection, sealed_ms: int, *, between: Callable[[], bool]) -> int:
    """Link blocks that no link speaks of: those sealed before there was a chain; return how many.

    Parameters
    ----------
    sealed_ms : int
        Now: earlier nobody vouches for them. [ms, UTC epoch]
    between : callable
        Called after each block: the place to pause. What it returns tells whether to go on.
    """
    blocks = connection.execute(
        """
        SELECT blocks.id, device_id, site_id
        FROM blocks
        JOIN devices ON devices.id = device_id
        WHERE NOT EXISTS (
            SELECT 1
            FROM seal_links
            WHERE seal_links.device_id = blocks.device_id
            AND day >= start_ms / 86400000
            AND day < end_ms / 86400000
        )
        ORDER BY start_ms, device_id
        """
    ).fetchall()
    for done, (block_id, device_id, site_id) in enumerate(blocks, start=1):
        with transaction(connection, (site_id,)):
            row = connection.execute("SELECT data FROM blocks WHERE id = ?", (block_id,)).fetchone()
            if row is not None:  # sealed anew meanwhile, and linked by that
                _link_readable(connection, device_id, row[0], sealed_ms)
        if not between():
            return done
    return len(blocks)


def _link_readable(connection: Connection, device_id: int, data: bytes, sealed_ms: int) -> None:
    with contextlib.suppress(BlockDamagedError):  # the sealer's check names it
        link_block(connection, device_id, decode_block(data), sealed_ms)


def series_names(connection: Connection, device_id: int) -> dict[int, NamedSeries]:
    """Return what a device's series are called in digests, by their ids."""
    rows = connection.execute(
        "SELECT id, quantity, unit FROM series WHERE device_id = ?", (device_id,)
    )
    return {series_id: NamedSeries(quantity, unit) for series_id, quantity, unit in rows}


@names_faults
def links_of(connection: Connection, site_id: int, *, after: int = 0) -> Iterator[SealLink]:
    """Yield a site's links in order, from the one after a number on."""
    rows = connection.execute(
        """
        SELECT number, devices.name, day, readings, digest, sealed_ms, hash
        FROM seal_links
        JOIN devices ON devices.id = device_id
        WHERE seal_links.site_id = ? AND number > ?
        ORDER BY number
        """,
        (site_id, after),
    )
    for number, device, day, readings, digest, sealed_ms, hashed in rows:
        yield SealLink(
            number=number,
            device=device,
            day=utc_date(day),
            readings=readings,
            digest=digest,
            sealed_ms=sealed_ms,
            hash=hashed,
        )


@names_faults
def sealed_readings(
    connection: Connection, site_id: int, device_ids: Sequence[int]
) -> list[tuple[int, int]]:
    """Return how many readings the sealed days of some devices have, the newest day first."""
    counts: dict[int, dict[int, int]] = {}
    for day, device_id, readings in connection.execute(
        "SELECT day, device_id, readings FROM seal_links WHERE site_id = ? ORDER BY number",
        (site_id,),
    ):
        if device_id in device_ids:
            counts.setdefault(day, {})[device_id] = readings  # the newest link of a day counts
    return [(day, sum(counts[day].values())) for day in sorted(counts, reverse=True)]


@names_faults
def last_link(connection: Connection, site_id: int) -> SealLink | None:
    """Return the head of a site's chain, ``None`` where nothing was sealed yet."""
    (number,) = connection.execute(
        "SELECT max(number) FROM seal_links WHERE site_id = ?", (site_id,)
    ).fetchone()
    return None if number is None else next(links_of(connection, site_id, after=number - 1))


def broken_link(links: Iterable[SealLink]) -> SealLink | None:
    """Return the first link of a whole chain that does not follow from those before it."""
    before = NO_HASH
    for number, link in enumerate(links, start=1):
        if link.number != number or link.hash != link.hash_after(before):
            return link
        before = link.hash
    return None


def _append(
    connection: Connection, device_id: int, days: Iterable[DayDigest], sealed_ms: int
) -> None:
    site_id, device = connection.execute(
        "SELECT site_id, name FROM devices WHERE id = ?", (device_id,)
    ).fetchone()
    last = last_link(connection, site_id)
    number, before = (0, NO_HASH) if last is None else (last.number, last.hash)
    for each in days:
        number += 1
        link = SealLink(
            number=number,
            device=device,
            day=utc_date(each.day),
            readings=each.readings,
            digest=each.digest,
            sealed_ms=sealed_ms,
            hash=b"",
        )
        before = link.hash_after(before)
        connection.execute(
            """
            INSERT INTO seal_links
                (site_id, number, device_id, day, readings, digest, sealed_ms, hash)
            VALUES (?, ?, ?, ?, ?, ?, ?, ?)
            """,
            (site_id, number, device_id, each.day, each.readings, each.digest, sealed_ms, before),
        )

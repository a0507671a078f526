"""Looks at the chain of what was sealed, and whether the blocks hold just that."""

from collections.abc import Iterator

from joulebook.core.spans import Span
from joulebook.storage.blocks.block import DeviceBlock, decode_block
from joulebook.storage.blocks.digest import day_digests
from joulebook.storage.blocks.parts import BlockDamagedError
from joulebook.storage.blockstore import blocks_within, named_damage
from joulebook.storage.connections import Connection
from joulebook.storage.findings import Findings
from joulebook.storage.periods import utc_date
from joulebook.storage.seal_links import broken_link, links_of, series_names
from joulebook.storage.tables import has_table

_ALL_TIME = Span(-(2**52), 2**52)


class SealedDays:
    """The digests that the chain gives a device's days, the newest link of each."""

    def __init__(self, connection: Connection) -> None:
        self._connection = connection
        # A backup of an earlier version has none.
        self._linked = has_table(connection, "seal_links")
        self._device_id: int | None = None
        self._digests: dict[int, bytes] = {}

    def _digests_of(self, device_id: int) -> dict[int, bytes]:
        if self._linked and device_id != self._device_id:  # one at a time: there may be many
            rows = self._connection.execute(
                "SELECT day, digest FROM seal_links WHERE device_id = ? ORDER BY number",
                (device_id,),
            )
            self._device_id, self._digests = device_id, dict(rows)
        return self._digests

    def differences(self, device_id: int, device: str | None, block: DeviceBlock) -> Iterator[str]:
        """Yield a sentence for each day whose readings are not those that were linked.

        A day without a link says nothing: it was sealed before there was a chain.
        """
        digests = self._digests_of(device_id)
        for each in day_digests(block, series_names(self._connection, device_id)):
            linked = digests.get(each.day)
            if linked is not None and linked != each.digest:
                day = utc_date(each.day)
                yield (
                    f"the readings of {device or f'device {device_id}'} on {day} (UTC) are not "
                    "those that were sealed"
                )


def differing_days(connection: Connection, site_id: int) -> Iterator[str]:
    """Yield a sentence for each sealed day of a site whose readings are not those that were sealed.

    A block that cannot be read is one as well.
    """
    chain = SealedDays(connection)
    devices = connection.execute(
        "SELECT id, name FROM devices WHERE site_id = ? ORDER BY name", (site_id,)
    ).fetchall()
    for device_id, device in devices:
        for block in blocks_within(connection, device_id, _ALL_TIME):
            try:
                found = decode_block(block.data)
            except BlockDamagedError as error:
                yield str(named_damage(connection, block, error))
            else:
                yield from chain.differences(device_id, device, found)


def check_links(connection: Connection, findings: Findings) -> None:
    """Check that each link follows from those before it."""
    if not has_table(connection, "seal_links"):
        return
    (findings.checked["links"],) = connection.execute("SELECT count(*) FROM seal_links").fetchone()
    for site_id, name in connection.execute("SELECT id, name FROM sites ORDER BY id").fetchall():
        link = broken_link(links_of(connection, site_id))
        if link is not None:
            findings.damage.append(
                f"link {link.number} of {name}, of {link.device} on {link.day}, does not follow "
                "from the links before it"
            )

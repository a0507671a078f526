"""Tries all that was set aside of a site again, a few hundred messages at a time."""

from collections.abc import Callable
from contextlib import closing
from dataclasses import dataclass

from joulebook.ingest.again import NEVER
from joulebook.ingest.committer import Committer
from joulebook.ingest.mapping.file import MAPPINGS, load_mappings
from joulebook.ingest.mapping.translate import Mappings
from joulebook.storage.database import Database
from joulebook.storage.quarantine import quarantined_after

#: Written in one transaction: whoever else writes waits no longer than for these.
AT_ONCE = 200


@dataclass(frozen=True, slots=True)
class TriedAgain:
    """How many messages were tried again, and how many of them are stored now."""

    tried: int
    stored: int


def try_again(
    database: Database, site_id: int | None, *, clock_ms: Callable[[], int]
) -> TriedAgain:
    """Store what was set aside of a site (``None``: of all and of none) and can be stored now.

    A message is stored whole or not at all; what is not stays set aside as it was. Those of a
    sender that may not write to the site stay in any case.

    Raises
    ------
    DataRefusedError
        If a mapping file is wrong.
    StorageUnavailableError
        If nothing can be written now: what was stored until then is, and another try goes on.
    """
    mappings = Mappings(load_mappings(database.data_dir / MAPPINGS))
    tried = stored = last_id = 0
    with closing(database.connect()) as connection, closing(Committer(database, mappings)) as to:
        while kept := quarantined_after(connection, site_id, last_id, limit=AT_ONCE):
            last_id = kept[-1].id
            some = [each for each in kept if each.refused.reason not in NEVER]
            tried += len(some)
            stored += len(to.take_again(some, now_ms=clock_ms()))
    return TriedAgain(tried, stored)

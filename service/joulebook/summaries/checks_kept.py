"""The checks that found trouble, kept as they were found last: they are read by many at once."""

import msgspec

from joulebook.core.checks.finding import METHOD
from joulebook.storage.database import Connection
from joulebook.storage.record_results import record_mark, record_result, save_record_result
from joulebook.storage.records import Site
from joulebook.summaries.numbers import Document

#: Under which they are stored.
CHECKS_NAME = "checks"


class Trouble(msgspec.Struct, frozen=True):
    """A check that found trouble: its name, the device or none, and the sentence."""

    name: str
    device: str | None
    sentence: str


def keep_trouble(connection: Connection, site: Site, checks: Document, *, now_ms: int) -> None:
    """Keep which checks found trouble, where they are not those of the last time.

    Parameters
    ----------
    checks : Document
        The checks document, whole.
    """
    found = [
        Trouble(each["name"], each["device"], each["sentence"])
        for each in checks["checks"]
        if each["verdict"] == "trouble"
    ]
    # A sentence tells numbers that differ from hour to hour; those are on the page of checks.
    kept = kept_trouble(connection, site.id)
    if [(each.name, each.device) for each in found] == [(each.name, each.device) for each in kept]:
        return
    save_record_result(
        *(connection, site.id, CHECKS_NAME, METHOD, msgspec.json.encode(found)),
        mark=record_mark(connection, site.id),
        computed_ms=now_ms,
    )


def kept_trouble(connection: Connection, site_id: int) -> list[Trouble]:
    """Return which checks found trouble when they were looked at last."""
    found = record_result(connection, site_id, CHECKS_NAME)
    if found is None or found.method != METHOD:
        return []
    return msgspec.json.decode(found.result, type=list[Trouble])

"""Which records are to be analysed anew: told without unpacking what is stored of them."""

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass

from joulebook.core.corrections import Correction
from joulebook.core.records.record import RECORD_METHOD
from joulebook.storage.connections import joined_snapshot
from joulebook.storage.corrections import corrections_by_site, corrections_of
from joulebook.storage.database import Connection
from joulebook.storage.events import Event, events_by_site, events_of
from joulebook.storage.record_results import RecordResult, record_result, results_named
from joulebook.storage.records import Site
from joulebook.storage.site_facts import analysed_facts

#: Under which a digest of what the owner had entered is stored, beside the analysis.
ENTERED_NAME = "entered"
#: New readings alone make it compute again after this: a record of years changes slowly. [s]
FRESH_S = 6 * 3600.0


@dataclass(frozen=True, slots=True)
class Due:
    """A site whose record is to be analysed, and when it was analysed last. [ms, UTC epoch]"""

    site: Site
    last_ms: int | None


def records_due(connection: Connection, sites: Sequence[Site], *, now_ms: int) -> list[Due]:
    """Return the sites whose analysis is missing, of other facts, or long behind its readings."""
    with joined_snapshot(connection):
        stored = results_named(connection, ENTERED_NAME)
        corrections, events = corrections_by_site(connection), events_by_site(connection)
    due = []
    for site in sites:
        found = stored.get(site.id)
        entered = _digest(site, corrections.get(site.id, []), events.get(site.id, []))
        if not is_of(found, entered) or (found is not None and _is_stale(found, now_ms)):
            due.append(Due(site, None if found is None else found.computed_ms))
    return due


def is_still_due(connection: Connection, due: Due) -> bool:
    """Tell whether nobody has analysed the record since it was found due."""
    found = record_result(connection, due.site.id, ENTERED_NAME)
    return (None if found is None else found.computed_ms) == due.last_ms


def is_of(found: RecordResult | None, entered: bytes) -> bool:
    """Tell whether an analysis is there, made by this method from what is entered now."""
    return found is not None and found.method == RECORD_METHOD and found.result == entered


def entered_digest(connection: Connection, site: Site) -> bytes:
    """Return a digest of all that the owner entered and the analysis depends on."""
    return _digest(site, corrections_of(connection, site.id), events_of(connection, site.id))


def _is_stale(found: RecordResult, now_ms: int) -> bool:
    return found.behind and now_ms - found.computed_ms >= 1000 * FRESH_S


def _digest(site: Site, corrections: list[Correction], events: list[Event]) -> bytes:
    parts = (analysed_facts(site), corrections, events)
    return hashlib.sha256(repr(parts).encode()).hexdigest().encode()
